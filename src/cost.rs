//! What a replacement costs, as far as the parts list and the records tell.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;

use crate::life::Life;
use crate::life::supersession::Supersession;
use crate::record::{Records, Replacement};

/// Money and time of replacing one part number.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct PartCost {
    /// Price of a piece at the season's level, in whole cents, as it will stand on the invoice.
    pub price: Option<f64>,
    /// Whether it is what past pieces cost, since the parts list says nothing.
    pub price_from_records: bool,
    /// Hours to replace one, or one set.
    pub labor_hours: Option<f64>,
}

impl PartCost {
    /// Money of one replacement, as far as it is known: see [`Self::is_known`].
    #[must_use]
    pub fn of_change(&self, pieces: f64, labor_rate: Option<f64>) -> f64 {
        let labor = labor_rate
            .zip(self.labor_hours)
            .map_or(0.0, |(rate, hours)| rate * hours);
        self.price.map_or(0.0, |price| price * pieces) + labor
    }

    /// Whether [`Self::of_change`] is all of it: without a labor rate, labor is not priced at all.
    #[must_use]
    pub fn is_known(&self, labor_rate: Option<f64>) -> bool {
        self.price.is_some() && (labor_rate.is_none() || self.labor_hours.is_some())
    }
}

/// Money in whole cents, as it is paid; what is less than half a cent stays as it is, for it is not
/// nothing.
#[must_use]
pub fn in_cents(money: f64) -> f64 {
    /// Above what a product of two decimal numbers is off, so that 46.575 rounds up as on paper.
    const HALVES_UP: f64 = 1.0 + 1e-12;
    let rounded = (money * 100.0 * HALVES_UP).round() / 100.0;
    if rounded.abs() < 0.005 {
        // The sum of no money is -0.
        money + 0.0
    } else {
        rounded
    }
}

/// Replacements up to `as_of` that fitted a part, by its newest number.
fn changes_of<'a>(
    records: &'a Records,
    supersession: &'a Supersession,
    part: &'a str,
    as_of: NaiveDate,
) -> impl Iterator<Item = &'a Replacement> {
    // Where nobody can tell which of several numbers it was, it says nothing of any.
    records.replacements.iter().filter(move |r| {
        let fitted = r.part.as_deref();
        r.date <= as_of && fitted.is_some_and(|f| supersession.newest(f) == part)
    })
}

/// Pieces a change was about.
fn pieces(records: &Records, change: &Replacement) -> f64 {
    change.quantity.unwrap_or_else(|| {
        let position = records.position(&change.machine, &change.position);
        if change.slot.is_some() {
            1.0
        } else {
            position.map_or(1.0, |p| p.quantity)
        }
    })
}

/// What one part number costs in the coming season.
///
/// A price or a time that the parts list leaves out is taken from past replacements; where they
/// say nothing either, it is unknown.
#[must_use]
pub fn part_cost(
    records: &Records,
    supersession: &Supersession,
    part: &str,
    as_set: bool,
    as_of: NaiveDate,
) -> PartCost {
    let listed = records.part(part);
    let level = 1.0 + records.settings.price_change;
    let past_price = || {
        mean(
            changes_of(records, supersession, part, as_of).filter_map(|c| {
                let pieces = pieces(records, c);
                c.parts_cost
                    .filter(|_| 0.0 < pieces)
                    .map(|cost| (cost / pieces, pieces))
            }),
        )
    };
    let past_labor = || {
        let changes = changes_of(records, supersession, part, as_of);
        let jobs = jobs(records, changes, as_set, |c| c.labor_hours);
        let whole = mean(jobs.iter().filter(|job| job.is_whole).map(Job::each));
        // Where no set was changed in one go, what its pieces took is the best there is.
        whole.or_else(|| mean(jobs.iter().map(Job::each)))
    };
    let list_price = listed.and_then(|p| p.price);
    let price = list_price.or_else(past_price);
    PartCost {
        price: price.map(|p| in_cents(p * level)),
        price_from_records: list_price.is_none() && price.is_some(),
        labor_hours: listed.and_then(|p| p.labor_hours).or_else(past_labor),
    }
}

