//! The mapping that would fit a folder: a text to look over, correct and save, never applied.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use super::apply::{Holds, holds};
use super::sample::{Column, Sample, sample};
use super::text::{canonical, toml_text};
use super::{ColumnRule, OwnName, Rules, Target, ValueRule, plain, season, words, write};
use crate::read::cell::{Cell, DateForm};
use crate::read::error::ReadError;
use crate::read::find::{self, Home};
use crate::read::header::{Spec, normal};
use crate::read::{tables, text};
use crate::record::{MeterKind, Reason, Table};
use crate::units::Measure;

/// Forms of dates that are tried.
const FORMS: [&str; 12] = [
    "%m/%d/%Y",
    "%d/%m/%Y",
    "%m/%d/%y",
    "%d/%m/%y",
    "%d.%m.%Y",
    "%d.%m.%y",
    "%m-%d-%Y",
    "%d-%m-%Y",
    "%Y/%m/%d",
    "%d %b %Y",
    "%b %d %Y",
    "%b %d, %Y",
];
/// Values without a likely meaning that are listed of one column.
const LISTED: usize = 20;

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
        };
        draft.place(own.get(table));
        draft.headers();
        drafts.insert(*table, draft);
    }
    let names = Names::of(&drafts);
    for draft in drafts.values_mut() {
        draft.numbers();
        draft.dates(&dates);
        draft.words();
        draft.names(&names);
    }
    let mut mapping = before.clone();
    let mut notes = BTreeMap::new();
    for (table, draft) in drafts {
        notes.insert(table, draft.notes);
        mapping.tables.insert(table, draft.rules);
    }
    let nothing = notes.values().all(Vec::is_empty);
    let same = |(table, rules): (&Table, &Rules)| {
        before.tables.get(table).map_or(0, |r| r.list.len()) == rules.list.len()
    };
    if nothing && mapping.tables.iter().all(same) {
        return Ok(None);
    }
    let text = write::text(&mapping, &|table| {
        notes.get(&table).cloned().unwrap_or_default()
    });
    Ok(Some(text))
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
struct Draft<'s> {
    spec: &'static Spec,
    table: Table,
    seen: &'s Sample,
    rules: Rules,
    notes: Vec<String>,
}

