//! Work of task data into the usage log.

mod logged;

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;

use super::Kept;
use super::ledger::{self, Entry, Headings, Outcome, Value};
use super::names::{Kind, Match};
use super::taskdata::{TaskData, Undated, Work};
use crate::record::Records;
use crate::report::Header;
use crate::report::imports::{Fate, ImportReport, Lines, UnmatchedName, UseLine};
use crate::units::{HECTARES_PER_ACRE, KILOGRAMS_PER_TON, Measure};

/// Columns of `usage.csv` in the order of a new file.
const HEADINGS: &Headings = &[
    ("date", None),
    ("machine", None),
    ("product", None),
    ("bin", None),
    ("acres", Some(Measure::Acres)),
    ("tons", Some(Measure::Tons)),
    ("hours", Some(Measure::Hours)),
];
/// Moments in the source of a row; as text they sort by time.
const MOMENT: &str = "%Y-%m-%dT%H:%M:%S";
/// Most rows whose changes are told one by one.
const MOST_CHANGES: usize = 20;
const SQUARE_METRES_PER_HECTARE: f64 = 10_000.0;

/// An import worked out, and the table it makes.
#[derive(Clone, Debug, PartialEq)]
pub struct Imported {
    /// What became of every row.
    pub report: ImportReport,
    /// The table; `None` where it stays as it is.
    pub table: Option<Vec<u8>>,
}

/// What rows of two bins in one pass carry.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum TwoBins {
    /// Each the acres and hours of the whole pass: right for parts that see one bin.
    #[default]
    Whole,
    /// Their share of these by tons: rows add up to the work done, right for parts that see the
    /// whole machine.
    Shared,
}

/// A work matched against the records.
struct Matched {
    ours: [Option<String>; 3],
    /// Share of the pass's acres and hours.
    share: f64,
    trouble: Option<String>,
}

/// Works out what task data adds to the usage log.
///
/// - `existing`: the present `usage.csv`, where there is one.
/// - `into`: its name.
///
/// # Errors
/// In words, when the present table cannot be taken apart safely.
pub fn merge(
    data: &TaskData,
    records: &Records,
    kept: &mut Kept,
    two_bins: TwoBins,
    existing: Option<&[u8]>,
    into: &str,
) -> Result<Imported, String> {
    let mut unmatched = Unmatched::default();
    let mut matched: Vec<Matched> = data
        .works
        .iter()
        .map(|work| find(work, records, kept, &mut unmatched))
        .collect();
    if two_bins == TwoBins::Shared {
        share_out(&data.works, &mut matched);
    }
    let keys: Vec<[String; 2]> = data.works.iter().map(keys).collect();
    let mut entries = Vec::new();
    let mut places: Vec<Result<usize, String>> = Vec::new();
    let mut seen = BTreeSet::new();
    for ((work, matched), [origin, key]) in data.works.iter().zip(&matched).zip(&keys) {
        let twice = matched.trouble.is_none() && !seen.insert(key.clone());
        places.push(match (&matched.trouble, twice) {
            (Some(why), _) => Err(why.clone()),
            (None, true) => {
                Err("the same task, day, bin and product a second time in the file".to_owned())
            }
            (None, false) => {
                entries.push(Entry {
                    origin: origin.clone(),
                    key: key.clone(),
                    until: Some(work.until.format(MOMENT).to_string()),
                    cells: cells(work, matched),
                });
                Ok(entries.len() - 1)
            }
        });
    }
    let written: BTreeSet<&str> = entries.iter().map(|e| e.key.as_str()).collect();
    let spared = keys
        .iter()
        .map(|[_, key]| key.clone())
        .filter(|key| !written.contains(key.as_str()))
        .collect();
    let merged = ledger::merge(existing, HEADINGS, &entries, &spared)?;
    let mut notes = notes(data, kept, two_bins, &merged);
    notes.extend(changes(&merged, &data.works, &places));
    let outcomes = places
        .iter()
        .map(|place| Some(&merged.outcomes[*place.as_ref().ok()?]));
    let told = data.works.iter().zip(&matched).zip(outcomes);
    notes.extend(logged::already(told, records));
    let lines = data.works.iter().zip(matched).zip(places);
    let lines = lines.map(|((work, matched), place)| {
        let fate = place.map_or_else(Fate::SetAside, |at| merged.outcomes[at].clone().into());
        line(work, matched, fate)
    });
    let lines = lines.chain(data.undated.iter().map(undated));
    let report = ImportReport {
        lines: Lines::Use(lines.collect()),
        header: Header {
            as_of: data.works.iter().map(|w| w.date).max(),
            seed: 1,
            level: 0.9,
            machines: Vec::new(),
            families: Vec::new(),
            notes,
            cautions: Vec::new(),
        },
        kind: "taskdata",
        units: records.settings.units,
        into: into.to_owned(),
        taken_out: merged.taken_out,
        unmatched: unmatched.list(),
        problems: problems(data),
    };
    let table = (merged.changed && !entries.is_empty()).then_some(merged.bytes);
    Ok(Imported { report, table })
}

