//! Problems in groups: one slip in a table can make a hundred rows of others wrong.
//!
//! JSON and CSV hold every problem on its own.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use crate::record::{Problem, ProblemKind};

/// Problems of one group that are told in full.
const SHOWN: usize = 3;
/// Row numbers of one file that are listed.
const ROWS: usize = 12;

/// Problems that have one cause, as far as anybody can tell.
pub(super) struct Group<'a> {
    /// Those to tell in full.
    pub(super) shown: Vec<&'a Problem>,
    /// The others, in a sentence or two; empty where there are none.
    pub(super) more: String,
}

/// What makes problems alike.
#[derive(PartialEq, Eq, PartialOrd, Ord, Clone)]
enum Cause<'a> {
    /// A name is unknown, and the table that should list it has problems of its own.
    Follows(&'a str),
    /// The same is found and expected in the same column.
    Same(ProblemKind, &'a str, &'a str, Option<&'a str>),
}

/// The table a source holds: `parts` for `parts.csv` and for `records.xlsx, sheet Parts`.
fn table_of(source: &str) -> String {
    let last = source.rsplit(", ").next().unwrap_or(source);
    let last = last.strip_prefix("sheet ").unwrap_or(last);
    let stem = last.rsplit_once('.').map_or(last, |(stem, _)| stem);
    stem.to_lowercase()
}

fn cause<'a>(problem: &'a Problem, broken: &'a BTreeMap<String, &'a str>) -> Cause<'a> {
    let column = problem.place.column.as_deref();
    if let (ProblemKind::Unknown, Some(column)) = (problem.kind, column) {
        // Tables are called after what a row of them names.
        if let Some(source) = broken.get(&format!("{column}s")) {
            return Cause::Follows(source);
        }
    }
    // Of a whole column in another form, or under no header, each cell has its own value.
    let found = match problem.kind {
        ProblemKind::RaggedRow
        | ProblemKind::Formula
        | ProblemKind::NotANumber
        | ProblemKind::NotADate => "",
        _ => problem.found.as_str(),
    };
    Cause::Same(problem.kind, found, &problem.expected, column)
}

/// Problems by cause, in the order in which the first of each comes.
pub(super) fn grouped<'a>(problems: &[&'a Problem]) -> Vec<Group<'a>> {
    let mut broken: BTreeMap<String, &str> = BTreeMap::new();
    let mut last = None;
    for source in problems.iter().map(|p| &*p.place.source) {
        // Most stand in the file of the one before.
        if last != Some(source) {
            broken.insert(table_of(source), source);
            last = Some(source);
        }
    }
    let mut groups: Vec<(Cause<'_>, Vec<&Problem>)> = Vec::new();
    let mut places: BTreeMap<Cause<'_>, usize> = BTreeMap::new();
    for problem in problems {
        let cause = cause(problem, &broken);
        let place = *places.entry(cause.clone()).or_insert(groups.len());
        match groups.get_mut(place) {
            Some((_, of)) => of.push(problem),
            None => groups.push((cause, vec![problem])),
        }
    }
    // What follows from other problems comes after them.
    groups.sort_by_key(|(cause, _)| matches!(cause, Cause::Follows(_)));
    groups
        .into_iter()
        .map(|(cause, of)| Group {
            more: more(&cause, &of),
            shown: of.into_iter().take(SHOWN).collect(),
        })
        .collect()
}

/// The sentence for those that are not told in full.
fn more(cause: &Cause<'_>, of: &[&Problem]) -> String {
    let hidden = of.get(SHOWN..).unwrap_or_default();
    let mut out = String::new();
    if !hidden.is_empty() {
        let _ = write!(
            out,
            "And {} more like these: {}",
            hidden.len(),
            rows(hidden)
        );
        out.push_str(". ");
    }
    if let Cause::Follows(source) = cause {
        let _ = write!(
            out,
            "Such rows may be sound: they name what a row of {source} with a problem should list. Mend {source} first."
        );
    }
    out.trim_end().to_owned()
}

/// `usage.csv, rows 3, 4, 9 and 20 more; plan.csv, row 2`.
fn rows(problems: &[&Problem]) -> String {
    let mut by_source: BTreeMap<&str, Vec<u32>> = BTreeMap::new();
    for problem in problems {
        let rows = by_source.entry(&problem.place.source).or_default();
        rows.extend(problem.place.row);
    }
    let told = |(source, rows): (&&str, &Vec<u32>)| {
        if rows.is_empty() {
            return (*source).to_owned();
        }
        let listed: Vec<String> = rows.iter().take(ROWS).map(u32::to_string).collect();
        let word = if rows.len() == 1 { "row" } else { "rows" };
        let rest = match rows.len().saturating_sub(ROWS) {
            0 => String::new(),
            n => format!(" and {n} more"),
        };
        format!("{source}, {word} {}{rest}", listed.join(", "))
    };
    let sources: Vec<String> = by_source.iter().map(told).collect();
    sources.join("; ")
}
