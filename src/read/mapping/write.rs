//! Rules as the text of a `columns.toml`.

use std::fmt::Write as _;

use super::text::toml_text;
use super::{Mapping, OwnName, Rules, Target};

/// What a column is, as it stands behind its header.
pub(super) fn target(to: &Target) -> String {
    if to.kept {
        return format!("{{ keep_as = {} }}", toml_text(&to.column));
    }
    let mut more = String::new();
    if let Some(unit) = &to.unit {
        let _ = write!(more, ", unit = {}", toml_text(unit));
    }
    if let Some(load) = to.load {
        let _ = write!(more, ", load = {load:?}");
    }
    if to.season {
        more.push_str(", season = true");
    }
    if more.is_empty() {
        toml_text(&to.column)
    } else {
        format!("{{ column = {}{more} }}", toml_text(&to.column))
    }
}

/// What stands behind a line that is new in a text with others that are in use.
pub(super) const NEW: &str = "  # new";

/// The whole text; `notes` of a table stand as comments below its rules. Beside rules that are in use,
/// others are marked.
pub(super) fn text(
    mapping: &Mapping,
    notes: &dyn Fn(crate::record::Table) -> Vec<String>,
) -> String {
    let mut rules = mapping.tables.values().flat_map(|rules| &rules.list);
    let in_use = rules.any(|(_, line)| 0 < *line);
    let mut out = String::new();
    for table in crate::record::Table::ALL {
        let (rules, notes) = (mapping.tables.get(&table), notes(table));
        if rules.is_none_or(|r| r.list.is_empty()) && notes.is_empty() {
            continue;
        }
        if !out.is_empty() {
            out.push('\n');
        }
        if let Some(rules) = rules {
            let mark = |rule: usize| {
                if in_use && rules.line(rule) == 0 {
                    NEW
                } else {
                    ""
                }
            };
            table_text(&mut out, table.name(), rules, &mark);
        } else {
            let _ = writeln!(out, "[{}]", table.name());
        }
        for note in notes {
            let _ = writeln!(out, "# {note}");
        }
    }
    out
}

/// `mark` is what stands behind the line of a rule.
fn table_text(out: &mut String, name: &str, rules: &Rules, mark: &dyn Fn(usize) -> &'static str) {
    let _ = writeln!(out, "[{name}]");
    let text = |out: &mut String, key: &str, value: Option<(&str, usize)>| {
        if let Some((value, rule)) = value {
            let _ = writeln!(out, "{key} = {}{}", toml_text(value), mark(rule));
        }
    };
    let own = |own: &Option<OwnName>| own.clone().map(|own| (own.name, own.rule));
    for (key, own) in [("file", own(&rules.file)), ("sheet", own(&rules.sheet))] {
        text(
            out,
            key,
            own.as_ref().map(|(name, rule)| (name.as_str(), *rule)),
        );
    }
    let separator = rules.separator.map(|(sign, rule)| (sign.to_string(), rule));
    let separator = separator
        .as_ref()
        .map(|(sign, rule)| (sign.as_str(), *rule));
    text(out, "separator", separator);
    text(out, "decimal", rules.decimal_comma.map(|rule| (",", rule)));
    let form = rules.date_format.as_ref();
    text(
        out,
        "date_format",
        form.map(|(form, rule)| (form.as_str(), *rule)),
    );
    if rules.credits.is_some() {
        out.push_str("credits = true\n");
    }
    columns_text(out, name, rules, mark);
    if !rules.constants.is_empty() {
        let _ = writeln!(out, "\n[{name}.constant]");
        for rule in &rules.constants {
            let _ = writeln!(out, "{} = {}", rule.column, toml_text(&rule.value));
        }
    }
    let mut columns: Vec<&str> = rules.values.iter().map(|v| v.column.as_str()).collect();
    columns.sort_unstable();
    columns.dedup();
    for column in columns {
        let _ = writeln!(out, "\n[{name}.values.{column}]");
        for rule in rules.values.iter().filter(|v| v.column == column) {
            let (from, to) = (toml_text(&rule.from), toml_text(&rule.to));
            let _ = writeln!(out, "{from} = {to}{}", mark(rule.rule));
        }
    }
}

fn columns_text(out: &mut String, name: &str, rules: &Rules, mark: &dyn Fn(usize) -> &'static str) {
    if rules.columns.is_empty() {
        return;
    }
    let _ = writeln!(out, "\n[{name}.columns]");
    let mut done: Vec<&str> = Vec::new();
    for rule in &rules.columns {
        if done.contains(&rule.own.as_str()) {
            continue;
        }
        done.push(&rule.own);
        let same = rules.columns.iter().filter(|c| c.own == rule.own);
        let targets: Vec<String> = same.map(|c| target(&c.to)).collect();
        let value = match targets.as_slice() {
            [one] => one.clone(),
            many => format!("[{}]", many.join(", ")),
        };
        let _ = writeln!(out, "{} = {value}{}", toml_text(&rule.own), mark(rule.rule));
    }
}
