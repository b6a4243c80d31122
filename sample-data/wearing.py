"""Parts of invented machines: they wear, break, get struck, get measured, get changed, get written down."""

import math
from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date

from common import DAY, Draws, quarter, season_of


FAR_GONE = 1.2  # so many times its life, a worn part is noticed by everybody


@dataclass(frozen=True)
class Reading:
    """What is measured in the shop; it grows or shrinks evenly with exposure up to the part's own life."""

    measure: str
    unit: str
    new: float
    limit: float
    error: float  # one standard deviation
    chance: float  # that it is taken at a visit
    digits: int = 1


@dataclass(frozen=True)
class Truth:
    """How parts of a family really live and how their end gets into the records."""

    measure: str
    shape: float
    scale: float  # in `measure`, at the reference group, for a machine of effect 1
    factors: dict  # product group -> wear factor
    counted: str = "each"
    late: float = 0.2  # chance that wear is only noticed in the shop
    breaks: float = 0.2  # chance that a wear-out noticed in the field is a break
    damage: float = 0.0  # outside damage, per hour of use
    down: tuple = (1, 3)  # field hours lost by a stop, least and most
    old: float = math.inf  # share of the scale, in plain use, from which a winter change is thought of
    reading: Reading = None


@dataclass(frozen=True)
class Special:
    """A part number that does not live as its family does."""

    life: float = 1.0  # lives this many times as long with every product
    against: dict = field(default_factory=dict)  # product group -> lives this many times as long with it


@dataclass
class Position:
    """`slots`: names of the pieces where each has its own life, else how many pieces share one."""

    name: str
    part: str
    slots: object
    bin: str = ""
    installed: object = ""  # a date, "unknown" or nothing
    before: dict = field(default_factory=dict)  # measure: use before the records
    hidden: float = 0.0  # what a part of unknown age really had behind it, in its measure

    @property
    def quantity(self):
        return len(self.slots) if isinstance(self.slots, list) else self.slots


@dataclass(eq=False)
class Piece:
    """One life: a part, or the set of a position."""

    machine: object
    position: Position
    slot: str
    part: str
    fitted: date  # None: nobody knows
    since: date  # days count from here, on top of `entry`
    entry: float
    life: float
    late: bool
    used: float = 0.0  # effective exposure, `entry` included
    raw: float = 0.0  # the same without wear factors
    good_on: date = None  # last shop visit at which it was still good
    worn_on: date = None  # day it wore out, while nobody has noticed
    ended: str = "running"
    removed: date = None


@dataclass
class Rules:
    """What a scenario knows of its parts and of what the shop does."""

    seed: int
    truths: dict  # family: Truth
    parts: dict  # number: row of `parts`
    group_of: dict  # product: group
    special: dict = field(default_factory=dict)  # number: Special
    successor: dict = field(default_factory=dict)  # number: (newer number, day it took over)
    changeover: dict = field(default_factory=dict)  # (machine, position): (day, number, at once)
    unwritten: dict = field(default_factory=dict)  # (machine, position): day after which a change is not written down
    left_in: set = field(default_factory=set)  # (machine, position) that the last visit measured but left alone
    along: dict = field(default_factory=dict)  # family: (family changed along with it, share of its scale, chance)
    pairs: dict = field(default_factory=dict)  # family: chance that the other bearing of the shaft is changed as well
    tidy: float = 0.3  # chance that an old part is changed in winter


