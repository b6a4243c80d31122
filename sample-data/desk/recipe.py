#!/usr/bin/env python3
"""An invented parts desk: 140 spreaders of 40 customers, 60 part numbers, six seasons.

    python3 sample-data/desk/recipe.py             write the tables beside this file
    python3 sample-data/desk/recipe.py --summary   print what was simulated; write nothing

Standard library only; `common`, `fieldwork` and `wearing` stand in the folder above.
"""

import math
import sys
from datetime import date
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.dont_write_bytecode = True
sys.path.insert(0, str(HERE.parent))

from common import Draws, main, table  # noqa: E402
from fieldwork import Machine, all_usage, plan, with_blanks  # noqa: E402
from wearing import (Position, Reading, Rules, Shop, Special, Truth, machine_rows, position_rows,  # noqa: E402
                     summary)

SEED = 1  # the first tried

# ---------------------------------------------------------------------------------------------
# The truth: what a perfect fit would find
# ---------------------------------------------------------------------------------------------

DRY, CORROSIVE, LIME = "dry fertilizer", "corrosive blend", "lime"


def factors(corrosive, lime):
    return {DRY: 1.0, CORROSIVE: corrosive, LIME: lime}


NO_FACTORS = factors(1.0, 1.0)  # by the calendar

TRUTHS = {
    "conveyor-chain": Truth("tons", 2.9, 8500, factors(1.6, 2.3), "set", late=0.25, breaks=0.45, damage=0.0001,
                            down=(5, 9), old=0.55, reading=Reading("elongation", "%", 0.0, 3.0, 0.1, 0.15)),
    "sprocket": Truth("tons", 2.8, 16000, factors(1.3, 2.0), "set", late=0.5, breaks=0.1, down=(4, 7), old=0.55),
    "spinner-fin": Truth("tons", 3.6, 9000, factors(1.2, 2.6), "set", late=0.3, breaks=0.05, damage=0.0003,
                         down=(1, 2.5), old=0.55),
    "spinner-disc": Truth("tons", 3.3, 26000, factors(1.2, 2.2), late=0.4, breaks=0.05, damage=0.0001, down=(1, 3)),
    "spinner-bearing": Truth("hours", 1.7, 1000, factors(1.5, 1.2), late=0.15, breaks=0.5, down=(3, 6)),
    "shaft-bearing": Truth("hours", 1.6, 1500, factors(1.5, 1.3), late=0.15, breaks=0.5, down=(3, 6)),
    "frame-bushing": Truth("hours", 2.6, 950, factors(1.3, 1.7), late=0.6, breaks=0.05, old=0.95),
    "chute-liner": Truth("tons", 3.4, 18000, factors(1.1, 2.4), "set", late=0.6, breaks=0.0, down=(2, 4)),
    "hydraulic-motor": Truth("hours", 1.5, 2600, factors(1.2, 1.1), late=0.1, breaks=0.6, down=(4, 8)),
    "gearcase-seal": Truth("hours", 1.7, 1300, factors(1.4, 1.2), late=0.5, breaks=0.1, down=(2, 4)),
    "hydraulic-hose": Truth("days", 2.1, 2900, NO_FACTORS, late=0.1, breaks=0.7, damage=0.0002, down=(1, 3)),
    "sensor": Truth("days", 1.0, 2200, NO_FACTORS, late=0.0, breaks=0.9, damage=0.0002, down=(0.5, 2)),
}
STAINLESS = Special(against={DRY: 1.25, CORROSIVE: 1.7, LIME: 1.05})
SPECIAL = {"CH-112S": STAINLESS, "CH-211S": STAINLESS, "FN-24H": Special(life=1.3)}
MACHINE_SPREAD = 0.15  # of log life

PRODUCTS = {  # product: (group, tons an acre, acres an hour)
    "potash": (DRY, 0.115, 60),
    "MAP": (DRY, 0.080, 62),
    "urea": (DRY, 0.105, 60),
    "AMS": (CORROSIVE, 0.055, 62),
    "corn blend": (CORROSIVE, 0.165, 56),
    "ag lime": (LIME, 2.0, 36),
}

# ---------------------------------------------------------------------------------------------
# The parts list: 60 numbers
# ---------------------------------------------------------------------------------------------

