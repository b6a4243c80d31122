//! Meter readings to use: what a counter went up by, spread over the days between two readings.
//!
//! Only for machines of which the usage log has no row in between. The days are those on which the
//! fleet worked, by the log; where it has none in between, every day of the months of field work
//! ([`FIELD_MONTHS`]); where none of those lies in between, every day. The product is that of the
//! later reading's column `product`; else the machine's own mix in the log up to that reading, by
//! tons, else acres, else hours; else that of its plan; else the fleet's; else a product of its own.

use std::cell::OnceCell;
use std::collections::{BTreeMap, BTreeSet};

use chrono::{Datelike, Days, NaiveDate};

mod beside;
mod mixes;
mod tally;

use super::meters::{becomes_use, in_time, is_new_counter};
use super::{Check, Finding};
use crate::record::{
    Amounts, FIELD_MONTHS, Machine, MeterKind, MeterReading, ProblemKind, Product, Records,
    Stretch, Table, UsageRow,
};
use crate::units::Measure;

use beside::Logged;
use mixes::Mixes;
use tally::Tally;

/// The product of use of which nobody knows what was spread.
pub(super) const UNKNOWN: &str = "unknown product";

/// Product and bin with their share.
type Mix = Vec<((String, Option<String>), f64)>;

/// Use to be added.
struct Spread {
    date: NaiveDate,
    machine: String,
    product: String,
    bin: Option<String>,
    amounts: Amounts,
    stretch: Stretch,
}

impl Check<'_> {
    /// Adds use read off meters to the usage log.
    pub(super) fn spread_meters(&mut self) {
        let records = &self.records;
        let mut readings: Vec<&MeterReading> = records
            .meters
            .iter()
            .filter(|m| becomes_use(m.meter))
            .collect();
        if readings.is_empty() {
            return;
        }
        readings.sort_by(|a, b| in_time(a, b).then(a.row.cmp(&b.row)));
        let log = Log::new(records);
        let machines: BTreeMap<&str, &Machine> = records
            .machines
            .iter()
            .map(|m| (m.name.as_str(), m))
            .collect();
        let end = readings.iter().map(|r| r.date).max();
        let end = end.max(records.usage.last_day());
        let mut tally = Tally::default();
        let mut added = Vec::new();
        for of_machine in readings.chunk_by(|a, b| a.machine == b.machine) {
            if let Some(machine) = machines.get(of_machine[0].machine.as_str()) {
                let worker = Worker {
                    records,
                    log: &log,
                    machine,
                    own: OnceCell::new(),
                    logged: OnceCell::new(),
                };
                worker.spread(of_machine, &mut added, &mut tally);
                worker.end(of_machine, end, &mut tally);
            }
        }
        let rows: Vec<_> = added
            .iter()
            .map(|spread| {
                let row = UsageRow {
                    date: spread.date,
                    machine: &spread.machine,
                    product: &spread.product,
                    bin: spread.bin.as_deref(),
                    amounts: spread.amounts,
                };
                (row, spread.stretch)
            })
            .collect();
        let usage = std::mem::take(&mut self.records.usage);
        self.records.usage = usage.with_spread(&rows);
        let unlisted = added.iter().any(|s| s.product == UNKNOWN)
            && !self.records.products.iter().any(|p| p.name == UNKNOWN);
        if unlisted && self.records.sources.contains_key(&Table::Products) {
            self.records.products.push(Product {
                row: 0,
                name: UNKNOWN.to_owned(),
                group: UNKNOWN.to_owned(),
                extra: crate::record::Extra::new(),
            });
            self.records.products.sort_by(|a, b| a.name.cmp(&b.name));
        }
        let told = tally
            .told()
            .into_iter()
            .map(|told| (ProblemKind::Meters, told));
        let guessed = tally.guessed().into_iter();
        let guessed = guessed.map(|told| (ProblemKind::Odd, told));
        for (kind, (found, expected)) in told.chain(guessed) {
            let finding = Finding::new("", kind, found, expected);
            self.notes.remark(Table::Meters, None, finding);
        }
    }
}

/// What the usage log says, looked up often.
struct Log<'r> {
    /// Days on which any machine worked.
    days: BTreeSet<NaiveDate>,
    /// Days in the log, by machine.
    of_machine: BTreeMap<&'r str, BTreeSet<NaiveDate>>,
    /// Bins by machine: of its positions and of the log.
    bins: BTreeMap<&'r str, BTreeSet<&'r str>>,
    /// What the fleet spread, once it is asked for.
    fleet: OnceCell<Mixes<'r>>,
}

