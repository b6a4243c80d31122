//! The text of a `columns.toml` to its rules, or to what is wrong with it: line, key, what to do.

use std::collections::BTreeSet;
use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::target::{TARGET, canonical, kind, literal, read_target};
use super::{ColumnRule, ConstantRule, Mapping, OwnName, Rules, ValueRule, plain};
use crate::read::header::{MOST_COLUMNS, Spec, normal};
use crate::read::tables::spec;
use crate::record::Table;

/// What is wrong with one key.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Complaint {
    pub(super) line: usize,
    pub(super) key: Option<String>,
    pub(super) found: String,
    pub(super) expected: String,
}

const KEYS: &str = "`file`, `sheet`, `separator`, `decimal`, `date_format`, `credits` \
    (replacements), `engine_hours` (meters), or a section `columns`, `constant` or `values`";
type Entry<'a, 'i> = (&'a str, Range<usize>, &'a Spanned<DeValue<'i>>);

/// Reads the text; rules that are sound are kept beside complaints about others.
pub(super) fn parse(text: &str) -> (Mapping, Vec<Complaint>) {
    let mut parser = Parser {
        ends: text.match_indices('\n').map(|(at, _)| at).collect(),
        wrong: Vec::new(),
    };
    let mut mapping = Mapping::default();
    match DeTable::parse(text) {
        Ok(table) => parser.top(table.get_ref(), &mut mapping),
        Err(error) => {
            let at = error.span().unwrap_or(0..0);
            let message: Vec<&str> = error.message().lines().collect();
            parser.complain(
                &at,
                None,
                message.join(", "),
                "`key = value` lines of TOML; text and headers with spaces in quotes",
            );
        }
    }
    parser.wrong.sort_by_key(|w| w.line);
    (mapping, parser.wrong)
}

/// The entries of a table as they stand in the file.
pub(super) fn entries<'a, 'i>(table: &'a DeTable<'i>) -> Vec<Entry<'a, 'i>> {
    let mut list: Vec<Entry<'a, 'i>> = table
        .iter()
        .map(|(key, value)| (key.get_ref().as_ref(), key.span(), value))
        .collect();
    list.sort_by_key(|(_, at, _)| at.start);
    list
}

/// A key or text as it is written in TOML.
pub(super) fn toml_text(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

struct Parser {
    /// Where lines end.
    ends: Vec<usize>,
    wrong: Vec<Complaint>,
}

/// Where a rule is: its table, what that table takes, and its rules so far.
struct Home<'a> {
    table: Table,
    spec: &'static Spec,
    rules: &'a mut Rules,
}

impl Home<'_> {
    fn add(&mut self, section: &str, rule: &str, line: usize) -> usize {
        let dot = if section.is_empty() { "" } else { "." };
        let text = format!("[{}{dot}{section}] {rule}", self.table.name());
        self.rules.rule(text, line)
    }
}

impl Parser {
    fn line(&self, at: &Range<usize>) -> usize {
        self.ends.partition_point(|end| *end < at.start) + 1
    }

    fn complain(
        &mut self,
        at: &Range<usize>,
        key: Option<&str>,
        found: impl Into<String>,
        expected: impl Into<String>,
    ) {
        self.wrong.push(Complaint {
            line: self.line(at),
            key: key.map(str::to_owned),
            found: found.into(),
            expected: expected.into(),
        });
    }

    fn top(&mut self, top: &DeTable<'_>, mapping: &mut Mapping) {
        let tables: Vec<&str> = Table::ALL.iter().map(|t| t.name()).collect();
        for (key, at, value) in entries(top) {
            let Some(inner) = value.get_ref().as_table() else {
                let found = kind(value.get_ref());
                self.complain(
                    &at,
                    Some(key),
                    found,
                    format!(
                        "a section such as `[usage]` or `[usage.columns]`: {}",
                        tables.join(", ")
                    ),
                );
                continue;
            };
            if key == "values" {
                continue;
            }
            let Some(table) = Table::ALL.into_iter().find(|t| t.name() == key) else {
                self.complain(
                    &at,
                    Some(key),
                    "no table of the records",
                    format!("one of {}, or `values` for all of them", tables.join(", ")),
                );
                continue;
            };
            let mut rules = Rules::default();
            let mut home = Home {
                table,
                spec: spec(table),
                rules: &mut rules,
            };
            self.table(inner, &mut home);
            mapping.tables.insert(table, rules);
        }
        if let Some(values) = top.get("values").and_then(|v| v.get_ref().as_table()) {
            self.everywhere(values, mapping);
        }
    }