C, S, H, B, R = "carbon steel", "stainless steel", "hardened steel", "bronze", "rubber"
PART_ROWS = [
    # number, family, description, material, price, pack, lead, spread, labor, kit, critical, min_order, replaces
    ("CH-110", "conveyor-chain", "chain, narrow floor, one strand", C, "", 2, "", "", 8, "conveyor", "stops", "", ""),
    ("CH-111", "conveyor-chain", "chain, narrow floor, one strand", C, "", 2, "", "", 8, "conveyor", "stops", "", "CH-110"),
    ("CH-112", "conveyor-chain", "chain, narrow floor, one strand", C, 1490, 2, 18, 1.8, 8, "conveyor", "stops", "", "CH-111"),
    ("CH-112S", "conveyor-chain", "chain, narrow floor, one strand", S, 2380, 2, 32, 2.0, 8, "conveyor", "stops", "", ""),
    ("CH-210", "conveyor-chain", "chain, wide floor, one strand", C, "", 2, "", "", 9, "conveyor", "stops", "", ""),
    ("CH-211", "conveyor-chain", "chain, wide floor, one strand", C, 1820, 2, 18, 1.8, 9, "conveyor", "stops", "", "CH-210"),
    ("CH-211S", "conveyor-chain", "chain, wide floor, one strand", S, 2890, 2, 32, 2.0, 9, "conveyor", "stops", "", ""),
    ("CH-310", "conveyor-chain", "chain, twin bins, one strand", C, 1280, 2, 24, 1.8, 7, "conveyor", "stops", "", ""),
    ("SP-11", "sprocket", "sprocket, narrow floor", H, "", 1, "", "", 5, "conveyor", "degrades", "", ""),
    ("SP-12", "sprocket", "sprocket, narrow floor", H, 118, 1, 12, 1.6, 5, "conveyor", "degrades", "", "SP-11"),
    ("SP-21", "sprocket", "sprocket, wide floor", H, 141, 1, 12, 1.6, 5, "conveyor", "degrades", "", ""),
    ("SP-31", "sprocket", "sprocket, twin bins", H, 109, 1, 14, 1.6, 4.5, "conveyor", "degrades", "", ""),
    ("FN-14", "spinner-fin", "fin, short", H, "", 4, "", "", 1.5, "", "degrades", "", ""),
    ("FN-15", "spinner-fin", "fin, short, thicker root", H, 62, 4, 6, 1.6, 1.5, "", "degrades", "", "FN-14"),
    ("FN-24", "spinner-fin", "fin, long", H, 74, 4, 6, 1.6, 1.5, "", "degrades", "", ""),
    ("FN-24H", "spinner-fin", "fin, long, hard-faced", "hard-faced steel", 109, 4, 14, 1.8, 1.5, "", "degrades", "", ""),
    ("DS-1", "spinner-disc", "disc, small", C, 168, 1, 10, 1.6, 1.5, "", "degrades", "", ""),
    ("DS-2", "spinner-disc", "disc, large", C, "", 1, "", "", 1.5, "", "degrades", "", ""),
    ("DS-3", "spinner-disc", "disc, large, new hub", C, 214, 1, 10, 1.6, 1.5, "", "degrades", "", "DS-2"),
    ("BR-40", "spinner-bearing", "spinner bearing", "steel", "", 1, "", "", 2.5, "spinner shaft", "stops", "", ""),
    ("BR-41", "spinner-bearing", "spinner bearing, double seal", "steel", 126, 1, 4, 1.5, 2.5, "spinner shaft", "stops", "", "BR-40"),
    ("BR-45", "spinner-bearing", "spinner bearing, large", "steel", 158, 1, 6, 1.6, 2.5, "spinner shaft", "stops", "", ""),
    ("BR-50", "shaft-bearing", "conveyor bearing", "steel", 149, 1, 4, 1.5, 3, "conveyor", "stops", "", ""),
    ("BR-55", "shaft-bearing", "conveyor bearing, large", "steel", "", 1, "", "", 3, "conveyor", "stops", "", ""),
    ("BR-56", "shaft-bearing", "conveyor bearing, large", "steel", 181, 1, 6, 1.6, 3, "conveyor", "stops", "", "BR-55"),
    ("BU-12", "frame-bushing", "guide bushing", B, "", 2, "", "", 1.5, "", "degrades", "", ""),
    ("BU-13", "frame-bushing", "guide bushing, grooved", B, 44, 2, 9, 1.6, 1.5, "", "degrades", 8, "BU-12"),
    ("LN-11", "chute-liner", "chute liners, narrow floor", S, 286, 1, 21, 1.8, 5, "", "degrades", "", ""),
    ("LN-21", "chute-liner", "chute liners, wide floor", S, 342, 1, 21, 1.8, 5, "", "degrades", "", ""),
    ("LN-31", "chute-liner", "chute liners, twin bins", S, 238, 1, 28, 1.8, 4, "", "degrades", "", ""),
    ("HM-1", "hydraulic-motor", "spinner motor", "", "", 1, "", "", 3, "", "stops", "", ""),
    ("HM-2", "hydraulic-motor", "spinner motor", "", 645, 1, 14, 1.8, 3, "", "stops", "", "HM-1"),
    ("HM-5", "hydraulic-motor", "spinner motor, large", "", 790, 1, 14, 1.8, 3, "", "stops", "", ""),
    ("GS-1", "gearcase-seal", "gearcase seal", R, "", 2, "", "", 2, "", "degrades", "", ""),
    ("GS-2", "gearcase-seal", "gearcase seal, two lips", R, 19.5, 2, 4, 1.5, 2, "", "degrades", 4, "GS-1"),
    ("HH-08", "hydraulic-hose", "hose, 1/2 inch", R, 58, 1, 2, 1.5, 1, "", "stops", "", ""),
    ("HH-12", "hydraulic-hose", "hose, 3/4 inch", R, "", 1, "", "", 1, "", "stops", "", ""),
    ("HH-13", "hydraulic-hose", "hose, 3/4 inch, more wire", R, 86, 1, 2, 1.5, 1, "", "stops", "", "HH-12"),
    ("SN-1", "sensor", "speed sensor", "", "", 1, "", "", 0.75, "", "stops", "", ""),
    ("SN-2", "sensor", "speed sensor", "", "", 1, "", "", 0.75, "", "stops", "", "SN-1"),
    ("SN-3", "sensor", "speed sensor, sealed plug", "", 132, 1, 7, 1.6, 0.75, "", "stops", "", "SN-2"),
    ("SN-5", "sensor", "gate sensor", "", 174, 1, 10, 1.6, 0.75, "", "degrades", "", ""),
    ("OIL-90", "gearcase-oil", "gear oil 80W-90, US pint", "", 7.2, 12, 2, 1.4, 0.75, "", "stops", "", ""),
    ("HYD-32", "hydraulic-fluid", "hydraulic fluid, US gallon", "", 15.4, 5, 2, 1.4, 2.5, "", "stops", "", ""),
    ("FL-1", "hydraulic-filter", "return filter", "", "", 1, "", "", 0.5, "", "stops", "", ""),
    ("FL-2", "hydraulic-filter", "return filter, finer", "", 38, 1, 3, 1.4, 0.5, "", "stops", "", "FL-1"),
    # On the shelf, and no machine of any customer takes them.
    ("CH-090", "conveyor-chain", "chain, old narrow floor, one strand", C, 1160, 2, "", "", 8, "conveyor", "stops", "", ""),
    ("CH-310S", "conveyor-chain", "chain, twin bins, one strand", S, 2050, 2, 32, 2.0, 7, "conveyor", "stops", "", ""),
    ("SP-09", "sprocket", "sprocket, old narrow floor", H, 96, 1, "", "", 5, "conveyor", "degrades", "", ""),
    ("FN-09", "spinner-fin", "fin, old short", C, 41, 4, "", "", 1.5, "", "degrades", "", ""),
    ("DS-0", "spinner-disc", "disc, old", C, 131, 1, "", "", 1.5, "", "degrades", "", ""),
    ("BR-39", "spinner-bearing", "spinner bearing, old housing", "steel", 112, 1, "", "", 2.5, "", "stops", "", ""),
    ("LN-09", "chute-liner", "chute liners, old narrow floor", C, 205, 1, "", "", 5, "", "degrades", "", ""),
    ("BT-60", "conveyor-belt", "belt over chain, wide floor", R, 960, 1, 28, 1.8, 6, "", "stops", "", ""),
    ("HM-9", "hydraulic-motor", "spinner motor, old flange", "", 570, 1, "", "", 3, "", "stops", "", ""),
    ("HH-20", "hydraulic-hose", "hose, 1 1/4 inch", R, 142, 1, 4, 1.5, 1.5, "", "stops", "", ""),
    ("SN-8", "sensor", "scale cell", "", 410, 1, 21, 1.8, 2, "", "degrades", "", ""),
    ("ON-1", "oiler-nozzle", "oiler nozzle", B, 12.5, 4, 6, 1.5, 0.5, "", "degrades", "", ""),
    ("DV-1", "divider-liner", "divider liner", S, 88, 2, 14, 1.8, 2, "", "degrades", "", ""),
    ("FL-9", "hydraulic-filter", "suction filter, old", "", 29, 1, "", "", 0.5, "", "stops", "", ""),
]
COLUMNS = ("part", "family", "description", "material", "price", "pack", "lead_days", "lead_days_spread", "labor_hours",
           "kit", "critical", "min_order", "replaces")
