//! Long-run money: what the work on record asks of a family's parts, and what a change costs.
//!
//! Changed when worn and never before, a part costs in the long run one change per cycle: its mean
//! life, run out to the end of the day on which it wore out. With `n_g` the use of group `g` that the
//! family's parts saw on record, each piece or set counted, `A` the acres of their machines on the days
//! on which these carried any, and `d` the effective exposure of one of their days,
//!
//! ```text
//! cycle                    = mean life + E[d^2] / (2 E[d])
//! cost per acre            = change * sum_g(w_g n_g) / (cycle * A)
//! cost per acre of group g = change * w_g n_g / (cycle * A_g)
//! ```
//!
//! where one over a cycle is the mean over the machines that did the work, by their shares of it and each
//! with its own effect on life. The groups' costs, by their acres, add up to the whole. Parts that age by the calendar are
//! spread over all acres alike. An acre of all families together carries each of them as often as it
//! was there: in their sum a family counts by `A_g` over the acres under any of them.

use std::collections::BTreeMap;

use chrono::{Days, NaiveDate};

use crate::cost::{self, PartCost};
use crate::family::{Counted, Family};
use crate::life::Life;
use crate::model::wear_factors;
use crate::study::Study;
use crate::units::Measure;
use crate::wear::effective;

/// The work on record, as one family sees it.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Work {
    /// Use by group in the family's measure, summed over pieces or sets; days in one figure.
    pub(super) by_group: Vec<f64>,
    /// The same by machine.
    by_machine: BTreeMap<String, Vec<f64>>,
    /// By two groups: use of the one times use of the other, summed over days, pieces or sets.
    by_day: Vec<f64>,
    /// As in [`Spread`].
    pub(super) acres: Vec<f64>,
    pub(super) tons: Vec<f64>,
}

impl Work {
    /// `None` where some of the use is unknown, even from past rates, or no acre was spread.
    ///
    /// - `groups`: of the family's lives, the reference first.
    pub(super) fn new(
        study: &Study,
        lives: &[&Life],
        measure: Measure,
        groups: &[String],
    ) -> Option<Self> {
        let names = study.groups.names();
        let Spread { acres, tons } = Spread::under(study, lives)?;
        let mut work = Self {
            by_group: vec![0.0; groups.len()],
            by_machine: BTreeMap::new(),
            by_day: vec![0.0; groups.len() * groups.len()],
            acres,
            tons,
        };
        if measure == Measure::Days {
            for life in lives {
                let days = (until(study, life) - life.since).num_days().max(0) as f64;
                work.of_machine(&life.machine)[0] += days;
            }
            work.by_group[0] = work.by_machine.values().map(|used| used[0]).sum();
            return (0.0 < work.all_acres()).then_some(work);
        }
        let mut seen: BTreeMap<(&str, Option<&str>), Vec<&Life>> = BTreeMap::new();
        for life in lives {
            let bin = study.records.position(&life.machine, &life.position)?;
            let place = (life.machine.as_str(), bin.bin.as_deref());
            seen.entry(place).or_default().push(life);
        }
        let columns: Vec<Option<usize>> = groups
            .iter()
            .map(|group| names.binary_search(group).ok())
            .collect();
        for ((machine, bin), lives) in seen {
            let path = study.sums.path(machine, bin);
            // By day of use: how many parts are fitted and how many taken out before it.
            let mut changes = vec![0.0; path.days().len() + 1];
            for life in lives {
                let to = path.days_until(until(study, life));
                changes[path.days_until(life.since - Days::new(1)).min(to)] += 1.0;
                changes[to] -= 1.0;
            }
            let mut places = 0.0;
            for (day, change) in changes[..path.days().len()].iter().enumerate() {
                places += change;
                if 0.0 < places {
                    if !path.is_known(measure, day, day + 1) {
                        return None;
                    }
                    let used = path.recorded(measure, day, day + 1);
                    work.add_day(machine, &used, &columns, places);
                }
            }
        }
        (0.0 < work.all_acres()).then_some(work)
    }

    /// - `used`: of all groups; `columns`: which of them each of the family's is.
    fn add_day(&mut self, machine: &str, used: &[f64], columns: &[Option<usize>], places: f64) {
        let of = |group: usize| columns[group].map_or(0.0, |column| used[column]);
        for (a, used) in self.of_machine(machine).iter_mut().enumerate() {
            *used += places * of(a);
        }
        for a in 0..columns.len() {
            self.by_group[a] += places * of(a);
            for b in 0..columns.len() {
                self.by_day[a * columns.len() + b] += places * of(a) * of(b);
            }
        }
    }

    /// Use of a machine by group.
    fn of_machine(&mut self, machine: &str) -> &mut Vec<f64> {
        let count = self.by_group.len();
        let name = machine.to_owned();
        self.by_machine
            .entry(name)
            .or_insert_with(|| vec![0.0; count])
    }