impl Draft<'_> {
    fn rule(&mut self) -> usize {
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

    fn has_rule(&self, header: &str) -> bool {
        self.rules
            .columns
            .iter()
            .any(|c| normal(&c.own) == normal(header))
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
        for header in headers {
            if header.is_empty()
                || self.has_rule(&header)
                || canonical(self.spec, &header).is_some()
            {
                continue;
            }
            let taken = self.taken();
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
        }
        let taken = self.taken();
        for (name, _) in self
            .spec
            .columns
            .iter()
            .filter(|(name, needed)| *needed && !taken.contains(&normal(name)))
        {
            self.notes.push(format!("no header looks like the needed column `{name}`; name it, or give one value for all rows under [{}.constant]", self.table.name()));
        }
    }

    /// The column of the file that is a column of the table.
    fn column(&self, name: &str) -> Option<&Column> {
        let ruled = self.rules.columns.iter().find(|c| c.to.column == name);
        let is = |c: &&Column| match ruled {
            Some(rule) => normal(&c.header) == normal(&rule.own),
            None => normal(&c.header) == normal(name) && !self.has_rule(&c.header),
        };
        self.seen.columns.iter().find(is)
    }

    /// Columns of one kind, by their names in the table.
    fn of_kind(&self, kind: Holds) -> Vec<(String, BTreeSet<String>)> {
        let plain = self
            .seen
            .columns
            .iter()
            .filter(|c| !self.has_rule(&c.header));
        let mut names: Vec<String> = plain
            .filter_map(|c| canonical(self.spec, &c.header))
            .collect();
        names.extend(
            self.rules
                .columns
                .iter()
                .filter(|c| !c.to.kept)
                .map(|c| c.to.column.clone()),
        );
        names.retain(|name| holds(self.spec, name) == kind);
        let with = |name: String| self.column(&name).map(|c| (name.clone(), c.texts.clone()));
        names.into_iter().filter_map(with).collect()
    }

    fn numbers(&mut self) {
        if self.rules.decimal_comma.is_some() {
            return;
        }
        let all = self.of_kind(Holds::Number);
        let commas: Vec<&String> = all
            .iter()
            .flat_map(|(_, texts)| texts)
            .filter(|t| t.contains(','))
            .collect();
        let shaped = |text: &&&String| {
            let (left, right) = text.split_once(',').unwrap_or_default();
            [left, right]
                .iter()
                .all(|d| !d.is_empty() && d.bytes().all(|b| b.is_ascii_digit()))
        };
        let points = all.iter().flat_map(|(_, t)| t).any(|t| t.contains('.'));
        if commas.is_empty() || points || commas.iter().filter(shaped).count() < commas.len() {
            return;
        }
        if commas
            .iter()
            .all(|text| text.len() - text.find(',').unwrap_or(0) == 4)
        {
            self.notes.push(format!("numbers such as {} may be thousands or decimals; where the comma is decimal: decimal = \",\"", commas[0]));
        } else {
            let rule = self.rule();
            self.rules.decimal_comma = Some(rule);
        }
    }

    fn dates(&mut self, dates: &DateForm) {
        if self.rules.date_format.is_some() {
            return;
        }
        let odd = |text: &&String| {
            !text.eq_ignore_ascii_case("unknown") && Cell::text(text).date(dates).is_err()
        };
        let all = self.of_kind(Holds::Date);
        let texts: Vec<String> = all
            .iter()
            .flat_map(|(_, t)| t.iter().filter(odd).cloned())
            .collect();
        let (vague, texts): (Vec<String>, Vec<String>) = texts
            .into_iter()
            .partition(|t| season::stretch(t).is_some());
        if !vague.is_empty() && self.table == Table::Replacements {
            self.season(&vague);
        }
        if texts.is_empty() {
            return;
        }
        let reads = |form: &&&str| {
            let form = DateForm {
                format: Some((**form).to_owned()),
            };
            texts
                .iter()
                .all(|t| matches!(Cell::text(t).date(&form), Ok(Some(_))))
        };
        let fitting: Vec<&str> = FORMS.iter().filter(reads).copied().collect();
        match fitting.as_slice() {
            [] => self.notes.push(format!(
                "dates such as {} have no form that all of them share",
                toml_text(&texts[0])
            )),
            [one] => {
                let rule = self.rule();
                self.rules.date_format = Some(((*one).to_owned(), rule));
            }
            several => {
                let list: Vec<String> = several
                    .iter()
                    .map(|f| format!("date_format = {}", toml_text(f)))
                    .collect();
                self.notes.push(format!(
                    "dates such as {} can be read in several ways; choose one: {}",
                    toml_text(&texts[0]),
                    list.join(" or ")
                ));
            }
        }
    }

    fn season(&mut self, vague: &[String]) {
        let own = self.column("date").map(|c| c.header.clone());
        let Some(own) = own.filter(|_| {
            vague
                .iter()
                .any(|v| self.column("date").is_some_and(|c| c.texts.contains(v)))
        }) else {
            return;
        };
        if let Some(rule) = self
            .rules
            .columns
            .iter_mut()
            .find(|c| c.to.column == "date")
        {
            if rule.to.season {
                return;
            }
            rule.to.season = true;
            // Counts as a change.
            self.rule();
            return;
        }
        let rule = self.rule();
        let to = Target {
            column: "date".to_owned(),
            unit: None,
            load: None,
            factor: 1.0,
            season: true,
            kept: false,
        };
        self.rules.columns.push(ColumnRule { own, to, rule });
    }

    fn words(&mut self) {
        let lists: [(&str, Vec<&'static str>); 3] = [
            ("reason", Reason::ALL.map(Reason::name).to_vec()),
            ("critical", vec!["stops", "degrades", "cosmetic"]),
            ("meter", MeterKind::ALL.map(MeterKind::name).to_vec()),
        ];
        for (column, list) in lists {
            let matched = |text: &str| {
                let by_word = words::value(column, text).map(str::to_owned);
                by_word.or_else(|| words::nearest(text, list.iter().copied()).map(str::to_owned))
            };
            let known = |text: &str| list.iter().any(|word| word.eq_ignore_ascii_case(text));
            self.values(column, &known, &matched);
        }
    }

    fn names(&mut self, names: &Names) {
        for (column, home, list) in &names.lists {
            if *home == self.table || list.is_empty() {
                continue;
            }
            let near = |text: &str| {
                words::nearest(text, list.iter().map(String::as_str)).map(str::to_owned)
            };
            self.values(column, &|text| list.contains(text), &near);
        }
    }

    /// Values of a column that are not known: a rule for those with a likely meaning, a note for others.
    fn values(
        &mut self,
        column: &str,
        known: &dyn Fn(&str) -> bool,
        matched: &dyn Fn(&str) -> Option<String>,
    ) {
        let is_ruled = |text: &str| {
            self.rules
                .values
                .iter()
                .any(|v| v.column == column && plain(&v.from) == plain(text))
        };
        let takes = self.spec.columns.iter().any(|(name, _)| *name == column);
        let Some(seen) = self.column(column).filter(|_| takes) else {
            return;
        };
        let odd: Vec<String> = seen
            .texts
            .iter()
            .filter(|t| !known(t) && !is_ruled(t))
            .cloned()
            .collect();
        let mut without = Vec::new();
        for text in odd {
            match matched(&text) {
                Some(to) => {
                    let rule = self.rule();
                    self.rules.values.push(ValueRule {
                        column: column.to_owned(),
                        from: text,
                        to,
                        rule,
                    });
                }
                None => without.push(text),
            }
        }
        let more = without.len().saturating_sub(LISTED);
        for text in without.iter().take(LISTED) {
            self.notes.push(format!("{} = ?  # of `{column}`, nothing in the records is spelled like it; goes into [{}.values.{column}]", toml_text(text), self.table.name()));
        }
        if 0 < more {
            self.notes
                .push(format!("and {more} more values of `{column}`"));
        }
    }
}

/// Names that other tables may use.
struct Names {
    /// Column, the table that lists it, and the names.
    lists: Vec<(&'static str, Table, BTreeSet<String>)>,
}

impl Names {
    fn of(drafts: &BTreeMap<Table, Draft<'_>>) -> Self {
        let list = |column: &'static str, table: Table| {
            let seen = drafts.get(&table).and_then(|d| d.column(column));
            (
                column,
                table,
                seen.map_or_else(BTreeSet::new, |c| c.texts.clone()),
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
