#!/usr/bin/env python3
"""An invented mixed fleet: 24 spreaders at four yards, six seasons, every table of a records folder.

    python3 sample-data/fleet/recipe.py             write the tables beside this file
    python3 sample-data/fleet/recipe.py --summary   print what was simulated; write nothing

Standard library only; `common`, `fieldwork` and `wearing` stand in the folder above.
"""

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

SEED = 4  # one of the first dozen tried; its fits come out as near the truth as so many wear-outs let them

# ---------------------------------------------------------------------------------------------
# The truth: what a perfect fit would find
# ---------------------------------------------------------------------------------------------

DRY, CORROSIVE, NORTH, SOUTH = "dry fertilizer", "corrosive blend", "lime-north", "lime-south"


def factors(corrosive, north, south):
    return {DRY: 1.0, CORROSIVE: corrosive, NORTH: north, SOUTH: south}


# The north pit's lime holds more quartz. What is measured, and how well, stands in `reading`.
TRUTHS = {
    "conveyor-chain": Truth("tons", 3.0, 8000, factors(1.6, 2.9, 2.0), "set", late=0.25, breaks=0.45, damage=0.00015,
                            down=(5, 9), old=0.5, reading=Reading("elongation", "%", 0.0, 3.0, 0.09, 0.7)),
    "sprocket": Truth("tons", 2.8, 15000, factors(1.3, 2.6, 1.9), "set", late=0.5, breaks=0.1, down=(4, 7), old=0.5),
    "spinner-fin": Truth("tons", 3.6, 7000, factors(1.2, 3.4, 2.4), "set", late=0.3, breaks=0.05, damage=0.0005,
                         down=(1, 2.5), old=0.5, reading=Reading("thickness", "mm", 8.0, 4.5, 0.15, 0.6)),
    "spinner-bearing": Truth("hours", 1.7, 800, factors(1.5, 1.2, 1.2), late=0.15, breaks=0.5, down=(3, 6)),
    "shaft-bearing": Truth("hours", 1.6, 1400, factors(1.5, 1.3, 1.2), late=0.15, breaks=0.5, down=(3, 6)),
    "frame-bushing": Truth("hours", 2.6, 820, factors(1.3, 2.0, 1.6), late=0.6, breaks=0.05, old=0.95,
                           reading=Reading("play", "mm", 3.2, 6.4, 0.12, 0.45)),
}
STAINLESS = Special(against={DRY: 1.25, CORROSIVE: 1.7, NORTH: 1.05, SOUTH: 1.05})
SPECIAL = {"CHN-32S": STAINLESS, "FIN-48B": Special(life=0.8)}
OILED_LESS = 0.8  # lives of chains and sprockets where the chain is not oiled daily
MACHINE_SPREAD = 0.15  # of log life
ROUGH_OPERATOR = ("operator 5", 2.5)  # strikes things so many times as often

# ---------------------------------------------------------------------------------------------
# Parts and products
# ---------------------------------------------------------------------------------------------

PRODUCTS = {  # product: (group, tons an acre, acres an hour)
    "potash": (DRY, 0.115, 60),
    "MAP": (DRY, 0.080, 62),
    "urea": (DRY, 0.105, 60),
    "AMS": (CORROSIVE, 0.055, 62),
    "corn blend": (CORROSIVE, 0.165, 56),
    "north pit lime": (NORTH, 2.0, 36),
    "south pit lime": (SOUTH, 2.0, 36),
}


def part(number, family, description, material, maker, price, pack, lead, labor, kit="", critical="stops", replaces=""):
    return dict(part=number, family=family, description=description, material=material, maker_code=maker, price=price,
                pack=pack, lead_days=lead, lead_days_spread=1.8 if lead else "", labor_hours=labor, replaces=replaces,
                kit=kit, critical=critical, min_order="")


