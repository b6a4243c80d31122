//! `notebooks-md/outside-checks.md` and `notebooks-md/figures`, held against what they are made from.
//!
//! `WEARCAST_WRITE=1 cargo test --test suite outside` makes them anew; read what changed.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

use serde_json::Value;

use crate::cli::wearcast;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn writes() -> bool {
    std::env::var_os("WEARCAST_WRITE").is_some()
}

/// Every source file of the tests, by its name under `tests/suite`.
fn test_files() -> BTreeMap<String, String> {
    let suite = root().join("tests/suite");
    let (mut files, mut folders) = (BTreeMap::new(), vec![suite.clone()]);
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder).expect("a folder") {
            let path: PathBuf = entry.expect("an entry").path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|e| e == "rs") {
                let name = path.strip_prefix(&suite).expect("inside").display();
                let text = fs::read_to_string(&path).expect("a test");
                files.insert(name.to_string(), text);
            }
        }
    }
    files
}

/// Files in which a check is called by its name.
fn held_in<'a>(id: &str, files: &'a BTreeMap<String, String>) -> Vec<&'a str> {
    let call = format!("\"{id}\"");
    let names = files.iter().filter(|(_, text)| text.contains(&call));
    names.map(|(name, _)| name.as_str()).collect()
}

fn cell(text: &str) -> String {
    text.replace('|', "\\|")
}

/// The table, topic by topic in the order of the file.
fn table() -> String {
    let text = include_str!("../reference/checks.json");
    let checks: Vec<Value> = serde_json::from_str(text).expect("JSON");
    let files = test_files();
    let word = |check: &Value, key: &str| check[key].as_str().expect("text").to_owned();
    let mut out = String::from(
        "| check | of | source | seen, recomputed or from memory | held in `tests/suite` |\n| --- | --- | --- | --- | --- |\n",
    );
    for check in &checks {
        let id = word(check, "id");
        let held = held_in(&id, &files);
        let _ = writeln!(
            out,
            "| {id} | {} | {} | {} | {} |",
            cell(&word(check, "topic")),
            cell(&word(check, "source")),
            cell(&word(check, "provenance")),
            if held.is_empty() {
                "none yet".to_owned()
            } else {
                held.join(", ")
            }
        );
    }
    out
}

const BEGIN: &str = "<!-- table -->\n";
const END: &str = "<!-- end of table -->\n";

#[test]
fn the_table_of_outside_checks_is_current() {
    let path = root().join("notebooks-md/outside-checks.md");
    let text = fs::read_to_string(&path).expect("the page");
    let (before, rest) = text.split_once(BEGIN).expect("the table begins");
    let (kept, after) = rest.split_once(END).expect("the table ends");
    let made = table();
    if writes() {
        fs::write(&path, [before, BEGIN, &made, END, after].concat()).expect("written");
    } else {
        assert_eq!(
            kept, made,
            "make it anew: see the head of tests/suite/outside.rs"
        );
    }
    // Most of what was gathered is held against the program.
    let idle = made.lines().filter(|l| l.ends_with("| none yet |")).count();
    assert!(
        idle * 3 < made.lines().count(),
        "{idle} checks are held nowhere"
    );
}

#[test]
fn the_pictures_of_the_notebooks_are_what_the_program_draws() {
    let folder = tempfile::tempdir().expect("a folder");
    let into = folder.path().display().to_string();
    let (_, _, err) = wearcast(&["report", "sample-data/owner", "--figures", &into]);
    assert!(err.starts_with("wrote"), "{err}");
    let mut pictures = 0;
    for entry in fs::read_dir(root().join("notebooks-md/figures")).expect("figures") {
        let path = entry.expect("an entry").path();
        let name = path.file_name().expect("a name");
        let drawn = fs::read(folder.path().join(name)).expect("a picture of that name");
        if writes() {
            fs::write(&path, drawn).expect("written");
        } else {
            let kept = fs::read(&path).expect("a picture");
            assert!(kept == drawn, "{} is not current", path.display());
        }
        pictures += 1;
    }
    assert!(4 <= pictures);
}

/// Every picture in `figures` is shown somewhere, and none is shown that is not there.
#[test]
fn the_notebooks_show_the_pictures_that_are_there() {
    let mut shown: Vec<String> = Vec::new();
    for entry in fs::read_dir(root().join("notebooks-md")).expect("notebooks") {
        let path = entry.expect("an entry").path();
        if path.extension().is_some_and(|e| e == "md") {
            let text = fs::read_to_string(&path).expect("a notebook");
            let links = text.split("](figures/").skip(1);
            shown.extend(links.filter_map(|l| l.split(')').next()).map(str::to_owned));
        }
    }
    shown.sort();
    shown.dedup();
    let there = fs::read_dir(root().join("notebooks-md/figures")).expect("figures");
    let mut there: Vec<String> = there
        .map(|e| {
            e.expect("an entry")
                .file_name()
                .to_string_lossy()
                .into_owned()
        })
        .collect();
    there.sort();
    assert_eq!(shown, there);
}

fn fit(table: &str, extra: &[&str]) -> Value {
    let lives = format!("notebooks-md/lives/{table}.csv");
    let args = ["fit", "--lives", &lives, "--no-priors", "--format", "json"];
    let (_, out, err) = wearcast(&[&args[..], extra].concat());
    let json: Value = serde_json::from_str(&out).unwrap_or_else(|e| panic!("{e}: {err}"));
    json["families"][0].clone()
}

/// The numbers that methods.md works out by hand.
#[test]
fn the_methods_worked_by_hand_are_what_the_program_finds() {
    let models = ["--models", "notebooks-md/lives/models"];
    let estimate = |value: &Value| {
        let number = value.as_f64().or_else(|| value["estimate"].as_f64());
        number.unwrap_or_else(|| panic!("no estimate in {value}"))
    };
    let near = |found: f64, by_hand: f64, what: &str| {
        assert!(
            (found / by_hand - 1.0).abs() < 1e-3,
            "{what}: {found}, by hand {by_hand}"
        );
    };
    let ln2 = std::f64::consts::LN_2;
    let late = fit("late-entry", &models);
    near(estimate(&late["mean_life"]), 1_000.0 / 2.0, "late entry");
    near(estimate(&late["life50"]), 500.0 * ln2, "late entry");
    let shop = fit("found-in-the-shop", &models);
    near(
        estimate(&shop["life50"]),
        100.0 / 4.0_f64.ln() * ln2,
        "found in the shop",
    );
    let two = fit(
        "two-products",
        &[&models[..], &["--reference", "potash"]].concat(),
    );
    near(
        estimate(&two["life50"]),
        4_000.0 / 2.0 * ln2,
        "two products",
    );
    let lime = &two["wear_factors"][0];
    near(estimate(lime), 2_000.0 / 800.0, "two products");
    let handbook = fit("handbook", &[]);
    near(estimate(&handbook["shape"]), 1.7208, "handbook");
    near(estimate(&handbook["scale"]), 606.528, "handbook");
}
