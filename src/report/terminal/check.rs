//! Problems, remarks and the account of rows.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use super::grid::{Grid, Lean};
use super::problems::grouped;
use super::words::{whole, wrapped};
use crate::record::{Account, Problem, RuleCount, Severity, Table, is_of_budget};
use crate::report::check::CheckReport;

/// Everything wrong with the records, then the account of every row.
#[must_use]
pub fn check(report: &CheckReport<'_>, width: usize) -> String {
    let CheckReport {
        problems,
        accounts,
        mapping,
        proposal,
        ..
    } = report;
    let mut out = String::new();
    for (severity, one, many) in [
        (
            Severity::Problem,
            "problem stops the work",
            "problems stop the work",
        ),
        (
            Severity::Remark,
            "remark, which stops nothing",
            "remarks, which stop nothing",
        ),
    ] {
        let of: Vec<&Problem> = problems.iter().filter(|p| p.severity == severity).collect();
        if of.is_empty() {
            continue;
        }
        let _ = writeln!(
            out,
            "{} {}",
            of.len(),
            if of.len() == 1 { one } else { many }
        );
        for group in grouped(&of) {
            for problem in group.shown {
                let _ = writeln!(out, "  {}", problem.place);
                out.push_str(&wrapped(
                    &problem.found,
                    "    found     ",
                    "              ",
                    width,
                ));
                out.push_str(&wrapped(
                    &problem.expected,
                    "    expected  ",
                    "              ",
                    width,
                ));
            }
            if !group.more.is_empty() {
                out.push_str(&wrapped(&group.more, "  ", "  ", width));
            }
        }
        out.push('\n');
    }
    if problems.is_empty() {
        out.push_str("No problems.\n\n");
    }
    out.push_str(&rows(accounts, width));
    let own = accounts.iter().filter_map(|account| {
        let is_read = |c: &str| account.table == Table::Machines && is_of_budget(c);
        let own = account.own_columns.iter().filter(|c| !is_read(c));
        let own: Vec<String> = own.map(|c| format!("`{c}`")).collect();
        (!own.is_empty()).then(|| format!("{} {}", account.table.name(), own.join(", ")))
    });
    let own: Vec<String> = own.collect();
    if !own.is_empty() {
        let text = format!(
            "Columns of your own, none of those that the table takes by name: {}",
            own.join("; ")
        );
        out.push('\n');
        out.push_str(&wrapped(&text, "", "", width));
    }
    if !mapping.is_empty() {
        let _ = writeln!(out, "\nRules of columns.toml, and the rows each touched");
        for rule in at_work(mapping) {
            let _ = writeln!(out, "{:>9}  {}", whole(rule.rows as f64), rule.rule);
        }
    }
    if let Some(text) = proposal {
        out.push_str(&proposed(text, !mapping.is_empty()));
    }
    out
}

/// The rules without those for tables where they change nothing, if they do elsewhere; a line that
/// changes nothing at all stands once.
fn at_work(mapping: &[RuleCount]) -> Vec<&RuleCount> {
    let mut most: BTreeMap<usize, (u64, usize)> = BTreeMap::new();
    for (place, rule) in mapping.iter().enumerate() {
        let (rows, first) = most.entry(rule.line).or_insert((rule.rows, place));
        if *rows == 0 && 0 < rule.rows {
            (*rows, *first) = (rule.rows, place);
        }
    }
    let stays = |(place, rule): &(usize, &RuleCount)| 0 < rule.rows || most[&rule.line].1 == *place;
    let rules = mapping.iter().enumerate().filter(stays);
    rules.map(|(_, rule)| rule).collect()
}

/// A mapping that would fit, under a sentence that says what of it is in use.
fn proposed(text: &str, in_use: bool) -> String {
    if !in_use {
        return format!(
            "\nSome headers or values do not match. This columns.toml would map them; nothing of\n\
             it is in use. Look it over, mend it, and save it in the records folder.\n\n{text}"
        );
    }
    if text.lines().any(|line| line.ends_with("# new")) {
        return format!(
            "\nSome headers or values do not match. This is your columns.toml with lines that would\n\
             map them: those marked `# new` are not in use, the others are. Look it over, mend\n\
             it, and save it in the records folder.\n\n{text}"
        );
    }
    let mut notes = String::new();
    let mut section = "";
    for line in text.lines() {
        if line.starts_with('[') {
            section = line.split(['.', ']']).next().unwrap_or(line);
        } else if line.starts_with('#') {
            if !section.is_empty() {
                let _ = writeln!(notes, "{section}]");
                section = "";
            }
            let _ = writeln!(notes, "{line}");
        }
    }
    format!(
        "\ncolumns.toml is in use as it is. Some headers or values do not match, and what they\n\
         stand for cannot be told:\n\n{notes}"
    )
}

/// Problems as messages, one a line; those alike are told once or twice and then counted.
#[must_use]
pub fn messages(problems: &[&Problem]) -> String {
    let mut out = String::new();
    for group in grouped(problems) {
        for problem in group.shown {
            let _ = writeln!(out, "{problem}");
        }
        if !group.more.is_empty() {
            let _ = writeln!(out, "  {}", group.more);
        }
    }
    out
}

fn rows(account: &[Account], width: usize) -> String {
    let mut grid = Grid::new(
        &[
            ("Table", Lean::Left),
            ("Source", Lean::Left),
            ("Rows read", Lean::Right),
            ("= used", Lean::Right),
            ("+ set aside", Lean::Right),
            ("not yet known", Lean::Right),
        ],
        width,
    );
    let number = |n: u64| whole(n as f64);
    for line in account {
        grid.row([
            line.table.name().to_owned(),
            line.source.clone().unwrap_or_else(|| "none".to_owned()),
            number(line.read),
            number(line.used),
            number(line.set_aside),
            number(line.later),
        ]);
    }
    let sum = |of: fn(&Account) -> u64| number(account.iter().map(of).sum());
    grid.row([
        "in all".to_owned(),
        String::new(),
        sum(|a| a.read),
        sum(|a| a.used),
        sum(|a| a.set_aside),
        sum(|a| a.later),
    ]);
    grid.text()
}
