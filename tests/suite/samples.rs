//! The invented records under `sample-data`: sound, made again by their recipes, and near the truth they were made from.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use assert_cmd::cargo::cargo_bin_cmd;
use serde_json::Value;
use wearcast::family::Families;
use wearcast::read;
use wearcast::record::{Severity, Table};

use crate::read::assert_accounted;

fn samples() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-data")
}

/// The folders, by name.
fn folders() -> Vec<PathBuf> {
    let mut folders: Vec<PathBuf> = fs::read_dir(samples())
        .expect("sample-data")
        .map(|entry| entry.expect("an entry").path())
        .filter(|path| path.join("recipe.py").is_file())
        .collect();
    folders.sort();
    let names: Vec<_> = folders.iter().filter_map(|f| f.file_name()).collect();
    assert_eq!(names, ["desk", "fleet", "owner"]);
    folders
}

#[test]
fn every_sample_folder_is_sound_and_every_row_of_it_is_used() {
    for folder in folders() {
        cargo_bin_cmd!("wearcast")
            .arg("check")
            .arg(&folder)
            .assert()
            .code(0);
        let reading = read::folder(&folder, None, &Families::built_in()).expect("readable files");
        assert_accounted(&reading);
        let problems = |p: &&wearcast::record::Problem| p.severity == Severity::Problem;
        assert_eq!(reading.problems.iter().filter(problems).count(), 0);
        for account in &reading.accounts {
            let Some(source) = account.source.as_ref() else {
                // Meter readings are for those who keep no log of use; the samples keep one.
                assert_eq!(account.table, Table::Meters);
                continue;
            };
            let text = fs::read_to_string(folder.join(source)).expect("a table");
            // No cell of these tables holds a line break: a row a line, and the header.
            assert_eq!(account.used, text.lines().count() as u64 - 1, "{source}");
        }
    }
}

/// What a recipe writes, below its folder, by name; the code and the prose are not its work.
fn written(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut files = BTreeMap::new();
    for below in [folder.to_owned(), folder.join("models")] {
        let Ok(entries) = fs::read_dir(&below) else {
            continue;
        };
        for path in entries.map(|e| e.expect("an entry").path()) {
            let is_written = path.extension().is_some_and(|e| e == "csv" || e == "toml");
            if is_written {
                let name = path.strip_prefix(folder).expect("below it").to_owned();
                files.insert(name, fs::read(&path).expect("a file"));
            }
        }
    }
    files
}

fn copy_code(from: &Path, to: &Path) {
    for path in fs::read_dir(from)
        .expect("a folder")
        .flatten()
        .map(|e| e.path())
    {
        if path.extension().is_some_and(|e| e == "py") {
            let name = path.file_name().expect("a name");
            fs::copy(&path, to.join(name)).expect("a copy");
        }
    }
}

#[expect(clippy::print_stderr, reason = "a test that could not run says so")]
#[test]
fn a_recipe_run_again_writes_the_same_bytes() {
    let version = Command::new("python3").arg("--version").output();
    if !version.is_ok_and(|v| v.status.success()) {
        eprintln!("no python3; the recipes of sample-data are not run again");
        return;
    }
    for folder in folders() {
        let elsewhere = tempfile::tempdir().expect("a temporary folder");
        let again = elsewhere.path().join(folder.file_name().expect("a name"));
        fs::create_dir(&again).expect("a folder");
        copy_code(&samples(), elsewhere.path());
        copy_code(&folder, &again);
        let run = Command::new("python3")
            .arg(again.join("recipe.py"))
            .output()
            .expect("a run");
        assert!(
            run.status.success(),
            "{}",
            String::from_utf8_lossy(&run.stderr)
        );
        let (kept, new) = (written(&folder), written(&again));
        assert_eq!(
            kept.keys().collect::<Vec<_>>(),
            new.keys().collect::<Vec<_>>(),
            "{folder:?}"
        );
        for (name, bytes) in &kept {
            assert!(new[name] == *bytes, "{} of {folder:?}", name.display());
        }
    }
}

/// The table of the folder's README that says what was simulated: family, column, cell.
fn truths(folder: &str) -> BTreeMap<String, BTreeMap<String, f64>> {
    let text = fs::read_to_string(samples().join(folder).join("README.md")).expect("README.md");
    let cells = |line: &str| -> Vec<String> {
        let inner = line.trim().trim_matches('|');
        inner.split('|').map(|c| c.trim().to_owned()).collect()
    };
    let mut lines = text
        .lines()
        .skip_while(|l| !l.starts_with("| family | counted |"));
    let header = cells(lines.next().expect("the table of truths"));
    lines
        .skip(1)
        .take_while(|l| l.starts_with('|'))
        .map(|line| {
            let row = cells(line);
            let numbers = header.iter().zip(&row).filter_map(|(name, cell)| {
                let number = cell.replace(',', "").parse().ok()?;
                Some((name.clone(), number))
            });
            (row[0].clone(), numbers.collect())
        })
        .collect()
}