PARTS = {p["part"]: p for p in [
    part("CHN-31", "conveyor-chain", "conveyor chain, one strand", "carbon steel", "K1", "", 2, "", 8, "conveyor"),
    part("CHN-32", "conveyor-chain", "conveyor chain, one strand, heavier pin", "carbon steel", "K1", 1720, 2, 16, 8,
         "conveyor", replaces="CHN-31"),
    part("CHN-32S", "conveyor-chain", "conveyor chain, one strand", "stainless steel", "K1", 2740, 2, 30, 8,
         "conveyor"),
    part("SPR-9", "sprocket", "conveyor sprocket", "hardened steel", "K1", 132, 1, 12, 5, "conveyor", "degrades"),
    part("FIN-48A", "spinner-fin", "spinner fin", "hardened steel", "K2", 71, 4, 7, 1.5, "", "degrades"),
    part("FIN-48B", "spinner-fin", "spinner fin, plain", "plain steel", "K3", 52, 4, 5, 1.5, "", "degrades"),
    part("BRG-40", "spinner-bearing", "spinner shaft bearing, flanged", "steel", "K4", 138, 1, 5, 2.5, "spinner shaft"),
    part("BRG-55", "shaft-bearing", "conveyor shaft bearing, flanged", "steel", "K4", 164, 1, 5, 3, "conveyor"),
    part("BSH-14", "frame-bushing", "frame guide bushing", "bronze", "K2", 46, 2, 10, 1.5, "", "degrades"),
    part("OIL-90", "gearcase-oil", "gear oil 80W-90, US pint", "", "", 7.2, 1, 2, 0.75),
    part("HYD-32", "hydraulic-fluid", "hydraulic fluid, US gallon", "", "", 15.4, 1, 2, 2.5),
]}
PARTS["BSH-14"]["min_order"] = 4
SUCCESSOR = {"CHN-31": ("CHN-32", date(2024, 2, 1))}

# ---------------------------------------------------------------------------------------------
# The machines
# ---------------------------------------------------------------------------------------------

YARDS = {  # site: leaning to lime, to corrosive blends, where its lime comes from
    "north yard": dict(lime=1.7, corrosive=0.35, pits={"north pit lime": 1}),
    "ridge yard": dict(lime=0.6, corrosive=1.9, pits={"north pit lime": 3, "south pit lime": 2}),
    "south yard": dict(lime=1.6, corrosive=0.4, pits={"south pit lime": 1}),
    "river yard": dict(lime=0.35, corrosive=3.0, pits={"south pit lime": 4, "north pit lime": 1}),
}
NAMES = ["N1", "N2", "N3", "N4", "N5", "N6", "R1", "R2", "R3", "R4", "R5", "R6",
         "S1", "S2", "S3", "S4", "S5", "S6", "V1", "V2", "V3", "V4", "V5", "V6"]
SITE_OF = {"N": "north yard", "R": "ridge yard", "S": "south yard", "V": "river yard"}
TWIN_BINS = {"N5", "R5", "S5", "V5", "V6"}
NOT_OILED_DAILY = {"N2", "N4", "R1", "R3", "S2", "S6", "V1", "V4"}
PLAIN_FINS = {"N3", "N6", "R2", "R6", "S1", "S4", "V2", "V3"}
BOUGHT_USED = {"N6": date(2022, 3, 7), "R2": date(2022, 3, 14), "S3": date(2022, 2, 14), "V3": date(2021, 3, 8)}
NEW_LATER = {"N5": date(2021, 11, 1), "R5": date(2022, 2, 28), "S5": date(2021, 11, 1), "V6": date(2023, 2, 20),
             "S6": date(2022, 11, 1), "R6": date(2021, 11, 1)}
