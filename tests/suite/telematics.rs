//! Telematics feeds to meter readings, and `wearcast import telematics` into a records folder.

use std::fs;
use std::path::Path;
use std::process::Output;

use assert_cmd::cargo::cargo_bin_cmd;
use serde_json::Value;
use wearcast::import::telematics::{self, Feed, FeedError};
use wearcast::read::NamedFile;

use crate::fuzz::targets::seeds::{JSON, XML};
use crate::taskdata::import::folder;

fn page(name: &str, text: &str) -> NamedFile {
    NamedFile {
        folder: String::new(),
        name: name.to_owned(),
        bytes: text.as_bytes().to_vec(),
    }
}

fn feed(pages: &[&str]) -> Feed {
    let files: Vec<NamedFile> = pages
        .iter()
        .enumerate()
        .map(|(i, t)| page(&format!("page{i}"), t))
        .collect();
    telematics::read(&files).expect("a feed")
}

/// Values as written in the pages; 16,093.44 km are 10,000 miles of 1.609344 km.
#[test]
fn pages_in_xml_and_json_give_hours_and_miles() {
    let feed = feed(&[XML, JSON]);
    let found: Vec<_> = feed
        .readings
        .iter()
        .map(|r| {
            (
                r.numbers[0].as_str(),
                r.moment.expect("a moment").to_string(),
                r.meter.word(),
                r.value.expect("a value"),
            )
        })
        .collect();
    let expected = [
        (
            "PIN00000000000001",
            "2026-04-17 11:30:00",
            "engine_hours",
            4810.25,
        ),
        (
            "PIN00000000000001",
            "2026-04-17 11:31:00",
            "miles",
            10_000.0,
        ),
        ("CH-2", "2026-04-17 04:30:00", "engine_hours", 812.0),
        ("CH-2", "2026-04-17 04:30:00", "miles", 5_120.5),
    ];
    assert_eq!(found.len(), expected.len());
    for (found, expected) in found.iter().zip(expected) {
        assert_eq!(
            (found.0, found.1.as_str(), found.2),
            (expected.0, expected.1, expected.2)
        );
        assert!((found.3 - expected.3).abs() < 1e-9, "{found:?}");
    }
    assert!(
        feed.notes[0].starts_with("1 of 3 machines"),
        "{:?}",
        feed.notes
    );
}

#[test]
fn a_page_that_is_missing_is_told() {
    assert!(
        feed(&[XML])
            .notes
            .iter()
            .any(|n| n.contains("Fleet/2") && n.contains("not among"))
    );
    assert!(
        !feed(&[XML, JSON])
            .notes
            .iter()
            .any(|n| n.contains("not among"))
    );
}

#[test]
fn a_reading_that_is_not_whole_says_why() {
    let with = |from: &str, to: &str| {
        let feed = feed(&[&JSON.replace(from, to)]);
        feed.readings
            .iter()
            .find_map(|r| r.trouble.clone())
            .expect("a reason")
    };
    assert!(with("\"mile\"", "\"furlong\"").contains("furlong"));
    assert!(with("812", "-1").contains("0 or more"));
    assert!(with("812", "\"NaN\"").contains("0 or more"));
    assert!(with("2026-04-17T04:30:00Z", "0001-01-01T00:00:00Z").contains("when it was read"));
    assert!(
        with(
            "\"EquipmentID\":\"12\",\"SerialNumber\":\"CH-2\"",
            "\"x\":1"
        )
        .contains("no number")
    );
}

#[test]
fn other_files_are_no_feed() {
    let read = |text: &str| telematics::read(&[page("p", text)]);
    assert_eq!(telematics::read(&[]), Err(FeedError::NoFile));
    for text in ["{}", "[]", "<Fleet/>", "7"] {
        assert_eq!(read(text), Err(FeedError::NoMachine), "{text}");
    }
    let bomb = "<!DOCTYPE x [<!ENTITY a \"aa\">]><Fleet>&a;</Fleet>";
    let deep = "[".repeat(100_000);
    for text in ["", "<Fleet>", "{\"Equipment\":", "\0", bomb, deep.as_str()] {
        assert!(matches!(read(text), Err(FeedError::Unsound { .. })));
    }
    let nested = |levels| "<a>".repeat(levels) + &"</a>".repeat(levels);
    assert_eq!(read(&nested(60)), Err(FeedError::NoMachine));
    let deep = read(&nested(100_000));
    assert!(matches!(deep, Err(FeedError::Unsound { .. })), "{deep:?}");
}