impl<'r> Log<'r> {
    fn new(records: &'r Records) -> Self {
        let mut log = Self {
            days: BTreeSet::new(),
            of_machine: BTreeMap::new(),
            bins: BTreeMap::new(),
            fleet: OnceCell::new(),
        };
        for row in records.usage.iter() {
            let worked = Measure::OF_USE
                .iter()
                .any(|m| row.amounts.get(*m).is_none_or(|a| 0.0 < a));
            if worked {
                log.days.insert(row.date);
            }
            log.of_machine
                .entry(row.machine)
                .or_default()
                .insert(row.date);
            if let Some(bin) = row.bin {
                log.bins.entry(row.machine).or_default().insert(bin);
            }
        }
        for position in &records.positions {
            if let Some(bin) = &position.bin {
                log.bins.entry(&position.machine).or_default().insert(bin);
            }
        }
        log
    }

    /// Whether a machine has rows after one day and up to another.
    fn has(&self, machine: &str, after: NaiveDate, to: NaiveDate) -> bool {
        let days = self.of_machine.get(machine);
        days.is_some_and(|days| days.range(after + Days::new(1)..=to).next().is_some())
    }
}

/// The readings of one machine at work.
struct Worker<'a> {
    records: &'a Records,
    log: &'a Log<'a>,
    machine: &'a Machine,
    /// What the machine spread, once it is asked for.
    own: OnceCell<Mixes<'a>>,
    /// What it logged, once it is asked for.
    logged: OnceCell<Logged>,
}

/// What one counter did between two readings; `None`: nobody knows.
struct Step<'a> {
    after: NaiveDate,
    later: &'a MeterReading,
    amount: Option<f64>,
}