class Shop:
    """The simulation: usage in, replacements and inspections out."""

    def __init__(self, rules, machines, usage):
        self.rules, self.machines = rules, machines
        self.lives, self.replacements, self.inspections = [], [], []
        self.use = defaultdict(lambda: defaultdict(list))
        for row in usage:
            self.use[row["machine"]][row["date"]].append(row)
        for machine in machines:
            self.run(machine)
        for rows in (self.replacements, self.inspections):
            rows.sort(key=lambda r: (r["date"], r["machine"], r["position"], r["slot"]))

    def family(self, number):
        return self.rules.parts[number]["family"]

    def truth(self, piece):
        return self.rules.truths[self.family(piece.part)]

    def run(self, machine):
        # Streams of its own for each machine: what happens to one leaves the others as they were.
        self.draws = Draws(self.rules.seed, f"parts {machine.name}")
        self.paper = Draws(self.rules.seed, f"what got written down {machine.name}")
        self.tape = Draws(self.rules.seed, f"measuring {machine.name}")
        visits = set(machine.visits())
        self.last_visit = max(visits, default=None)
        self.running, self.serviced = {}, {}
        for position in machine.positions:
            self.fit_first(machine, position)
        for day in sorted(visits | set(self.use[machine.name])):
            if self.use[machine.name][day]:
                self.work(day, machine)
            if day in visits:
                self.visit(day, machine)

    # -- fitting

    def fit_first(self, machine, position):
        known = position.installed != "unknown"
        start = (position.installed or machine.in_service) if known else None
        truth = self.rules.truths.get(self.family(position.part))
        if truth is None:
            self.serviced[position.name] = start or machine.begins
            return
        entry = position.before.get(truth.measure, position.hidden)
        if truth.measure == "days" and known:
            entry = max(0, (machine.begins - start).days)
        slots = position.slots if isinstance(position.slots, list) else [""]
        self.running[position.name] = [
            self.piece(machine, position, slot, position.part, start, machine.begins, float(entry)) for slot in slots]

    def piece(self, machine, position, slot, number, fitted, since, entry=0.0):
        family = self.family(number)
        truth = self.rules.truths[family]
        special = self.rules.special.get(number, Special())
        scale = truth.scale * machine.effect * machine.by_family.get(family, 1.0) * special.life
        life = self.draws.weibull(truth.shape, scale, entry)
        late = self.draws.chance(truth.late)
        new = Piece(machine, position, slot, number, fitted, since, entry, life, late, used=entry, raw=entry)
        self.lives.append(new)
        return new

    # -- a day in the field

    def work(self, day, machine):
        apart = []
        for pieces in self.running.values():
            rows = [r for r in self.use[machine.name][day] if pieces[0].position.bin in ("", r["bin"])]
            hours = sum(r["hours"] for r in rows)
            for piece in pieces:
                truth = self.truth(piece)
                self.wear(piece, truth, rows, day)
                if piece.worn_on is None and piece.life <= piece.used and rows:
                    piece.worn_on = day
                    # Wear that stays unseen waits for the shop, which must have seen the part good before.
                    if not (piece.late and piece.good_on):
                        apart.append((piece, "broken" if self.draws.chance(truth.breaks) else "worn"))
                elif piece.worn_on and piece.used > FAR_GONE * piece.life:
                    apart.append((piece, "worn"))
                elif piece.worn_on is None and truth.damage:
                    if self.draws.chance(1 - math.exp(-truth.damage * machine.struck * hours)):
                        apart.append((piece, "damage"))
        for piece, reason in apart:
            if piece.removed is None:
                self.change(piece, day, reason, in_field=True)
                self.along_with(piece, day, in_field=True)

    def wear(self, piece, truth, rows, day):
        if truth.measure == "days":
            piece.used = piece.raw = piece.entry + (day - piece.since).days
            return
        against = self.rules.special.get(piece.part, Special()).against
        for r in rows:
            group = self.rules.group_of[r["product"]]
            piece.raw += r[truth.measure]
            piece.used += r[truth.measure] * truth.factors[group] / against.get(group, 1.0)

    def along_with(self, piece, day, in_field):
        """What is changed as well since the machine is apart anyway."""
        family = self.family(piece.part)
        if family in self.rules.pairs:
            pieces = self.running[piece.position.name]
            other = pieces[piece.position.slots.index(piece.slot) ^ 1]
            if other.fitted != day and self.draws.chance(self.rules.pairs[family]):
                self.change(other, day, "worn" if other.worn_on else "planned", in_field, along=True)
        if family in self.rules.along:
            mate, share, chance = self.rules.along[family]
            for pieces in self.running.values():
                other = pieces[0]
                if self.family(other.part) != mate or other.position.bin != piece.position.bin or other.fitted == day:
                    continue
                if other.raw > share * self.truth(other).scale and self.draws.chance(chance):
                    self.change(other, day, "worn" if other.worn_on else "planned", in_field, along=True)

    # -- a visit to the shop

    def visit(self, day, machine):
        fit_day = day + DAY
        last = day == self.last_visit and not machine.retired
        for piece in [p for pieces in self.running.values() for p in pieces]:
            if piece.removed:
                continue
            where = machine.name, piece.position.name
            past = self.measure(piece, day)
            changeover = self.rules.changeover.get(where)
            if last and where in self.rules.left_in:
                continue
            if where in self.rules.unwritten and self.rules.unwritten[where] < day:
                del self.rules.unwritten[where]
                self.change(piece, fit_day, "not written down", in_field=False)
            elif piece.worn_on or past:
                self.change(piece, fit_day, "worn", in_field=False)
                self.along_with(piece, fit_day, in_field=False)
            elif changeover and changeover[2] and changeover[0] < day and piece.part != changeover[1]:
                self.change(piece, fit_day, "upgrade", in_field=False)
            elif day.month >= 11 and self.looks_old(piece) and self.draws.chance(self.rules.tidy):
                self.change(piece, fit_day, "planned", in_field=False)
            else:
                piece.good_on = day
        self.service(day, machine)

    def looks_old(self, piece):
        """Age by plain use, all that the shop can know; never the life it still has."""
        truth = self.truth(piece)
        return piece.raw > truth.old * truth.scale

    def measure(self, piece, day):
        """Whether a reading was taken and says that the part is past its limit."""
        reading = self.truth(piece).reading
        if reading is None or not self.tape.chance(reading.chance):
            return False
        true = reading.new + (reading.limit - reading.new) * piece.used / piece.life
        value = round(max(0.0, true + reading.error * self.tape.normal()), reading.digits)
        self.inspections.append(dict(date=day, machine=piece.machine.name, position=piece.position.name,
                                     measure=reading.measure, value=value, unit=reading.unit, slot=piece.slot))
        return (value - reading.limit) * (reading.limit - reading.new) > 0

    def service(self, day, machine):
        """Fluids and filters, once a year."""
        for position in machine.positions:
            last = self.serviced.get(position.name)
            if last and (day - last).days >= 345:
                self.serviced[position.name] = day + 2 * DAY
                number = self.newest(position.part, day)
                self.write(day + 2 * DAY, machine, position, position.part, "", position.quantity, "planned", number)

    # -- changing a part

    def newest(self, number, day):
        while number in self.rules.successor and self.rules.successor[number][1] <= day:
            number = self.rules.successor[number][0]
        return number

    def number_fitted(self, piece, day):
        changeover = self.rules.changeover.get((piece.machine.name, piece.position.name))
        if changeover and changeover[0] <= day:
            return changeover[1]
        return self.newest(piece.part, day)

    def change(self, piece, day, reason, in_field, along=False):
        piece.ended, piece.removed = reason, day
        fitted = self.number_fitted(piece, day)
        truth = self.truth(piece)
        seen_late = piece.worn_on and piece.worn_on < day or not in_field
        last_good = piece.good_on if reason in ("worn", "broken") and seen_late else None
        if reason != "not written down":
            self.write(day, piece.machine, piece.position, piece.part, piece.slot,
                       piece.position.quantity if truth.counted == "set" else 1, reason, fitted,
                       last_good, truth.down if in_field and not along else None, along)
        pieces = self.running[piece.position.name]
        pieces[pieces.index(piece)] = self.piece(piece.machine, piece.position, piece.slot, fitted, day, day)

    def write(self, day, machine, position, number, slot, quantity, reason, fitted, last_good=None, down=None,
              along=False):
        """What gets written down, which is not always everything."""
        row = dict(date=day, machine=machine.name, position=position.name, part=fitted if fitted != number else "",
                   quantity=quantity, slot=slot, reason=reason, last_good=last_good, down_hours="", labor_hours="",
                   parts_cost="", note="")
        if down and self.paper.chance(0.85):
            row["down_hours"] = quarter(self.paper.between(*down))
        if self.paper.chance(0.8):
            spread = self.paper.between(0.8, 1.3) * (0.4 if along else 1)
            row["labor_hours"] = quarter(self.rules.parts[fitted]["labor_hours"] * spread)
        price = price_on(self.rules.parts, self.rules.successor, fitted, day)
        if price and self.paper.chance(0.85):
            row["parts_cost"] = round(price * quantity, 2)
        if along:
            row["note"] = "was apart anyway"
        elif reason == "planned" and self.family(number) in self.rules.truths:
            row["note"] = "did not trust it for another season"
        self.replacements.append(row)


