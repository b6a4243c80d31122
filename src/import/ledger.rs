//! Merging imported rows into a table of the records, so that a second import changes nothing.
//!
//! Every imported row carries its `source`: which standard, machine, task, start, day, bin and
//! product it comes from, a mark of the values it was written with, and until when the file told
//! of the work. By the first it is recognised when the same work comes again; by the second it is
//! known whether the owner has changed it since, and then it is left alone; by the third an older
//! state of the work is known, which takes the place of nothing.

mod state;

use std::collections::{BTreeMap, BTreeSet};

use super::text::{self, TextRow};
use crate::read::header_name;
use crate::record::formula::unguarded;
use crate::units::{HEADER_UNITS, Measure};

/// Heading of the column that says where a row comes from.
pub const SOURCE: &str = "source";

/// A cell to be written.
#[derive(Clone, Debug, PartialEq)]
pub enum Value {
    /// Words or a date.
    Text(String),
    /// A number with its measure in internal units; the column's own unit is used.
    Amount(Measure, f64),
    /// A number without a measure.
    Number(f64),
}

/// A row to be merged: its source, and a value for each column; a column without one stays empty.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// What the row and its sisters come from: they replace what the same origin gave before.
    pub origin: String,
    /// The origin and what tells the row from its sisters.
    pub key: String,
    /// Until when the file tells of the work, as text that sorts by time; `None` where it does not
    /// say.
    pub until: Option<String>,
    /// By heading; the headings must be those given to [`merge`].
    pub cells: BTreeMap<&'static str, Value>,
}

/// What became of an entry.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// Written behind the other rows.
    Added,
    /// There already.
    Already,
    /// Written in place of what an earlier state of the same work said.
    Replaced,
    /// There, and changed by the owner since: left as it is.
    KeptChanged,
    /// Not written, as the table has a later state of the same work; by what that is known.
    Older(String),
}

/// A table after merging.
#[derive(Clone, Debug, PartialEq)]
pub struct Merged {
    /// The whole table.
    pub bytes: Vec<u8>,
    /// Whether it differs from before.
    pub changed: bool,
    /// For each entry.
    pub outcomes: Vec<Outcome>,
    /// For each entry that was written in place of an earlier state: its place among the entries,
    /// and what it changed, such as `tons 3.5 -> 3.9`.
    pub changes: Vec<(usize, String)>,
    /// Rows taken out: an earlier state of the same work, and no part of the present one.
    pub taken_out: usize,
    /// Rows that are no part of the present state of the work, but were changed by the owner: left.
    pub left: usize,
}

/// The columns of the table at hand.
struct Columns {
    /// Place and internal units in one of the column's, by heading.
    places: BTreeMap<&'static str, (usize, f64)>,
    source: usize,
}