impl Worker<'_> {
    fn spread(&self, readings: &[&MeterReading], added: &mut Vec<Spread>, tally: &mut Tally) {
        let bins = self
            .log
            .bins
            .get(self.machine.name.as_str())
            .map_or(0, BTreeSet::len);
        let mut steps: Vec<Step<'_>> = Vec::new();
        for pair in readings
            .windows(2)
            .filter(|p| p[0].meter == p[1].meter && p[0].date < p[1].date)
        {
            let (after, later) = (pair[0].date, pair[1]);
            if later.date < self.machine.records_from {
                continue;
            }
            let fell = later.reading < pair[0].reading || is_new_counter(later);
            if self.log.has(&self.machine.name, after, later.date) {
                tally.logged += 1;
                if !fell {
                    let usage = &self.records.usage;
                    let name = self.machine.name.as_str();
                    let logged = self.logged.get_or_init(|| Logged::of_machine(usage, name));
                    tally.beyond.extend(logged.falls_short(pair[0], later));
                }
                continue;
            }
            let amount = (!fell).then_some(later.reading - pair[0].reading);
            steps.push(Step {
                after,
                later,
                amount,
            });
        }
        if 1 < bins && !self.mix_has_bins(readings) && !steps.is_empty() {
            tally.bins.insert(self.machine.name.clone());
            return;
        }
        self.begin(readings, added, tally);
        let mut own = Vec::new();
        for step in &steps {
            self.step(step, &steps, &mut own, tally);
        }
        let nothing = nothing(&own, &steps);
        added.extend(own);
        added.extend(nothing);
    }

    fn mix_has_bins(&self, readings: &[&MeterReading]) -> bool {
        let last = readings.iter().map(|r| r.date).max();
        let mix = last.and_then(|date| self.own_mix(date, readings[0].meter));
        mix.is_some_and(|mix| mix.iter().all(|((_, bin), _)| bin.is_some()))
    }

    /// A row of unknown use where records begin before the first reading and nothing is logged.
    fn begin(&self, readings: &[&MeterReading], added: &mut Vec<Spread>, tally: &mut Tally) {
        let Some(first) = readings.iter().min_by_key(|r| r.date) else {
            return;
        };
        let from = self.machine.records_from;
        if from < first.date
            && !self
                .log
                .has(&self.machine.name, from - Days::new(1), first.date)
        {
            tally.before.push(self.machine.name.clone());
            added.push(self.unknown(first, from));
        }
    }

    /// Tells of a machine whose readings end long before the records do, with nothing logged since.
    fn end(&self, readings: &[&MeterReading], end: Option<NaiveDate>, tally: &mut Tally) {
        /// Days, about as long as a spring (our own choice).
        const LONG: i64 = 60;
        let last = readings.iter().map(|r| r.date).max();
        let Some((last, end)) = last.zip(end) else {
            return;
        };
        let end = self.machine.retired.map_or(end, |retired| end.min(retired));
        let name = &self.machine.name;
        if LONG < (end - last).num_days() && !self.log.has(name, last, end) {
            tally.after.push(format!("{name} ({last})"));
        }
    }

    fn unknown(&self, reading: &MeterReading, after: NaiveDate) -> Spread {
        Spread {
            date: reading.date,
            machine: self.machine.name.clone(),
            product: UNKNOWN.to_owned(),
            bin: self.only_bin(),
            amounts: Amounts::default(),
            stretch: Stretch {
                after,
                known: reading.date,
            },
        }
    }

    fn step(
        &self,
        step: &Step<'_>,
        steps: &[Step<'_>],
        added: &mut Vec<Spread>,
        tally: &mut Tally,
    ) {
        let Some(amount) = step.amount else {
            // Another counter of the machine may tell of the same days.
            let told = |s: &Step<'_>| {
                s.amount.is_some() && s.after < step.later.date && step.after < s.later.date
            };
            if !steps.iter().any(told) {
                added.push(self.unknown(step.later, step.after));
            }
            tally
                .lost
                .push(format!("{} up to {}", self.machine.name, step.later.date));
            return;
        };
        let (mix, is_unknown) = self.mix(step.later);
        let is_own = step.later.product.is_some()
            || self.own_mix(step.later.date, step.later.meter).is_some();
        if !is_own && !is_unknown && 0.0 < amount {
            if self.planned_mix(step.later.meter).is_some() {
                tally.of_plan.insert(self.machine.name.clone());
            } else if 1 < mix.len() {
                tally.of_fleet.insert(self.machine.name.clone());
            }
        }
        // A meter that stood still adds nothing of a product that nobody knows.
        if is_unknown && amount <= 0.0 {
            return;
        }
        let days = self.days(step, tally);
        tally.unknown_product += u64::from(is_unknown);
        let each = amount / days.len() as f64;
        for date in days.into_iter().filter(|d| self.machine.records_from <= *d) {
            for ((product, bin), share) in &mix {
                added.push(Spread {
                    date,
                    machine: self.machine.name.clone(),
                    product: product.clone(),
                    bin: bin.clone(),
                    amounts: one(step.later.meter, each * share),
                    stretch: Stretch {
                        after: step.after,
                        known: step.later.date,
                    },
                });
            }
        }
    }

    /// The days that the use of a stretch is laid on: never none.
    fn days(&self, step: &Step<'_>, tally: &mut Tally) -> Vec<NaiveDate> {
        let first = (step.after + Days::new(1)).max(self.machine.in_service.min(step.later.date));
        let last = self
            .machine
            .retired
            .map_or(step.later.date, |r| r.min(step.later.date))
            .max(first);
        let worked: Vec<NaiveDate> = self.log.days.range(first..=last).copied().collect();
        if !worked.is_empty() {
            tally.by_log += 1;
            return worked;
        }
        let all: Vec<NaiveDate> = first.iter_days().take_while(|d| *d <= last).collect();
        let in_field = |d: &&NaiveDate| {
            FIELD_MONTHS
                .iter()
                .any(|(a, b)| (*a..=*b).contains(&d.month()))
        };
        let field: Vec<NaiveDate> = all.iter().filter(in_field).copied().collect();
        if field.is_empty() {
            tally.by_days += 1;
            return all;
        }
        tally.by_months += 1;
        field
    }

    fn only_bin(&self) -> Option<String> {
        let bins = self.log.bins.get(self.machine.name.as_str())?;
        (bins.len() == 1)
            .then(|| bins.first().map(|b| (*b).to_owned()))
            .flatten()
    }

    /// Shares of products and bins, and whether nothing says what was spread.
    fn mix(&self, reading: &MeterReading) -> (Mix, bool) {
        let own = self.own_mix(reading.date, reading.meter);
        if let Some(product) = &reading.product {
            // Which bin it went through is as it was before.
            let mut shares: BTreeMap<Option<String>, f64> = BTreeMap::new();
            for ((_, bin), share) in own.into_iter().flatten() {
                *shares.entry(bin).or_default() += share;
            }
            if shares.is_empty() {
                shares.insert(self.only_bin(), 1.0);
            }
            let mix = shares
                .into_iter()
                .map(|(bin, share)| ((product.clone(), bin), share));
            return (mix.collect(), false);
        }
        if let Some(mix) = own {
            return (mix, false);
        }
        if let Some(mix) = self.planned_mix(reading.meter) {
            return (mix, false);
        }
        let usage = &self.records.usage;
        let fleet = self.log.fleet.get_or_init(|| Mixes::of_fleet(usage));
        if let Some(fleet) = fleet.up_to(reading.date, reading.meter) {
            let mut shares: BTreeMap<String, f64> = BTreeMap::new();
            for ((product, _), share) in fleet {
                *shares.entry(product).or_default() += share;
            }
            let bin = self.only_bin();
            let mix = shares
                .into_iter()
                .map(|(product, share)| ((product, bin.clone()), share));
            return (mix.collect(), false);
        }
        (vec![((UNKNOWN.to_owned(), self.only_bin()), 1.0)], true)
    }

    /// What the machine is planned to spread: nearer to what it did than what the others do, and its parts would
    /// else be judged by one mix and forecast by another. `None` where no measure is in all of its rows.
    fn planned_mix(&self, meter: MeterKind) -> Option<Mix> {
        let rows = || {
            let plan = self.records.plan.iter();
            plan.filter(|row| row.machine == self.machine.name)
        };
        let counted = match meter {
            MeterKind::Acres => Measure::Acres,
            MeterKind::Tons => Measure::Tons,
            MeterKind::Hours | MeterKind::EngineHours | MeterKind::Miles => Measure::Hours,
        };
        let mut measures = [counted, Measure::Tons, Measure::Acres, Measure::Hours].into_iter();
        let measure = measures.find(|m| rows().all(|row| row.amounts.get(*m).is_some()))?;
        let mut sums: BTreeMap<(String, Option<String>), f64> = BTreeMap::new();
        for row in rows() {
            let bin = row.bin.clone().or_else(|| self.only_bin());
            *sums.entry((row.product.clone(), bin)).or_default() +=
                row.amounts.get(measure).unwrap_or(0.0);
        }
        let all: f64 = sums.values().sum();
        let shares = sums.into_iter().filter(|(_, sum)| 0.0 < *sum);
        (0.0 < all).then(|| shares.map(|(key, sum)| (key, sum / all)).collect())
    }

    fn own_mix(&self, until: NaiveDate, meter: MeterKind) -> Option<Mix> {
        let name = self.machine.name.as_str();
        let usage = &self.records.usage;
        let own = self.own.get_or_init(|| Mixes::of_machine(usage, name));
        own.up_to(until, meter)
    }
}

