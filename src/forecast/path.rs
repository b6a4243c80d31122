//! Planned use laid out in days of work, as long as the days on record are.
//!
//! A worn part is changed at the end of the day on which it wore out, so the size of a day
//! matters: the mean overshoot is `E[d^2] / (2 E[d])`. Equal days of the size `E[d^2] / E[d]`
//! overshoot by just that on average.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{Days, NaiveDate};

use super::day_sizes::DaySizes;
use super::plan::{Plan, PlannedUse};
use super::season::Season;
use crate::units::Measure;

/// Days of use to come, for one machine, bin and measure.
#[derive(Clone, Debug, PartialEq)]
pub struct FuturePath {
    /// The days, ascending.
    pub dates: Vec<NaiveDate>,
    /// Whether a replacement on that day counts into the season.
    pub counts: Vec<bool>,
    /// Groups a day has amounts of.
    pub n_groups: usize,
    /// Use since the as-of date at the end of each day, by group.
    pub cumulative: Vec<f64>,
    /// Use on the clock of damage since the as-of date at the end of each day; what is not known
    /// counts as none.
    pub clock: Vec<f64>,
    /// From when on some amount of the measure is not known; `None`: all of them are.
    pub unknown_from: Option<NaiveDate>,
    /// Day of work on which what ended on a day is found and changed, the number of days where on none;
    /// empty where every day is one of work.
    pub found: Vec<u32>,
}

impl FuturePath {
    /// The day on which what ended on a day is changed.
    #[inline]
    #[must_use]
    pub fn found_on(&self, day: usize) -> usize {
        self.found.get(day).map_or(day, |found| *found as usize)
    }

    /// Whether every amount of the measure is known.
    #[must_use]
    pub fn is_known(&self) -> bool {
        self.unknown_from.is_none()
    }

    /// Whether every amount up to and including a day is known.
    #[must_use]
    pub fn is_known_until(&self, date: NaiveDate) -> bool {
        self.unknown_from.is_none_or(|from| date < from)
    }

    /// Use since the as-of date at the end of day `k`, by group.
    #[inline]
    #[must_use]
    pub fn at(&self, k: usize) -> &[f64] {
        &self.cumulative[k * self.n_groups..(k + 1) * self.n_groups]
    }

    /// The days from `date` on, as seen by what is fitted on it.
    #[must_use]
    pub fn from(&self, date: NaiveDate) -> Self {
        let first = self.dates.partition_point(|d| *d < date);
        let Some(last) = first.checked_sub(1) else {
            return self.clone();
        };
        let clock = self.clock[last];
        let used = self.cumulative[first * self.n_groups..].chunks(self.n_groups.max(1));
        let before = self.at(last);
        Self {
            dates: self.dates[first..].to_vec(),
            counts: self.counts[first..].to_vec(),
            n_groups: self.n_groups,
            cumulative: used
                .flat_map(|sums| sums.iter().zip(before).map(|(sum, before)| sum - before))
                .collect(),
            clock: self.clock[first..].iter().map(|c| c - clock).collect(),
            unknown_from: self.unknown_from,
            found: self
                .found
                .iter()
                .skip(first)
                .map(|day| day - first as u32)
                .collect(),
        }
    }

    /// Use by group on the days that count.
    #[must_use]
    pub fn in_season(&self) -> Vec<f64> {
        let mut sum = vec![0.0; self.n_groups];
        for k in (0..self.dates.len()).filter(|k| self.counts[*k]) {
            for (g, s) in sum.iter_mut().enumerate() {
                let before = if k == 0 { 0.0 } else { self.at(k - 1)[g] };
                *s += self.at(k)[g] - before;
            }
        }
        sum
    }

    /// Effective exposure of each day that counts, in order.
    ///
    /// - `effective`: effective exposure of a use by group.
    #[must_use]
    pub fn days_that_count(&self, effective: impl Fn(&[f64]) -> f64) -> Vec<f64> {
        let mut before = 0.0;
        let days = (0..self.dates.len()).map(|k| {
            let until = effective(self.at(k));
            (
                self.counts[k],
                until - std::mem::replace(&mut before, until),
            )
        });
        days.filter(|(counts, _)| *counts)
            .map(|(_, day)| day)
            .collect()
    }

    /// Equal days that overshoot a wear-out by as much, on average, as those that count; `None`
    /// without use on any.
    ///
    /// - `effective`: effective exposure of a use by group.
    #[must_use]
    pub fn equal_days(&self, effective: impl Fn(&[f64]) -> f64) -> Option<usize> {
        let days = self.days_that_count(effective);
        let sum: f64 = days.iter().sum();
        let squares: f64 = days.iter().map(|day| day * day).sum();
        (0.0 < squares).then(|| (sum * sum / squares).round().max(1.0) as usize)
    }
}

