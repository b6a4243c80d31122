#!/usr/bin/env python3
"""An invented owner's records: three spreaders, five seasons, every table of a records folder.

    python3 sample-data/owner/recipe.py             write the tables beside this file
    python3 sample-data/owner/recipe.py --verify    read them back and check them against the truth
    python3 sample-data/owner/recipe.py --summary   print what an owner would add up

Standard library only. Every draw goes through `Random.random()`, whose stream is the same in every
Python 3, so the files come out the same to the last byte.
"""

import argparse
import csv
import io
import math
import random
import sys
from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date, timedelta
from pathlib import Path

HERE = Path(__file__).resolve().parent
SEED = 1  # a typical draw: fits come out near the truth, as a worked example should
DAY = timedelta(days=1)

# ---------------------------------------------------------------------------------------------
# The truth: what a perfect fit would find
# ---------------------------------------------------------------------------------------------

REFERENCE = "dry fertilizer"
CORROSIVE = "corrosive blend"
LIME = "lime"


@dataclass(frozen=True)
class Truth:
    """How parts of a family really live and how their end gets into the records."""

    measure: str
    shape: float
    scale: float  # in `measure`, at the reference group, for a machine of effect 1
    factors: dict  # product group -> wear factor
    late: float  # chance that wear is only noticed in the shop
    breaks: float  # chance that a wear-out noticed in the field is a break
    damage: float  # outside damage, per hour of use
    down: tuple  # field hours lost by a stop, least and most
    counted: str = "each"


def factors(corrosive, lime):
    return {REFERENCE: 1.0, CORROSIVE: corrosive, LIME: lime}


TRUTHS = {
    "conveyor-chain": Truth("tons", 3.0, 5200, factors(1.5, 2.4), 0.25, 0.45, 0.00015, (5, 9), "set"),
    "spinner-fin": Truth("tons", 3.6, 6800, factors(1.3, 2.8), 0.30, 0.05, 0.0005, (1, 2.5), "set"),
    "frame-bushing": Truth("hours", 2.6, 820, factors(1.3, 1.7), 0.60, 0.05, 0.0, (1, 3)),
    "shaft-bearing": Truth("hours", 1.6, 1600, factors(1.5, 1.3), 0.15, 0.55, 0.0, (3, 6)),
    # No model file stands behind this one; acres is what its life goes by.
    "deflector-flap": Truth("acres", 2.4, 30000, factors(1.0, 1.0), 0.30, 0.30, 0.0005, (0.5, 1)),
}

# Life of all wear parts of a machine against the fleet: the second machine is greased and oiled less often.
MACHINE_EFFECT = {"north rig": 1.0, "creek rig": 0.92, "twin bin": 1.05}
STAINLESS_EFFECT = 1.25
CHAIN_WORN_AT = 3.0  # percent of new length
PLAY_NEW, PLAY_WORN_AT = 3.2, 6.4  # mm

# ---------------------------------------------------------------------------------------------
# The fleet
# ---------------------------------------------------------------------------------------------

LAST_USE = date(2026, 10, 30)

MACHINES = {
    "north rig": dict(in_service=date(2021, 11, 1), records_from=None, site="home yard", oiling="daily"),
    "creek rig": dict(in_service=date(2016, 3, 21), records_from=date(2022, 3, 7), site="creek yard", oiling="weekly"),
    "twin bin": dict(in_service=date(2022, 3, 14), records_from=None, site="home yard", oiling="daily"),
}

PRODUCTS = {  # product: (group, tons an acre, acres an hour)
    "potash": (REFERENCE, 0.115, 60),
    "MAP": (REFERENCE, 0.080, 62),
    "urea": (REFERENCE, 0.105, 60),
    "AMS": (CORROSIVE, 0.055, 62),
    "corn blend": (CORROSIVE, 0.165, 56),  # urea, AMS and potash mixed: draws water long before its parts do
    "ag lime": (LIME, 2.0, 36),
}


def part(number, family, description, material, price, pack, lead, labor, kit="", critical="stops", replaces=""):
    return dict(part=number, family=family, description=description, material=material, price=price, pack=pack,
                lead_days=lead, lead_days_spread=1.8 if lead else "", labor_hours=labor, replaces=replaces, kit=kit,
                critical=critical, min_order="")


PARTS = {p["part"]: p for p in [
    part("CHN-210", "conveyor-chain", "conveyor chain, one strand", "carbon steel", "", 2, "", 8, "conveyor"),
    part("CHN-211", "conveyor-chain", "conveyor chain, one strand, heavier pin", "carbon steel", 1840, 2, 18, 8,
         "conveyor", replaces="CHN-210"),
    part("CHN-211S", "conveyor-chain", "conveyor chain, one strand", "stainless steel", 2630, 2, 30, 8, "conveyor"),
    part("FIN-40", "spinner-fin", "spinner fin", "hardened steel", 68.5, 4, 7, 1.5, "", "degrades"),
    part("BSH-12", "frame-bushing", "frame guide bushing", "bronze", 46, 2, 10, 1.5, "", "degrades"),
    part("BRG-S", "shaft-bearing", "spinner shaft bearing, flanged", "steel", 138, 1, 5, 2.5, "spinner shaft"),
    part("BRG-C", "shaft-bearing", "conveyor shaft bearing, flanged", "steel", 164, 1, 5, 3, "conveyor"),
    part("FLP-7", "deflector-flap", "deflector flap", "rubber", 88, 1, 12, 0.75, "", "degrades"),
    part("OIL-90", "gearcase-oil", "gear oil 80W-90, US pint", "", 7.2, 1, 2, 0.75, "", "stops"),
    part("HYD-32", "hydraulic-fluid", "hydraulic fluid, US gallon", "", 15.4, 1, 2, 2.5, "", "stops"),
]}
PARTS["BSH-12"]["min_order"] = 4

OLD_CHAIN, NEW_CHAIN, STAINLESS_CHAIN = "CHN-210", "CHN-211", "CHN-211S"
NEW_CHAIN_FROM = date(2024, 2, 1)  # the old number can no longer be had
UPGRADE = ("twin bin", "rear chain")
UPGRADE_AFTER = date(2025, 7, 1)