/// Days and products that one counter laid use on and another, which tells of the same day, did
/// not: there the other says 0, or its amount would be filled in from rates a second time.
fn nothing(own: &[Spread], steps: &[Step<'_>]) -> Vec<Spread> {
    let said = |a: &Amounts| Measure::OF_USE.map(|m| a.get(m).is_some());
    let mut keys: BTreeMap<(NaiveDate, &str, Option<&str>), [bool; 3]> = BTreeMap::new();
    for spread in own {
        let key = (spread.date, spread.product.as_str(), spread.bin.as_deref());
        let known = keys.entry(key).or_default();
        for (known, said) in known.iter_mut().zip(said(&spread.amounts)) {
            *known |= said;
        }
    }
    let mut list = Vec::new();
    for step in steps.iter().filter(|s| s.amount.is_some()) {
        let zero = one(step.later.meter, 0.0);
        let wanted = said(&zero);
        let first = (step.after + Days::new(1), "", None);
        for ((date, product, bin), known) in keys
            .range(first..)
            .take_while(|((date, ..), _)| *date <= step.later.date)
        {
            let lacks = wanted.iter().zip(known).any(|(w, k)| *w && !k);
            if lacks {
                list.push(Spread {
                    date: *date,
                    machine: step.later.machine.clone(),
                    product: (*product).to_owned(),
                    bin: bin.map(str::to_owned),
                    amounts: zero,
                    stretch: Stretch {
                        after: step.after,
                        known: step.later.date,
                    },
                });
            }
        }
    }
    list
}

fn one(meter: MeterKind, amount: f64) -> Amounts {
    let mut amounts = Amounts::default();
    match meter {
        MeterKind::Hours => amounts.hours = Some(amount),
        MeterKind::Acres => amounts.acres = Some(amount),
        MeterKind::Tons => amounts.tons = Some(amount),
        MeterKind::EngineHours | MeterKind::Miles => {}
    }
    amounts
}