/// Columns to merge into: headings, in the order a new table has them, and the measure of those
/// that may stand there in another unit.
pub type Headings = [(&'static str, Option<Measure>)];

/// Merges entries into a table.
///
/// - `existing`: the table; `None` where there is none yet.
/// - `spared`: keys that the present import knows but does not write; their rows stay.
///
/// # Errors
/// In words, when the table's text cannot be taken apart safely.
pub fn merge(
    existing: Option<&[u8]>,
    headings: &Headings,
    entries: &[Entry],
    spared: &BTreeSet<String>,
) -> Result<Merged, String> {
    let fresh = || {
        let names: Vec<&str> = headings.iter().map(|(name, _)| *name).collect();
        format!("{},{SOURCE}\n", names.join(","))
    };
    let old = existing.map_or_else(|| fresh().into_bytes(), <[u8]>::to_vec);
    let all = text::rows(&old)?;
    let Some((header, rows)) = all.split_first() else {
        return merge(None, headings, entries, spared);
    };
    let (columns, missing) = place(header, headings, entries);
    let mut table = Table {
        old: &old,
        columns,
        header,
        missing,
        edits: BTreeMap::new(),
        added: Vec::new(),
    };
    let mut known: BTreeMap<&str, Vec<&TextRow>> = BTreeMap::new();
    let mut plain: BTreeMap<String, usize> = BTreeMap::new();
    for row in rows {
        match table.source(row) {
            Some(source) => known.entry(source.key).or_default().push(row),
            None => *plain.entry(table.content(row)).or_default() += 1,
        }
    }
    let older = table.older(rows, entries, spared);
    let mut changes = Vec::new();
    let outcomes = entries.iter().enumerate().map(|(index, entry)| {
        if let Some(why) = older.get(entry.origin.as_str()) {
            return match known.get(entry.key.as_str()) {
                Some(rows) if table.says(rows, entry) => Outcome::Already,
                _ => Outcome::Older(why.clone()),
            };
        }
        if let Some(rows) = known.get(entry.key.as_str()) {
            let (outcome, change) = table.meet(entry, rows);
            changes.extend(change.map(|change| (index, change)));
            return outcome;
        }
        let cells = table.cells(entry);
        // Rows whose source was lost, as when a column was deleted, are known by all they say.
        match plain.get_mut(&table.content(&loose(cells.clone()))) {
            Some(count) if 0 < *count => {
                *count -= 1;
                Outcome::Already
            }
            _ => {
                table.added.push(text::line(&cells));
                Outcome::Added
            }
        }
    });
    let outcomes: Vec<Outcome> = outcomes.collect();
    let replacing: Vec<&Entry> = entries
        .iter()
        .filter(|e| !older.contains_key(e.origin.as_str()))
        .collect();
    let (taken_out, left) = table.clear(rows, &replacing, spared);
    let bytes = table.write(&all);
    Ok(Merged {
        changed: existing != Some(&bytes[..]),
        bytes,
        outcomes,
        changes,
        taken_out,
        left,
    })
}

fn loose(cells: Vec<String>) -> TextRow {
    TextRow {
        cells,
        from: 0,
        until: 0,
    }
}

/// Where each column is, and the headings that must be added.
fn place(header: &TextRow, headings: &Headings, entries: &[Entry]) -> (Columns, Vec<&'static str>) {
    let mut missing = Vec::new();
    let mut places = BTreeMap::new();
    let width = header.cells.len();
    for (name, measure) in headings {
        let found = match measure {
            Some(measure) => HEADER_UNITS
                .iter()
                .filter(|unit| unit.measure == *measure)
                .find_map(|unit| Some((header.position(unit.word)?, unit.factor))),
            None => header.position(name).map(|at| (at, 1.0)),
        };
        let is_used = || entries.iter().any(|e| e.cells.contains_key(name));
        match found {
            Some(found) => drop(places.insert(*name, found)),
            None if is_used() => {
                places.insert(*name, (width + missing.len(), 1.0));
                missing.push(*name);
            }
            None => {}
        }
    }
    let source = header.position(SOURCE).unwrap_or_else(|| {
        let at = width + missing.len();
        if !entries.is_empty() {
            missing.push(SOURCE);
        }
        at
    });
    (Columns { places, source }, missing)
}

/// Where an imported row comes from, as its last cell says.
struct Source<'r> {
    key: &'r str,
    mark: &'r str,
    until: Option<&'r str>,
}

/// Stands in a source between its mark and until when the file told of the work.
const UNTIL: char = '@';

struct Table<'a> {
    old: &'a [u8],
    columns: Columns,
    header: &'a TextRow,
    missing: Vec<&'static str>,
    /// New lines for rows, by where these begin; empty: the row is taken out.
    edits: BTreeMap<usize, Option<String>>,
    added: Vec<String>,
}

