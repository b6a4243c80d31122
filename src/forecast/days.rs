//! On which day of work a part is worn or struck.

use std::ops::Range;

/// Where a part begins: the first day at whose end it can be changed, and what was used before.
#[derive(Clone, Copy, Debug)]
pub(super) struct Begin {
    pub(super) day: usize,
    pub(super) exposure: f64,
}

/// Before the first day.
pub(super) const NOW: Begin = Begin {
    day: 0,
    exposure: 0.0,
};

/// Where to look first for the day on which a part is worn: days differ little in size, so that most
/// often it is the day that their mean points to.
///
/// - `all`: exposure at the end of the last day.
#[inline]
pub(super) fn first_look((begin, all): (Begin, f64), wear_at: f64, days: usize) -> u32 {
    let share = (wear_at - begin.exposure) / (all - begin.exposure);
    // Without any use left the share is infinite; where to look first is clamped anyway.
    (begin.day as u32).saturating_add((share * days.saturating_sub(begin.day) as f64) as u32)
}

/// First of the days at whose end the effective exposure is `wear_at` or more, where there is one; their
/// end where there is no day.
///
/// - `exposure`: effective exposure at the end of a day.
/// - `look`: where to look first.
#[inline]
pub(super) fn worn_on(
    exposure: impl Fn(usize) -> f64,
    days: Range<usize>,
    look: u32,
    wear_at: f64,
) -> u32 {
    let Some(last) = days.end.checked_sub(1).filter(|last| days.start <= *last) else {
        return days.end as u32;
    };
    let enough = |day: usize| wear_at <= exposure(day);
    let look = (look as usize).min(last);
    let (mut low, mut high) = if !enough(look) {
        (look + 1, last)
    } else if look == days.start || !enough(look - 1) {
        return look as u32;
    } else {
        (days.start, look - 1)
    };
    while low < high {
        let look = low.midpoint(high);
        if enough(look) {
            high = look;
        } else {
            low = look + 1;
        }
    }
    low as u32
}

/// The clock where a part begins.
#[inline]
pub(super) fn clock_at(clock: &[f64], begin: Begin) -> f64 {
    begin.day.checked_sub(1).map_or(0.0, |before| clock[before])
}

/// First day from `from` on at whose end the clock is at `damage_at` or later.
#[inline]
pub(super) fn struck_on(clock: &[f64], from: usize, damage_at: f64) -> usize {
    if clock.last().is_none_or(|last| *last < damage_at) {
        return clock.len();
    }
    from + clock[from..].partition_point(|c| *c < damage_at)
}

#[cfg(test)]
mod tests {
    use chrono::NaiveDate;

    use super::{Begin, NOW, first_look, struck_on, worn_on};
    use crate::forecast::path::FuturePath;

    fn exposure(path: &FuturePath, factors: &[f64], day: usize) -> f64 {
        let used = path.at(day).iter().zip(factors);
        used.map(|(used, factor)| used * factor).sum()
    }

    /// Days of very different sizes, of two groups, some of nothing.
    fn uneven() -> FuturePath {
        let sizes = [
            [3.0, 0.0],
            [0.0, 0.0],
            [0.5, 200.0],
            [40.0, 0.1],
            [0.0, 0.0],
            [1e-3, 7.0],
            [90.0, 90.0],
        ];
        let mut path = FuturePath {
            dates: vec![NaiveDate::MIN; sizes.len()],
            counts: vec![true; sizes.len()],
            n_groups: 2,
            cumulative: Vec::new(),
            clock: Vec::new(),
            unknown_from: None,
            found: Vec::new(),
        };
        let mut sum = [0.0; 2];
        for size in sizes {
            sum = [sum[0] + size[0], sum[1] + size[1]];
            path.cumulative.extend(sum);
            path.clock.push(sum[1]);
        }
        path
    }

    /// Against a look at every day in turn, from every begin on.
    #[test]
    fn the_day_is_the_first_that_is_enough() {
        let (path, factors) = (uneven(), [1.0, 2.5]);
        let days = path.dates.len();
        let all = exposure(&path, &factors, days - 1);
        for day in 0..=days {
            let begin = match day {
                0 => NOW,
                _ => Begin {
                    day,
                    exposure: exposure(&path, &factors, day - 1),
                },
            };
            for step in 1..=400 {
                let wear_at = begin.exposure + (all - begin.exposure) * f64::from(step) / 396.0;
                let first = (day..days).find(|d| wear_at <= exposure(&path, &factors, *d));
                let look = first_look((begin, all), wear_at, days);
                let at_end = |d: usize| exposure(&path, &factors, d);
                if wear_at <= all {
                    let found = worn_on(at_end, day..days, look, wear_at) as usize;
                    assert_eq!(found, first.unwrap_or(days), "{day} {wear_at}");
                }
                let struck_at = wear_at / 2.5;
                let first = (day..days).find(|d| struck_at <= path.clock[*d]);
                let found = struck_on(&path.clock, day, struck_at);
                assert_eq!(found, first.unwrap_or(days), "{day} {struck_at}");
            }
        }
    }

    /// Where no day wears anything any more, the share of them that a wear-out points to is infinite.
    #[test]
    fn without_use_left_the_first_look_ends_nothing() {
        let begin = Begin {
            day: 3,
            exposure: 700.0,
        };
        assert_eq!(first_look((begin, 700.0), 900.0, 7), u32::MAX);
        assert_eq!(worn_on(|_| 700.0, 3..7, u32::MAX, 900.0), 7);
    }
}