PARTS = {row[0]: dict(zip(COLUMNS, row)) for row in PART_ROWS}
SUCCESSOR = {
    "CH-110": ("CH-111", date(2020, 11, 1)), "CH-111": ("CH-112", date(2023, 11, 1)),
    "CH-210": ("CH-211", date(2022, 2, 1)), "SP-11": ("SP-12", date(2022, 11, 1)),
    "FN-14": ("FN-15", date(2023, 2, 1)), "DS-2": ("DS-3", date(2022, 6, 1)),
    "BR-40": ("BR-41", date(2022, 11, 1)), "BR-55": ("BR-56", date(2024, 3, 1)),
    "BU-12": ("BU-13", date(2023, 11, 1)), "HM-1": ("HM-2", date(2023, 6, 1)), "GS-1": ("GS-2", date(2021, 11, 1)),
    "HH-12": ("HH-13", date(2022, 4, 1)), "SN-1": ("SN-2", date(2021, 3, 1)), "SN-2": ("SN-3", date(2024, 11, 1)),
    "FL-1": ("FL-2", date(2024, 11, 1)),
}

KINDS = {  # kind: numbers first fitted
    "narrow": dict(chain="CH-110", sprocket="SP-11", fin="FN-14", disc="DS-1", spinner="BR-40", shaft="BR-50",
                   liner="LN-11", motor="HM-1", hose="HH-08"),
    "wide": dict(chain="CH-210", sprocket="SP-21", fin="FN-24", disc="DS-2", spinner="BR-45", shaft="BR-55",
                 liner="LN-21", motor="HM-5", hose="HH-12"),
    "twin": dict(chain="CH-310", sprocket="SP-31", fin="FN-24", disc="DS-2", spinner="BR-45", shaft="BR-50",
                 liner="LN-31", motor="HM-5", hose="HH-12"),
}
BEARINGS = ["left upper", "left lower", "right upper", "right lower"]
GUIDES = ["front left", "front right", "rear left", "rear right"]
SIDES = ["left", "right"]