def position(name, part_number, slots, bin_name="", **start):
    """`slots`: names of the pieces where each has its own life, else how many pieces share one."""
    return dict(position=name, part=part_number, slots=slots, bin=bin_name, **start)


SPINNER_BEARINGS = ["left upper", "left lower", "right upper", "right lower"]
GUIDES = ["front left", "front right", "rear left", "rear right"]
SIDES = ["left", "right"]
UNKNOWN = "unknown"


def before(acres, tons, hours):
    return dict(acres_before=acres, tons_before=tons, hours_before=hours)


POSITIONS = {
    "north rig": [
        position("chain", OLD_CHAIN, 2),
        position("left fins", "FIN-40", 4),
        position("right fins", "FIN-40", 4),
        position("guide bushings", "BSH-12", GUIDES),
        position("spinner bearings", "BRG-S", SPINNER_BEARINGS),
        position("conveyor bearings", "BRG-C", SIDES),
        position("flaps", "FLP-7", SIDES),
        position("gearcase", "OIL-90", 1.5),
        position("hydraulics", "HYD-32", 24),
    ],
    # Bought used. The seller spread no lime, so what is known of earlier use is all dry fertilizer.
    "creek rig": [
        position("chain", OLD_CHAIN, 2, installed=date(2020, 8, 14), **before(10900, 1310, 182)),
        position("left fins", "FIN-40", 4, installed=date(2020, 3, 12), **before(14300, 1715, 238)),
        position("right fins", "FIN-40", 4, installed=UNKNOWN),
        position("guide bushings", "BSH-12", GUIDES, installed=date(2020, 12, 3), **before(9800, 1175, 163)),
        position("spinner bearings", "BRG-S", SPINNER_BEARINGS, installed=date(2019, 3, 20), **before(20400, 2450, 340)),
        position("conveyor bearings", "BRG-C", SIDES, installed=date(2020, 8, 14), **before(10900, 1310, 182)),
        position("flaps", "FLP-7", SIDES, installed=date(2021, 3, 15), **before(7200, 865, 120)),
        position("gearcase", "OIL-90", 1.5, installed=date(2021, 12, 9), **before(0, 0, 0)),
        position("hydraulics", "HYD-32", 24, installed=date(2021, 12, 9), **before(0, 0, 0)),
    ],
    "twin bin": [
        position("front chain", OLD_CHAIN, 2, "front"),
        position("rear chain", OLD_CHAIN, 2, "rear"),
        position("left fins", "FIN-40", 4),
        position("right fins", "FIN-40", 4),
        position("guide bushings", "BSH-12", GUIDES),
        position("spinner bearings", "BRG-S", SPINNER_BEARINGS),
        position("front conveyor bearings", "BRG-C", SIDES, "front"),
        position("rear conveyor bearings", "BRG-C", SIDES, "rear"),
        position("flaps", "FLP-7", SIDES),
        position("gearcase", "OIL-90", 1.5),
        position("hydraulics", "HYD-32", 24),
    ],
}
# What the right fins of the used machine really had behind them; nobody knows, so it is in no file.
UNKNOWN_TONS = 900.0

# Shop days: looked over and measured on the first, parts changed on the days after. Nothing is spread meanwhile.
SHOP_DAYS = {
    "north rig": [(12, 6), (7, 22)],
    "creek rig": [(12, 13), (7, 29)],
    "twin bin": [(12, 9), (8, 4)],
}
LAST_SHOP = {"north rig": date(2026, 11, 3), "creek rig": date(2026, 11, 6), "twin bin": date(2026, 11, 10)}
SHOP_LENGTH = 4

# ---------------------------------------------------------------------------------------------
# Small tools
# ---------------------------------------------------------------------------------------------


class Draws:
    """Random numbers of one purpose; a change in one purpose leaves the others as they were."""

    def __init__(self, purpose):
        self._random = random.Random(f"{SEED} {purpose}")

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

    def normal(self):
        return math.sqrt(-2 * math.log(1 - self.unit())) * math.cos(2 * math.pi * self.unit())

    def weibull(self, shape, scale, entry=0.0):
        """A life, given that it lasts beyond `entry`."""
        spent = (entry / scale) ** shape
        return scale * (spent - math.log(1 - self.unit())) ** (1 / shape)


def season_of(day):
    """The year in which the season of that day ends."""
    return day.year + (1 if day >= date(day.year, 11, 1) else 0)


def records_from(machine):
    m = MACHINES[machine]
    return m["records_from"] or m["in_service"]


def days(first, last):
    while first <= last:
        yield first
        first += DAY


def text(value):
    if value is None or value == "":
        return ""
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, float):
        return f"{value:.2f}".rstrip("0").rstrip(".")
    return str(value)


def quarter(hours):
    """Hours as a shop writes them down."""
    return max(0.25, round(hours * 4) / 4)


# ---------------------------------------------------------------------------------------------
# Use, day by day
# ---------------------------------------------------------------------------------------------

# Days of work in a month: spring and autumn peaks, nothing in the dead of winter.
WORK_DAYS = {2: 1.2, 3: 4.2, 4: 8, 5: 6, 6: 3.3, 7: 1.2, 8: 1.2, 9: 4.5, 10: 7.5, 11: 3.5}
LAST_DAY_OF_NOVEMBER_WORK = 20
WEATHER = {2022: 0.93, 2023: 1.06, 2024: 0.90, 2025: 1.08, 2026: 1.0}
SIZE = {"north rig": 1.1, "creek rig": 0.9, "twin bin": 1.0}
# The first works for lime customers, the second hardly ever: that contrast is what tells lime from the rest.
LIME_SHARE = {"north rig": 1.5, "creek rig": 0.25, "twin bin": 0.9}
BLEND_SHARE = {"north rig": 0.6, "creek rig": 2.2, "twin bin": 1.0}

