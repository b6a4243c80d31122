//! Names in a file to names in the records, through tables that the owner keeps beside them.
//!
//! `product_names.csv`, `machine_names.csv` and `bin_names.csv` say once what a name in a file
//! stands for. A name that no row maps is matched only where the records have the very same name;
//! anything else is added to the table with an empty cell for the owner to fill in, never guessed.

use std::collections::{BTreeMap, BTreeSet};

use super::text::{self, guarded};
use crate::record::formula::unguarded;

/// What names are of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// `machine_names.csv`
    Machine,
    /// `bin_names.csv`
    Bin,
    /// `product_names.csv`
    Product,
}

impl Kind {
    /// Every kind.
    pub const ALL: [Self; 3] = [Self::Machine, Self::Bin, Self::Product];

    /// The word for one of it, and the heading of its column.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Machine => "machine",
            Self::Bin => "bin",
            Self::Product => "product",
        }
    }

    /// Name of the file with its kept table.
    #[must_use]
    pub fn file(self) -> &'static str {
        match self {
            Self::Machine => "machine_names.csv",
            Self::Bin => "bin_names.csv",
            Self::Product => "product_names.csv",
        }
    }
}

/// What a name stands for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Match {
    /// This name of the records.
    Known(String),
    /// The owner wants it left out.
    LeftOut,
    /// Nothing yet; the sentence says what to do.
    Unmatched(String),
}

/// Stands in a kept table for what is to be left out.
const LEFT_OUT: &str = "-";
/// Headings beside that of the kind itself.
const IN_FILE: &str = "name_in_file";
const NOTE: &str = "note";

/// Names of one kind: the kept table, and what was asked of it.
#[derive(Clone, Debug)]
pub struct Names {
    kind: Kind,
    kept: BTreeMap<String, String>,
    /// The records' own names; `None`: any name will do.
    known: Option<BTreeSet<String>>,
    /// Names without a row, each with a note to know it by, and what they were matched to.
    new: BTreeMap<String, (String, String)>,
    bytes: Option<Vec<u8>>,
    columns: [usize; 2],
    width: usize,
    has_note: Option<usize>,
}

/// Why a kept table cannot be used.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{file}`{place}: {why}")]
pub struct NamesError {
    file: &'static str,
    place: String,
    why: String,
}

impl Names {
    /// - `bytes`: the kept table; `None` where there is none yet.
    /// - `known`: the names the records have; `None` where they keep no list of them.
    ///
    /// # Errors
    /// [`NamesError`] for a table that is no text, lacks a column, or maps a name twice.
    pub fn new(
        kind: Kind,
        bytes: Option<Vec<u8>>,
        known: Option<BTreeSet<String>>,
    ) -> Result<Self, NamesError> {
        let mut names = Self {
            kind,
            kept: BTreeMap::new(),
            known,
            new: BTreeMap::new(),
            columns: [0, 1],
            width: 3,
            has_note: Some(2),
            bytes: None,
        };
        if let Some(bytes) = bytes {
            names.read(&bytes)?;
            names.bytes = Some(bytes);
        }
        Ok(names)
    }

    fn read(&mut self, bytes: &[u8]) -> Result<(), NamesError> {
        let file = self.kind.file();
        let wrong = |row: Option<usize>, why: String| NamesError {
            file,
            place: row.map(|r| format!(", row {r}")).unwrap_or_default(),
            why,
        };
        let rows = text::rows(bytes).map_err(|why| wrong(None, why))?;
        let Some(header) = rows.first() else {
            return Err(wrong(
                None,
                "it is empty; delete it and import again".to_owned(),
            ));
        };
        let column = |name: &str| header.position(name);
        let (Some(from), Some(to)) = (column(IN_FILE), column(self.kind.word())) else {
            let word = self.kind.word();
            return Err(wrong(
                None,
                format!("expected the columns `{IN_FILE}` and `{word}`, separated by commas"),
            ));
        };
        self.columns = [from, to];
        self.width = header.cells.len();
        self.has_note = column(NOTE);
        for (index, row) in rows.iter().enumerate().skip(1) {
            let [name, ours] = [from, to].map(|at| unguarded(row.cell(at)));
            if name.is_empty() {
                continue;
            }
            let earlier = self.kept.insert(name.to_owned(), ours.to_owned());
            if earlier.is_some_and(|earlier| earlier != ours) {
                let why = format!("`{name}` a second time with another {}", self.kind.word());
                return Err(wrong(Some(index + 1), why));
            }
        }
        Ok(())
    }

