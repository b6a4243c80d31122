//! Replacements of which only a stretch of days is known: a year, a season, a month.
//!
//! The date is the last day it can have been, `date_from` the first. The part was in its place and
//! serviceable on the day before the first, so a wear-out lies in between.

use std::collections::BTreeMap;

use chrono::{Days, NaiveDate};

use super::{Check, Finding};
use crate::record::{ProblemKind, Replacement};

impl Check<'_> {
    /// No stretch reaches past the last day that anything is known of, nor past a retirement.
    pub(super) fn narrow(&self, rows: &mut [Replacement]) {
        for row in rows.iter_mut() {
            row.date_from = row.date_from.filter(|first| *first != row.date);
        }
        if rows.iter().all(|row| row.date_from.is_none()) {
            return;
        }
        let records = &self.records;
        let exact = rows
            .iter()
            .filter(|r| r.date_from.is_none())
            .map(|r| r.date);
        let used = records.usage.last_day();
        let looked = records.inspections.iter().map(|i| i.date);
        let read = records.meters.iter().map(|m| m.date);
        let last = exact
            .chain(used)
            .chain(looked)
            .chain(read)
            .chain(self.context.as_of)
            .max();
        let retired: BTreeMap<&str, NaiveDate> = records
            .machines
            .iter()
            .filter_map(|m| Some((m.name.as_str(), m.retired?)))
            .collect();
        for row in rows.iter_mut() {
            let Some(first) = row.date_from.filter(|first| *first < row.date) else {
                continue;
            };
            let ends = [last, retired.get(row.machine.as_str()).copied()];
            for end in ends.into_iter().flatten().filter(|end| first <= *end) {
                row.date = row.date.min(end);
            }
        }
    }
}

/// A part that wore out in a stretch was good on the day before it.
pub(super) fn last_good(rows: &mut [Replacement]) {
    for row in rows.iter_mut().filter(|r| r.reason.is_wear()) {
        let before = row.date_from.map(|first| first - Days::new(1));
        row.last_good = row.last_good.max(before);
    }
}

/// What is remarked on.
pub(super) fn told(rows: &[Replacement]) -> Option<Finding> {
    let count = rows.iter().filter(|r| r.date_from.is_some()).count();
    let rows = if count == 1 {
        "replacement"
    } else {
        "replacements"
    };
    (0 < count).then(|| {
        Finding::new(
            "",
            ProblemKind::Vague,
            format!("{count} {rows} of which only a stretch of days is known"),
            "the day, where it can still be found; until then the part taken out ended on a day in \
             between, and the one fitted is as old as the last of them at least",
        )
    })
}