PLAIN_MIX = {  # month: weight of each product
    2: {"urea": 6, "AMS": 4},
    3: {"corn blend": 3, "urea": 3, "potash": 2, "MAP": 2},
    4: {"corn blend": 5, "urea": 2, "potash": 2, "MAP": 1},
    5: {"corn blend": 5, "urea": 4, "AMS": 1},
    6: {"urea": 6, "AMS": 4},
    7: {"ag lime": 1},
    8: {"ag lime": 1},
    9: {"ag lime": 2, "potash": 4, "MAP": 3},
    10: {"ag lime": 1.4, "potash": 4.4, "MAP": 3.4},
    11: {"ag lime": 2.5, "potash": 3.5, "MAP": 2.5},
}
# Two bins in one pass: (front, rear). Lime goes into the front bin alone, it would set in the corners of the other.
TWIN_MIX = {
    2: {("urea", "AMS"): 1},
    3: {("potash", "MAP"): 4, ("corn blend", "corn blend"): 3, ("urea", "AMS"): 3},
    4: {("corn blend", "corn blend"): 5, ("urea", "AMS"): 3, ("potash", "MAP"): 2},
    5: {("corn blend", "corn blend"): 5, ("urea", "AMS"): 5},
    6: {("urea", "AMS"): 1},
    7: {("ag lime", None): 1},
    8: {("ag lime", None): 1},
    9: {("ag lime", None): 2, ("potash", "MAP"): 7},
    10: {("ag lime", None): 1.4, ("potash", "MAP"): 7.8},
    11: {("ag lime", None): 2.5, ("potash", "MAP"): 6},
}
FRONT_SHARE = 0.6  # of a product that fills both bins


def shop_starts(machine):
    """First days of the shop visits while the records run."""
    starts = [date(year, month, day) for year in range(2021, 2027) for month, day in SHOP_DAYS[machine]]
    starts = [d + (7 - d.weekday()) * DAY if d.weekday() > 4 else d for d in starts]
    starts = [d for d in starts if records_from(machine) < d <= LAST_USE]
    return sorted(starts) + [LAST_SHOP[machine]]


def shop_days(machine):
    return {start + n * DAY for start in shop_starts(machine) for n in range(SHOP_LENGTH + 1)}


def work_days(machine, draws):
    """Days on which the machine went out."""
    closed = shop_days(machine)
    by_month = defaultdict(list)
    # Not on the first day itself: whose use that is, the fitting day's or the part's, need not be asked.
    for day in days(records_from(machine) + DAY, LAST_USE):
        if day.weekday() == 6 or day in closed or day.month not in WORK_DAYS:
            continue
        if day.month == 11 and day.day > LAST_DAY_OF_NOVEMBER_WORK:
            continue
        by_month[day.year, day.month].append(day)
    chosen = []
    for (year, month), open_days in sorted(by_month.items()):
        wanted = WORK_DAYS[month] * WEATHER[season_of(open_days[0])] * min(1, len(open_days) / 17)
        if month in (7, 8):  # nothing but lime on stubble
            wanted *= LIME_SHARE[machine]
        count = min(len(open_days), int(wanted + draws.unit()))
        ranked = sorted((draws.unit(), day) for day in open_days)
        chosen += [day for _, day in ranked[:count]]
    return sorted(chosen)


def tilted(machine, mix):
    """The mix of a month, leaning as this machine's customers do."""
    def lean(product):
        return {"ag lime": LIME_SHARE[machine], "corn blend": BLEND_SHARE[machine]}.get(product, 1)
    return {k: w * lean(k[0] if isinstance(k, tuple) else k) for k, w in mix.items()}


def day_size(machine, product, draws):
    base = 125 if product == "ag lime" else 245
    return base * SIZE[machine] * (0.5 + draws.unit())


def amounts(product, acres, draws):
    """Tons and hours of those acres, with the scatter of fields and loads."""
    _, rate, speed = PRODUCTS[product]
    return acres * rate * draws.between(0.85, 1.15), acres / (speed * draws.between(0.85, 1.12))


def usage_row(day, machine, product, acres, tons, hours, bin_name=""):
    return dict(date=day, machine=machine, product=product, acres=float(max(1, round(acres))), tons=round(tons, 1),
                hours=round(max(0.1, hours), 1), bin=bin_name)


def plain_day(day, machine, draws):
    mix = tilted(machine, PLAIN_MIX[day.month])
    first = draws.weighted(mix)
    rest = {p: w for p, w in mix.items() if p not in (first, "ag lime")}
    # Some days see a second product after a clean-out; lime is not mixed with other work.
    second = draws.weighted(rest) if rest and first != "ag lime" and draws.chance(0.3) else None
    for product, share in [(first, 0.65 if second else 1.0)] + ([(second, 0.4)] if second else []):
        acres = round(day_size(machine, product, draws) * share)
        tons, hours = amounts(product, acres, draws)
        yield usage_row(day, machine, product, acres, tons, hours)


def twin_day(day, machine, draws):
    """Both bins work in one pass: acres and hours are shared out by tons, so that they add up to the pass."""
    front, rear = draws.weighted(tilted(machine, TWIN_MIX[day.month]))
    acres = round(day_size(machine, front, draws))
    front_tons, hours = amounts(front, acres, draws)
    if rear is None:
        yield usage_row(day, machine, front, acres, front_tons, hours, "front")
        return
    if front == rear:
        front_tons, rear_tons = front_tons * FRONT_SHARE, front_tons * (1 - FRONT_SHARE)
    else:
        rear_tons = amounts(rear, acres, draws)[0]
    share = front_tons / (front_tons + rear_tons)
    front_acres = round(acres * share)
    yield usage_row(day, machine, front, front_acres, front_tons, hours * share, "front")
    yield usage_row(day, machine, rear, acres - front_acres, rear_tons, hours * (1 - share), "rear")


def all_usage():
    rows = []
    for machine in MACHINES:
        draws = Draws(f"usage {machine}")
        one_day = twin_day if machine == "twin bin" else plain_day
        for day in work_days(machine, draws):
            rows += one_day(day, machine, draws)
    return sorted(rows, key=lambda r: (r["date"], r["machine"], r["bin"], r["product"]))


# ---------------------------------------------------------------------------------------------
# Parts: wear, break, get bent, get changed
# ---------------------------------------------------------------------------------------------