# ---------------------------------------------------------------------------------------------
# Customers and their machines
# ---------------------------------------------------------------------------------------------

FIRST = ["Amber", "Brindle", "Copper", "Dapple", "Ember", "Flint", "Gannet", "Hazel"]
SECOND = ["Hollow", "Ford", "Bench", "Marsh", "Knoll"]
CUSTOMERS = [f"{first} {second}" for second in SECOND for first in FIRST]
MACHINES_OF = [7, 6, 6, 5, 5, 5, 5, 4, 4, 4, 4, 4, 4, 4, 4, 4, 3, 3, 3, 3, 3, 3, 3, 3, 3, 3, 3, 3, 3, 3, 3, 3, 3, 2, 2,
               2, 2, 2, 2, 2]
NO_LOG = set(range(5, 40, 3))  # customers who keep no log: only what they own is known
HARD_FINS = {2, 7, 13, 21}  # customers who buy the hard-faced fins
CHANGEOVER_CUSTOMERS = {3: "CH-112S", 12: "CH-211S"}  # stainless chain for corrosive work, from 1 November 2023


def customers():
    """Name, leaning of the work, whether a log is kept and since when, whether there is a plan."""
    found = []
    for i, name in enumerate(CUSTOMERS):
        draws = Draws(SEED, f"customer {name}")
        found.append(dict(
            name=name, index=i, machines=MACHINES_OF[i], lime=math.exp(0.6 * draws.normal()),
            corrosive=math.exp(0.7 * draws.normal()), log=i not in NO_LOG,
            since=date(draws.pick([2020, 2020, 2020, 2020, 2020, 2021, 2022]), 11, 1),
            plan=draws.chance(0.6) if i not in NO_LOG else i % 2 == 0, yard=draws.pick(["north", "east", "south"])))
    return found