    /// Values of a column in whichever table has it; those of a table itself go first.
    fn everywhere(&mut self, values: &DeTable<'_>, mapping: &mut Mapping) {
        for (column, at, value) in entries(values) {
            let homes: Vec<Table> = Table::ALL
                .into_iter()
                .filter(|t| canonical(spec(*t), column).is_some())
                .collect();
            if homes.is_empty() {
                self.complain(
                    &at,
                    Some(column),
                    "no column of any table",
                    "a column such as `machine`, `product` or `reason`",
                );
                continue;
            }
            let silent = self.wrong.len();
            for table in homes {
                let rules = mapping.tables.entry(table).or_default();
                let mut home = Home {
                    table,
                    spec: spec(table),
                    rules,
                };
                self.values_of(column, &at, value, &mut home);
                if silent < self.wrong.len() {
                    break;
                }
            }
        }
    }

    fn table(&mut self, table: &DeTable<'_>, home: &mut Home<'_>) {
        for (key, at, value) in entries(table) {
            match (key, value.get_ref()) {
                ("columns", DeValue::Table(columns)) => self.columns(columns, home),
                ("constant", DeValue::Table(constants)) => self.constants(constants, home),
                ("values", DeValue::Table(values)) => {
                    for (column, at, value) in entries(values) {
                        self.values_of(column, &at, value, home);
                    }
                }
                _ => self.key(key, &at, value.get_ref(), home),
            }
        }
        self.twice(home.rules);
    }

