"""Use of invented machines, day by day, and the plan for the season ahead."""

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date

from common import DAY, Draws, days, season_of, workday

LAST_USE = date(2026, 10, 30)
LAST_DAY_OF_NOVEMBER_WORK = 20

# Days of work in a month: spring and autumn peaks, nothing in the dead of winter.
WORK_DAYS = {2: 1.2, 3: 4.2, 4: 8, 5: 6, 6: 3.3, 7: 1.2, 8: 1.2, 9: 4.5, 10: 7.5, 11: 3.5}
WEATHER = {2021: 0.98, 2022: 0.93, 2023: 1.06, 2024: 0.90, 2025: 1.08, 2026: 1.0}
LIME = "lime"  # stands for the lime of the machine's own pits

MIX = {  # month: weight of each product
    2: {"urea": 6, "AMS": 4},
    3: {"corn blend": 3, "urea": 3, "potash": 2, "MAP": 2},
    4: {"corn blend": 5, "urea": 2, "potash": 2, "MAP": 1},
    5: {"corn blend": 5, "urea": 4, "AMS": 1},
    6: {"urea": 6, "AMS": 4},
    7: {LIME: 1},
    8: {LIME: 1},
    9: {LIME: 2, "potash": 4, "MAP": 3},
    10: {LIME: 1.4, "potash": 4.4, "MAP": 3.4},
    11: {LIME: 2.5, "potash": 3.5, "MAP": 2.5},
}
# What goes into the rear bin while the front one carries this; lime would set in its corners.
REAR_OF = {"potash": "MAP", "MAP": "potash", "urea": "AMS", "AMS": "urea", "corn blend": "corn blend", LIME: None}
CORROSIVE = ("AMS", "corn blend")


@dataclass
class Machine:
    """A spreader: what its records say, and what only the recipe knows."""

    name: str
    in_service: date
    records_from: date = None
    retired: date = None
    columns: dict = field(default_factory=dict)  # further columns of `machines`
    positions: list = field(default_factory=list)
    bins: tuple = ("",)
    size: float = 1.0
    busy: float = 1.0
    lime: float = 1.0  # leaning of its customers
    corrosive: float = 1.0
    pits: dict = field(default_factory=dict)  # lime product: share
    effect: float = 1.0  # its parts' lives against the fleet's
    by_family: dict = field(default_factory=dict)  # the same for some families alone
    struck: float = 1.0  # outside damage against the fleet's
    shop_days: tuple = ((12, 6), (7, 22))
    last_shop: date = date(2026, 11, 9)

    @property
    def begins(self):
        return self.records_from or self.in_service

    def visits(self):
        """Days in the shop while the records run: looked over and measured, mended the day after."""
        found = [workday(date(year, month, day)) for year in range(2020, 2027) for month, day in self.shop_days]
        last = min(LAST_USE, self.retired or LAST_USE)
        found = sorted(d for d in found if self.begins < d < last)
        return found if self.retired else found + [self.last_shop]


def work_days(machine, draws):
    """Days on which the machine went out."""
    closed = {visit + n * DAY for visit in machine.visits() for n in range(5)}
    by_month = defaultdict(list)
    for day in days(machine.begins + DAY, min(LAST_USE, (machine.retired or LAST_USE) - DAY)):
        out = day.month in WORK_DAYS and not (day.month == 11 and day.day > LAST_DAY_OF_NOVEMBER_WORK)
        if out and day.weekday() != 6 and day not in closed:
            by_month[day.year, day.month].append(day)
    chosen = []
    for (_, month), open_days in sorted(by_month.items()):
        wanted = machine.busy * WORK_DAYS[month] * WEATHER[season_of(open_days[0])] * min(1, len(open_days) / 17)
        if month in (7, 8):  # nothing but lime on stubble
            wanted *= machine.lime
        chosen += draws.shuffled(open_days)[:int(wanted + draws.unit())]
    return sorted(chosen)