/// Hours of the rows of one position and day.
#[derive(Clone, Copy, Debug, Default)]
struct Job {
    hours: f64,
    /// Lives that they are shared by: pieces, or 1 for a set.
    lives: f64,
    /// Whether every piece of a set was changed.
    is_whole: bool,
}

impl Job {
    /// Hours of one life, and how many they are of.
    fn each(&self) -> (f64, f64) {
        (self.hours / self.lives, self.lives)
    }
}

/// Jobs of which some row tells the hours. The rows of one position and day are one job: those of a set
/// make it up, those of single pieces share the hours.
fn jobs<'a>(
    records: &'a Records,
    changes: impl Iterator<Item = &'a Replacement>,
    as_set: bool,
    hours: impl Fn(&Replacement) -> Option<f64>,
) -> Vec<Job> {
    let mut by_day: BTreeMap<(&str, &str, NaiveDate), (f64, f64, f64)> = BTreeMap::new();
    for change in changes {
        let place = (&*change.machine, &*change.position, change.date);
        let (all, told, sum) = by_day.entry(place).or_default();
        let pieces = pieces(records, change);
        *all += pieces;
        if let Some(hours) = hours(change) {
            *told += pieces;
            *sum += hours;
        }
    }
    let days = by_day.into_iter().filter(|(_, (_, told, _))| 0.0 < *told);
    days.map(|((machine, position, _), (all, told, hours))| {
        let holds = records
            .position(machine, position)
            .map_or(1.0, |p| p.quantity);
        Job {
            hours,
            lives: if as_set { 1.0 } else { told },
            is_whole: !as_set || holds <= all,
        }
    })
    .collect()
}

/// Mean field time lost when one of these lives wore out in the field, as recorded: that of the parts taken out,
/// whatever took their place. Pieces that have lives of their own share the time of their day.
#[must_use]
pub fn down_hours<'a>(
    records: &Records,
    lives: impl Iterator<Item = &'a Life>,
    as_set: bool,
) -> Option<f64> {
    let worn: BTreeSet<(&str, &str, Option<NaiveDate>)> = lives
        .filter(|life| life.ended.is_wear())
        .map(|life| (life.machine.as_str(), life.position.as_str(), life.removed))
        .collect();
    let changes = records.replacements.iter().filter(|c| {
        let of = (c.machine.as_str(), c.position.as_str(), Some(c.date));
        c.reason.is_wear() && worn.contains(&of)
    });
    let jobs = jobs(records, changes, as_set, |c| c.down_hours);
    mean(jobs.iter().map(Job::each))
}

/// Weighted mean; `None` of nothing.
fn mean(values: impl Iterator<Item = (f64, f64)>) -> Option<f64> {
    let mut values: Vec<(f64, f64)> = values.collect();
    values.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
    let weight: f64 = values.iter().map(|v| v.1).sum();
    (0.0 < weight).then(|| values.iter().map(|(v, w)| v * w).sum::<f64>() / weight)
}

#[cfg(test)]
mod tests {
    use super::in_cents;

    /// By decimal arithmetic on paper: halves go up, also where binary numbers fall just short of them.
    #[test]
    fn halves_of_a_cent_go_up() {
        for (price, level, cents) in [
            (45.0, 1.035, 46.58),
            (1.005, 1.0, 1.01),
            (1_487.35, 1.037, 1_542.38),
            (7.2, 1.04, 7.49),
            (1_840.0, 1.04, 1_913.6),
        ] {
            assert_eq!(in_cents(price * level).to_bits(), f64::to_bits(cents));
        }
        assert_eq!(in_cents(0.004).to_bits(), 0.004_f64.to_bits());
    }
}
