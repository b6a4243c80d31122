//! Meter readings of a telematics feed into `meters.csv`.

use std::collections::{BTreeMap, BTreeSet};

use super::Kept;
use super::ledger::{self, Entry, Headings, Value};
use super::names::{Kind, Match};
use super::telematics::{Feed, Reading};
use super::usage::{Imported, Unmatched};
use crate::report::Header;
use crate::report::imports::{Fate, ImportReport, Lines, MeterLine};
use crate::units::Units;

/// Columns of `meters.csv`.
const HEADINGS: &Headings = &[
    ("date", None),
    ("machine", None),
    ("meter", None),
    ("reading", None),
    ("unit", None),
    ("note", None),
];

/// Works out what a feed adds to the meter readings.
///
/// - `existing`: the present `meters.csv`, where there is one.
/// - `into`: its name.
///
/// # Errors
/// In words, when the present table cannot be taken apart safely.
pub fn merge(
    feed: &Feed,
    kept: &mut Kept,
    existing: Option<&[u8]>,
    into: &str,
) -> Result<Imported, String> {
    let mut unmatched = Unmatched::default();
    let mut entries = Vec::new();
    let mut seen = BTreeSet::new();
    let mut rows: Vec<(Option<String>, Result<usize, String>)> = Vec::new();
    for reading in &feed.readings {
        let (ours, trouble) = find(reading, kept, &mut unmatched);
        let place = match (entry(reading, ours.as_deref()), trouble) {
            (_, Some(why)) => Err(why),
            (None, None) => Err("it is not complete".to_owned()),
            (Some(entry), None) if seen.insert(entry.key.clone()) => {
                entries.push(entry);
                Ok(entries.len() - 1)
            }
            (Some(_), None) => Err("the same reading a second time in the feed".to_owned()),
        };
        rows.push((ours, place));
    }
    let merged = ledger::merge(existing, HEADINGS, &entries, &BTreeSet::new())?;
    let lines = feed.readings.iter().zip(rows);
    let lines = lines.map(|(reading, (ours, place))| MeterLine {
        date: reading.date(),
        machine: reading.numbers.first().cloned().unwrap_or_default(),
        meter: reading.meter.word(),
        value: reading.value,
        unit: reading.meter.unit(),
        ours,
        fate: place.map_or_else(Fate::SetAside, |at| merged.outcomes[at].clone().into()),
    });
    let report = ImportReport {
        lines: Lines::Meters(lines.collect()),
        header: Header {
            as_of: feed.readings.iter().filter_map(Reading::date).max(),
            seed: 1,
            level: 0.9,
            machines: Vec::new(),
            families: Vec::new(),
            notes: feed.notes.clone(),
            cautions: Vec::new(),
        },
        kind: "telematics",
        // Hours and miles, which say so in their own column.
        units: Units::default(),
        into: into.to_owned(),
        taken_out: merged.taken_out,
        unmatched: unmatched.list(),
        problems: Vec::new(),
    };
    let table = (merged.changed && !entries.is_empty()).then_some(merged.bytes);
    Ok(Imported { report, table })
}

/// The machine of the records, or why the reading cannot be used.
fn find(
    reading: &Reading,
    kept: &mut Kept,
    unmatched: &mut Unmatched,
) -> (Option<String>, Option<String>) {
    let names: Vec<&str> = reading.numbers.iter().map(String::as_str).collect();
    let Some(first) = names.first() else {
        return (None, reading.trouble.clone());
    };
    let others = names[1..].iter().copied();
    let note: Vec<&str> = std::iter::once(reading.machine_name.as_str())
        .chain(others)
        .filter(|word| !word.is_empty())
        .collect();
    let (ours, trouble) = match kept.machines.find_any(&names, &note.join(", ")) {
        Match::Known(ours) => (Some(ours), None),
        Match::LeftOut => (
            None,
            Some(format!("{} leaves it out", Kind::Machine.file())),
        ),
        Match::Unmatched(todo) => (None, Some(unmatched.add(Kind::Machine, first, todo))),
    };
    (ours, reading.trouble.clone().or(trouble))
}

/// A reading as a row; a machine is known by its first number, a reading by machine, meter and moment.
fn entry(reading: &Reading, ours: Option<&str>) -> Option<Entry> {
    let moment = reading.moment?;
    let at = moment.format("%Y-%m-%dT%H:%M:%S").to_string();
    let number = reading.numbers.first()?;
    let key = ledger::key(&["telematics", number, reading.meter.word(), &at]);
    let text = |text: &str| Value::Text(text.to_owned());
    let mut cells = BTreeMap::from([
        ("date", text(&moment.date().to_string())),
        ("machine", text(ours?)),
        ("meter", text(reading.meter.word())),
        ("reading", Value::Number(reading.value?)),
        ("unit", text(reading.meter.unit())),
    ]);
    if let Some(note) = &reading.note {
        cells.insert("note", text(note));
    }
    Some(Entry {
        origin: key.clone(),
        key,
        // A meter shows one thing at a moment: of two states none is known to be the later one.
        until: None,
        cells,
    })
}
