//! The mapping that would fit a folder: a text to look over, correct and save, never applied.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use super::apply::{Holds, holds};
use super::sample::{Column, Sample, sample};
use super::target::canonical;
use super::text::toml_text;
use super::{ColumnRule, OwnName, Rules, Target, plain, words, write};
use crate::read::cell::DateForm;
use crate::read::error::ReadError;
use crate::read::find::{self, Home};
use crate::read::header::{Spec, normal};
use crate::read::{tables, text};
use crate::record::{Table, is_of_budget, spelling};
use crate::units::Measure;

/// The whole `columns.toml` that would fit a folder; `None` where there is nothing to propose.
///
/// Rules of a present file stay. What cannot be told stands in comments. Values are looked at only
/// where `thorough`, headers always.
///
/// # Errors
/// [`ReadError`] when the folder or one of its files cannot be read at all.
pub fn proposal(dir: &Path, thorough: bool) -> Result<Option<String>, ReadError> {
    let mut folder = find::folder(dir)?;
    let settings = text::settings(dir)?.0;
    let mut samples = BTreeMap::new();
    let mut own: BTreeMap<Table, OwnPlace> = BTreeMap::new();
    for (table, found) in &folder.tables {
        samples.insert(*table, sample(found, folder.book.as_mut(), thorough)?);
    }
    for (name, found) in find::strangers(dir, &folder)? {
        let seen = sample(&found, folder.book.as_mut(), thorough)?;
        let Some(table) = table_of(&name, &seen).filter(|t| !samples.contains_key(t)) else {
            continue;
        };
        let is_sheet = matches!(found.home, Home::Sheet(_));
        own.insert(table, OwnPlace { name, is_sheet });
        samples.insert(table, seen);
    }
    let dates = DateForm {
        format: settings.date_format,
    };
    let before = folder.mapping.clone();
    let mut drafts: BTreeMap<Table, Draft<'_>> = BTreeMap::new();
    for (table, seen) in &samples {
        let rules = before.tables.get(table).cloned().unwrap_or_default();
        let mut draft = Draft {
            spec: tables::spec(*table),
            table: *table,
            seen,
            rules,
            notes: Vec::new(),
            unused: Vec::new(),
        };
        draft.place(own.get(table));
        draft.headers();
        drafts.insert(*table, draft);
    }
    let names = Names::of(&drafts);
    drafts.values_mut().for_each(Draft::numbers);
    if drafts
        .values()
        .any(|draft| draft.rules.decimal_comma.is_some())
    {
        drafts.values_mut().for_each(Draft::numbers_as_elsewhere);
    }
    for draft in drafts.values_mut() {
        draft.dates(&dates);
        draft.words();
        draft.names(&names);
    }
    spellings(&mut drafts, dir)?;
    let mut mapping = before.clone();
    let same = |draft: &Draft<'_>| {
        let list = before.tables.get(&draft.table).map_or(0, |r| r.list.len());
        draft.notes.is_empty() && list == draft.rules.list.len()
    };
    if drafts.values().all(same) {
        return Ok(None);
    }
    let mut notes = BTreeMap::new();
    for (table, mut draft) in drafts {
        draft.tell_unused();
        notes.insert(table, draft.notes);
        mapping.tables.insert(table, draft.rules);
    }
    let text = write::text(&mapping, &|table| {
        notes.get(&table).cloned().unwrap_or_default()
    });
    Ok(Some(text))
}

/// Products that no table lists, and families of parts, in one spelling each.
fn spellings(drafts: &mut BTreeMap<Table, Draft<'_>>, dir: &Path) -> Result<(), ReadError> {
    if !drafts.contains_key(&Table::Products) {
        let tables = [Table::Usage, Table::Plan];
        one_spelling(drafts, ("product", &tables), &BTreeSet::new());
    }
    let (families, _) = text::families(Some(dir), None)?;
    let known = families.iter().map(|f| f.name.clone()).collect();
    one_spelling(drafts, ("family", &[Table::Parts]), &known);
    Ok(())
}

