//! Rules as the text of a `columns.toml`.

use std::fmt::Write as _;

use super::text::toml_text;
use super::{Mapping, Rules, Target};

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

/// The whole text; `notes` of a table stand as comments below its rules.
pub(super) fn text(
    mapping: &Mapping,
    notes: &dyn Fn(crate::record::Table) -> Vec<String>,
) -> String {
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
            table_text(&mut out, table.name(), rules);
        } else {
            let _ = writeln!(out, "[{}]", table.name());
        }
        for note in notes {
            let _ = writeln!(out, "# {note}");
        }
    }
    out
}

fn table_text(out: &mut String, name: &str, rules: &Rules) {
    let _ = writeln!(out, "[{name}]");
    let text = |out: &mut String, key: &str, value: Option<&str>| {
        if let Some(value) = value {
            let _ = writeln!(out, "{key} = {}", toml_text(value));
        }
    };
    text(out, "file", rules.file.as_ref().map(|f| f.name.as_str()));
    text(out, "sheet", rules.sheet.as_ref().map(|s| s.name.as_str()));
    let separator = rules.separator.map(|(mark, _)| mark.to_string());
    text(out, "separator", separator.as_deref());
    text(out, "decimal", rules.decimal_comma.map(|_| ","));
    text(
        out,
        "date_format",
        rules.date_format.as_ref().map(|(f, _)| f.as_str()),
    );
    if rules.credits.is_some() {
        out.push_str("credits = true\n");
    }
    if !rules.columns.is_empty() {
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
            let _ = writeln!(out, "{} = {value}", toml_text(&rule.own));
        }
    }
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
            let _ = writeln!(out, "{} = {}", toml_text(&rule.from), toml_text(&rule.to));
        }
    }
}
