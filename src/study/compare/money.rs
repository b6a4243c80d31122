//! Long-run money: what the work on record asks of a family's parts, and what a change costs.
//!
//! Changed when worn and never before, a part costs in the long run one change per cycle: its mean
//! life, run out to the end of the day on which it wore out. With `n_g` the use of group `g` that the
//! family's positions saw on record, each piece or set counted, `A` the acres of the machines that
//! carry them, and `d` the effective exposure of one of their days,
//!
//! ```text
//! cycle                    = mean life + E[d^2] / (2 E[d])
//! cost per acre            = change * sum_g(w_g n_g) / (cycle * A)
//! cost per acre of group g = change * w_g n_g / (cycle * A_g)
//! ```
//!
//! so that the groups' costs, by their acres, add up to the whole. Parts that age by the calendar are
//! spread over all acres alike.

use std::collections::{BTreeMap, BTreeSet};

use crate::cost::{self, PartCost};
use crate::family::{Counted, Family};
use crate::life::Life;
use crate::model::wear_factors;
use crate::study::Study;
use crate::units::Measure;

/// The work on record, as one family sees it.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Work {
    /// Use by group in the family's measure, summed over pieces or sets; days in one figure.
    pub(super) by_group: Vec<f64>,
    /// By two groups: use of the one times use of the other, summed over days, pieces or sets.
    by_day: Vec<f64>,
    /// Acres of the machines, by group of [`crate::wear::Groups::names`].
    pub(super) acres: Vec<f64>,
    /// Short tons likewise.
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
        let mut work = Self {
            by_group: vec![0.0; groups.len()],
            by_day: vec![0.0; groups.len() * groups.len()],
            acres: vec![0.0; names.len()],
            tons: vec![0.0; names.len()],
        };
        let machines: BTreeSet<&str> = lives.iter().map(|l| l.machine.as_str()).collect();
        for machine in machines {
            for day in study.sums.of_machine(machine) {
                work.acres[day.group] += day.amounts.acres?;
                work.tons[day.group] += day.amounts.tons.unwrap_or(f64::NAN);
            }
        }
        let places: BTreeSet<(&str, &str, Option<&str>)> = lives
            .iter()
            .map(|l| (l.machine.as_str(), l.position.as_str(), l.slot.as_deref()))
            .collect();
        let mut seen: BTreeMap<(&str, Option<&str>), f64> = BTreeMap::new();
        for (machine, position, _) in places {
            if measure == Measure::Days {
                work.by_group[0] += days(study, machine)?;
                continue;
            }
            let bin = study.records.position(machine, position)?.bin.as_deref();
            *seen.entry((machine, bin)).or_default() += 1.0;
        }
        let columns: Vec<Option<usize>> = groups
            .iter()
            .map(|group| names.binary_search(group).ok())
            .collect();
        for ((machine, bin), places) in seen {
            let path = study.sums.path(machine, bin);
            let all = path.days().len();
            if !path.is_known(measure, 0, all) {
                return None;
            }
            for day in 0..all {
                work.add_day(&path.recorded(measure, day, day + 1), &columns, places);
            }
        }
        (0.0 < work.all_acres()).then_some(work)
    }

    /// - `used`: of all groups; `columns`: which of them each of the family's is.
    fn add_day(&mut self, used: &[f64], columns: &[Option<usize>], places: f64) {
        let of = |group: usize| columns[group].map_or(0.0, |column| used[column]);
        for a in 0..columns.len() {
            self.by_group[a] += places * of(a);
            for b in 0..columns.len() {
                self.by_day[a * columns.len() + b] += places * of(a) * of(b);
            }
        }
    }

    /// Logarithm of a cycle whose mean life has the logarithm `ln_life`.
    pub(super) fn ln_cycle(&self, ln_life: f64, theta: &[f64]) -> f64 {
        let count = self.by_group.len();
        let factors: Vec<f64> = wear_factors(theta).take(count).collect();
        let mut squares = 0.0;
        for (row, a) in self.by_day.chunks_exact(count).zip(&factors) {
            squares += a * row.iter().zip(&factors).map(|(n, b)| n * b).sum::<f64>();
        }
        let sum: f64 = self.by_group.iter().zip(&factors).map(|(n, w)| n * w).sum();
        let late = if 0.0 < squares {
            squares / (2.0 * sum)
        } else {
            0.0
        };
        (ln_life.exp() + late).ln()
    }

    pub(super) fn all_acres(&self) -> f64 {
        self.acres.iter().sum()
    }

    /// Effective exposure an acre of all work, under `(.., ln w_1, ..)` from the third place on.
    pub(super) fn exposure_per_acre(&self, theta: &[f64]) -> f64 {
        let each = self.by_group.iter().zip(wear_factors(theta));
        let sum: f64 = each.map(|(n, w)| n * w).sum();
        sum / self.all_acres()
    }
}

/// Days of one machine on record.
fn days(study: &Study, machine: &str) -> Option<f64> {
    let machine = study.records.machine(machine)?;
    let until = machine
        .retired
        .map_or(study.as_of, |date| date.min(study.as_of));
    Some((until - machine.records_from).num_days().max(0) as f64)
}

/// Parts and labor of one change, on average over these lives; `None` where a price or, with labor
/// priced, an hour is unknown, and where there is no life.
pub(super) fn change_cost(study: &Study, family: &Family, lives: &[&Life]) -> Option<f64> {
    let rate = study.records.settings.labor_rate;
    let as_set = family.counted == Counted::Set;
    let mut known: BTreeMap<&str, PartCost> = BTreeMap::new();
    let mut sum = 0.0;
    for life in lives {
        let cost = known.entry(life.part.as_str()).or_insert_with(|| {
            cost::part_cost(
                &study.records,
                &study.supersession,
                &life.part,
                as_set,
                study.as_of,
            )
        });
        if !cost.is_known(rate) {
            return None;
        }
        sum += cost.of_change(life.pieces, rate);
    }
    (!lives.is_empty()).then(|| sum / lives.len() as f64)
}