/// Rules that put names of a column that are likely one into the spelling of most rows, or that of a
/// name that is known.
fn one_spelling(
    drafts: &mut BTreeMap<Table, Draft<'_>>,
    (column, tables): (&str, &[Table]),
    known: &BTreeSet<String>,
) {
    let mut rows: BTreeMap<&str, u64> = known.iter().map(|name| (name.as_str(), 0)).collect();
    for draft in tables.iter().filter_map(|table| drafts.get(table)) {
        for (text, count) in draft.column(column).into_iter().flat_map(|c| &c.texts) {
            *rows.entry(draft.told(column, text)).or_default() += count;
        }
    }
    let names: Vec<&str> = rows.keys().copied().collect();
    let mut of = BTreeMap::new();
    for group in spelling::groups(&names) {
        let Some(best) = (group.iter())
            .max_by_key(|name| (known.contains(**name), rows[**name], Reverse(**name)))
        else {
            continue;
        };
        let others = group.iter().filter(|name| !known.contains(**name));
        of.extend(
            others
                .filter(|name| *name != best)
                .map(|name| ((*name).to_owned(), (*best).to_owned())),
        );
    }
    for table in tables {
        if let Some(draft) = drafts.get_mut(table) {
            draft.spellings(column, &of);
        }
    }
}

/// A file or sheet with a name of its own.
struct OwnPlace {
    name: String,
    is_sheet: bool,
}

/// The table that a file is by its name, or the only one all of whose needed columns it has.
fn table_of(name: &str, seen: &Sample) -> Option<Table> {
    let stem = Path::new(name)
        .file_stem()
        .unwrap_or_default()
        .to_string_lossy();
    let has_all = |table: &Table| {
        let spec = tables::spec(*table);
        let mut needed = spec.columns.iter().filter(|(_, needed)| *needed);
        needed.all(|(column, _)| {
            seen.columns
                .iter()
                .any(|c| likely(spec, &c.header).is_some_and(|(l, _)| l == *column))
        })
    };
    words::table(&stem).or_else(|| {
        let fitting: Vec<Table> = Table::ALL.into_iter().filter(has_all).collect();
        match fitting.as_slice() {
            [one] => Some(*one),
            _ => None,
        }
    })
}

/// The column that a header is or likely stands for, and the unit it is in.
fn likely(spec: &Spec, header: &str) -> Option<(String, Option<&'static str>)> {
    if let Some(column) = canonical(spec, header) {
        return Some((column, None));
    }
    if let Some((column, unit)) = words::header(header, |c| canonical(spec, c).is_some()) {
        return Some((column.to_owned(), unit));
    }
    let near = words::nearest(header, spec.columns.iter().map(|(name, _)| *name));
    near.map(|name| (name.to_owned(), None))
}

/// The proposal for one table at work.
pub(super) struct Draft<'s> {
    pub(super) spec: &'static Spec,
    pub(super) table: Table,
    pub(super) seen: &'s Sample,
    pub(super) rules: Rules,
    pub(super) notes: Vec<String>,
    /// Headers of amounts or prices that stand for no column of the table.
    unused: Vec<String>,
}

