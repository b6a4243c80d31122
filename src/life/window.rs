//! What one life saw of its position's use: where it entered, when it was last good, where it ended.

use std::collections::BTreeMap;

use chrono::{Days, NaiveDate};

use super::build::{History, Slot};
use super::use_path::UsePath;
use super::{Ending, GroupUse, Span};
use crate::record::Amounts;
use crate::units::Measure;

/// The part of a use path that one life saw.
pub(super) struct Window {
    fitted: Option<NaiveDate>,
    pub(super) since: NaiveDate,
    until: NaiveDate,
    /// Counts of days of use: before the life came under observation, and at its end.
    pub(super) from: usize,
    pub(super) to: usize,
    /// The first count of days at which a part that was fitted in a stretch can have begun.
    early: usize,
    /// The first day it can have been fitted.
    fitted_from: Option<NaiveDate>,
    worn: bool,
    /// Fitted before the records begin.
    late: bool,
    last_good: Option<NaiveDate>,
    /// Whether the records begin before the life ends.
    pub(super) seen: bool,
    /// Use before the records begin; zero for a part fitted while they run.
    before: [Option<f64>; 3],
    dates: Vec<NaiveDate>,
}

impl Window {
    pub(super) fn new(
        history: &History<'_>,
        slot: &Slot,
        until: NaiveDate,
        ended: Ending,
        last_good: Option<NaiveDate>,
    ) -> Self {
        let records_from = history.machine.records_from;
        let late = slot.first && slot.fitted.is_none_or(|date| date < records_from);
        // A first part sees use on its own first day; a later one from the next day on.
        let since = match slot.fitted {
            // On an earlier as-of date the part is no older than that.
            _ if late => records_from.min(until),
            Some(date) if slot.first => date,
            Some(date) => date + Days::new(1),
            None => records_from,
        };
        let path = &history.path;
        let from = path.days_until(since - Days::new(1));
        let to = path.days_until(until).max(from);
        let before = history.position.before;
        let early = slot.fitted_from.map_or(from, |date| path.days_until(date));
        Self {
            early: early.min(from),
            fitted_from: slot.fitted_from,
            fitted: slot.fitted,
            since,
            until,
            from,
            to,
            worn: ended.is_wear(),
            late,
            seen: !late || records_from <= until,
            last_good,
            before: if late {
                Measure::OF_USE.map(|m| before.get(m))
            } else {
                [Some(0.0); 3]
            },
            dates: path.days()[from..to].to_vec(),
        }
    }

    /// Count of days of use from which the end of the life is measured: of a wear-out the first
    /// that can be, so that the life lies between its bounds; of any other end the last, so that it
    /// lasted at least so long.
    pub(super) fn earliest(&self) -> usize {
        if self.worn { self.early } else { self.from }
    }

    /// Count of days of use at which the part was last known good.
    fn low(&self, path: &UsePath, measure: Measure) -> usize {
        if !self.worn {
            return self.to;
        }
        let by_use = path.before_last_use(measure, self.from, self.to);
        let by_look = self
            .last_good
            .map(|date| path.days_until(date).max(self.from));
        // Between two readings of a meter nobody knows on which day the use was: the part may have been
        // worn ever since the earlier one. Who looked knows the day, and not the use up to it.
        let last = by_look.map_or(by_use, |k| k.min(by_use));
        path.reading_before(last).max(self.from)
    }

    /// Count of days of use at which the part had ended: of a wear-out between two readings of a meter the
    /// later one, as nobody knows how much of the use between them was done by then.
    pub(super) fn high(&self, path: &UsePath) -> usize {
        if self.worn {
            path.reading_after(self.to, self.until)
        } else {
            self.to
        }
    }

    pub(super) fn days(&self, path: &UsePath) -> Span {
        self.fitted
            .map_or(Span::default(), |fitted| self.days_from(path, fitted))
    }

