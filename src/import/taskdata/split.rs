//! What time logs say of totals: how much they grew in each of several spans of time, day by day.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{NaiveDate, NaiveDateTime};

use super::task::{Allocation, Task};
use super::timelog::{self, Header};
use super::{Set, parse, text};

/// Totals that are read from logs, by number: mass, volume, area and time.
const COUNTED: [u16; 6] = [0x0051, 0x0160, 0x0050, 0x015f, 0x0074, 0x0077];

/// A total: data dictionary number and element.
pub(super) type Channel = (u16, String);
/// Growth by span and day.
pub(super) type Shares = BTreeMap<(usize, NaiveDate), f64>;

/// The time logs of one task that can be read.
pub(super) struct Logs<'a> {
    files: Vec<(Header, &'a [u8])>,
    /// The last moment that one of them tells of.
    pub(super) last: Option<NaiveDateTime>,
    /// Totals whose counter fell on the way, and how often.
    fallen: BTreeMap<Channel, usize>,
}

impl<'a> Logs<'a> {
    /// Finds the logs a task names; what is missing, unreadable or cut off is noted.
    pub(super) fn new(set: &Set<'a>, task: &Task, notes: &mut Vec<String>) -> Self {
        let mut logs = Self {
            files: Vec::new(),
            last: None,
            fallen: BTreeMap::new(),
        };
        let mut seen = BTreeSet::new();
        // Counters run on from one log of a task to the next.
        let mut shown = BTreeMap::new();
        for name in task.logs.iter().filter(|name| seen.insert(name.as_str())) {
            let header = set.get(&format!("{name}.xml")).and_then(|file| {
                let text = text(file).ok()?;
                let document = parse(&file.name, &text).ok()?;
                Header::new(document.root_element())
            });
            match (header, set.get(&format!("{name}.bin"))) {
                (Some(header), Some(file)) => {
                    let what = format!("Task {}, time log `{}`", task.id, file.name);
                    logs.look_over(&header, &file.bytes, &what, &mut shown, notes);
                    logs.files.push((header, file.bytes.as_slice()));
                }
                _ => notes.push(format!(
                    "The time log `{name}` of task {} is missing or cannot be read.",
                    task.id
                )),
            }
        }
        logs
    }

    /// Notes what a log holds beside whole records and growing totals.
    fn look_over(
        &mut self,
        header: &Header,
        bytes: &[u8],
        what: &str,
        shown: &mut BTreeMap<Channel, i32>,
        notes: &mut Vec<String>,
    ) {
        let mut below = 0;
        let left = timelog::read(header, bytes, &mut |at, values| {
            self.last = self.last.max(Some(at));
            for (column, value) in values {
                let Some(channel) = header
                    .columns
                    .get(column)
                    .filter(|c| COUNTED.contains(&c.0))
                else {
                    continue;
                };
                if value < 0 {
                    below += 1;
                    continue;
                }
                match shown.get_mut(channel) {
                    Some(last) => {
                        if value < *last {
                            *self.fallen.entry(channel.clone()).or_default() += 1;
                        }
                        *last = value;
                    }
                    None => drop(shown.insert(channel.clone(), value)),
                }
            }
        });
        let told = [
            (
                left.stray,
                "bytes between its records belong to none and are passed over",
            ),
            (
                left.behind,
                "bytes at its end are no whole record, as where a file was cut off, and are left out; \
                 copy it from the machine again",
            ),
            (
                below,
                "totals are below zero, past the end of their counter, and are left out",
            ),
        ];
        for (count, why) in told.into_iter().filter(|(count, _)| 0 < *count) {
            notes.push(format!("{what}: {count} {why}."));
        }
        if left.records == 0 {
            notes.push(format!("{what}: it holds no record."));
        }
    }

    /// How often the counter of a total fell on the way.
    pub(super) fn falls(&self, channel: &Channel) -> usize {
        self.fallen.get(channel).copied().unwrap_or(0)
    }

    /// Whether some log has a column for a total.
    pub(super) fn has(&self, channel: &Channel) -> bool {
        self.files
            .iter()
            .any(|(header, _)| header.columns.contains(channel))
    }

    /// Totals of that number that the logs have columns for.
    pub(super) fn channels(&self, ddi: u16) -> BTreeSet<Channel> {
        let columns = self.files.iter().flat_map(|(header, _)| &header.columns);
        columns
            .filter(|(number, _)| *number == ddi)
            .cloned()
            .collect()
    }

    /// Growth of one total; `span` says to which span a moment belongs.
    ///
    /// `from_zero`: the total starts at 0 with the task. Else growth counts from the first value.
    pub(super) fn growth(
        &self,
        channel: &Channel,
        from_zero: bool,
        span: &dyn Fn(NaiveDateTime) -> usize,
    ) -> Shares {
        let mut shares = Shares::new();
        let mut last = from_zero.then_some(0);
        for (header, bytes) in &self.files {
            let Some(column) = header.columns.iter().position(|c| c == channel) else {
                continue;
            };
            timelog::read(header, bytes, &mut |at, values| {
                for (_, value) in values.filter(|(c, value)| *c == column && 0 <= *value) {
                    let added = match last {
                        Some(last) if last <= value => i64::from(value) - i64::from(last),
                        Some(_) => i64::from(value),
                        None => 0,
                    };
                    last = Some(value);
                    *shares.entry((span(at), at.date())).or_default() += added as f64;
                }
            });
        }
        shares
    }
}

/// Products of one bin in the order of time, and until when each was in it; `None` where the file
/// does not say.
pub(super) fn spans<'a>(
    allocations: &[&'a Allocation],
) -> Option<Vec<(&'a str, Option<NaiveDateTime>)>> {
    let mut sorted = allocations.to_vec();
    sorted.sort_by_key(|a| a.from);
    let mut spans = Vec::new();
    for (index, allocation) in sorted.iter().enumerate() {
        allocation.from?;
        let next = sorted.get(index + 1).and_then(|a| a.from);
        spans.push((allocation.product.as_str(), allocation.until.or(next)));
    }
    let open = spans.iter().rev().skip(1).any(|(_, until)| until.is_none());
    (!open).then_some(spans)
}
