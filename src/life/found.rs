//! Parts that were there when the records began, and of which nobody knows when they were fitted.

use chrono::{Days, NaiveDate};

use super::build::History;
use super::use_path::UsePath;
use super::window::Window;
use crate::record::Machine;
use crate::units::Measure;

/// What is on record of such a part, in one measure; lists are by product group in the order of
/// [`crate::wear::Groups::names`], of days a single number.
#[derive(Clone, Debug, PartialEq)]
pub struct FoundUse {
    /// About what its machine had done when the records began, which bounds the part's age; `None`:
    /// the machine is no older than its records, and the part of any age.
    pub before: Option<Vec<f64>>,
    /// Use from there until it was last known good.
    pub low: Vec<f64>,
    /// Use from there until its removal, or until now.
    pub end: Vec<f64>,
}

impl FoundUse {
    /// By [`Measure::index`]; `None` where some of its use since is not known, or what its machine
    /// did before cannot be told from so short a record.
    pub(super) fn of(history: &History<'_>, window: &Window) -> [Option<Self>; 4] {
        let older = Older::of(history.machine);
        let mut found = [const { None }; 4];
        let days = window.days_from(&history.path, window.since);
        found[Measure::Days.index()] =
            days.low
                .zip(days.end)
                .filter(|_| window.seen)
                .map(|(low, end)| Self {
                    before: older.as_ref().map(|older| vec![older.days]),
                    low: vec![low],
                    end: vec![end],
                });
        for measure in Measure::OF_USE {
            let Some((low, end)) = window.found(&history.path, measure) else {
                continue;
            };
            let before = match &older {
                None => None,
                Some(older) => {
                    // After it has left the fleet a machine does nothing.
                    let now = history.context.as_of;
                    let as_of = history.machine.retired.map_or(now, |date| date.min(now));
                    let a_day = history.path.a_day(measure, older.records_from, as_of);
                    let Some(a_day) = a_day else { continue };
                    Some(a_day.iter().map(|used| used * older.days).collect())
                }
            };
            found[measure.index()] = Some(Self { before, low, end });
        }
        found
    }
}

/// A machine that is older than its records.
struct Older {
    records_from: NaiveDate,
    /// Days it was in service before.
    days: f64,
}

impl Older {
    fn of(machine: &Machine) -> Option<Self> {
        let days = (machine.records_from - machine.in_service).num_days();
        (0 < days).then_some(Self {
            records_from: machine.records_from,
            days: days as f64,
        })
    }
}

impl UsePath {
    /// Use by group on a day of the calendar, as far as it is known: of the last whole years since
    /// the records began; `None` where there is no whole year, or no use in it.
    #[must_use]
    pub fn a_day(
        &self,
        measure: Measure,
        records_from: NaiveDate,
        as_of: NaiveDate,
    ) -> Option<Vec<f64>> {
        const YEAR: f64 = 365.25;
        // The first day and the last are both on record, and a year of 365 days is a whole one.
        let on_record = (as_of - records_from).num_days().max(-1) as f64 + 1.0;
        let whole = ((on_record + 0.75) / YEAR).floor() * YEAR;
        let first = self.days_until(as_of - Days::new(whole as u64));
        let mut used = self.recorded(measure, first, self.days_until(as_of).max(first));
        if whole <= 0.0 || used.iter().sum::<f64>() <= 0.0 {
            return None;
        }
        for used in &mut used {
            *used /= whole;
        }
        Some(used)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::life::exposure::DaySum;
    use crate::record::Amounts;

    #[test]
    fn a_calendar_year_is_a_whole_one() {
        let day = |text: &str| -> NaiveDate { text.parse().expect("a date") };
        let first = day("2025-01-01");
        let sums = (0..365).map(|k| DaySum {
            date: first + Days::new(k),
            bin: None,
            product: 0,
            group: 0,
            amounts: Amounts {
                acres: None,
                tons: Some(7.0),
                hours: None,
            },
            recorded: [false, true, false],
            after: None,
        });
        let path = UsePath::new(sums, 1);
        let a_day = |as_of| path.a_day(Measure::Tons, first, day(as_of));
        assert_eq!(a_day("2025-12-30"), None);
        let whole = a_day("2025-12-31").expect("a year");
        assert!((whole[0] - 7.0).abs() < 0.01, "{whole:?}");
        assert_eq!(path.a_day(Measure::Tons, first, day("2024-06-30")), None);
    }
}
