"""Small tools of the recipes of `fleet` and `desk`: draws, dates, tables. Standard library only.

Every draw goes through `Random.random()`, whose stream is the same in every Python 3, so the files
come out the same to the last byte.
"""

import argparse
import csv
import io
import math
import random
import sys
from datetime import date, timedelta

DAY = timedelta(days=1)


class Draws:
    """Random numbers of one purpose; a change in one purpose leaves the others as they were."""

    def __init__(self, seed, purpose):
        self._random = random.Random(f"{seed} {purpose}")

    def unit(self):
        return self._random.random()

    def chance(self, p):
        return self.unit() < p

    def between(self, low, high):
        return low + (high - low) * self.unit()

    def pick(self, items):
        return items[int(self.unit() * len(items))]

    def weighted(self, weights):
        """One of the keys, with the chance its weight gives."""
        mark = self.unit() * sum(weights.values())
        for key, weight in weights.items():
            mark -= weight
            if mark < 0:
                return key
        return key

    def shuffled(self, items):
        return [items[i] for _, i in sorted((self.unit(), i) for i in range(len(items)))]

    def normal(self):
        return math.sqrt(-2 * math.log(1 - self.unit())) * math.cos(2 * math.pi * self.unit())

    def weibull(self, shape, scale, entry=0.0):
        """A life, given that it lasts beyond `entry`."""
        spent = (entry / scale) ** shape
        return scale * (spent - math.log(1 - self.unit())) ** (1 / shape)


def season_of(day):
    """The year in which the season of that day ends; seasons start on 1 November."""
    return day.year + (1 if day.month >= 11 else 0)


def workday(day):
    """That day, or the Monday after a weekend."""
    return day + (7 - day.weekday()) * DAY if day.weekday() > 4 else day


def days(first, last):
    while first <= last:
        yield first
        first += DAY


def quarter(hours):
    """Hours as a shop writes them down."""
    return max(0.25, round(hours * 4) / 4)


def text(value):
    if value is None or value == "":
        return ""
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, float):
        return f"{value:.2f}".rstrip("0").rstrip(".")
    return str(value)


def table(rows):
    """Rows of equal keys as comma-separated text."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(rows[0])
    writer.writerows([text(v) for v in row.values()] for row in rows)
    return out.getvalue()


def main(folder, build, summary):
    """The command line of a recipe: writes its files, or prints what they hold and hide."""
    parser = argparse.ArgumentParser(description="An invented set of records.")
    parser.add_argument("--summary", action="store_true", help="print what was simulated; write nothing")
    files, shop = build()
    if parser.parse_args().summary:
        summary(files, shop)
        return 0
    for name, content in files.items():
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_bytes(content.encode())
    print(f"{len(files)} files written to {folder}", file=sys.stderr)
    return 0
