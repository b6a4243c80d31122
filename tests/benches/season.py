"""A season beside general-purpose tools, in one run: the ratio of seconds on one thread, median of the rounds.

  python3 -m venv /tmp/venv && /tmp/venv/bin/pip install numpy numba
  cargo bench --bench season --no-run       # prints the path of the program to give as --bench
  /tmp/venv/bin/python tests/benches/season.py --baselines FOLDER --bench target/release/deps/season-HASH

FOLDER holds d_season.py and make_data.py, which time the general-purpose tools and write their fleet: 10,000 machines
of 12 positions, parameters of life drawn anew for each play. Each round runs the tools and then our program on the same
fleet. Where there is gcc, floors.c of the same folder is compiled and run as well: the least that a compiled program
needs that looks at neither days nor causes, on a fleet of its own. The mean number of changes of a play is printed of
each: ours changes parts at the end of a day of work, sixty of them a season, which puts off a few of the second
changes.
"""

import argparse
import csv
import json
import os
import re
import shutil
import statistics
import sys

import numpy as np

from beside import ONE_THREAD, output

POSITIONS = 120_000


def floor_of(baselines, data):
    """The program of floors.c, compiled as it says itself; None without gcc."""
    if not shutil.which("gcc"):
        return None
    program = os.path.join(data, "floors")
    output(["gcc", "-O3", "-march=native", "-ffast-math", "-fopenmp-simd", os.path.join(baselines, "floors.c"), "-o", program, "-lm"])
    return program


def main():
    a = argparse.ArgumentParser()
    a.add_argument("--baselines", required=True)
    a.add_argument("--bench", required=True)
    a.add_argument("--data", default="/tmp/wearcast-bench-data")
    a.add_argument("--plays", type=int, default=200)
    a.add_argument("--rounds", type=int, default=5)
    a = a.parse_args()
    data = os.path.abspath(a.data)
    os.makedirs(data, exist_ok=True)
    if not os.path.exists(os.path.join(data, "fleet.npz")):
        none = [x for name in ("usage", "lives", "weibull", "cumexp") for x in ("--" + name, "")]
        output([sys.executable, os.path.join(a.baselines, "make_data.py"), "--out", data, *none])
    fleet = np.load(os.path.join(data, "fleet.npz"))
    for name in ("age", "season", "log_scale", "log_shape", "sd"):
        fleet[name].astype("<f8").tofile(os.path.join(data, name + ".f64"))
    tools = ["numpy", "numba-threshold"]
    floor = floor_of(a.baselines, data)
    ns = {tool: [] for tool in [*tools, *["floor"] * bool(floor), "own"]}
    changes = {}
    for _ in range(a.rounds):
        for tool in tools:
            text = output([sys.executable, "d_season.py", "--data", data, "--tool", tool, "--reps", str(a.plays)], a.baselines, **ONE_THREAD)
            found = json.loads(text.strip().splitlines()[-1])
            ns[tool].append(1e9 * found["inner_s"] / (POSITIONS * a.plays))
            changes[tool] = found["check"].split("mean ")[1].split(",")[0]
        if floor:
            text = output([floor, "d", str(max(1, a.plays // 5))])
            ns["floor"].append(float(re.search(r"([0-9.]+) ns per unit", text)[1]))
            changes["floor"] = f"{POSITIONS * float(re.search(r'slot season ([0-9.]+)', text)[1]):.1f}"
        row = next(csv.DictReader(output([a.bench, "--plain", data, str(a.plays)], **ONE_THREAD).splitlines()))
        ns["own"].append(float(row["nanoseconds"]))
        changes["own"] = row["changes"]
    middle = statistics.median
    print("tool,ns_a_position_season,ratio,ratio_min,ratio_max,changes_a_play")
    for tool, times in ns.items():
        ratios = [t / own for t, own in zip(times, ns["own"])]
        print(f"{tool},{middle(times):.2f},{middle(ratios):.2f},{min(ratios):.2f},{max(ratios):.2f},{changes[tool]}")


main()