@dataclass
class Piece:
    """One life: a part, or the set of a position."""

    machine: str
    position: str
    slot: str
    part: str
    fitted: date  # None: nobody knows
    entry: float
    life: float
    late: bool
    used: float = 0.0  # effective exposure, `entry` included
    raw: float = 0.0  # the same without wear factors
    good_on: date = None  # last shop visit at which it was still good
    worn_on: date = None  # day it wore out, while nobody has noticed
    ended: str = "running"
    removed: date = None

    @property
    def family(self):
        return PARTS[self.part]["family"]

    @property
    def truth(self):
        return TRUTHS[self.family]


NOTES = {
    ("conveyor-chain", "worn"): ["jumping the sprocket", "take-up at its end", ""],
    ("conveyor-chain", "broken"): ["pin let go under load", "link broke, box half full"],
    ("conveyor-chain", "damage"): ["bolt from the tender went through"],
    ("spinner-fin", "worn"): ["groove in the faces", "wear felt on the face", ""],
    ("spinner-fin", "broken"): ["fin tip gone"],
    ("spinner-fin", "damage"): ["bent by a stone", "stone in the lime"],
    ("frame-bushing", "worn"): ["adjustment used up", ""],
    ("frame-bushing", "broken"): ["cracked through"],
    ("shaft-bearing", "worn"): ["rough and hot", "play in it", ""],
    ("shaft-bearing", "broken"): ["seized", "cage gone"],
    ("deflector-flap", "worn"): ["torn at the bolts", ""],
    ("deflector-flap", "broken"): ["lost half of it"],
    ("deflector-flap", "damage"): ["caught on a gatepost", "backed into the pile"],
}