def price_on(parts, successor, number, day):
    """Today's list price, 4 % less for every season back; an old number cost what its successor would have."""
    while not parts[number]["price"] and number in successor:
        number = successor[number][0]
    today = parts[number]["price"]
    return today / 1.04 ** (2027 - season_of(day)) if today else None


def machine_rows(machines):
    return [dict(machine=m.name, in_service=m.in_service, records_from=m.records_from, retired=m.retired, **m.columns)
            for m in machines]


def position_rows(machines):
    return [dict(machine=m.name, position=p.name, part=p.part, quantity=p.quantity, bin=p.bin, installed=p.installed,
                 **{f"{measure}_before": p.before.get(measure, "") for measure in ("acres", "tons", "hours")})
            for m in machines for p in m.positions]


def summary(files, shop):
    """What was simulated and what the records tell of it."""
    for name, content in files.items():
        print(f"{name:18}{content.count(chr(10)) - 1:8} rows {len(content):9} bytes")
    count = defaultdict(lambda: defaultdict(int))
    for piece in shop.lives:
        count[shop.family(piece.part)][piece.ended] += 1
    for family, ends in sorted(count.items()):
        print(f"{family:18}{sum(ends.values()):6} lives:", ", ".join(f"{n} {e}" for e, n in sorted(ends.items())))
    tried = [m.effect for m in shop.machines]
    print("machine effects on life: least {:.2f}, most {:.2f}".format(min(tried), max(tried)))