def machine(number, customer):
    name = f"D-{number:03}"
    draws = Draws(SEED, f"machine {name}")
    kind = draws.weighted({"narrow": 5, "wide": 3.5, "twin": 1.5} if customer["log"] else {"narrow": 5, "wide": 3.5})
    in_service = date(2008 + int(draws.unit() * 16), draws.pick([2, 3, 8, 11]), 1 + int(draws.unit() * 27))
    log_from = customer["since"] if customer["log"] else LOG_BEGINS_NOW
    records_from = log_from if in_service < log_from else None
    retired = date(2023 + int(draws.unit() * 3), 8, 15) if customer["log"] and draws.chance(0.1) else None
    if retired and retired < date(in_service.year + 2, 1, 1):
        retired = None
    bins = ("front", "rear") if kind == "twin" else ("",)
    m = Machine(name, in_service, records_from, retired,
                columns=dict(customer=customer["name"], site=customer["yard"], kind=kind),
                bins=bins, size=draws.between(0.8, 1.15), busy=draws.between(1.0, 1.25), lime=customer["lime"],
                corrosive=customer["corrosive"], pits={"ag lime": 1}, effect=math.exp(MACHINE_SPREAD * draws.normal()),
                shop_days=((12, 2 + number % 17), (7, 14 + number % 16)), last_shop=date(2026, 11, 2 + number % 12))
    m.last_shop = m.last_shop if m.last_shop.weekday() < 5 else date(2026, 11, 12)
    m.positions = positions(m, kind, customer, draws)
    return m


LOG_BEGINS_NOW = date(2026, 11, 1)  # for machines without a log: nothing before this day is on record


def positions(m, kind, customer, draws):
    part = dict(KINDS[kind])
    if customer["index"] in HARD_FINS and part["fin"] == "FN-24":
        part["fin"] = "FN-24H"
    first = first_parts(m, customer, draws)
    found = []
    for bin_name in m.bins:
        front = f"{bin_name} " if bin_name else ""
        for name, key, slots in [("chain", "chain", 2), ("sprockets", "sprocket", 2), ("chute liners", "liner", 1),
                                 ("conveyor bearings", "shaft", SIDES)]:
            found.append(Position(front + name, part[key], slots, bin_name, **first(key)))
    for name, number, key, slots in [
            ("left fins", part["fin"], "fin", 4), ("right fins", part["fin"], "fin", 4),
            ("discs", part["disc"], "disc", SIDES), ("spinner bearings", part["spinner"], "spinner", BEARINGS),
            ("guide bushings", "BU-12", "bushing", GUIDES), ("spinner motors", part["motor"], "motor", SIDES),
            ("gearcase seals", "GS-1", "seal", SIDES), ("hoses", part["hose"], "hose", SIDES),
            ("speed sensor", "SN-1", "sensor", ["1"]), ("gate sensor", "SN-5", "sensor", ["1"]),
            ("gearcase", "OIL-90", "fluid", 1.5), ("hydraulics", "HYD-32", "fluid", 24 if kind != "narrow" else 18),
            ("filter", "FL-1", "fluid", 1)]:
        found.append(Position(name, number, slots, **first(key)))
    return found


# What a first part of unknown age really had behind it, as a share of its scale; in no file.
HIDDEN_SHARE = 0.4
FAMILY_OF_KEY = {"chain": "conveyor-chain", "sprocket": "sprocket", "liner": "chute-liner", "shaft": "shaft-bearing",
                 "fin": "spinner-fin", "disc": "spinner-disc", "spinner": "spinner-bearing",
                 "bushing": "frame-bushing", "motor": "hydraulic-motor", "seal": "gearcase-seal",
                 "hose": "hydraulic-hose", "sensor": "sensor"}


def first_parts(m, customer, draws):
    """What sits in a machine when its records begin: new, known to be used, or of unknown age."""
    if m.records_from is None:
        return lambda key: {}
    begins = m.records_from
    # A shop that knows when it last changed things knows so for most positions of a machine.
    knows = customer["log"] and draws.chance(0.5)

    def one(key):
        if key == "fluid":
            installed = max(m.in_service, date(begins.year - 1, 12, 5))
            return dict(installed=installed, before=dict(acres=0, tons=0, hours=0)) if customer["log"] else dict(
                installed="unknown")
        truth = TRUTHS[FAMILY_OF_KEY[key]]
        if not knows or draws.chance(0.2):
            return dict(installed="unknown", hidden=HIDDEN_SHARE * truth.scale * draws.unit())
        latest = (begins - m.in_service).days
        back = 1 + int(draws.unit() * min(latest - 1, 700))
        acres = round(8500 * back / 365 * draws.between(0.7, 1.1), -2)
        before = dict(acres=int(acres), tons=round(acres * 0.115), hours=round(acres / 59))
        return dict(installed=date.fromordinal(begins.toordinal() - back), before=before)
    return one


