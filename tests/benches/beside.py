"""What the scripts that run our benches beside general-purpose tools have in common."""

import os
import subprocess

# One BLAS thread: with two, scipy takes 60 times as long on small fits.
ONE_THREAD = dict(OPENBLAS_NUM_THREADS="1", OMP_NUM_THREADS="1", RAYON_NUM_THREADS="1")


def output(command, folder=None, **environment):
    done = subprocess.run(command, cwd=folder, env=dict(os.environ, **environment), text=True, stdout=subprocess.PIPE, check=True)
    return done.stdout