RETIRED = {"R4": date(2025, 6, 30)}
NO_PLAN = {"N4", "R6", "S2", "S4", "V4"}
# Chains changed over to stainless: from that day on, and at once (before they are worn) or not.
CHANGEOVER = {
    ("R1", "chain"): (date(2023, 6, 1), "CHN-32S", True),
    ("R3", "chain"): (date(2023, 11, 1), "CHN-32S", False),
    ("R5", "rear chain"): (date(2024, 6, 1), "CHN-32S", True),
    ("V1", "chain"): (date(2022, 11, 1), "CHN-32S", True),
    ("V2", "chain"): (date(2022, 11, 1), "CHN-32S", False),
    ("V3", "chain"): (date(2023, 11, 1), "CHN-32S", True),
    ("V5", "front chain"): (date(2022, 11, 1), "CHN-32S", False),
    ("V5", "rear chain"): (date(2023, 6, 1), "CHN-32S", True),
    ("N1", "chain"): (date(2023, 11, 1), "CHN-32S", False),
    ("N3", "chain"): (date(2024, 11, 1), "CHN-32S", False),
    ("S3", "chain"): (date(2023, 6, 1), "CHN-32S", False),
}
UNWRITTEN = {("R2", "chain"): date(2024, 11, 1)}  # changed that winter and never written down; only readings tell
LEFT_IN = {("N3", "chain")}  # measured in November 2026, not yet seen to

BEARINGS = ["left upper", "left lower", "right upper", "right lower"]
GUIDES = ["front left", "front right", "rear left", "rear right"]
SIDES = ["left", "right"]


def positions(name, bins, draws):
    fins = "FIN-48B" if name in PLAIN_FINS else "FIN-48A"
    used = first_parts(name, draws)
    found = []
    for bin_name in bins:
        front = f"{bin_name} " if bin_name else ""
        found += [Position(f"{front}chain", "CHN-31", 2, bin_name, **used("chain")),
                  Position(f"{front}sprockets", "SPR-9", 2, bin_name, **used("sprockets")),
                  Position(f"{front}conveyor bearings", "BRG-55", SIDES, bin_name, **used("conveyor bearings"))]
    return found + [
        Position("left fins", fins, 4, **used("left fins")),
        Position("right fins", fins, 4, **used("right fins")),
        Position("spinner bearings", "BRG-40", BEARINGS, **used("spinner bearings")),
        Position("guide bushings", "BSH-14", GUIDES, **used("guide bushings")),
        Position("gearcase", "OIL-90", 1.5, **used("gearcase")),
        Position("hydraulics", "HYD-32", 24, **used("hydraulics")),
    ]


def first_parts(name, draws):
    """What a machine bought used came with: some of it known, some not."""
    if name not in BOUGHT_USED:
        return lambda position: {}
    bought = BOUGHT_USED[name]

    def one(position):
        if position in ("gearcase", "hydraulics"):
            return dict(installed=date(bought.year - 1, 12, 9), before=dict(acres=0, tons=0, hours=0))
        if draws.chance(0.35):  # nobody knows; `hidden` is in no file
            hours = "bearings" in position or "bushings" in position
            return dict(installed="unknown", hidden=200.0 if hours else 1200.0)
        acres = round(draws.between(3000, 15000), -2)
        tons, hours = round(acres * 0.12), round(acres / 60)
        return dict(installed=date(bought.year - 1, 1 + int(draws.unit() * 12), 1 + int(draws.unit() * 27)),
                    before=dict(acres=int(acres), tons=tons, hours=hours))
    return one


def machine(name, index):
    draws = Draws(SEED, f"machine {name}")
    site = SITE_OF[name[0]]
    operator = f"operator {1 + index % 8}"
    twin = name in TWIN_BINS
    in_service = NEW_LATER.get(name, date(2020, 11, 1))
    records_from = None
    if name in BOUGHT_USED:
        in_service, records_from = date(2012 + index % 5, 3, 21), BOUGHT_USED[name]
    oiled = name not in NOT_OILED_DAILY
    list_price = int(round(draws.between(46000, 61000) * (1.35 if twin else 1), -2))
    bins = ("front", "rear") if twin else ("",)
    return Machine(
        name, in_service, records_from, RETIRED.get(name),
        columns=dict(site=site, operator=operator, oiled_daily="yes" if oiled else "no", list_price=list_price),
        positions=positions(name, bins, draws), bins=bins, size=draws.between(0.85, 1.15), busy=draws.between(0.9, 1.1),
        **YARDS[site],
        effect=2.718281828459045 ** (MACHINE_SPREAD * draws.normal()),
        by_family={} if oiled else {"conveyor-chain": OILED_LESS, "sprocket": OILED_LESS},
        struck=ROUGH_OPERATOR[1] if operator == ROUGH_OPERATOR[0] else 1.0,
        shop_days=((12, 3 + index % 12), (7, 18 + index % 10)), last_shop=date(2026, 11, 2 + index % 5 + 7 * (index % 2)),
    )