@dataclass
class Fleet:
    """The simulation: usage in, replacements and inspections out."""

    usage: list
    draws: Draws = field(default_factory=lambda: Draws("parts"))
    paper: Draws = field(default_factory=lambda: Draws("what got written down"))
    tape: Draws = field(default_factory=lambda: Draws("measuring"))
    running: dict = field(default_factory=dict)  # (machine, position) -> pieces
    lives: list = field(default_factory=list)
    replacements: list = field(default_factory=list)
    inspections: list = field(default_factory=list)
    serviced: dict = field(default_factory=dict)

    def run(self):
        self.use_of = defaultdict(list)
        for row in self.usage:
            self.use_of[row["date"], row["machine"]].append(row)
        for machine in MACHINES:
            self.fit_all(machine)
        for machine in MACHINES:
            visits = set(shop_starts(machine))
            for day in days(records_from(machine), LAST_SHOP[machine]):
                if self.use_of[day, machine]:
                    self.work(day, machine)
                if day in visits:
                    self.shop(day, machine)
        self.replacements.sort(key=lambda r: (r["date"], r["machine"], r["position"], r["slot"]))
        self.inspections.sort(key=lambda r: (r["date"], r["machine"], r["position"], r["slot"]))
        return self

    # -- fitting

    def fit_all(self, machine):
        for p in POSITIONS[machine]:
            where = machine, p["position"]
            if PARTS[p["part"]]["family"] not in TRUTHS:
                self.serviced[where] = p.get("installed", records_from(machine))
                continue
            start = p.get("installed", records_from(machine))
            entry = p.get(TRUTHS[PARTS[p["part"]]["family"]].measure + "_before", 0)
            known = start != UNKNOWN
            slots = p["slots"] if isinstance(p["slots"], list) else [""]
            self.running[where] = [
                self.piece(machine, p["position"], slot, p["part"], start if known else None,
                           float(entry) if known else UNKNOWN_TONS)
                for slot in slots
            ]

    def piece(self, machine, position_name, slot, number, fitted, entry=0.0):
        truth = TRUTHS[PARTS[number]["family"]]
        scale = truth.scale * MACHINE_EFFECT[machine]
        if number == STAINLESS_CHAIN:
            scale *= STAINLESS_EFFECT
        life = self.draws.weibull(truth.shape, scale, entry)
        late = self.draws.chance(truth.late)
        new = Piece(machine, position_name, slot, number, fitted, entry, life, late, used=entry, raw=entry)
        self.lives.append(new)
        return new

    # -- a day in the field

    def work(self, day, machine):
        apart = []
        for pieces in self.of(machine):
            rows = self.seen(day, pieces[0])
            for piece in pieces:
                truth = piece.truth
                for row in rows:
                    piece.raw += row[truth.measure]
                    piece.used += row[truth.measure] * truth.factors[PRODUCTS[row["product"]][0]]
                if piece.worn_on is None and piece.life <= piece.used:
                    piece.worn_on = day
                    if self.noticed(piece, day):
                        apart.append((piece, self.wear_word(piece)))
                elif piece.worn_on is None and self.struck(piece, rows):
                    apart.append((piece, "damage"))
        for piece, reason in apart:
            self.change(piece, day, reason, in_field=True)
            if piece.family == "shaft-bearing":
                self.other_side_too(piece, day)

    def of(self, machine):
        return [pieces for (m, _), pieces in self.running.items() if m == machine]

    def seen(self, day, piece):
        """The rows whose product passed this part."""
        spec = spec_of(piece.machine, piece.position)
        return [r for r in self.use_of[day, piece.machine] if spec["bin"] in ("", r["bin"])]

    def noticed(self, piece, day):
        """Whether the wear is seen on the very day; a late one waits for the shop, which saw it good before."""
        if piece.late and piece.good_on is not None:
            return False
        # Worn out on the last day before a shop visit: what does not stop the machine is left for the shop.
        if PARTS[piece.part]["critical"] == "degrades" and self.no_use_before_shop(piece, day):
            piece.good_on = None
            return False
        return True

    def no_use_before_shop(self, piece, day):
        visit = min(v for v in shop_starts(piece.machine) if v > day)
        return not any(self.seen(d, piece) for d in days(day + DAY, visit))

    def wear_word(self, piece):
        return "broken" if self.draws.chance(piece.truth.breaks) else "worn"

    def struck(self, piece, rows):
        hours = sum(r["hours"] for r in rows)
        return piece.truth.damage > 0 and self.draws.chance(1 - math.exp(-piece.truth.damage * hours))

    def other_side_too(self, piece, day):
        """With the shaft out, its second bearing is sometimes changed as well."""
        pieces = self.running[piece.machine, piece.position]
        other = pieces[[p.slot for p in pieces].index(piece.slot) ^ 1]
        if other.fitted == day or not self.draws.chance(0.3):
            return
        self.change(other, day, "worn" if other.worn_on else "planned", in_field=True, along=True)

    # -- a visit to the shop

    def shop(self, day, machine):
        winter = day.month >= 11
        fit_day = day + DAY
        for pieces in self.of(machine):
            for piece in list(pieces):
                self.measure(piece, day)
                if piece.worn_on:
                    self.change(piece, fit_day, "worn", in_field=False)
                elif (machine, piece.position) == UPGRADE and piece.part != STAINLESS_CHAIN and day > UPGRADE_AFTER:
                    self.change(piece, fit_day, "upgrade", in_field=False)
                elif winter and self.looks_old(piece) and self.draws.chance(0.3):
                    self.change(piece, fit_day, "planned", in_field=False)
                else:
                    piece.good_on = day
        self.service(day, machine)

    def looks_old(self, piece):
        """Age by plain tons, hours or acres, all that the shop can know; never the life it still has."""
        share = {"spinner-fin": 0.55, "frame-bushing": 0.85, "conveyor-chain": 0.6, "deflector-flap": 1.0}
        return piece.raw > share.get(piece.family, math.inf) * piece.truth.scale

    def measure(self, piece, day):
        wear = piece.used / piece.life
        if piece.family == "conveyor-chain" and self.tape.chance(0.6):
            value = CHAIN_WORN_AT * wear + 0.08 * self.tape.normal()
            self.inspect(piece, day, "elongation", "%", max(0.0, value))
        if piece.family == "frame-bushing" and self.tape.chance(0.3):
            value = PLAY_NEW + (PLAY_WORN_AT - PLAY_NEW) * wear + 0.12 * self.tape.normal()
            self.inspect(piece, day, "play", "mm", max(0.0, value))

    def inspect(self, piece, day, what, unit, value):
        self.inspections.append(dict(date=day, machine=piece.machine, position=piece.position, measure=what,
                                     value=round(value, 1), unit=unit, slot=piece.slot, note=""))

    def service(self, day, machine):
        """Fluids, once a year; the last visit is in November, a month before they fall due."""
        for (m, name), last in list(self.serviced.items()):
            if m != machine or (day - last).days < 345:
                continue
            self.serviced[m, name] = day + 2 * DAY
            spec = spec_of(m, name)
            self.write(day + 2 * DAY, m, name, spec["part"], "", spec["slots"], "planned")

    # -- changing a part

    def change(self, piece, day, reason, in_field, along=False):
        piece.ended, piece.removed = reason, day
        fitted = self.number_fitted(piece, day, reason)
        last_good = piece.good_on if reason in ("worn", "broken") and piece.worn_on and piece.worn_on < day else None
        spec = spec_of(piece.machine, piece.position)
        self.write(day, piece.machine, piece.position, piece.part, piece.slot,
                   spec["slots"] if piece.truth.counted == "set" else 1, reason,
                   fitted=fitted, last_good=last_good, in_field=in_field, along=along)
        pieces = self.running[piece.machine, piece.position]
        index = [p.slot for p in pieces].index(piece.slot)
        pieces[index] = self.piece(piece.machine, piece.position, piece.slot, fitted, day)

    def number_fitted(self, piece, day, reason):
        if reason == "upgrade":
            return STAINLESS_CHAIN
        if piece.part == OLD_CHAIN and day >= NEW_CHAIN_FROM:
            return NEW_CHAIN
        return piece.part

    def write(self, day, machine, position_name, number, slot, quantity, reason,
              fitted=None, last_good=None, in_field=False, along=False):
        """What the owner writes down, which is not always everything."""
        family = PARTS[number]["family"]
        fitted = fitted or number
        row = dict(date=day, machine=machine, position=position_name, part=fitted if fitted != number else "",
                   quantity=quantity, slot=slot, reason=reason, last_good=last_good, down_hours="", labor_hours="",
                   parts_cost="", note="")
        if in_field and not along and self.paper.chance(0.85):
            row["down_hours"] = quarter(self.paper.between(*TRUTHS[family].down))
        if self.paper.chance(0.85):
            spread = self.paper.between(0.8, 1.3) * (0.4 if along else 1)
            row["labor_hours"] = quarter(PARTS[fitted]["labor_hours"] * spread)
        if self.paper.chance(0.9):
            row["parts_cost"] = round(price_on(fitted, day) * quantity, 2)
        row["note"] = self.note(family, reason, along, in_field)
        self.replacements.append(row)

    def note(self, family, reason, along, in_field):
        if along:
            return "shaft was out anyway"
        if reason == "upgrade":
            return "stainless for the bin that carries AMS"
        if family not in TRUTHS:
            return ""
        if reason == "planned":
            return "did not trust it for another season"
        if not in_field:
            return self.paper.pick(["found in the shop", "found in the shop when measured", ""])
        return self.paper.pick(NOTES[family, reason])


def spec_of(machine, name):
    return next(p for p in POSITIONS[machine] if p["position"] == name)


def price_on(number, day):
    """Today's list price, 4 % less for every season back; the old chain cost what the new one would have."""
    today = PARTS[number]["price"] or PARTS[NEW_CHAIN]["price"]
    return today / 1.04 ** (2027 - season_of(day))


# ---------------------------------------------------------------------------------------------
# The season ahead
# ---------------------------------------------------------------------------------------------

PLAN_SEASONS = (2024, 2025, 2026)
PLAN_CHANGE = {"ag lime": 1.1}  # more lime is ordered for next year
STAYS_IN = {("creek rig", 11)}  # not going out again before the winter


def plan(usage):
    """Next season by month: the mean of three seasons, rounded as a planner would."""
    sums = defaultdict(lambda: [0.0, 0.0, 0.0])
    for r in usage:
        if season_of(r["date"]) in PLAN_SEASONS:
            total = sums[r["date"].month, r["machine"], r["product"], r["bin"]]
            for i, m in enumerate(("acres", "tons", "hours")):
                total[i] += r[m]
    rows = []
    for (month, machine, product, bin_name), total in sums.items():
        mean = total[0] / len(PLAN_SEASONS) * PLAN_CHANGE.get(product, 1)
        acres = round(mean, -1)
        if acres < 30 or (machine, month) in STAYS_IN:
            continue
        scale = acres / total[0]
        rows.append(dict(month=f"{2026 if month >= 11 else 2027}-{month:02}", machine=machine, product=product,
                         acres=int(acres), tons=round(total[1] * scale), hours=round(total[2] * scale, 1), bin=bin_name))
    return sorted(rows, key=lambda r: (r["month"], r["machine"], r["bin"], r["product"]))