impl From<Outcome> for Fate {
    fn from(outcome: Outcome) -> Self {
        match outcome {
            Outcome::Added => Self::Added,
            Outcome::Already => Self::Already,
            Outcome::Replaced => Self::Replaced,
            Outcome::KeptChanged => Self::KeptChanged,
            Outcome::Older(why) => Self::SetAside(why),
        }
    }
}

/// Names that could not be matched.
#[derive(Default)]
pub(super) struct Unmatched(BTreeMap<(Kind, String), (usize, String)>);

impl Unmatched {
    pub(super) fn add(&mut self, kind: Kind, name: &str, todo: String) -> String {
        let why = format!("{} not matched", kind.word());
        self.0.entry((kind, name.to_owned())).or_insert((0, todo)).0 += 1;
        why
    }

    pub(super) fn list(self) -> Vec<UnmatchedName> {
        let name =
            |((kind, name), (rows, todo)): ((Kind, String), (usize, String))| UnmatchedName {
                kind: kind.word(),
                name,
                rows,
                todo,
            };
        self.0.into_iter().map(name).collect()
    }
}

fn find(work: &Work, records: &Records, kept: &mut Kept, unmatched: &mut Unmatched) -> Matched {
    let mut matched = Matched {
        ours: [const { None }; 3],
        share: 1.0,
        trouble: work.trouble.clone(),
    };
    let mut trouble = Vec::new();
    let mut settle = |found: Match, kind: Kind, name: &str| match found {
        Match::Known(ours) => Some(ours),
        Match::LeftOut => {
            trouble.push(format!("{} leaves `{name}` out", kind.file()));
            None
        }
        Match::Unmatched(todo) => {
            trouble.push(unmatched.add(kind, name, todo));
            None
        }
    };
    if !work.machine.is_empty() {
        let note = work.machine_name.as_deref().unwrap_or_default();
        let found = kept.machines.find(&work.machine, note);
        matched.ours[0] = settle(found, Kind::Machine, &work.machine);
    }
    if let Some(product) = &work.product {
        matched.ours[2] = settle(kept.products.find(product, ""), Kind::Product, product);
    }
    if let (Some(machine), Some(bin)) = (matched.ours[0].clone(), &work.bin) {
        let has_bins = records
            .positions
            .iter()
            .any(|p| p.machine == machine && p.bin.is_some());
        let name = format!("{} {bin}", work.machine);
        // Where no position asks for a bin, the file's own word does no harm.
        matched.ours[1] = if has_bins {
            let note = work.bin_name.as_deref().unwrap_or_default();
            settle(kept.bins.find(&name, note), Kind::Bin, &name)
        } else {
            Some(super::text::plain(bin))
        };
    }
    let first = trouble.into_iter().next();
    let none = [work.kilograms, work.square_metres, work.hours] == [None; 3];
    let nothing = none.then(|| "neither tons, acres nor hours are known".to_owned());
    let time = matched.ours[0]
        .as_deref()
        .and_then(|machine| out_of_time(work, machine, records));
    matched.trouble = matched.trouble.or(first).or(time).or(nothing);
    matched
}