fn fits(folder: &str, options: &[&str]) -> BTreeMap<String, Value> {
    let output = cargo_bin_cmd!("wearcast")
        .arg("fit")
        .arg(samples().join(folder))
        .args(["--format", "json", "--level", "0.9"])
        .args(options)
        .output()
        .expect("a run");
    let errors = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{errors}");
    let document: Value = serde_json::from_slice(&output.stdout).expect("JSON");
    let families = document["families"].as_array().expect("a list");
    families
        .iter()
        .map(|f| (f["family"].as_str().expect("a name").to_owned(), f.clone()))
        .collect()
}

/// The truth of README.md lies in the 90 % interval, and the interval says something.
fn assert_covered(folder: &str, options: &[&str], wanted: &[(&str, &str, f64)]) {
    let truths = truths(folder);
    let fits = fits(folder, options);
    let asked: BTreeSet<&str> = wanted.iter().map(|(family, ..)| *family).collect();
    assert_eq!(fits.len(), asked.len());
    for (family, column, widest) in wanted {
        let truth = truths[*family][*column];
        let fit = &fits[*family];
        let key = if *column == "half worn by" {
            "life50"
        } else {
            column
        };
        let interval = fit.get(key).unwrap_or_else(|| {
            let factors = fit["wear_factors"].as_array().expect("a list");
            let found = factors.iter().find(|f| f["group"] == *column);
            found.expect("a wear factor")
        });
        let (low, high) = (&interval["low"], &interval["high"]);
        let (low, high) = (
            low.as_f64().expect("bounded"),
            high.as_f64().expect("bounded"),
        );
        assert!(
            low < truth && truth < high,
            "{folder}, {family}, {column}: {truth} not in {low} .. {high}"
        );
        assert!(high / low < *widest, "{family}, {column}: {low} .. {high}");
    }
}

/// With priors and machines that differ, as a user gets them.
#[test]
fn the_fits_of_the_fleet_hold_the_truth_it_was_made_from() {
    let options = ["--family", "frame-bushing", "--family", "spinner-bearing"];
    let wanted = [
        ("frame-bushing", "shape", 1.4),
        ("frame-bushing", "half worn by", 1.6),
        ("frame-bushing", "corrosive blend", 2.5),
        ("spinner-bearing", "shape", 1.5),
        ("spinner-bearing", "half worn by", 1.6),
        ("spinner-bearing", "corrosive blend", 2.5),
    ];
    assert_covered("fleet", &options, &wanted);
}

/// Without priors, as draws with 100 machines that differ take long. Lives alone take all machines
/// for alike, which flattens the shape: no shape is asked for where machines matter much.
#[test]
fn the_fits_of_the_desk_hold_the_truth_it_was_made_from() {
    let options = [
        "--no-priors",
        "--family",
        "conveyor-chain",
        "--family",
        "spinner-fin",
        "--family",
        "frame-bushing",
        "--family",
        "sensor",
    ];
    let wanted = [
        ("conveyor-chain", "half worn by", 1.8),
        ("conveyor-chain", "lime", 2.0),
        ("spinner-fin", "half worn by", 1.5),
        ("spinner-fin", "lime", 1.6),
        ("frame-bushing", "half worn by", 1.4),
        ("frame-bushing", "corrosive blend", 1.8),
        ("frame-bushing", "lime", 2.0),
        ("sensor", "shape", 1.4),
        ("sensor", "half worn by", 1.5),
    ];
    assert_covered("desk", &options, &wanted);
}

/// Whoever asks again with another seed must not get another budget: the error of the simulation, all
/// that is drawn in it together, stays below half a percent of the total.
#[test]
fn another_seed_changes_the_budget_by_less_than_half_a_percent() {
    let totals: Vec<f64> = (1..=12)
        .map(|seed| {
            let mut command = cargo_bin_cmd!("wearcast");
            let command = command.arg("budget").arg(samples().join("owner"));
            let seed = seed.to_string();
            let out = command.args(["--seed", &seed, "--format", "json"]).output();
            let budget: Value = serde_json::from_slice(&out.expect("a run").stdout).expect("JSON");
            budget["total"]["expected"].as_f64().expect("a number")
        })
        .collect();
    let n = totals.len() as f64;
    let mean = totals.iter().sum::<f64>() / n;
    let variance = totals.iter().map(|t| (t - mean).powi(2)).sum::<f64>() / (n - 1.0);
    let error = variance.sqrt() / mean;
    assert!(error < 0.005, "{error}");
}
