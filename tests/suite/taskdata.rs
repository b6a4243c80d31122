//! Task data of ISO 11783-10 to work: against a sample set with its answer, and case by case.

use std::path::{Path, PathBuf};

use wearcast::import::taskdata::{self, TaskData, TaskDataError, Work};
use wearcast::read::{NamedFile, bundle};
use wearcast::units::{HECTARES_PER_ACRE, KILOGRAMS_PER_TON};

pub(crate) fn reference(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference/isoxml").join(name)
}

/// The work of a folder or an archive.
pub(crate) fn work_of(path: &Path) -> TaskData {
    let files = bundle(path, &["xml", "bin"]).expect("files");
    taskdata::read(&files).expect("task data")
}

/// A work as a line of `expected_usage.csv`.
fn line(work: &Work) -> String {
    let shown = |value: Option<f64>, decimals: usize| {
        value.map(|v| format!("{v:.decimals$}")).unwrap_or_default()
    };
    [
        work.task.clone(),
        work.date.to_string(),
        work.machine.clone(),
        work.bin.clone().unwrap_or_default(),
        work.product.clone().unwrap_or_default(),
        shown(work.kilograms, 0),
        shown(work.square_metres, 0),
        shown(work.hours, 4),
        shown(work.kilograms.map(|kg| kg / KILOGRAMS_PER_TON), 4),
        shown(work.square_metres.map(|m2| m2 / 10_000.0 / HECTARES_PER_ACRE), 3),
    ]
    .join(",")
}

/// The expected lines come from `read_usage.py`, a reader of its own written from the rules.
#[test]
fn the_sample_comes_out_exactly_as_its_answer() {
    let answer = std::fs::read_to_string(reference("expected_usage.csv")).expect("the answer");
    let expected: Vec<&str> = answer.lines().skip(1).collect();
    let found: Vec<String> = work_of(&reference("TASKDATA")).works.iter().map(line).collect();
    assert_eq!(found, expected);
}