# ---------------------------------------------------------------------------------------------
# Files
# ---------------------------------------------------------------------------------------------

STOCK = [dict(part=number, on_hand=held, on_order=ordered, due=due) for number, held, ordered, due in [
    ("CHN-32", 2, 2, date(2026, 12, 14)),
    ("CHN-32S", 0, 2, date(2027, 2, 15)),
    ("SPR-9", 2, "", ""),
    ("FIN-48A", 12, "", ""),
    ("FIN-48B", 8, 8, date(2026, 11, 30)),
    ("BRG-40", 3, 4, date(2026, 12, 1)),
    ("BRG-55", 2, "", ""),
    ("BSH-14", 6, "", ""),
    ("OIL-90", 12, "", ""),
    ("HYD-32", 110, "", ""),
]]

SETTINGS = """\
# Invented settings of an invented fleet.
currency = "$"
units = "us"
season_starts = "11-01"
labor_rate = 118            # an hour in the shop
down_cost_per_hour = 340    # the machine, its tender and two people standing still
price_change = 0.03
plan_change = 0.02          # where last season is repeated, 2 % more of it
reference_group = "dry fertilizer"
service_level = 0.92
holding_rate = 0.12
rush_cost = 0.15
return_rate = 0.15
"""

# The family of fins, with a limit of thickness: this fleet measures what others judge by feel.
FIN_MODEL = """\
# This fleet measures its fins. Everything else is as in the family that comes with the program.
family = "spinner-fin"
description = "Fins on the spinner discs, measured at the thinnest place; the fins of a disc are changed together."
measure = "tons"
counted = "set"
distribution = "weibull"

[prior]
shape = { median = 3.5, spread = 1.8 }
life50 = { median = 4500, spread = 3.5 }
wear_factor = { spread = 4.0 }

[wear]
measure = "thickness"
unit = "mm"
new = 8.0
limit = 4.5
"""


def build():
    """Every file's text by name, and the simulation they came from."""
    machines = [machine(name, i) for i, name in enumerate(NAMES)]
    usage = all_usage(machines, PRODUCTS, SEED, second=0.2)
    group_of = {product: group for product, (group, _, _) in PRODUCTS.items()}
    shop = Shop(Rules(SEED, TRUTHS, PARTS, group_of, SPECIAL, SUCCESSOR, CHANGEOVER, dict(UNWRITTEN), LEFT_IN,
                      along={"conveyor-chain": ("sprocket", 0.3, 0.5)}, pairs={"spinner-bearing": 0.5}),
                machines, usage)
    planned = {m.name for m in machines if not m.retired} - NO_PLAN
    tables = dict(
        machines=machine_rows(machines), positions=position_rows(machines), parts=list(PARTS.values()),
        products=[dict(product=p, group=g) for p, g in group_of.items()], usage=with_blanks(usage, SEED, 0.008),
        replacements=shop.replacements, inspections=shop.inspections,
        plan=plan(usage, planned, change={"north pit lime": 1.1, "south pit lime": 1.05}), stock=STOCK)
    files = {f"{name}.csv": table(rows) for name, rows in tables.items()}
    files["settings.toml"] = SETTINGS
    files["models/spinner-fin.toml"] = FIN_MODEL
    return files, shop


if __name__ == "__main__":
    sys.exit(main(HERE, build, summary))