STOCK = [
    dict(part="FIN-40", on_hand=4, on_order="", due=""),
    dict(part="BSH-12", on_hand=2, on_order="", due=""),
    dict(part="BRG-S", on_hand=1, on_order=2, due=date(2026, 12, 1)),
    dict(part="BRG-C", on_hand=0, on_order="", due=""),
    dict(part="CHN-211", on_hand=0, on_order=2, due=date(2027, 2, 15)),
    dict(part="FLP-7", on_hand=1, on_order="", due=""),
    dict(part="OIL-90", on_hand=2, on_order="", due=""),
    dict(part="HYD-32", on_hand=10, on_order="", due=""),
]

LABOR_RATE, DOWN_COST = 130, 380

SETTINGS = f"""\
# Invented settings of an invented owner.
currency = "$"
units = "us"
season_starts = "11-01"
labor_rate = {LABOR_RATE}            # an hour in the shop
down_cost_per_hour = {DOWN_COST}    # the machine, its tender and two people standing still
price_change = 0.04         # next season's prices against the parts list
plan_change = 0.0
reference_group = "dry fertilizer"
service_level = 0.90
holding_rate = 0.10
rush_cost = 0.15
return_rate = 0.15
"""

# ---------------------------------------------------------------------------------------------
# Files
# ---------------------------------------------------------------------------------------------


def machine_rows():
    return [dict(machine=name, **m) for name, m in MACHINES.items()]


def position_rows():
    rows = []
    for machine, positions in POSITIONS.items():
        for p in positions:
            slots = p["slots"]
            rows.append(dict(machine=machine, position=p["position"], part=p["part"],
                             quantity=len(slots) if isinstance(slots, list) else slots, bin=p["bin"],
                             installed=p.get("installed", ""), acres_before=p.get("acres_before", ""),
                             tons_before=p.get("tons_before", ""), hours_before=p.get("hours_before", "")))
    return rows


def product_rows():
    return [dict(product=name, group=group) for name, (group, _, _) in PRODUCTS.items()]


def table(rows):
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(rows[0])
    writer.writerows([text(v) for v in row.values()] for row in rows)
    return out.getvalue()


def build():
    """Every file's text by name, and the simulation they came from."""
    usage = all_usage()
    fleet = Fleet(usage).run()
    tables = dict(machines=machine_rows(), positions=position_rows(), parts=list(PARTS.values()),
                  products=product_rows(), usage=usage, replacements=fleet.replacements,
                  inspections=fleet.inspections, plan=plan(usage), stock=STOCK)
    files = {f"{name}.csv": table(rows) for name, rows in tables.items()}
    files["settings.toml"] = SETTINGS
    return files, fleet


# ---------------------------------------------------------------------------------------------
# Reading back: lives from the files alone, held against the truth
# ---------------------------------------------------------------------------------------------


class Checks:
    """Counts what was checked and keeps what failed."""

    def __init__(self):
        self.done, self.failed = 0, []

    def that(self, holds, message):
        self.done += 1
        if not holds:
            self.failed.append(message)


def read(name):
    with open(HERE / f"{name}.csv", encoding="utf-8", newline="") as f:
        return list(csv.DictReader(f))


def iso(cell):
    """A date, written exactly as ISO 8601 has it; `None` otherwise."""
    try:
        day = date.fromisoformat(cell)
    except ValueError:
        return None
    return day if day.isoformat() == cell else None


def check_cells(tables, checks):
    """Dates, numbers, repeated rows."""
    dated = {"machines": ["in_service", "records_from"], "positions": ["installed"], "usage": ["date"],
             "replacements": ["date", "last_good"], "inspections": ["date"], "stock": ["due"]}
    counted = {"positions": ["quantity", "acres_before", "tons_before", "hours_before"],
               "parts": ["price", "pack", "lead_days", "labor_hours", "min_order", "lead_days_spread"],
               "usage": ["acres", "tons", "hours"], "plan": ["acres", "tons", "hours"],
               "replacements": ["quantity", "down_hours", "labor_hours", "parts_cost"], "inspections": ["value"],
               "stock": ["on_hand", "on_order"]}
    for name, rows in tables.items():
        seen = set()
        for i, row in enumerate(rows, 2):
            where = f"{name}, row {i}"
            checks.that(tuple(row.values()) not in seen, f"{where}: same as an earlier row")
            seen.add(tuple(row.values()))
            checks.that(None not in row and None not in row.values(), f"{where}: ragged")
            for column in dated.get(name, []):
                if row[column] not in ("", UNKNOWN):
                    checks.that(iso(row[column]), f"{where}, {column}: {row[column]}")
            for column in counted.get(name, []):
                if row[column]:
                    checks.that(float(row[column]) >= 0, f"{where}, {column}: {row[column]}")
    for row in tables["plan"]:
        checks.that(len(row["month"]) == 7 and iso(row["month"] + "-01"), f"plan month {row['month']}")


