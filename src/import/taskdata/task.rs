//! Tasks: when they were at work, which product was in which bin, and where their time logs are.

use chrono::{NaiveDateTime, TimeDelta};
use roxmltree::Node;

use super::{Undated, attribute, children, owned};

/// A number of the data dictionary, in hexadecimal digits.
pub(super) fn ddi(text: &str) -> Option<u16> {
    u16::from_str_radix(text, 16).ok()
}

/// A moment as the local clock showed it; an offset or `Z` is left out.
pub(super) fn moment(text: &str) -> Option<NaiveDateTime> {
    let text = text.strip_suffix('Z').unwrap_or(text);
    let (date, time) = text.split_once('T')?;
    let time = time.split(['+', '-']).next()?;
    let moment =
        NaiveDateTime::parse_from_str(&format!("{date}T{time}"), "%Y-%m-%dT%H:%M:%S%.f").ok()?;
    // The years that a time log can hold.
    let year = chrono::Datelike::year(&moment);
    (1980..2160).contains(&year).then_some(moment)
}

/// What the clock of a moment is ahead of universal time, where that is told.
fn offset(text: &str) -> Option<TimeDelta> {
    if text.ends_with('Z') {
        return Some(TimeDelta::zero());
    }
    let (_, time) = text.split_once('T')?;
    let at = time.find(['+', '-'])?;
    let (hours, minutes) = time[at + 1..].split_once(':')?;
    let [hours, minutes] = [hours, minutes].map(|t| t.parse::<u8>().ok());
    let ahead = TimeDelta::minutes(60 * i64::from(hours?) + i64::from(minutes?));
    Some(if time[at..].starts_with('-') {
        -ahead
    } else {
        ahead
    })
}

/// The end of a stretch by the clock of its start: where both tell their offset, the time between
/// them is right in the night the clocks are changed, too.
fn stop_of(start: &str, stop: &str) -> Option<NaiveDateTime> {
    let local = moment(stop)?;
    match offset(start).zip(offset(stop)) {
        Some((start, stop)) => local.checked_add_signed(start - stop),
        None => Some(local),
    }
}

/// One stretch of a task.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Time {
    pub(super) start: NaiveDateTime,
    /// When it ended by the same clock, where the file says so and it is not before its start.
    pub(super) stop: Option<NaiveDateTime>,
    /// How long it lasted, where the file says so.
    pub(super) seconds: Option<f64>,
    /// Data dictionary number, element, value; the last of equal ones counts.
    pub(super) values: Vec<(u16, String, i32)>,
}

/// A product in a bin.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Allocation {
    pub(super) product: String,
    pub(super) element: Option<String>,
    /// From and until when, where it was changed on the way.
    pub(super) from: Option<NaiveDateTime>,
    pub(super) until: Option<NaiveDateTime>,
}

/// A task.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Task {
    pub(super) id: String,
    /// Name of the file it stands in.
    pub(super) file: String,
    /// 1 planned, 2 running, 3 paused, 4 completed, 5 template, 6 cancelled.
    pub(super) status: u8,
    /// Effective stretches in the order of time.
    pub(super) times: Vec<Time>,
    pub(super) allocations: Vec<Allocation>,
    pub(super) logs: Vec<String>,
    /// Ids of machines.
    pub(super) machines: Vec<String>,
    /// Effective stretches whose start cannot be read.
    pub(super) undated: Vec<Undated>,
    /// Whether a time is given in universal time, whose day may not be the local one.
    pub(super) universal: bool,
    /// Values that are no whole number of 32 bits.
    pub(super) bad_values: usize,
    /// What is odd about ends of stretches, the first few in full.
    pub(super) odd_ends: Vec<String>,
    /// Odd ends beyond these.
    pub(super) more_odd_ends: usize,
}

/// Most odd ends of one task that are told in full.
const MOST_ODD: usize = 5;

impl Task {
    /// - `number`: which of all tasks it is, from 0.
    /// - `file`: name of the file it stands in.
    pub(super) fn new(node: Node<'_, '_>, number: usize, file: &str) -> Self {
        let mut task = Self {
            id: owned(node, "A").unwrap_or_else(|| format!("task {}", number + 1)),
            file: file.to_owned(),
            status: attribute(node, "G")
                .and_then(|t| t.parse().ok())
                .unwrap_or(0),
            times: Vec::new(),
            allocations: children(node, "PAN").filter_map(allocation).collect(),
            logs: children(node, "TLG")
                .filter_map(|t| owned(t, "A"))
                .collect(),
            machines: children(node, "DAN")
                .filter_map(|d| owned(d, "C"))
                .collect(),
            undated: Vec::new(),
            universal: false,
            bad_values: 0,
            odd_ends: Vec::new(),
            more_odd_ends: 0,
        };
        for (index, time) in children(node, "TIM").enumerate() {
            // Effective time; the others are planned, or spent on something else.
            if attribute(time, "D") == Some("4") {
                task.time(time, index + 1);
            }
        }
        // Stable: stretches that start together stay as they are written.
        task.times.sort_by_key(|t| t.start);
        task
    }

