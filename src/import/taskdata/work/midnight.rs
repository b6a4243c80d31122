//! Stretches of work that pass midnight: what of them falls on which day.

use chrono::{NaiveDate, NaiveDateTime, NaiveTime, TimeDelta};

use super::super::split::Shares;
use super::{Task, TaskWork};

/// Days, and the part of a whole that falls on each; together 1.
pub(super) type Parts = Vec<(NaiveDate, f64)>;

/// The longest stretch that is shared over its days; one that is longer was left open by mistake.
const LONGEST: TimeDelta = TimeDelta::days(7);

/// Parts of each stretch of a task by the clock. Of the last one, which may still be running, a
/// time log tells how far it is. That there is more than one day is noted.
pub(super) fn parts(
    task: &Task,
    logged_until: Option<NaiveDateTime>,
    notes: &mut Vec<String>,
) -> Vec<Parts> {
    let last = task.times.len().saturating_sub(1);
    let mut all = Vec::new();
    for (index, time) in task.times.iter().enumerate() {
        let running = logged_until.filter(|_| index == last);
        let stop = time.stop.or(running).unwrap_or(time.start);
        let parts = by_clock(time.start, stop);
        if 1 < parts.len() {
            notes.push(format!(
                "Task {}: its work from {} until {stop} passes midnight; what no time log tells by day is shared over the \
                 days by the clock.",
                task.id, time.start
            ));
        } else if LONGEST < stop - time.start {
            notes.push(format!(
                "Task {}: its work from {} until {stop} lasts more than {} days without a pause; all of it stands under the \
                 day on which it began.",
                task.id,
                time.start,
                LONGEST.num_days()
            ));
        }
        all.push(parts);
    }
    all
}

fn by_clock(start: NaiveDateTime, stop: NaiveDateTime) -> Parts {
    let length = stop - start;
    if length <= TimeDelta::zero() || LONGEST < length {
        return vec![(start.date(), 1.0)];
    }
    let part =
        |of: TimeDelta| of.num_milliseconds() as f64 / length.num_milliseconds().max(1) as f64;
    let mut parts = Parts::new();
    let mut from = start;
    while from < stop {
        let next = from
            .date()
            .succ_opt()
            .map(|day| day.and_time(NaiveTime::MIN));
        let until = next.map_or(stop, |midnight| midnight.min(stop));
        parts.push((from.date(), part(until - from)));
        from = until;
    }
    parts
}

impl TaskWork<'_, '_> {
    /// What the time logs say a total grew by in each stretch and day; nothing where no stretch
    /// passes midnight, or where their clock is not that of the task.
    pub(super) fn nightly(&self, ddi: u16, element: &str) -> Shares {
        let channel = (ddi, element.to_owned());
        let passes = self.parts.iter().any(|parts| 1 < parts.len());
        if !passes || self.task.universal || !self.logs.has(&channel) {
            return Shares::new();
        }
        let times = &self.task.times;
        // What is logged before the first stretch belongs to none.
        let stretch = |at| {
            times
                .partition_point(|time| time.start <= at)
                .wrapping_sub(1)
        };
        self.logs.growth(&channel, false, &stretch)
    }

    /// Parts of a stretch: by its time log, else by the clock.
    pub(super) fn parts_of(&self, stretch: usize, logged: &Shares) -> Parts {
        let by_clock = &self.parts[stretch];
        if by_clock.len() < 2 {
            return by_clock.clone();
        }
        let of = logged.range((stretch, NaiveDate::MIN)..=(stretch, NaiveDate::MAX));
        let of: Parts = of.map(|((_, day), value)| (*day, *value)).collect();
        let all: f64 = of.iter().map(|(_, value)| value).sum();
        if all <= 0.0 {
            return by_clock.clone();
        }
        of.into_iter()
            .map(|(day, value)| (day, value / all))
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(day: u32, hour: u32, minute: u32) -> NaiveDateTime {
        let day = NaiveDate::from_ymd_opt(2026, 4, day);
        day.and_then(|d| d.and_hms_opt(hour, minute, 0))
            .expect("a moment")
    }

    /// By hand: two of three hours before midnight.
    #[test]
    fn a_stretch_falls_on_its_days_by_the_clock() {
        let parts = by_clock(at(14, 22, 0), at(15, 1, 0));
        let days: Vec<String> = parts.iter().map(|(day, _)| day.to_string()).collect();
        assert_eq!(days, ["2026-04-14", "2026-04-15"]);
        assert!((parts[0].1 - 2.0 / 3.0).abs() < 1e-12);
        let three = by_clock(at(14, 12, 0), at(16, 12, 0));
        assert_eq!(
            three.iter().map(|p| p.1).collect::<Vec<_>>(),
            [0.25, 0.5, 0.25]
        );
        for alone in [at(15, 0, 0), at(14, 22, 0), at(14, 8, 0), at(30, 0, 0)] {
            assert_eq!(by_clock(at(14, 22, 0), alone), [(at(14, 0, 0).date(), 1.0)]);
        }
    }
}