# ---------------------------------------------------------------------------------------------
# Files
# ---------------------------------------------------------------------------------------------

DEAD = ["CH-090", "CH-310S", "SP-09", "FN-09", "DS-0", "BR-39", "LN-09", "BT-60", "HM-9", "HH-20", "SN-8", "ON-1", "DV-1",
        "FL-9"]
OLD_ON_SHELF = {"CH-111": 2, "FN-14": 8, "BR-40": 3, "BU-12": 6, "SN-2": 2}  # superseded, and still good


def stock():
    """The shelf: what sells, some of it ordered; old numbers; and what nobody will ask for."""
    draws = Draws(SEED, "stock")
    rows = []
    for number, p in PARTS.items():
        if number in DEAD:
            rows.append(dict(part=number, on_hand=p["pack"] * (1 + int(2 * draws.unit())), on_order="", due=""))
        elif number in OLD_ON_SHELF:
            rows.append(dict(part=number, on_hand=OLD_ON_SHELF[number], on_order="", due=""))
        elif p["price"]:
            cheap = 1 if p["price"] > 500 else 2 if p["price"] > 120 else 5
            rows.append(dict(part=number, on_hand=int(p["pack"] * cheap * 2 * draws.unit()), on_order="", due=""))
            if draws.chance(0.35):
                rows[-1].update(on_order=p["pack"] * cheap * (1 + int(2 * draws.unit())),
                                due=date.fromordinal(date(2026, 11, 16).toordinal() + int(90 * draws.unit())))
    return rows


SETTINGS = """\
# Invented settings of an invented parts desk.
currency = "$"
units = "us"
season_starts = "11-01"
labor_rate = 124            # an hour in the shop
down_cost_per_hour = 320    # what an hour of standing still costs a customer
price_change = 0.035
plan_change = 0.0
reference_group = "dry fertilizer"
service_level = 0.93
holding_rate = 0.14
rush_cost = 0.18
return_rate = 0.20
budget_limit = 270000       # for the preseason order
# A tight year instead: take the line above out and this one in.
# budget_limit = 150000
"""


def build():
    """Every file's text by name, and the simulation they came from."""
    machines, owner = [], {}
    for customer in customers():
        for _ in range(customer["machines"]):
            machines.append(machine(len(machines) + 1, customer))
            owner[machines[-1].name] = customer
    logged = [m for m in machines if owner[m.name]["log"]]
    usage = all_usage(logged, PRODUCTS, SEED, second=0.1)
    group_of = {product: group for product, (group, _, _) in PRODUCTS.items()}
    changeover = {(m.name, p.name): (date(2023, 11, 1), CHANGEOVER_CUSTOMERS[owner[m.name]["index"]], False)
                  for m in logged if owner[m.name]["index"] in CHANGEOVER_CUSTOMERS for p in m.positions
                  if p.part[:4] == CHANGEOVER_CUSTOMERS[owner[m.name]["index"]][:4]}
    shop = Shop(Rules(SEED, TRUTHS, PARTS, group_of, SPECIAL, SUCCESSOR, changeover,
                      along={"conveyor-chain": ("sprocket", 0.3, 0.5)}, pairs={"spinner-bearing": 0.5}),
                logged, usage)
    tables = dict(
        machines=machine_rows(machines), positions=position_rows(machines), parts=list(PARTS.values()),
        products=[dict(product=p, group=g) for p, g in group_of.items()], usage=with_blanks(usage, SEED, 0.003),
        replacements=shop.replacements, inspections=shop.inspections,
        plan=planned(machines, owner, usage), stock=stock())
    files = {f"{name}.csv": table(rows) for name, rows in tables.items()}
    files["settings.toml"] = SETTINGS
    return files, shop


def planned(machines, owner, usage):
    """Plans of the customers who make one; those without a log plan from what they remember of three seasons."""
    planning = [m for m in machines if owner[m.name]["plan"] and not m.retired]
    begin = date(2023, 11, 1)
    memory = [Machine(**{**vars(m), "records_from": begin if m.in_service < begin else None, "columns": {}})
              for m in planning if not owner[m.name]["log"]]
    remembered = all_usage(memory, PRODUCTS, SEED)
    return plan(usage + remembered, {m.name for m in planning})


if __name__ == "__main__":
    sys.exit(main(HERE, build, summary))