    /// The last moment that is told of it; `None` where it was never at work.
    pub(super) fn until(&self) -> Option<NaiveDateTime> {
        self.times.iter().map(|t| t.stop.unwrap_or(t.start)).max()
    }

    /// Tells what is wrong with the end of a stretch.
    fn odd_end(&mut self, number: usize, what: &str) {
        if self.odd_ends.len() < MOST_ODD {
            self.odd_ends.push(format!("`TIM` {number}: {what}"));
        } else {
            self.more_odd_ends += 1;
        }
    }

    /// `number`: which of the task's times it is, from 1.
    fn time(&mut self, node: Node<'_, '_>, number: usize) {
        let text = attribute(node, "A").unwrap_or_default();
        self.universal |= text.ends_with('Z');
        let Some(start) = moment(text) else {
            let found = match text {
                "" => "nothing".to_owned(),
                text => format!("`{text}`"),
            };
            self.undated.push(Undated {
                task: self.id.clone(),
                problem: format!(
                    "{}, task {}, `TIM` {number}, start (attribute A): found {found}, expected a date and time from 1980 \
                     to 2159 such as `2026-04-14T08:00:00`",
                    self.file, self.id
                ),
            });
            return;
        };
        let seconds = attribute(node, "C");
        let stated = seconds.and_then(|t| t.parse::<u32>().ok());
        if let Some(seconds) = seconds.filter(|_| stated.is_none()) {
            let what = format!("its duration (C) `{seconds}` is no whole number of seconds");
            self.odd_end(number, &what);
        }
        let lasted = || stated.and_then(|s| start.checked_add_signed(TimeDelta::seconds(s.into())));
        let end = attribute(node, "B");
        let readable = end.and_then(|end| stop_of(text, end));
        let written = readable.filter(|stop| start <= *stop);
        if let Some(end) = end.filter(|_| written.is_none()) {
            let why = match readable {
                Some(_) => format!("lies before its start (A) `{text}`"),
                None => "cannot be read".to_owned(),
            };
            self.odd_end(number, &format!("its stop (B) `{end}` {why}"));
        }
        let between = written.map(|stop| stop - start);
        let stop = written.or_else(lasted);
        let mut values = Vec::new();
        for value in children(node, "DLV") {
            let number = attribute(value, "B").and_then(|t| t.parse().ok());
            match (
                attribute(value, "A").and_then(ddi),
                number,
                owned(value, "C"),
            ) {
                (Some(ddi), Some(number), Some(element)) => values.push((ddi, element, number)),
                _ => self.bad_values += 1,
            }
        }
        self.times.push(Time {
            start,
            stop,
            seconds: stated
                .map(f64::from)
                .or_else(|| between.map(|d| d.num_seconds() as f64)),
            values,
        });
    }
}

/// Fillings, emptyings and remainders are loads and say nothing of what was spread; a filling
/// still says what is in the bin.
fn allocation(node: Node<'_, '_>) -> Option<Allocation> {
    if !matches!(attribute(node, "D"), None | Some("1")) {
        return None;
    }
    let stamp = children(node, "ASP").find(|s| attribute(*s, "D") != Some("1"));
    let at = |name| stamp.and_then(|s| attribute(s, name)).and_then(moment);
    Some(Allocation {
        product: owned(node, "A")?,
        element: owned(node, "E"),
        from: at("A"),
        until: at("B"),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_end_is_told_by_the_clock_of_its_start() {
        let stop = |start, stop| stop_of(start, stop).map(|t| t.to_string());
        let night = "2026-10-25T02:30:00+02:00";
        for (end, expected) in [
            ("2026-10-25T02:30:00+01:00", "2026-10-25 03:30:00"),
            ("2026-10-25T01:00:00Z", "2026-10-25 03:00:00"),
            ("2026-10-24T20:00:00-05:30", "2026-10-25 03:30:00"),
            ("2026-10-25T04:00:00", "2026-10-25 04:00:00"),
            ("2026-10-25T04:00:00+é:1", "2026-10-25 04:00:00"),
        ] {
            assert_eq!(stop(night, end).as_deref(), Some(expected), "{end}");
        }
    }

    #[test]
    fn moments_are_those_of_the_local_clock_whatever_offset_they_carry() {
        let noon = moment("2026-04-14T12:00:00").expect("a moment");
        for text in [
            "2026-04-14T12:00:00-05:00",
            "2026-04-14T12:00:00Z",
            "2026-04-14T12:00:00.000+02:00",
        ] {
            assert_eq!(moment(text), Some(noon), "{text}");
        }
        for text in [
            "",
            "T",
            "2026-04-14",
            "2026-13-14T12:00:00",
            "1492-04-14T12:00:00",
            "é026-04-14T12:00:00",
        ] {
            assert_eq!(moment(text), None, "{text}");
        }
    }
}