def check_references(tables, checks):
    """Every name stands in its own table, nothing happens before records start."""
    machines = {r["machine"]: iso(r["records_from"] or r["in_service"]) for r in tables["machines"]}
    positions = {(r["machine"], r["position"]): r for r in tables["positions"]}
    parts = {r["part"]: r for r in tables["parts"]}
    products = {r["product"] for r in tables["products"]}
    bins = defaultdict(set)
    for r in tables["positions"]:
        bins[r["machine"]].add(r["bin"])
    checks.that(len(positions) == len(tables["positions"]), "a position is named twice")
    for r in tables["positions"]:
        checks.that(r["part"] in parts and r["machine"] in machines, f"position {r['position']}")
    for r in parts.values():
        checks.that(not r["replaces"] or r["replaces"] in parts, f"{r['part']} replaces {r['replaces']}")
    for name in ("usage", "plan"):
        for r in tables[name]:
            checks.that(r["machine"] in machines and r["product"] in products, f"{name}: {r}")
            checks.that(r["bin"] in bins[r["machine"]], f"{name}: bin {r['bin']} of {r['machine']}")
    for r in tables["usage"]:
        checks.that(iso(r["date"]) >= machines[r["machine"]], f"usage before records start: {r}")
    for name in ("replacements", "inspections"):
        for r in tables[name]:
            checks.that((r["machine"], r["position"]) in positions, f"{name}: {r}")
            checks.that(iso(r["date"]) >= machines[r["machine"]], f"{name} before records start: {r}")
    for r in tables["replacements"]:
        held = positions[r["machine"], r["position"]]
        checks.that(0 < float(r["quantity"]) <= float(held["quantity"]), f"quantity: {r}")
        checks.that(r["reason"] in ("worn", "broken", "planned", "damage", "upgrade"), f"reason: {r}")
        fitted = parts.get(r["part"] or held["part"])
        checks.that(fitted and fitted["family"] == parts[held["part"]]["family"], f"part: {r}")
    for r in tables["stock"]:
        checks.that(r["part"] in parts, f"stock: {r['part']}")


def lives_of_position(spec, rows):
    """Fitted, removed, ending and last_good of every life of a position, from its rows alone."""
    each = TRUTHS[spec["family"]].counted == "each"
    start = iso(spec["installed"]) if spec["installed"] else spec["records_from"]
    # Pieces not yet named in the records: any of them may take the first new slot name, all are equally old.
    nameless = int(float(spec["quantity"])) if each else 1
    fitted_of, part_of, lives = {}, defaultdict(lambda: spec["part"]), []
    for r in sorted(rows, key=lambda r: r["date"]):
        slot = r["slot"] if each else ""
        if slot not in fitted_of:
            nameless -= 1
            fitted_of[slot] = start
        lives.append(dict(spec, slot=slot, part=part_of[slot], fitted=fitted_of[slot], removed=iso(r["date"]),
                          ended=r["reason"], last_good=iso(r["last_good"])))
        fitted_of[slot] = iso(r["date"])
        part_of[slot] = r["part"] or part_of[slot]
    if nameless < 0:
        raise ValueError(f"more slots than pieces: {spec['machine']} {spec['position']}")
    still = [(s, f) for s, f in fitted_of.items()] + [(None, start)] * nameless
    lives += [dict(spec, slot=s, part=part_of[s], fitted=f, removed=None, ended="running", last_good=None) for s, f in still]
    return lives


def exposure_until(life, usage, last):
    """Effective exposure at the end of `last`, since new; the day of fitting belongs to the part before."""
    truth = TRUTHS[life["family"]]
    first_fitted = life["fitted"] is None or life["fitted"] <= life["records_from"]
    total = float(life[truth.measure + "_before"] or 0) if life["was_before"] else 0.0
    for day, product, row in usage:
        counts = day <= last and (first_fitted or day > life["fitted"])
        if counts:
            total += float(row[truth.measure]) * truth.factors[PRODUCTS[product][0]]
    return total


def ends(life, usage, as_of):
    """Entry, low and end in effective exposure, as DEVELOPERS.md says a row is read."""
    life["was_before"] = life["fitted"] is None or life["fitted"] < life["records_from"]
    end_day = life["removed"] or as_of
    end = exposure_until(life, usage, end_day)
    low = end
    if life["ended"] in ("worn", "broken"):
        used_days = sorted({day for day, _, _ in usage if day <= end_day})
        # The day of last use is used_days[-1]; the lower end is how it stood when the use day before it closed.
        known_good = used_days[-2] if len(used_days) > 1 else date.min
        if life["last_good"]:
            known_good = min(known_good, life["last_good"])
        low = exposure_until(life, usage, known_good)
    entry = exposure_until(life, usage, date.min)
    return entry, low, end


def lives_from_files(tables):
    parts = {r["part"]: r for r in tables["parts"]}
    starts = {r["machine"]: iso(r["records_from"] or r["in_service"]) for r in tables["machines"]}
    as_of = max(iso(r["date"]) for name in ("usage", "replacements", "inspections") for r in tables[name])
    lives = []
    for p in tables["positions"]:
        family = parts[p["part"]]["family"]
        if family not in TRUTHS:
            continue
        spec = dict(p, family=family, records_from=starts[p["machine"]])
        mine = [r for r in tables["replacements"] if (r["machine"], r["position"]) == (p["machine"], p["position"])]
        usage = [(iso(r["date"]), r["product"], r) for r in tables["usage"]
                 if r["machine"] == p["machine"] and p["bin"] in ("", r["bin"])]
        for life in lives_of_position(spec, mine):
            life["entry"], life["low"], life["end"] = ends(life, usage, as_of)
            lives.append(life)
    return lives, as_of


def check_lives(lives, fleet, checks):
    """Each life of the files against the life that was simulated."""
    true = defaultdict(list)
    for piece in fleet.lives:
        # Pieces still running under a slot that no row names are told apart by nothing; any of them will do.
        true[piece.machine, piece.position, piece.fitted, piece.removed].append(piece)
    checks.that(len(lives) == len(fleet.lives), f"{len(lives)} lives in the files, {len(fleet.lives)} simulated")
    for life in lives:
        key = life["machine"], life["position"], life["fitted"], life["removed"]
        same = [p for p in true[key] if life["slot"] in (p.slot, None)]
        checks.that(same, f"no such life: {key}")
        if not same:
            continue
        piece = same[0]
        true[key].remove(piece)
        checks.that((piece.ended, piece.part) == (life["ended"], life["part"]), f"ending or part: {key}")
        if life["fitted"] is None:
            continue  # nobody knows where it began
        if life["ended"] in ("worn", "broken"):
            inside = life["low"] - 1e-6 < piece.life <= life["end"] + 1e-6
            checks.that(inside, f"{key}: true life {piece.life:.1f} not in ({life['low']:.1f}, {life['end']:.1f}]")
            checks.that(life["low"] < life["end"], f"{key}: nothing was used")
            checks.that(life["last_good"] is None or life["fitted"] <= life["last_good"] <= life["removed"],
                        f"{key}: last_good {life['last_good']}")
        else:
            checks.that(life["end"] < piece.life + 1e-6, f"{key}: outlived its true life {piece.life:.1f}")
        checks.that(abs(life["entry"] - piece.entry) < 1e-6, f"{key}: entry {life['entry']}")