impl Table<'_> {
    /// Of an imported row.
    fn source<'r>(&self, row: &'r TextRow) -> Option<Source<'r>> {
        let (key, end) = row.cell(self.columns.source).rsplit_once('#')?;
        let (mark, until) = match end.split_once(UNTIL) {
            Some((mark, until)) => (mark, Some(until)),
            None => (end, None),
        };
        Some(Source { key, mark, until })
    }

    /// Everything that an import writes into a row, as the table has it.
    fn content(&self, row: &TextRow) -> String {
        let cells = self.columns.places.values();
        let cells = cells.map(|(at, _)| unguarded(row.cell(*at)));
        cells.collect::<Vec<_>>().join("\u{1f}")
    }

    fn is_untouched(&self, row: &TextRow) -> bool {
        self.source(row)
            .is_some_and(|source| source.mark == mark(&self.content(row)))
    }

    /// An entry as cells of this table.
    fn cells(&self, entry: &Entry) -> Vec<String> {
        let mut cells = vec![String::new(); self.header.cells.len() + self.missing.len()];
        for (name, (at, factor)) in &self.columns.places {
            cells[*at] = match entry.cells.get(name) {
                None => String::new(),
                Some(Value::Text(text)) => text::guarded(text),
                Some(Value::Number(number)) => decimal(*number),
                Some(Value::Amount(_, amount)) => decimal(amount / factor),
            };
        }
        let mark = mark(&self.content(&loose(cells.clone())));
        let until = entry.until.iter();
        let until: String = until.flat_map(|u| [UNTIL.to_string(), u.clone()]).collect();
        cells[self.columns.source] = format!("{}#{mark}{until}", entry.key);
        cells
    }

    /// Whether the first of these rows says what an entry says.
    fn says(&self, rows: &[&TextRow], entry: &Entry) -> bool {
        let content = self.content(&loose(self.cells(entry)));
        rows.first().is_none_or(|row| self.content(row) == content)
    }

    /// An entry whose rows are there, and what it changed.
    fn meet(&mut self, entry: &Entry, rows: &[&TextRow]) -> (Outcome, Option<String>) {
        let row = match rows.first() {
            Some(row) if !self.says(rows, entry) => *row,
            _ => return (Outcome::Already, None),
        };
        if !self.is_untouched(row) {
            return (Outcome::KeptChanged, None);
        }
        let cells = self.cells(entry);
        let mut line = row.cells.clone();
        line.resize(cells.len().max(line.len()), String::new());
        let ours = self.columns.places.values().map(|(at, _)| *at);
        for at in ours.chain([self.columns.source]) {
            line[at].clone_from(&cells[at]);
        }
        self.edits.insert(row.from, Some(text::line(&line)));
        (Outcome::Replaced, Some(self.change(row, &cells)))
    }

    /// What a row says otherwise than these cells: `tons 3.5 -> 3.9`.
    fn change(&self, row: &TextRow, cells: &[String]) -> String {
        let said = |text: &str| {
            let text = unguarded(text);
            if text.is_empty() { "unknown" } else { text }.to_owned()
        };
        let places = self.columns.places.iter();
        let changed = places.filter(|(_, (at, _))| row.cell(*at) != cells[*at].trim());
        let told = changed.map(|(name, (at, _))| {
            let name = match self.header.cell(*at) {
                "" => *name,
                own => own,
            };
            format!("{name} {} -> {}", said(row.cell(*at)), said(&cells[*at]))
        });
        told.collect::<Vec<_>>().join(", ")
    }

    /// Takes out what earlier states of the same work gave and the present one does not.
    fn clear(
        &mut self,
        rows: &[TextRow],
        entries: &[&Entry],
        spared: &BTreeSet<String>,
    ) -> (usize, usize) {
        let origins: BTreeSet<&str> = entries.iter().map(|e| e.origin.as_str()).collect();
        let keys: BTreeSet<&str> = entries.iter().map(|e| e.key.as_str()).collect();
        let (mut out, mut left) = (0, 0);
        for row in rows {
            let Some(Source { key, .. }) = self.source(row) else {
                continue;
            };
            let of_same = origin(key).is_some_and(|origin| origins.contains(origin));
            if !of_same || keys.contains(key) || spared.contains(key) {
                continue;
            }
            if self.is_untouched(row) {
                self.edits.insert(row.from, None);
                out += 1;
            } else {
                left += 1;
            }
        }
        (out, left)
    }

    /// The table with its edits; without any it is the same to the last byte.
    fn write(&self, rows: &[TextRow]) -> Vec<u8> {
        if self.edits.is_empty() && self.added.is_empty() {
            return self.old.to_vec();
        }
        let end = text::line_end(self.old);
        let mut out = Vec::with_capacity(self.old.len() + 64 * self.added.len());
        let mut at = 0;
        let least = header_width(self.header);
        for (index, row) in rows.iter().enumerate() {
            out.extend(&self.old[at..row.from]);
            at = row.until;
            match self.edits.get(&row.from) {
                Some(Some(line)) => out.extend(line.bytes()),
                Some(None) => at = after_line_end(self.old, at),
                None => {
                    out.extend(&self.old[row.from..row.until]);
                    if !self.missing.is_empty() && (index == 0 || least <= row.cells.len()) {
                        self.pad(row, index == 0, &mut out);
                    }
                }
            }
        }
        out.extend(&self.old[at..]);
        text::close_last_line(&mut out, end);
        for line in &self.added {
            out.extend(line.bytes());
            out.extend(end.bytes());
        }
        out
    }

    /// Adds the cells of new columns to a row; one that is too short to be read stays so.
    fn pad(&self, row: &TextRow, is_header: bool, out: &mut Vec<u8>) {
        let width = self.header.cells.len();
        for _ in row.cells.len()..width {
            out.push(b',');
        }
        for name in &self.missing {
            out.push(b',');
            if is_header {
                out.extend(name.bytes());
            }
        }
    }
}

/// Cells of a header up to the last that says something.
fn header_width(header: &TextRow) -> usize {
    let last = header
        .cells
        .iter()
        .rposition(|c| !header_name(c).is_empty());
    last.map_or(0, |last| last + 1)
}

fn after_line_end(bytes: &[u8], at: usize) -> usize {
    match &bytes[at..] {
        [b'\r', b'\n', ..] => at + 2,
        [b'\r' | b'\n', ..] => at + 1,
        _ => at,
    }
}

/// Parts of a key as one text; what could be mistaken for a mark between parts is written `%..`.
#[must_use]
pub fn key(parts: &[&str]) -> String {
    let part = |text: &&str| -> String {
        text.chars()
            .map(|c| match c {
                '|' | '#' | '%' => format!("%{:02X}", u32::from(c)),
                c if c.is_control() => format!("%{:02X}", u32::from(c)),
                c => c.to_string(),
            })
            .collect()
    };
    parts.iter().map(part).collect::<Vec<_>>().join("|")
}

/// Parts of a key that say its origin.
pub const ORIGIN_PARTS: usize = 4;

/// The origin of a key: its first parts.
fn origin(key: &str) -> Option<&str> {
    let (end, _) = key.match_indices('|').nth(ORIGIN_PARTS - 1)?;
    Some(&key[..end])
}

/// A number with at most six decimals and no needless zeros.
fn decimal(value: f64) -> String {
    let text = format!("{value:.6}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0" } else { text }.to_owned()
}

/// A mark of a text: eight hexadecimal digits of the FNV-1a hash, the same on every machine.
fn mark(text: &str) -> String {
    let mut hash = 0x811c_9dc5_u32;
    for byte in text.bytes() {
        hash = (hash ^ u32::from(byte)).wrapping_mul(0x0100_0193);
    }
    format!("{hash:08x}")
}