    /// Days of the calendar since one on which the part was there, or fitted.
    pub(super) fn days_from(&self, path: &UsePath, origin: NaiveDate) -> Span {
        let since = |date: NaiveDate| (date - origin).num_days().max(0) as f64;
        let entry = if self.late { since(self.since) } else { 0.0 };
        let more = self.fitted_from.filter(|_| self.worn).zip(self.fitted);
        let more = more.map_or(0.0, |(first, last)| (last - first).num_days().max(0) as f64);
        let end = since(self.until).max(entry) + more;
        let low = if self.worn {
            let used = self
                .dates
                .len()
                .checked_sub(2)
                .map_or(entry, |k| since(self.dates[k]));
            let reading = self.to.checked_sub(1).filter(|_| self.from < self.to);
            let reading = reading.and_then(|k| path.reading_day(k));
            let used = match (reading, self.last_good) {
                (Some(day), None) => used.min(since(day)),
                _ => used,
            };
            self.last_good
                .map_or(used, |date| used.min(since(date)))
                .max(entry)
        } else {
            end
        };
        Span {
            entry: Some(entry),
            low: Some(low),
            end: Some(end),
        }
    }

    /// Use by group since it came under observation: until it was last known good, and at its end;
    /// `None` where some of it is not known.
    pub(super) fn found(&self, path: &UsePath, measure: Measure) -> Option<(Vec<f64>, Vec<f64>)> {
        let high = self.high(path);
        let known = self.seen && path.is_known(measure, self.from, high);
        let until = |to| path.recorded(measure, self.from, to);
        known.then(|| (until(self.low(path, measure)), until(high)))
    }

    /// What was done while it was under observation, by [`Measure::index`]; `None` where it is not known.
    pub(super) fn observed(&self, path: &UsePath) -> [Option<f64>; 4] {
        let mut observed = [None; 4];
        let days = (self.until - self.since).num_days().max(0) as f64;
        observed[Measure::Days.index()] = Some(days);
        for measure in Measure::OF_USE {
            if path.is_known(measure, self.from, self.to) {
                let used = path.recorded(measure, self.from, self.to);
                observed[measure.index()] = Some(used.iter().sum());
            }
        }
        observed
    }

    pub(super) fn span(
        &self,
        history: &History<'_>,
        measure: Measure,
        groups: &mut BTreeMap<String, GroupUse>,
    ) -> Span {
        let path = &history.path;
        let before = self.before[measure.index()];
        let high = self.high(path);
        let known = self.seen && path.is_known(measure, self.earliest(), high);
        let reference = history.context.groups.reference(measure);
        let (Some(before), true) = (before, known) else {
            return Span {
                entry: before,
                low: None,
                end: None,
            };
        };
        let low = self.low(path, measure);
        let to_low = path.recorded(measure, self.from, low);
        let to_end = path.recorded(measure, self.earliest(), high);
        let names = history.context.groups.names();
        for (name, (low, end)) in names.iter().zip(to_low.iter().zip(&to_end)) {
            // Nobody knows what was spread before the records begin: it counts as the reference.
            let before = if Some(name.as_str()) == reference {
                before
            } else {
                0.0
            };
            if before <= 0.0 && *end <= 0.0 {
                continue;
            }
            let group = groups.entry(name.clone()).or_default();
            set(&mut group.entry, measure, before);
            set(&mut group.low, measure, before + low);
            set(&mut group.end, measure, before + end);
        }
        Span {
            entry: Some(before),
            low: Some(before + to_low.iter().sum::<f64>()),
            end: Some(before + to_end.iter().sum::<f64>()),
        }
    }
}

fn set(amounts: &mut Amounts, measure: Measure, value: f64) {
    match measure {
        Measure::Acres => amounts.acres = Some(value),
        Measure::Tons => amounts.tons = Some(value),
        Measure::Hours => amounts.hours = Some(value),
        Measure::Days => {}
    }
}