/// Use that the records would not take.
fn out_of_time(work: &Work, machine: &str, records: &Records) -> Option<String> {
    let machine = records.machine(machine)?;
    if work.date < machine.records_from {
        return Some(format!(
            "before `records_from` {} of `{}`",
            machine.records_from, machine.name
        ));
    }
    let retired = machine.retired.filter(|retired| *retired < work.date)?;
    Some(format!(
        "after {retired}, when `{}` was retired",
        machine.name
    ))
}

/// Origin and key of a work. A task id is unique in one set of task data only; with the machine
/// and the second at which it began, in all of them.
fn keys(work: &Work) -> [String; 2] {
    let started = work.started.format(MOMENT).to_string();
    let date = work.date.to_string();
    let parts = [
        "taskdata",
        &work.machine,
        &work.task,
        &started,
        &date,
        work.bin.as_deref().unwrap_or_default(),
        work.product.as_deref().unwrap_or_default(),
    ];
    [
        ledger::key(&parts[..ledger::ORIGIN_PARTS]),
        ledger::key(&parts),
    ]
}

fn cells(work: &Work, matched: &Matched) -> BTreeMap<&'static str, Value> {
    let text = |name, value: &Option<String>| Some((name, Value::Text(value.clone()?)));
    let amount = |name, measure, value: Option<f64>| Some((name, Value::Amount(measure, value?)));
    let [machine, bin, product] = &matched.ours;
    let cells = [
        Some(("date", Value::Text(work.date.to_string()))),
        text("machine", machine),
        text("product", product),
        text("bin", bin),
        amount(
            "acres",
            Measure::Acres,
            work.square_metres.map(|m2| acres(m2) * matched.share),
        ),
        amount("tons", Measure::Tons, work.kilograms.map(tons)),
        amount(
            "hours",
            Measure::Hours,
            work.hours.map(|h| h * matched.share),
        ),
    ];
    cells.into_iter().flatten().collect()
}

/// Acres in square metres.
#[must_use]
pub fn acres(square_metres: f64) -> f64 {
    square_metres / SQUARE_METRES_PER_HECTARE / HECTARES_PER_ACRE
}

/// Short tons in kilograms.
#[must_use]
pub fn tons(kilograms: f64) -> f64 {
    kilograms / KILOGRAMS_PER_TON
}

fn line(work: &Work, matched: Matched, fate: Fate) -> UseLine {
    UseLine {
        task: work.task.clone(),
        date: Some(work.date),
        machine: work.machine.clone(),
        bin: work.bin.clone(),
        product: work.product.clone(),
        kilograms: work.kilograms,
        square_metres: work.square_metres,
        hours: work.hours,
        ours: matched.ours,
        fate,
    }
}

/// What is wrong in the files, each once, with the rows that are set aside for it.
fn problems(data: &TaskData) -> Vec<String> {
    let mut wrong: BTreeMap<String, usize> = BTreeMap::new();
    for work in &data.works {
        if let (Some(file), Some(why)) = (&work.wrong_in, &work.trouble) {
            let bin = work.bin.iter().map(|bin| format!(", {bin}"));
            let bin: String = bin.collect();
            let problem = format!("{file}, task {}{bin}: {why}", work.task);
            *wrong.entry(problem).or_default() += 1;
        }
    }
    let told = wrong.into_iter();
    let told = told.map(|(problem, count)| format!("{problem} ({} set aside)", rows(count)));
    let undated = data.undated.iter().map(|u| u.problem.clone());
    undated.chain(told).collect()
}

/// A stretch of no day: what it holds belongs to no row, and where it went on, later ones count it too.
fn undated(undated: &Undated) -> UseLine {
    UseLine {
        task: undated.task.clone(),
        date: None,
        machine: String::new(),
        bin: None,
        product: None,
        kilograms: None,
        square_metres: None,
        hours: None,
        ours: [const { None }; 3],
        fate: Fate::SetAside(undated.problem.clone()),
    }
}

