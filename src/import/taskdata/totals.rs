//! Running totals to what was added on each day.

use std::collections::BTreeMap;

use chrono::NaiveDate;

/// What a running total grew by, day by day.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Growth {
    pub(super) by_day: BTreeMap<NaiveDate, f64>,
    /// The counter fell, as after a loss of power: what it showed since then was added.
    pub(super) restarted: bool,
    /// The values neither grow nor fall by much: a controller that writes what each stretch
    /// added, not a running total. Which of the two it is cannot be told from the values.
    pub(super) increments: bool,
}

impl Growth {
    /// `readings`: the days over which a value came about, with the part of its growth on each, and the
    /// value, in the order of time. Values below zero are past the end of the
    /// counter and must have been left out.
    pub(super) fn new(readings: &[(Vec<(NaiveDate, f64)>, i32)]) -> Self {
        let mut growth = Self::default();
        let mut last = 0;
        for (parts, value) in readings {
            let added = if last <= *value {
                i64::from(*value) - i64::from(last)
            } else {
                growth.restarted = true;
                i64::from(*value)
            };
            last = *value;
            for (day, part) in parts {
                *growth.by_day.entry(*day).or_default() += added as f64 * part;
            }
        }
        let values = || readings.iter().map(|(_, value)| i64::from(*value));
        let (least, most) = (values().min().unwrap_or(0), values().max().unwrap_or(0));
        growth.increments =
            growth.restarted && 3 <= readings.len() && 0 < least && most <= 2 * least;
        growth
    }

    pub(super) fn total(&self) -> f64 {
        self.by_day.values().sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn growth(values: &[(u32, i32)]) -> Growth {
        let day = |d| NaiveDate::from_ymd_opt(2026, 4, d).expect("a day");
        Growth::new(
            &values
                .iter()
                .map(|(d, v)| (vec![(day(*d), 1.0)], *v))
                .collect::<Vec<_>>(),
        )
    }

    #[test]
    fn a_running_total_adds_what_it_grew_by() {
        let two_days = growth(&[(20, 60_500), (21, 101_650)]);
        assert_eq!(
            two_days.by_day.into_values().collect::<Vec<_>>(),
            [60_500.0, 41_150.0]
        );
        assert!(!two_days.restarted);
    }

    #[test]
    fn a_counter_that_fell_starts_a_new_sum() {
        let fallen = growth(&[(20, 900), (20, 300), (20, 500)]);
        assert!((fallen.total() - 1_400.0).abs() < 1e-9);
        assert!(fallen.restarted && !fallen.increments);
    }

    #[test]
    fn values_all_alike_that_do_not_grow_are_no_running_total() {
        assert!(growth(&[(20, 500), (20, 520), (20, 480)]).increments);
        assert!(!growth(&[(20, 500), (20, 520), (20, 900)]).increments);
    }
}