/// Which days count, and which use a position sees.
#[derive(Clone, Copy, Debug)]
pub struct View<'a> {
    /// Machine.
    pub machine: &'a str,
    /// Bin; `None`: all of the machine's use.
    pub bin: Option<&'a str>,
    /// Measure of the family.
    pub measure: Measure,
    /// What damage is counted by.
    pub clock: Measure,
    /// Number of product groups.
    pub n_groups: usize,
    /// Nothing before this day counts.
    pub as_of: NaiveDate,
    /// The season forecast.
    pub season: Season,
    /// Last day laid out.
    pub until: NaiveDate,
}

/// Lays out planned use in days of work.
///
/// Groups that have their days with others on record have as many of them so again. The days follow
/// each other, each a step of its own even where those of several groups are more than the month has
/// dates. One group has no more days than dates: where more is planned than so many days on record
/// held, its days are larger than those. A group without any day on record has
/// as many as a month has field days.
#[must_use]
pub fn lay_out(plan: &Plan, sizes: &DaySizes, view: View<'_>) -> FuturePath {
    let joined = joined(plan.of_machine(view.machine), view);
    let mut unknown = joined
        .iter()
        .filter(|(_, amounts)| amounts[view.measure.index()].is_none());
    let unknown_from = if view.measure == Measure::Days {
        None
    } else if plan.unknown.contains(view.machine) {
        Some(view.as_of + Days::new(1))
    } else {
        unknown.next().map(|(span, _)| span.from)
    };
    let mut work: Vec<Day> = Vec::new();
    let spans: Vec<(&GroupSpan, &[Option<f64>; 3])> = joined.iter().collect();
    for month in spans.chunk_by(|(a, _), (b, _)| (a.from, a.until) == (b.from, b.until)) {
        work.extend(month_of_work(month, sizes, view));
    }
    if view.measure != Measure::Days {
        return accumulate(&work, view, unknown_from);
    }
    let worked: BTreeSet<NaiveDate> = work.iter().map(|day| day.date).collect();
    let calendar = on_the_calendar(&work, view);
    FuturePath {
        found: found(&calendar, &worked),
        ..accumulate(&calendar, view, unknown_from)
    }
}

/// Days on which what ended in the shed is found: the next on which the machine works. Of a machine that is
/// not known to work at all, the same day.
fn found(calendar: &[Day], worked: &BTreeSet<NaiveDate>) -> Vec<u32> {
    if worked.is_empty() {
        return Vec::new();
    }
    let mut next = calendar.len() as u32;
    let mut found: Vec<u32> = Vec::with_capacity(calendar.len());
    for (k, day) in calendar.iter().enumerate().rev() {
        if worked.contains(&day.date) {
            next = k as u32;
        }
        found.push(next);
    }
    found.reverse();
    found
}

/// One group's work of one day.
#[derive(Clone, Copy, Debug)]
struct Day {
    date: NaiveDate,
    /// Whether the day is that of the work before.
    joins: bool,
    group: usize,
    /// In the measure of the view.
    amount: f64,
    /// On the clock of damage.
    clock: f64,
}

/// Days of a month that use of a group can fall on. Ordered by days, then by group.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct GroupSpan {
    from: NaiveDate,
    /// Last day.
    until: NaiveDate,
    group: usize,
}

/// Planned use the position sees, joined by month and group.
fn joined(uses: &[PlannedUse], view: View<'_>) -> BTreeMap<GroupSpan, [Option<f64>; 3]> {
    let mut sums: BTreeMap<GroupSpan, [Option<f64>; 3]> = BTreeMap::new();
    let seen = uses
        .iter()
        .filter(|u| view.bin.is_none() || u.bin.as_deref() == view.bin);
    for planned in seen {
        let amounts = Measure::OF_USE.map(|m| planned.amounts.get(m));
        let span = GroupSpan {
            from: planned.from,
            until: planned.until,
            group: planned.group,
        };
        sums.entry(span)
            .and_modify(|sum| {
                for (s, a) in sum.iter_mut().zip(amounts) {
                    *s = s.zip(a).map(|(s, a)| s + a);
                }
            })
            .or_insert(amounts);
    }
    sums
}

/// Share of days that are field days, of use without any day on record: one or two a week in a wet spring
/// (an agronomic brief of 1998, quoted from memory); the middle of that.
const FIELD_DAYS: f64 = 1.5 / 7.0;

