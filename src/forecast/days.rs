//! On which day of work a part is worn or struck.

use super::path::FuturePath;

/// Where a part begins: the first day at whose end it can be changed, and what was used before.
#[derive(Clone, Copy, Debug)]
pub(super) struct Begin {
    pub(super) day: usize,
    pub(super) exposure: f64,
    pub(super) clock: f64,
}

/// Before the first day.
pub(super) const NOW: Begin = Begin {
    day: 0,
    exposure: 0.0,
    clock: 0.0,
};

/// First day from the begin on at whose end the effective exposure is `wear_at` or more; the number of
/// days where there is none.
///
/// - `all`: exposure at the end of the last day.
pub(super) fn worn_on(
    path: &FuturePath,
    factors: &[f64],
    (begin, all): (Begin, f64),
    wear_at: f64,
) -> usize {
    let days = path.dates.len();
    let (from, begun) = (begin.day, begin.exposure);
    if days <= from || all < wear_at {
        return days;
    }
    let worn = |day: usize| wear_at <= exposure(path, factors, day);
    // Days differ little in size: most often it is the day that their mean points to.
    let share = (wear_at - begun) / (all - begun);
    let (mut low, mut high) = (from, days - 1);
    let mut look = (from + (share * (days - from) as f64) as usize).min(high);
    let mut near = true;
    while low < high {
        if worn(look) {
            high = look;
        } else {
            low = look + 1;
        }
        look = match (near, high == look) {
            (true, true) => high.saturating_sub(1).max(low),
            (true, false) => low,
            _ => low.midpoint(high),
        };
        near = false;
    }
    low
}

/// Effective exposure at the end of a day.
#[inline]
pub(super) fn exposure(path: &FuturePath, factors: &[f64], day: usize) -> f64 {
    if let [factor] = factors {
        return path.cumulative[day] * factor;
    }
    let used = path.at(day).iter().zip(factors);
    used.map(|(used, factor)| used * factor).sum()
}

/// First day from `from` on at whose end the clock is at `damage_at` or later.
pub(super) fn struck_on(clock: &[f64], from: usize, damage_at: f64) -> usize {
    if clock.last().is_none_or(|last| *last < damage_at) {
        return clock.len();
    }
    from + clock[from..].partition_point(|c| *c < damage_at)
}

#[cfg(test)]
mod tests {
    use chrono::NaiveDate;

    use super::{Begin, FuturePath, NOW, exposure, struck_on, worn_on};

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
            known: true,
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
                    clock: path.clock[day - 1],
                },
            };
            for step in 1..=400 {
                let wear_at = begin.exposure + (all - begin.exposure) * f64::from(step) / 396.0;
                let first = (day..days).find(|d| wear_at <= exposure(&path, &factors, *d));
                let found = worn_on(&path, &factors, (begin, all), wear_at);
                assert_eq!(found, first.unwrap_or(days), "{day} {wear_at}");
                let struck_at = wear_at / 2.5;
                let first = (day..days).find(|d| struck_at <= path.clock[*d]);
                let found = struck_on(&path.clock, day, struck_at);
                assert_eq!(found, first.unwrap_or(days), "{day} {struck_at}");
            }
        }
    }
}