def tilted(machine, mix):
    """The mix of a month, leaning as this machine's customers do."""
    lean = {LIME: machine.lime, **{p: machine.corrosive for p in CORROSIVE}}
    return {product: weight * lean.get(product, 1) for product, weight in mix.items()}


def amounts(product, acres, products, draws):
    """Tons and hours of those acres, with the scatter of fields and loads."""
    _, rate, speed = products[product]
    return acres * rate * draws.between(0.85, 1.15), acres / (speed * draws.between(0.85, 1.12))


def row(day, machine, product, acres, tons, hours, bin_name):
    return dict(date=day, machine=machine.name, product=product, acres=float(max(1, round(acres))),
                tons=max(0.1, round(tons, 1)), hours=max(0.1, round(hours, 1)), bin=bin_name)


def day_of_work(day, machine, products, second, draws):
    kind = draws.weighted(tilted(machine, MIX[day.month]))
    product = draws.weighted(machine.pits) if kind == LIME else kind
    acres = (125 if kind == LIME else 245) * machine.size * (0.5 + draws.unit())
    tons, hours = amounts(product, acres, products, draws)
    rear = REAR_OF[kind] if len(machine.bins) > 1 else None
    if rear is None:
        yield row(day, machine, product, acres, tons, hours, machine.bins[0])
        rest = {p: w for p, w in tilted(machine, MIX[day.month]).items() if p not in (kind, LIME)}
        if kind != LIME and rest and len(machine.bins) == 1 and draws.chance(second):
            other, acres = draws.weighted(rest), acres * draws.between(0.3, 0.6)
            yield row(day, machine, other, acres, *amounts(other, acres, products, draws), machine.bins[0])
        return
    # Both bins work in one pass: acres and hours are shared out by tons, so that they add up to the pass.
    rear_tons = amounts(rear, acres, products, draws)[0]
    if rear == product:
        tons, rear_tons = 0.6 * tons, 0.4 * tons
    share = tons / (tons + rear_tons)
    yield row(day, machine, product, acres * share, tons, hours * share, machine.bins[0])
    yield row(day, machine, rear, acres * (1 - share), rear_tons, hours * (1 - share), machine.bins[1])


def all_usage(machines, products, seed, second=0.0):
    """Every row of use; `second`: chance of a second product on a day of plain work."""
    rows = []
    for machine in machines:
        draws = Draws(seed, f"usage {machine.name}")
        for day in work_days(machine, draws):
            rows += day_of_work(day, machine, products, second, draws)
    return sorted(rows, key=lambda r: (r["date"], r["machine"], r["bin"], r["product"]))


def with_blanks(usage, seed, share):
    """The log as it was kept: here and there a measure was not written down."""
    draws = Draws(seed, "blanks")
    kept = []
    for r in usage:
        r = dict(r)
        if draws.chance(share):
            r[draws.pick(["acres", "tons", "hours"])] = ""
        kept.append(r)
    return kept


def plan(usage, names, seasons=(2024, 2025, 2026), change=None):
    """The season 2027 by month for the machines named: the mean of past seasons, rounded as a planner would."""
    sums = defaultdict(lambda: [0.0, 0.0, 0.0])
    had = defaultdict(set)
    for r in usage:
        season = season_of(r["date"])
        if season in seasons and r["machine"] in names:
            had[r["machine"]].add(season)
            total = sums[r["date"].month, r["machine"], r["product"], r["bin"]]
            for i, measure in enumerate(("acres", "tons", "hours")):
                total[i] += r[measure]
    rows = []
    for (month, machine, product, bin_name), total in sums.items():
        acres = round(total[0] / len(had[machine]) * (change or {}).get(product, 1), -1)
        if acres >= 30:
            scale = acres / total[0]
            rows.append(dict(month=f"{2026 if month >= 11 else 2027}-{month:02}", machine=machine, product=product,
                             acres=int(acres), tons=round(total[1] * scale), hours=round(total[2] * scale, 1),
                             bin=bin_name))
    return sorted(rows, key=lambda r: (r["month"], r["machine"], r["bin"], r["product"]))