/// The days of work of one month, its groups taking turns.
fn month_of_work(
    groups: &[(&GroupSpan, &[Option<f64>; 3])],
    sizes: &DaySizes,
    view: View<'_>,
) -> Vec<Day> {
    let measure = view.measure.index();
    // Where in the month each day falls, as a share of it.
    let mut turns: Vec<(f64, Day)> = Vec::new();
    let mut room = 0.0;
    let mut first = view.until;
    for (span, amounts) in groups {
        let GroupSpan { from, until, group } = **span;
        (first, room) = (from, ((until - from).num_days() + 1) as f64);
        let main = [1, 0, 2]
            .into_iter()
            .find(|i| amounts[*i].is_some_and(|a| 0.0 < a));
        let Some(main) = main else { continue };
        let total = amounts[main].unwrap_or(0.0);
        let size = sizes
            .typical(view.machine, view.bin, group, main)
            .unwrap_or(total / (room * FIELD_DAYS));
        let count = (total / size).round().clamp(1.0, room);
        let of = |i: usize| amounts.get(i).copied().flatten().unwrap_or(0.0) / count;
        for k in 0..count as u64 {
            let day = Day {
                date: from,
                joins: false,
                group,
                amount: of(measure),
                clock: of(view.clock.index()),
            };
            turns.push(((k as f64 + 0.5) / count, day));
        }
    }
    turns.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.group.cmp(&b.1.group)));
    let days = whole_days(turns.into_iter().map(|(_, day)| day), sizes, view);
    let n = days.len() as f64;
    let dated = days.into_iter().enumerate().flat_map(|(i, works)| {
        let offset = ((i as f64 + 0.5) * room / n).floor() as u64;
        let date = first + Days::new(offset);
        let work = works.into_iter().enumerate();
        work.map(move |(k, day)| Day {
            date,
            joins: 0 < k,
            ..day
        })
    });
    dated.collect()
}

/// Puts the work of several groups into one day as often as it was on record.
fn whole_days(work: impl Iterator<Item = Day>, sizes: &DaySizes, view: View<'_>) -> Vec<Vec<Day>> {
    let mut days: Vec<Vec<Day>> = Vec::new();
    // Days that wait for other groups: place, and groups they are to have.
    let mut open: Vec<(usize, usize)> = Vec::new();
    let mut credit: BTreeMap<usize, f64> = BTreeMap::new();
    for day in work {
        let shared = sizes.shared(view.machine, view.bin, day.group);
        let credit = credit.entry(day.group).or_default();
        *credit += shared.chance();
        // The half makes the first of a group as likely to share its day as the last.
        if *credit < 0.5 {
            days.push(vec![day]);
            continue;
        }
        *credit -= 1.0;
        let fits = |(place, _): &(usize, usize)| days[*place].iter().all(|d| d.group != day.group);
        if let Some(at) = open.iter().position(fits) {
            let (place, groups) = open[at];
            days[place].push(day);
            if groups <= days[place].len() {
                open.remove(at);
            }
        } else {
            open.push((days.len(), shared.groups()));
            days.push(vec![day]);
        }
    }
    days
}

/// Calendar time wears on every day, in the shed as well; use on the clock falls on its dates.
fn on_the_calendar(work: &[Day], view: View<'_>) -> Vec<Day> {
    let mut clock: BTreeMap<NaiveDate, f64> = BTreeMap::new();
    for day in work {
        *clock.entry(day.date).or_default() += day.clock;
    }
    let first = view.as_of + Days::new(1);
    std::iter::successors(Some(first), |date| Some(*date + Days::new(1)))
        .take_while(|date| *date <= view.until)
        .map(|date| Day {
            date,
            joins: false,
            group: 0,
            amount: 1.0,
            clock: clock.get(&date).copied().unwrap_or(0.0),
        })
        .collect()
}

fn accumulate(work: &[Day], view: View<'_>, unknown_from: Option<NaiveDate>) -> FuturePath {
    let n_groups = if view.measure == Measure::Days {
        1
    } else {
        view.n_groups
    };
    let mut path = FuturePath {
        dates: Vec::with_capacity(work.len()),
        counts: Vec::with_capacity(work.len()),
        n_groups,
        cumulative: Vec::with_capacity(work.len() * n_groups),
        clock: Vec::with_capacity(work.len()),
        unknown_from,
        found: Vec::new(),
    };
    let mut sum = vec![0.0; n_groups];
    let mut clock = 0.0;
    for day in work.iter().filter(|day| day.date <= view.until) {
        sum[day.group] += day.amount;
        clock = if view.clock == Measure::Days {
            (day.date - view.as_of).num_days() as f64
        } else {
            clock + day.clock
        };
        if day.joins {
            path.cumulative.truncate(path.cumulative.len() - n_groups);
            path.clock.pop();
        } else {
            path.dates.push(day.date);
            path.counts.push(view.season.holds(day.date));
        }
        path.cumulative.extend_from_slice(&sum);
        path.clock.push(clock);
    }
    path
}