fn import(pages: &Path, into: &Path) -> Output {
    cargo_bin_cmd!("wearcast")
        .args(["import", "telematics"])
        .arg(pages)
        .arg("--into")
        .arg(into)
        .args(["--format", "json"])
        .output()
        .expect("a run")
}

#[test]
fn pages_in_a_folder_become_meter_readings_once() {
    let pages = tempfile::tempdir().expect("a temporary folder");
    fs::write(pages.path().join("1.xml"), XML).expect("a page");
    fs::write(pages.path().join("2.json"), JSON).expect("a page");
    let dir = folder(&[]);
    let first = import(pages.path(), dir.path());
    assert_eq!(first.status.code(), Some(1), "no machine is matched yet");
    let names = fs::read_to_string(dir.path().join("machine_names.csv")).expect("a table");
    assert!(
        names.contains("PIN00000000000001,,\"Sample F9, CH-1, red spreader\"\n"),
        "{names}"
    );
    // Any number of a machine will do: here the serial number of the first.
    fs::write(
        dir.path().join("machine_names.csv"),
        "name_in_file,machine\nCH-1,red\nCH-2,big\n",
    )
    .expect("a table");
    let second = import(pages.path(), dir.path());
    assert_eq!(
        second.status.code(),
        Some(0),
        "{}",
        String::from_utf8_lossy(&second.stderr)
    );
    let meters = fs::read_to_string(dir.path().join("meters.csv")).expect("a table");
    let cut = |line: &str| {
        line.rsplit_once(',')
            .map(|(rest, _)| rest.to_owned())
            .unwrap_or_default()
    };
    let lines: Vec<String> = meters.lines().map(cut).collect();
    assert_eq!(
        lines,
        [
            "date,machine,meter,reading,unit,note",
            "2026-04-17,red,engine_hours,4810.25,hours,",
            "2026-04-17,red,miles,10000,miles,16093.44 kilometre",
            "2026-04-17,big,engine_hours,812,hours,",
            "2026-04-17,big,miles,5120.5,miles,",
        ]
    );
    let third = import(pages.path(), dir.path());
    let told: Value = serde_json::from_slice(&third.stdout).expect("JSON");
    assert_eq!(told["already_there"], 4);
    assert_eq!(
        fs::read_to_string(dir.path().join("meters.csv")).expect("a table"),
        meters
    );
    let check = cargo_bin_cmd!("wearcast")
        .arg("check")
        .arg(dir.path())
        .output()
        .expect("a run");
    assert_eq!(check.status.code(), Some(0));
}

#[test]
fn numbers_of_one_machine_that_stand_for_two_are_not_guessed_at() {
    let pages = tempfile::tempdir().expect("a temporary folder");
    fs::write(pages.path().join("1.xml"), XML).expect("a page");
    let names = "name_in_file,machine\nCH-1,red\nPIN00000000000001,big\n";
    let dir = folder(&[("machine_names.csv", names)]);
    let output = import(pages.path(), dir.path());
    assert_eq!(output.status.code(), Some(1));
    assert!(String::from_utf8_lossy(&output.stderr).contains("several machines"));
    assert!(!dir.path().join("meters.csv").exists());
}

/// What cannot be read is told by the status, and the sound readings are there all the same.
#[test]
fn a_reading_that_is_set_aside_is_told_by_the_status() {
    let pages = tempfile::tempdir().expect("a temporary folder");
    fs::write(
        pages.path().join("1.json"),
        JSON.replace("\"mile\"", "\"furlong\""),
    )
    .expect("a page");
    let names = "name_in_file,machine\nCH-1,red\nCH-2,big\n";
    let dir = folder(&[("machine_names.csv", names)]);
    let output = import(pages.path(), dir.path());
    assert_eq!(output.status.code(), Some(1));
    let meters = fs::read_to_string(dir.path().join("meters.csv")).expect("a table");
    assert!(meters.contains("big,engine_hours,812"), "{meters}");
    assert!(!meters.contains("miles"), "{meters}");
}