def check_inspections(tables, checks):
    """A reading on the day of a change would leave open which part was measured."""
    changed = {(r["machine"], r["position"], r["date"]) for r in tables["replacements"]}
    for r in tables["inspections"]:
        checks.that((r["machine"], r["position"], r["date"]) not in changed, f"measured on the day of a change: {r}")


def verify():
    files, fleet = build()
    checks = Checks()
    for name, wanted in files.items():
        checks.that((HERE / name).read_bytes() == wanted.encode(), f"{name} is not what the recipe writes")
    names = [n.removesuffix(".csv") for n in files if n.endswith(".csv")]
    tables = {name: read(name) for name in names}
    check_cells(tables, checks)
    check_references(tables, checks)
    check_inspections(tables, checks)
    lives, _ = lives_from_files(tables)
    check_lives(lives, fleet, checks)
    for failure in checks.failed:
        print("failed:", failure, file=sys.stderr)
    print(f"{checks.done} checks, {len(checks.failed)} failed")
    return 1 if checks.failed else 0


# ---------------------------------------------------------------------------------------------
# What an owner would add up
# ---------------------------------------------------------------------------------------------


def summarize_use(usage):
    total = defaultdict(lambda: [0.0, 0.0, 0.0])
    for r in usage:
        season, group = season_of(iso(r["date"])), PRODUCTS[r["product"]][0]
        for key in [(season, r["machine"], ""), (season, "all", ""), (0, r["machine"], group), (0, "all", group)]:
            for i, m in enumerate(("acres", "tons", "hours")):
                total[key][i] += float(r[m])
    print(f"{'season':8}{'machine':12}{'group':18}{'acres':>9}{'tons':>9}{'hours':>8}")
    for (season, machine, group), (acres, tons, hours) in sorted(total.items()):
        print(f"{season or 'all':<8}{machine:12}{group:18}{acres:9.0f}{tons:9.0f}{hours:8.0f}")
    return {season: v[0] for (season, machine, _), v in total.items() if machine == "all" and season}


def summarize_replacements(tables):
    family_of = {r["part"]: r["family"] for r in tables["parts"]}
    at = {(r["machine"], r["position"]): family_of[r["part"]] for r in tables["positions"]}
    count, reasons = defaultdict(int), defaultdict(int)
    for r in tables["replacements"]:
        count[at[r["machine"], r["position"]], season_of(iso(r["date"]))] += 1
        reasons[at[r["machine"], r["position"]], r["reason"]] += 1
    print(f"\n{'replacement rows':18}" + "".join(f"{s:>7}" for s in range(2022, 2028)), "  by reason")
    for family in sorted(set(at.values())):
        words = ", ".join(f"{n} {reason}" for (f, reason), n in sorted(reasons.items()) if f == family)
        print(f"{family:18}" + "".join(f"{count[family, s]:7}" for s in range(2022, 2028)), " ", words)


def summarize_lives(lives):
    print(f"\n{'family':18}{'lives':>7}{'worn':>7}{'late entry':>12}{'unknown':>9}")
    for family in [*TRUTHS, "all"]:
        mine = [v for v in lives if family in (v["family"], "all")]
        worn = sum(v["ended"] in ("worn", "broken") and v["fitted"] is not None for v in mine)
        late = sum(v["entry"] > 0 for v in mine)
        print(f"{family:18}{len(mine):7}{worn:7}{late:12}{sum(v['fitted'] is None for v in mine):9}")


def summarize_money(tables, acres):
    """Parts at the price of the day and labor at today's rate, with the list where nothing was written down."""
    at = {(r["machine"], r["position"]): r["part"] for r in tables["positions"]}
    wear, fluids, down = defaultdict(float), defaultdict(float), defaultdict(float)
    for r in tables["replacements"]:
        number, day = r["part"] or at[r["machine"], r["position"]], iso(r["date"])
        labor = float(r["labor_hours"] or PARTS[number]["labor_hours"])
        money = float(r["parts_cost"] or price_on(number, day) * float(r["quantity"])) + LABOR_RATE * labor
        (wear if PARTS[number]["family"] in TRUTHS else fluids)[season_of(day)] += money
        down[season_of(day)] += DOWN_COST * float(r["down_hours"] or 0)
    print(f"\n{'season':8}{'wear parts':>12}{'an acre':>9}{'fluids':>9}{'all, an acre':>14}{'stood still':>13}")
    for s, a in sorted(acres.items()):
        print(f"{s:<8}{wear[s]:12.0f}{wear[s] / a:9.2f}{fluids[s]:9.0f}{(wear[s] + fluids[s]) / a:14.2f}{down[s]:13.0f}")


def summary():
    files, _ = build()
    tables = {n.removesuffix(".csv"): read(n.removesuffix(".csv")) for n in files if n.endswith(".csv")}
    print("rows: " + ", ".join(f"{name} {len(rows)}" for name, rows in tables.items()) + "\n")
    acres = summarize_use(tables["usage"])
    summarize_replacements(tables)
    lives, as_of = lives_from_files(tables)
    summarize_lives(lives)
    summarize_money(tables, acres)
    planned = sum(float(r["acres"]) for r in tables["plan"]), sum(float(r["tons"]) for r in tables["plan"])
    print(f"\nplanned: {planned[0]:.0f} acres, {planned[1]:.0f} tons; last record {as_of}")
    return 0


def write():
    files, _ = build()
    for name, content in files.items():
        (HERE / name).write_bytes(content.encode())
    print(f"{len(files)} files written to {HERE}")
    return 0


def main():
    parser = argparse.ArgumentParser(description="An invented owner's records.")
    job = parser.add_mutually_exclusive_group()
    job.add_argument("--verify", action="store_true", help="read the files back and check them")
    job.add_argument("--summary", action="store_true", help="print seasons, replacements and money")
    args = parser.parse_args()
    return verify() if args.verify else summary() if args.summary else write()


if __name__ == "__main__":
    sys.exit(main())
