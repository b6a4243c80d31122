"""A workbook beside the general Python writers, in one run: the ratio of seconds, median of the rounds.

  python3 -m venv /tmp/venv && /tmp/venv/bin/pip install xlsxwriter openpyxl lxml
  cargo bench --bench workbook --no-run     # prints the path of the program to give as --bench
  /tmp/venv/bin/python tests/benches/workbook.py --baselines FOLDER --bench target/release/deps/workbook-HASH

FOLDER holds f_xlsx.py, which writes the same lines, formulas and conditional sums from random numbers of its own. Both
files are read back, and must have as many cells and formulas.
"""

import argparse
import json
import os
import re
import statistics
import sys
import tempfile
import zipfile

from beside import output


def content(path):
    """Cells and formulas of all sheets."""
    book = zipfile.ZipFile(path)
    text = "".join(book.read(n).decode() for n in book.namelist() if n.startswith("xl/worksheets/sheet"))
    return len(re.findall(r"<c [^>]*[^/]>", text)), text.count("<f>")


def main():
    a = argparse.ArgumentParser()
    a.add_argument("--baselines", required=True)
    a.add_argument("--bench", required=True)
    a.add_argument("--rounds", type=int, default=5)
    a = a.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        script = os.path.join(a.baselines, "f_xlsx.py")
        python = lambda tool: [sys.executable, script, "--tool", tool, "--out", os.path.join(folder, tool + ".xlsx")]
        tools = {tool: python(tool) for tool in ("xlsxwriter", "openpyxl-write-only")}
        tools["own"] = [a.bench, "once", os.path.join(folder, "own.xlsx")]
        seconds = {tool: [] for tool in tools}
        for _ in range(a.rounds):
            for tool, command in tools.items():
                seconds[tool].append(json.loads(output(command).strip().splitlines()[-1])["inner_s"])
        print("tool,seconds,ratio,ratio_min,ratio_max,cells,formulas,bytes")
        found = set()
        for tool, times in seconds.items():
            path = os.path.join(folder, tool + ".xlsx")
            ratios = [t / own for t, own in zip(times, seconds["own"])]
            cells, formulas = content(path)
            found.add((cells, formulas))
            print(f"{tool},{statistics.median(times):.3f},{statistics.median(ratios):.1f},{min(ratios):.1f},{max(ratios):.1f},{cells},{formulas},{os.path.getsize(path)}")
        if len(found) != 1:
            sys.exit("the files differ in what they hold")


main()