    /// What a name stands for. `note`: words to know it by.
    pub fn find(&mut self, name: &str, note: &str) -> Match {
        let name = text::plain(name);
        let name = name.as_str();
        let (word, file) = (self.kind.word(), self.kind.file());
        let kept = self.kept.get(name).filter(|ours| !ours.is_empty()).cloned();
        let is_known = |ours: &str| self.known.as_ref().is_none_or(|k| k.contains(ours));
        match kept {
            Some(ours) if ours == LEFT_OUT => return Match::LeftOut,
            Some(ours) if is_known(&ours) => return Match::Known(ours),
            Some(ours) => {
                return Match::Unmatched(format!(
                    "{file} gives the {word} `{ours}`, which the records do not list; mend it there, or add it to the records"
                ));
            }
            None => {}
        }
        let same = is_known(name) && !name.is_empty();
        if !self.kept.contains_key(name) {
            let ours = if same { guarded(name) } else { String::new() };
            self.new.insert(name.to_owned(), (ours, note.to_owned()));
        }
        if same {
            return Match::Known(name.to_owned());
        }
        Match::Unmatched(format!(
            "fill in the {word} beside `{name}` in {file} (`{LEFT_OUT}` leaves it out), and import again"
        ))
    }

    /// What the first of several names of one thing stands for that stands for anything.
    pub fn find_any(&mut self, names: &[&str], note: &str) -> Match {
        let first = names.first().copied().unwrap_or_default();
        let in_table = |name: &&&str| self.kept.get(**name).is_some_and(|ours| !ours.is_empty());
        let mapped: BTreeSet<&str> = names
            .iter()
            .filter(in_table)
            .filter_map(|name| self.kept.get(*name).map(String::as_str))
            .collect();
        if 1 < mapped.len() {
            let list: Vec<&str> = mapped.into_iter().collect();
            return Match::Unmatched(format!(
                "{} gives several {}s for its numbers {}: {}; mend it there",
                self.kind.file(),
                self.kind.word(),
                names.join(", "),
                list.join(", ")
            ));
        }
        let is_ours = |name: &&&str| self.known.as_ref().is_some_and(|k| k.contains(**name));
        let name = names
            .iter()
            .find(in_table)
            .or_else(|| names.iter().find(is_ours));
        let name = name.copied().unwrap_or(first).to_owned();
        self.find(&name, note)
    }

    /// Names that the table does not hold yet.
    #[must_use]
    pub fn is_changed(&self) -> bool {
        !self.new.is_empty()
    }

    /// Names taken as they are, since the records have no list of their own.
    pub fn taken(&self) -> impl Iterator<Item = &str> {
        let free = self.known.is_none();
        let new = self
            .new
            .iter()
            .filter(move |(_, (ours, _))| free && !ours.is_empty());
        new.map(|(name, _)| name.as_str())
    }

    /// The kept table with the new names behind the old ones.
    #[must_use]
    pub fn table(&self) -> Vec<u8> {
        let header = || format!("{IN_FILE},{},{NOTE}", self.kind.word());
        let mut out = self
            .bytes
            .clone()
            .unwrap_or_else(|| (header() + "\n").into_bytes());
        let end = text::line_end(&out);
        text::close_last_line(&mut out, end);
        for (name, (ours, note)) in &self.new {
            let mut cells = vec![String::new(); self.width];
            cells[self.columns[0]] = guarded(name);
            cells[self.columns[1]].clone_from(ours);
            if let Some(at) = self.has_note {
                cells[at] = guarded(note);
            }
            out.extend(text::line(&cells).bytes());
            out.extend(end.bytes());
        }
        out
    }
}