impl Draft<'_> {
    pub(super) fn rule(&mut self) -> usize {
        self.rules.rule(String::new(), 0)
    }

    fn place(&mut self, own: Option<&OwnPlace>) {
        if let Some(own) = own {
            let rule = self.rule();
            let name = OwnName {
                name: own.name.clone(),
                rule,
            };
            *(if own.is_sheet {
                &mut self.rules.sheet
            } else {
                &mut self.rules.file
            }) = Some(name);
        }
        if let Some(mark) = self
            .seen
            .mark
            .filter(|m| *m != ',' && self.rules.separator.is_none())
        {
            let rule = self.rule();
            self.rules.separator = Some((mark, rule));
        }
    }

    pub(super) fn has_rule(&self, header: &str) -> bool {
        self.rules
            .columns
            .iter()
            .any(|c| normal(&c.own) == normal(header))
    }

    /// What a text of a column is by the rules that are there.
    fn told<'t>(&'t self, column: &str, text: &'t str) -> &'t str {
        let mut rules = self.rules.values.iter();
        let ruled = rules.find(|v| v.column == column && plain(&v.from) == plain(text));
        ruled.map_or(text, |rule| rule.to.as_str())
    }

    fn measure(&self, column: &str) -> Option<Measure> {
        let word = normal(column);
        let word = word.strip_suffix("before").unwrap_or(&word).to_owned();
        let unit = crate::units::HEADER_UNITS
            .into_iter()
            .find(|u| u.word == word);
        unit.filter(|_| holds(self.spec, column) == Holds::Number)
            .map(|u| u.measure)
    }

    /// Columns that the table has already, by a header or a rule.
    fn taken(&self) -> BTreeSet<String> {
        let key = |column: &str| {
            self.measure(column)
                .map_or_else(|| normal(column), |m| m.name().to_owned())
        };
        let plain = self
            .seen
            .columns
            .iter()
            .filter(|c| !self.has_rule(&c.header));
        let plain = plain.filter_map(|c| canonical(self.spec, &c.header));
        let ruled = self.rules.columns.iter().map(|c| c.to.column.clone());
        let constant = self.rules.constants.iter().map(|c| c.column.clone());
        plain
            .chain(ruled)
            .chain(constant)
            .map(|c| key(&c))
            .collect()
    }

    fn headers(&mut self) {
        let headers: Vec<String> = self.seen.columns.iter().map(|c| c.header.clone()).collect();
        let mut taken = self.taken();
        for header in headers {
            if header.is_empty()
                || self.has_rule(&header)
                || canonical(self.spec, &header).is_some()
            {
                continue;
            }
            let is_free = |column: &str| {
                let key = self
                    .measure(column)
                    .map_or_else(|| normal(column), |m| m.name().to_owned());
                !taken.contains(&key)
            };
            if words::LOADS.contains(&normal(&header).as_str())
                && canonical(self.spec, "tons").is_some()
                && is_free("tons")
            {
                self.notes.push(format!(
                    "{} = {{ column = \"tons\", load = ? }}  # say how many short tons one load is; goes into [{}.columns]",
                    toml_text(&header), self.table.name()
                ));
                continue;
            }
            let Some((column, unit)) =
                likely(self.spec, &header).filter(|(column, _)| is_free(column))
            else {
                let of_budget = self.table == Table::Machines && is_of_budget(&header);
                let header = Some(header).filter(|h| !of_budget && self.holds_amounts(h));
                self.unused.extend(header);
                continue;
            };
            let rule = self.rule();
            let to = Target {
                column,
                unit: unit.map(str::to_owned),
                load: None,
                factor: 1.0,
                season: false,
                kept: false,
            };
            self.rules.columns.push(ColumnRule {
                own: header,
                to,
                rule,
            });
            taken = self.taken();
        }
        // Use that nothing else tells of is worth a word by itself.
        let is_lost = |header: &String| {
            let Some(words::Amount::Use(column)) = words::amount(header) else {
                return false;
            };
            canonical(self.spec, column).is_some() && !taken.contains(column)
        };
        let is_lost = self.unused.iter().any(is_lost);
        if is_lost {
            self.tell_unused();
        }
        for (name, _) in self
            .spec
            .columns
            .iter()
            .filter(|(name, needed)| *needed && !taken.contains(&normal(name)))
        {
            self.notes.push(format!("no header looks like the needed column `{name}`; name it, or give one value for all rows under [{}.constant]", self.table.name()));
        }
    }

    /// Whether a column is likely one of amounts or prices, by its header and what stands in it.
    fn holds_amounts(&self, header: &str) -> bool {
        let is_number = |text: &String| {
            let digits = text.trim_start_matches(['$', '€', '£', ' ', '-']);
            digits.starts_with(|c: char| c.is_ascii_digit())
        };
        let seen = self.seen.columns.iter().find(|c| c.header == header);
        words::amount(header).is_some()
            && seen.is_some_and(|column| column.texts.keys().all(is_number))
    }

    /// Names the headers that are not used, once for all.
    fn tell_unused(&mut self) {
        if self.unused.is_empty() {
            return;
        }
        let listed: Vec<String> = self.unused.drain(..).map(|h| toml_text(&h)).collect();
        self.notes.push(format!(
            "not used, though they look like amounts or prices: {}; where one is a column of the table, name it under [{}.columns]",
            listed.join(", "),
            self.table.name()
        ));
    }

    /// The column of the file that is a column of the table.
    pub(super) fn column(&self, name: &str) -> Option<&Column> {
        let ruled = self.rules.columns.iter().find(|c| c.to.column == name);
        let is = |c: &&Column| match ruled {
            Some(rule) => normal(&c.header) == normal(&rule.own),
            None => normal(&c.header) == normal(name) && !self.has_rule(&c.header),
        };
        self.seen.columns.iter().find(is)
    }
}

/// Names that other tables may use.
pub(super) struct Names {
    /// Column, the table that lists it, and the names.
    pub(super) lists: Vec<(&'static str, Table, BTreeSet<String>)>,
}

impl Names {
    fn of(drafts: &BTreeMap<Table, Draft<'_>>) -> Self {
        let list = |column: &'static str, table: Table| {
            let seen = drafts.get(&table).and_then(|d| d.column(column));
            (
                column,
                table,
                seen.map_or_else(BTreeSet::new, |c| c.texts.keys().cloned().collect()),
            )
        };
        Self {
            lists: vec![
                list("machine", Table::Machines),
                list("product", Table::Products),
                list("part", Table::Parts),
                list("position", Table::Positions),
            ],
        }
    }
}