    /// Logarithm of the changes that a unit of effective exposure makes on average over the machines that
    /// did the work, each with a life of its own: those that wear faster change more than the typical one.
    ///
    /// - `group`: the work of that group alone.
    /// - `ln_life`: of the typical machine's mean life.
    /// - `effect`: of a machine, on its logarithm.
    pub(super) fn ln_changes(
        &self,
        group: Option<usize>,
        ln_life: f64,
        theta: &[f64],
        effect: impl Fn(&str) -> f64,
    ) -> f64 {
        let late = self.late(theta);
        let factors: Vec<f64> = wear_factors(theta).take(self.by_group.len()).collect();
        let (mut all, mut changes) = (0.0, 0.0);
        for (machine, used) in &self.by_machine {
            let work = match group {
                Some(group) => used[group],
                None => effective(used, factors.iter().copied()),
            };
            all += work;
            changes += work / ((ln_life + effect(machine)).exp() + late);
        }
        (changes / all).ln()
    }

    /// Logarithm of a cycle whose mean life has the logarithm `ln_life`.
    pub(super) fn ln_cycle(&self, ln_life: f64, theta: &[f64]) -> f64 {
        (ln_life.exp() + self.late(theta)).ln()
    }

    /// Effective exposure from wear-out to the end of its day, on average.
    fn late(&self, theta: &[f64]) -> f64 {
        let count = self.by_group.len();
        let factors: Vec<f64> = wear_factors(theta).take(count).collect();
        let mut squares = 0.0;
        for (row, a) in self.by_day.chunks_exact(count).zip(&factors) {
            squares += a * effective(row, factors.iter().copied());
        }
        let sum = effective(&self.by_group, factors.iter().copied());
        if 0.0 < squares {
            squares / (2.0 * sum)
        } else {
            0.0
        }
    }

    pub(super) fn all_acres(&self) -> f64 {
        self.acres.iter().sum()
    }

    /// Effective exposure an acre of all work, under `(.., ln w_1, ..)` from the third place on.
    pub(super) fn exposure_per_acre(&self, theta: &[f64]) -> f64 {
        effective(&self.by_group, wear_factors(theta)) / self.all_acres()
    }
}

/// The last day on which a life saw its machine's use.
fn until(study: &Study, life: &Life) -> NaiveDate {
    life.removed.unwrap_or(study.as_of).min(study.as_of)
}

/// What was spread, by group of [`crate::wear::Groups::names`].
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Spread {
    pub(super) acres: Vec<f64>,
    /// Short tons; NaN where some are unknown.
    pub(super) tons: Vec<f64>,
}

impl Spread {
    /// By machines on the days on which they carried any of the parts; `None` where some acres are unknown.
    pub(super) fn under(study: &Study, lives: &[&Life]) -> Option<Self> {
        let count = study.groups.names().len();
        let mut spread = Self {
            acres: vec![0.0; count],
            tons: vec![0.0; count],
        };
        let mut times: BTreeMap<&str, Vec<(NaiveDate, NaiveDate)>> = BTreeMap::new();
        for life in lives {
            let time = (life.since, until(study, life));
            times.entry(&life.machine).or_default().push(time);
        }
        for (machine, mut times) in times {
            times.sort_unstable();
            let (mut next, mut last) = (times.into_iter().peekable(), None);
            for day in study.sums.of_machine(machine) {
                while let Some((_, to)) = next.next_if(|(from, _)| *from <= day.date) {
                    last = last.max(Some(to));
                }
                if last.is_some_and(|to| day.date <= to) {
                    spread.acres[day.group] += day.amounts.acres?;
                    spread.tons[day.group] += day.amounts.tons.unwrap_or(f64::NAN);
                }
            }
        }
        Some(spread)
    }
}

/// Pieces of a change on average, where lives differ in them.
pub(super) fn pieces_that_differ(lives: &[&Life]) -> Option<f64> {
    let first = lives.first()?.pieces;
    let sum: f64 = lives.iter().map(|l| l.pieces).sum();
    let differ = lives.iter().any(|l| l.pieces.total_cmp(&first).is_ne());
    differ.then(|| sum / lives.len() as f64)
}

/// Parts and labor of one change, on average over these lives; `None` where a price or, with labor
/// priced, an hour is unknown, and where there is no life.
///
/// - `pieces`: so many in every change, rather than those of each.
pub(super) fn change_cost(
    study: &Study,
    family: &Family,
    lives: &[&Life],
    pieces: Option<f64>,
) -> Option<f64> {
    let rate = study.records.settings.labor_rate;
    let as_set = family.counted == Counted::Set;
    let mut known: BTreeMap<&str, PartCost> = BTreeMap::new();
    let mut sum = 0.0;
    for life in lives {
        // What the change costs whose life this is, not the one that followed it; where nobody says what
        // that was, the newest number.
        let listed = study.records.part(&life.number);
        let part = match listed.and_then(|part| part.price) {
            Some(_) => life.number.as_str(),
            None => life.part.as_str(),
        };
        let cost = known.entry(part).or_insert_with(|| {
            cost::part_cost(
                &study.records,
                &study.supersession,
                part,
                as_set,
                study.as_of,
            )
        });
        if !cost.is_known(rate) {
            return None;
        }
        sum += cost.of_change(pieces.unwrap_or(life.pieces), rate);
    }
    (!lives.is_empty()).then(|| sum / lives.len() as f64)
}