fn notes(data: &TaskData, kept: &Kept, two_bins: TwoBins, merged: &ledger::Merged) -> Vec<String> {
    let mut notes = data.notes.clone();
    if two_bins == TwoBins::Whole && shares_a_pass(&data.works) {
        notes.push(
            "Where two bins work in one pass, both rows carry the acres and hours of the whole pass: \
             a part that sees one bin is counted right, a part that sees the whole machine twice. \
             `--two-bins shared` shares them out by tons, so that rows add up."
                .to_owned(),
        );
    }
    if two_bins == TwoBins::Shared && shares_a_pass(&data.works) {
        notes.push(
            "Where two bins work in one pass, the rows written carry their share of its acres and hours by tons; \
             the rows shown are those of the file."
                .to_owned(),
        );
    }
    let taken: Vec<&str> = kept.products.taken().collect();
    if !taken.is_empty() {
        notes.push(format!(
            "The records have no products table, so these names are taken as the file has them: {}. \
             Where two of them are one product, say so in {}.",
            taken.join(", "),
            Kind::Product.file()
        ));
    }
    if 0 < merged.taken_out {
        notes.push(format!(
            "{} of an earlier state of the same tasks taken out of the table.",
            rows(merged.taken_out)
        ));
    }
    if 0 < merged.left {
        notes.push(format!(
            "{} of an earlier state of the same tasks changed by hand since and left; look whether they still hold.",
            rows(merged.left)
        ));
    }
    notes
}

/// What was replaced by later states of tasks.
fn changes(
    merged: &ledger::Merged,
    works: &[Work],
    places: &[Result<usize, String>],
) -> Option<String> {
    let by_entry: BTreeMap<usize, &Work> = places
        .iter()
        .zip(works)
        .filter_map(|(place, work)| Some((*place.as_ref().ok()?, work)))
        .collect();
    let told = merged.changes.iter().filter_map(|(entry, change)| {
        let work = by_entry.get(entry)?;
        let named = [
            Some(format!("task {}", work.task)),
            Some(work.date.to_string()),
            work.bin.clone(),
            work.product.clone(),
        ];
        let named: Vec<String> = named.into_iter().flatten().collect();
        Some(format!("{}: {change}", named.join(" ")))
    });
    let told: Vec<String> = told.collect();
    let more = match told.len().saturating_sub(MOST_CHANGES) {
        0 => String::new(),
        more => format!("; and {}", rows(more)),
    };
    let shown = &told[..told.len().min(MOST_CHANGES)];
    (!told.is_empty()).then(|| format!("Replaced in the table: {}{more}.", shown.join("; ")))
}

/// `1 row`, `2 rows`.
fn rows(count: usize) -> String {
    format!("{count} {}", if count == 1 { "row" } else { "rows" })
}

/// What tells one pass of a machine from another.
type Pass<'w> = (&'w str, chrono::NaiveDateTime, NaiveDate, &'w str);

fn pass(work: &Work) -> Pass<'_> {
    (&work.task, work.started, work.date, &work.machine)
}

/// Whether two bins of one machine were at work in one task on one day.
fn shares_a_pass(works: &[Work]) -> bool {
    let mut bins: BTreeMap<Pass<'_>, &Option<String>> = BTreeMap::new();
    works
        .iter()
        .any(|work| *bins.entry(pass(work)).or_insert(&work.bin) != &work.bin)
}

/// Gives each bin of a pass its share by tons; where these are not known, none.
fn share_out(works: &[Work], matched: &mut [Matched]) {
    let mut passes: BTreeMap<Pass<'_>, BTreeMap<&Option<String>, Option<f64>>> = BTreeMap::new();
    for work in works {
        let bins = passes.entry(pass(work)).or_default();
        let sum = bins.entry(&work.bin).or_insert(Some(0.0));
        *sum = sum.zip(work.kilograms).map(|(sum, more)| sum + more);
    }
    for (work, matched) in works.iter().zip(matched) {
        let bins = &passes[&pass(work)];
        if bins.len() < 2 {
            continue;
        }
        let all: Option<f64> = bins.values().copied().sum();
        match bins[&work.bin].zip(all.filter(|all| 0.0 < *all)) {
            Some((own, all)) => matched.share = own / all,
            None if matched.trouble.is_none() => {
                matched.trouble =
                    Some("the tons by which to share out its pass are not known".to_owned());
            }
            None => {}
        }
    }
}