    fn key(&mut self, key: &str, at: &Range<usize>, value: &DeValue<'_>, home: &mut Home<'_>) {
        let line = self.line(at);
        let text = value.as_str();
        let rule = |home: &mut Home<'_>| {
            let shown = text.map_or_else(|| "true".to_owned(), toml_text);
            home.add("", &format!("{key} = {shown}"), line)
        };
        let expected = match (key, text, value.as_bool()) {
            ("file" | "sheet", Some(name), _) if !name.trim().is_empty() => {
                let own = OwnName {
                    name: name.trim().to_owned(),
                    rule: rule(home),
                };
                let slot = if key == "file" {
                    &mut home.rules.file
                } else {
                    &mut home.rules.sheet
                };
                *slot = Some(own);
                return;
            }
            ("file", ..) => {
                "the name of a file of this folder in quotes, such as \"Spread log.csv\""
            }
            ("sheet", ..) => "the name of a sheet of the workbook in quotes",
            ("separator", Some(mark), _) if matches!(mark, "," | ";" | "\t" | "|") => {
                let mark = mark.chars().next().unwrap_or(',');
                home.rules.separator = Some((mark, rule(home)));
                return;
            }
            ("separator", ..) => {
                "what stands between the cells: \";\", \",\", \"|\" or \"\\t\" (tab)"
            }
            ("decimal", Some(","), _) => {
                home.rules.decimal_comma = Some(rule(home));
                return;
            }
            ("decimal", Some("."), _) => return,
            ("decimal", ..) => "\",\" for numbers such as 12,5 or \".\" for 12.5",
            ("date_format", Some(format), _) if crate::read::text::is_date_format(format) => {
                home.rules.date_format = Some((format.to_owned(), rule(home)));
                return;
            }
            ("date_format", ..) => {
                "`strftime` letters for day, month and year, such as \"%d.%m.%Y\""
            }
            ("credits", _, Some(on)) if home.table == Table::Replacements => {
                home.rules.credits = on.then(|| rule(home));
                return;
            }
            ("credits", ..) => "`credits = true` in the section `[replacements]`",
            ("engine_hours", Some("hours"), _) if home.table == Table::Meters => {
                let rule = rule(home);
                home.rules.values.push(ValueRule {
                    column: "meter".to_owned(),
                    from: "engine_hours".to_owned(),
                    to: "hours".to_owned(),
                    rule,
                });
                return;
            }
            ("engine_hours", ..) => {
                "`engine_hours = \"hours\"` in the section `[meters]`: the engine's hours count as hours of spreading"
            }
            _ => KEYS,
        };
        self.complain(at, Some(key), kind(value), expected);
    }

    fn columns(&mut self, columns: &DeTable<'_>, home: &mut Home<'_>) {
        for (index, (own, at, value)) in entries(columns).into_iter().enumerate() {
            if MOST_COLUMNS <= index {
                let expected = format!("rules for at most {MOST_COLUMNS} columns");
                self.complain(&at, Some(own), "one column too many", expected);
                break;
            }
            let targets: Vec<&DeValue<'_>> = match value.get_ref() {
                DeValue::Array(list) => list.iter().map(Spanned::get_ref).collect(),
                one => vec![one],
            };
            if targets.is_empty() || own.trim().is_empty() {
                self.complain(&at, Some(own), "nothing", TARGET);
            }
            for target in targets {
                match read_target(target, home.spec, home.table) {
                    Ok(to) => {
                        let line = self.line(&at);
                        let text = format!("{} = {}", toml_text(own), super::write::target(&to));
                        let rule = home.add("columns", &text, line);
                        home.rules.columns.push(ColumnRule {
                            own: own.trim().to_owned(),
                            to,
                            rule,
                        });
                    }
                    Err((found, expected)) => self.complain(&at, Some(own), found, expected),
                }
            }
        }
    }

    fn constants(&mut self, constants: &DeTable<'_>, home: &mut Home<'_>) {
        for (column, at, value) in entries(constants) {
            let Some(name) = canonical(home.spec, column) else {
                self.complain(
                    &at,
                    Some(column),
                    "no column of the table",
                    home.spec.takes(),
                );
                continue;
            };
            let Some(value) = literal(value.get_ref()) else {
                let found = kind(value.get_ref());
                self.complain(
                    &at,
                    Some(column),
                    found,
                    "one value in quotes, or a number, for every row",
                );
                continue;
            };
            let text = format!("{column} = {}", toml_text(&value));
            let rule = home.add("constant", &text, self.line(&at));
            home.rules.constants.push(ConstantRule {
                column: name,
                value,
                rule,
            });
        }
    }

    fn values_of(
        &mut self,
        column: &str,
        at: &Range<usize>,
        value: &Spanned<DeValue<'_>>,
        home: &mut Home<'_>,
    ) {
        let Some(name) = canonical(home.spec, column) else {
            self.complain(
                at,
                Some(column),
                "no column of the table",
                home.spec.takes(),
            );
            return;
        };
        let DeValue::Table(words) = value.get_ref() else {
            self.complain(
                at,
                Some(column),
                kind(value.get_ref()),
                "a section of words, such as `\"worn out\" = \"worn\"`",
            );
            return;
        };
        let known = home.rules.values.iter().filter(|v| v.column == name);
        let known: BTreeSet<String> = known.map(|v| plain(&v.from)).collect();
        for (from, at, to) in entries(words) {
            let Some(to) = literal(to.get_ref()) else {
                self.complain(
                    &at,
                    Some(from),
                    kind(to.get_ref()),
                    "the word of the records in quotes; \"\" for an empty cell",
                );
                continue;
            };
            // The table's own word goes before that of all tables.
            if known.contains(&plain(from)) {
                continue;
            }
            let text = format!("{} = {}", toml_text(from), toml_text(&to));
            let section = format!("values.{column}");
            let rule = home.add(&section, &text, self.line(&at));
            home.rules.values.push(ValueRule {
                column: name.clone(),
                from: from.to_owned(),
                to,
                rule,
            });
        }
    }

    /// Columns that two rules speak of.
    fn twice(&mut self, rules: &Rules) {
        let named = rules.columns.iter().map(|c| (&c.to.column, c.rule));
        let constant = rules.constants.iter().map(|c| (&c.column, c.rule));
        let mut seen = BTreeSet::new();
        for (column, rule) in named.chain(constant) {
            if !seen.insert(normal(column)) {
                self.wrong.push(Complaint {
                    line: rules.line(rule),
                    key: Some(column.clone()),
                    found: "a second rule for the same column".to_owned(),
                    expected: "one rule for one column; delete one of the two".to_owned(),
                });
            }
        }
    }
}
