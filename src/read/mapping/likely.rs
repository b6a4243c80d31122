//! What the values of a table likely mean: decimal commas, forms of dates, words, names.

use std::collections::{BTreeMap, BTreeSet};

use super::apply::{Holds, holds};
use super::propose::{Draft, Names};
use super::target::canonical;
use super::text::toml_text;
use super::{ColumnRule, Target, ValueRule, plain, season, words};
use crate::read::cell::{Cell, DateForm};
use crate::record::{MeterKind, Reason, Table};

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

impl Draft<'_> {
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
        let with = |name: String| {
            self.column(&name)
                .map(|c| (name.clone(), c.texts.keys().cloned().collect()))
        };
        names.into_iter().filter_map(with).collect()
    }

    pub(super) fn numbers(&mut self) {
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

    /// In a folder whose other tables have decimal commas, a point stands before thousands: `1.200` is then
    /// refused, and not read as a little more than one.
    pub(super) fn numbers_as_elsewhere(&mut self) {
        let all = self.of_kind(Holds::Number);
        let texts = || all.iter().flat_map(|(_, texts)| texts);
        let may_be_thousands = |text: &String| {
            let (left, right) = text.split_once('.').unwrap_or((text, "000"));
            let is_digits = |d: &str| !d.is_empty() && d.bytes().all(|b| b.is_ascii_digit());
            is_digits(left) && is_digits(right) && right.len() == 3
        };
        if self.rules.decimal_comma.is_none()
            && texts().any(|text| text.contains('.'))
            && texts().all(may_be_thousands)
        {
            let rule = self.rule();
            self.rules.decimal_comma = Some(rule);
        }
    }

    pub(super) fn dates(&mut self, dates: &DateForm) {
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
        // Where most can be read, the others are mistakes, and are told as such.
        let count: usize = all.iter().map(|(_, t)| t.len()).sum();
        let are_mistakes = 2 * texts.len() < count;
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
            [] if are_mistakes => {}
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
                .any(|v| self.column("date").is_some_and(|c| c.texts.contains_key(v)))
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
            // Counts as a new line.
            let new = self.rules.rule(String::new(), 0);
            if let Some(rule) = (self.rules.columns.iter_mut()).find(|c| c.to.column == "date") {
                rule.rule = new;
            }
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

    pub(super) fn words(&mut self) {
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

    pub(super) fn names(&mut self, names: &Names) {
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

    /// Spellings of a name that are likely another's.
    pub(super) fn spellings(&mut self, column: &str, of: &BTreeMap<String, String>) {
        let Some(seen) = self.column(column) else {
            return;
        };
        let is_ruled = |text: &str| {
            let mut rules = self.rules.values.iter();
            rules.any(|v| v.column == column && plain(&v.from) == plain(text))
        };
        let odd = seen.texts.keys().filter(|text| !is_ruled(text));
        let odd: Vec<(String, String)> = odd
            .filter_map(|text| Some((text.clone(), of.get(text)?.clone())))
            .collect();
        for (from, to) in odd {
            let rule = self.rule();
            self.rules.values.push(ValueRule {
                column: column.to_owned(),
                from,
                to,
                rule,
            });
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
            .keys()
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
