"""Fits beside general-purpose tools, in one run: the ratio of processor seconds on one thread, median of the rounds.

  python3 -m venv /tmp/venv && /tmp/venv/bin/pip install numpy scipy numba
  cargo bench --bench fit --no-run          # prints the path of the program to give as --bench
  /tmp/venv/bin/python tests/benches/fit.py --baselines FOLDER --bench target/release/deps/fit-HASH

FOLDER holds the scripts b_weibull.py, c_cumexp.py, e_bootstrap.py and make_data.py, which time the general-purpose
tools and write their data. Each round runs the tools and then our program on the same data, and a ratio is taken
within a round. The log-likelihoods of both are held against each other to 4 decimals.
"""

import argparse
import csv
import io
import os
import statistics
import sys

import numpy as np

from beside import ONE_THREAD, output


def rows(text, start):
    """The rows of a CSV that begins with `start`, which may follow other output."""
    return list(csv.DictReader(io.StringIO(text[text.index(start):])))


def make_data(baselines, folder, sizes):
    """The tools' own data, and that of several groups once more as plain numbers that need no library."""
    large = [n for n in sizes if 1000 <= n]
    if not os.path.exists(os.path.join(folder, f"cumexp_{max(sizes)}_10.npz")):
        fits = ",".join(map(str, [30, 300, *sizes]))
        output([sys.executable, os.path.join(baselines, "make_data.py"), "--out", folder, "--usage", "", "--lives", "", "--weibull", fits,
                "--cumexp", ",".join(map(str, large))])
    for n in large:
        for groups in (3, 6, 10):
            name = os.path.join(folder, f"cumexp_{n}_{groups}")
            if not os.path.exists(name + ".f64"):
                z = np.load(name + ".npz")
                np.c_[z["u0"], z["u1"], z["right"]].astype("<f8").tofile(name + ".f64")


def tools(baselines, folder, sizes, reps):
    """Seconds and log-likelihood of the fastest tool of each line: {(line, n, groups): (seconds, log-likelihood)}."""
    run = lambda script, *more: output([sys.executable, script, "--data", os.path.abspath(folder), "--reps", str(reps), *more], baselines, **ONE_THREAD)
    found = {}
    for r in rows(run("b_weibull.py", "--n", ",".join(map(str, sizes)), "--cap", "1"), "case,n,tool"):
        if r["tool"] == "scipy L-BFGS grad":
            found["B " + r["case"], int(r["n"]), 1] = float(r["median_s"]), float(r["loglik"])
    large = ",".join(str(n) for n in sizes if 1000 <= n)
    for r in rows(run("c_cumexp.py", "--n", large, "--tools", "numba-newton"), "n,P,tool") if large else []:
        found["C", int(r["n"]), int(r["P"])] = float(r["median_s"]), float(r["loglik"])
    for r in rows(run("e_bootstrap.py", "--n", "30,300", "--tools", "numpy"), "n,tool"):
        found["E", int(r["n"]), 1] = float(r["median_s"]), None
    return found


def main():
    a = argparse.ArgumentParser()
    a.add_argument("--baselines", required=True)
    a.add_argument("--bench", required=True)
    a.add_argument("--data", default="/tmp/wearcast-bench-data")
    a.add_argument("--most", type=int, default=1_000_000)
    a.add_argument("--rounds", type=int, default=5)
    a.add_argument("--reps", type=int, default=3)
    a = a.parse_args()
    sizes = [n for n in (100, 1_000, 10_000, 100_000, 1_000_000) if n <= a.most]
    os.makedirs(a.data, exist_ok=True)
    make_data(a.baselines, a.data, sizes)
    ratios, theirs, ours, worst = {}, {}, {}, 0.0
    for _ in range(a.rounds):
        tool = tools(a.baselines, a.data, sizes, a.reps)
        text = output([a.bench, "--plain", str(a.most)], WEARCAST_BENCH_DATA=os.path.abspath(a.data), **ONE_THREAD)
        for r in rows(text, "line,n,groups"):
            key = r["line"], int(r["n"]), int(r["groups"])
            seconds, loglik = tool[key]
            own = float(r["seconds"])
            ratios.setdefault(key, []).append(seconds / own)
            theirs.setdefault(key, []).append(seconds)
            ours.setdefault(key, []).append(own)
            if loglik is not None:
                gap = abs(loglik - float(r["loglik"]))
                worst = max(worst, gap)
                if gap > 2e-4:
                    print(f"log-likelihoods differ: {key} {loglik} {r['loglik']}")
    print("line,n,groups,tool_ms,own_ms,ratio,ratio_min,ratio_max")
    for key, x in ratios.items():
        middle = statistics.median
        print(f"{key[0]},{key[1]},{key[2]},{1e3 * middle(theirs[key]):.4f},{1e3 * middle(ours[key]):.4f},{middle(x):.1f},{min(x):.1f},{max(x):.1f}")
    print(f"largest difference of log-likelihoods: {worst:.4f}")


main()
