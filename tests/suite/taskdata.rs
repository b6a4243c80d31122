//! Task data of ISO 11783-10 to work: against a sample set with its answer, and case by case.

mod archives;
pub(crate) mod import;
mod ledger;
mod library;
mod states;
mod told;

use std::path::{Path, PathBuf};

use wearcast::import::taskdata::{self, TaskData, TaskDataError, Work};
use wearcast::read::{NamedFile, bundle};
use wearcast::units::{HECTARES_PER_ACRE, KILOGRAMS_PER_TON};

pub(crate) fn reference(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/reference/isoxml")
        .join(name)
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
        shown(
            work.square_metres
                .map(|m2| m2 / 10_000.0 / HECTARES_PER_ACRE),
            3,
        ),
    ]
    .join(",")
}

/// The expected lines come from `read_usage.py`, a reader of its own written from the rules.
#[test]
fn the_sample_comes_out_exactly_as_its_answer() {
    let answer = std::fs::read_to_string(reference("expected_usage.csv")).expect("the answer");
    let expected: Vec<&str> = answer.lines().skip(1).collect();
    let found: Vec<String> = work_of(&reference("TASKDATA"))
        .works
        .iter()
        .map(line)
        .collect();
    assert_eq!(found, expected);
}

/// A task data set with one machine of two bins, a function above them, and these tasks.
fn set_of(tasks: &str) -> String {
    format!(
        r#"<?xml version="1.0" encoding="UTF-8"?>
<ISO11783_TaskData VersionMajor="3" VersionMinor="0" DataTransferOrigin="2">
<DVC A="DVC-1" B="rig" D="A00A8000000003E9" E="S1">
<DET A="DET-1" B="1" C="1" E="0" F="0"/>
<DET A="DET-2" B="2" C="2" E="1" F="1"/>
<DET A="DET-3" B="3" C="3" D="front" E="2" F="2"/>
<DET A="DET-4" B="4" C="3" D="rear" E="3" F="2"/>
<DET A="DET-5" B="5" C="4" E="4" F="2"/>
</DVC>
<PDT A="PDT-1" B="urea"/><PDT A="PDT-2" B="lime" H="1400000"/>
{tasks}
</ISO11783_TaskData>"#
    )
}

fn file(name: &str, bytes: impl Into<Vec<u8>>) -> NamedFile {
    NamedFile {
        folder: "TASKDATA".to_owned(),
        name: name.to_owned(),
        bytes: bytes.into(),
    }
}

fn works(tasks: &str) -> TaskData {
    taskdata::read(&[file("TASKDATA.XML", set_of(tasks))]).expect("task data")
}

/// A completed task at work on the 14th, and what was written at its end.
fn task(values: &str, allocations: &str) -> String {
    format!(
        r#"<TSK A="TSK-1" G="4"><TIM A="2026-04-14T08:00:00" B="2026-04-14T09:00:00" D="4">{values}</TIM>{allocations}</TSK>"#
    )
}

fn only(data: &TaskData) -> &Work {
    assert_eq!(data.works.len(), 1, "{data:?}");
    &data.works[0]
}

fn is(value: Option<f64>, expected: f64) {
    let value = value.expect("a value");
    assert!(
        (value - expected).abs() < 1e-9 * expected.abs(),
        "{value} is not {expected}"
    );
}

const UREA_IN_FRONT: &str = r#"<PAN A="PDT-1" E="DET-3"/>"#;

/// By hand: 2,000,000 g of one mass and 2,001 kg of the same are 2,001 kg.
#[test]
fn kilograms_and_grams_of_one_bin_are_one_mass() {
    let both = r#"<DLV A="0160" B="2000000" C="DET-3"/><DLV A="0051" B="2001" C="DET-3"/>"#;
    is(only(&works(&task(both, UREA_IN_FRONT))).kilograms, 2_001.0);
    let grams = r#"<DLV A="0160" B="2000000" C="DET-3"/>"#;
    is(only(&works(&task(grams, UREA_IN_FRONT))).kilograms, 2_000.0);
}

/// By hand: 10,000 l at 1.4 kg a litre are 14,000 kg; urea here has no density.
#[test]
fn a_volume_is_a_mass_only_where_the_product_has_a_density() {
    let volume = r#"<DLV A="0050" B="10000" C="DET-3"/>"#;
    is(
        only(&works(&task(volume, r#"<PAN A="PDT-2" E="DET-3"/>"#))).kilograms,
        14_000.0,
    );
    assert_eq!(only(&works(&task(volume, UREA_IN_FRONT))).kilograms, None);
}

#[test]
fn area_comes_from_one_level_and_the_function_goes_before_the_device() {
    let levels = r#"<DLV A="0074" B="9000" C="DET-1"/><DLV A="0074" B="8000" C="DET-2"/><DLV A="0074" B="4000" C="DET-5"/>"#;
    is(
        only(&works(&task(levels, UREA_IN_FRONT))).square_metres,
        8_000.0,
    );
    let silent = r#"<DLV A="0074" B="9000" C="DET-1"/><DLV A="0074" B="0" C="DET-2"/>"#;
    is(
        only(&works(&task(silent, UREA_IN_FRONT))).square_metres,
        9_000.0,
    );
}

#[test]
fn hours_of_the_clock_stand_in_where_no_time_was_counted_and_unknown_stays_unknown() {
    let data = works(&task("", UREA_IN_FRONT));
    is(only(&data).hours, 1.0);
    assert_eq!(only(&data).kilograms, None);
    assert_eq!(only(&data).square_metres, None);
}

#[test]
fn a_counter_that_fell_is_added_up_and_told() {
    let data = works(
        r#"<TSK A="TSK-1" G="4">
        <TIM A="2026-04-14T08:00:00" C="3600" D="4"><DLV A="0051" B="900" C="DET-3"/></TIM>
        <TIM A="2026-04-14T10:00:00" C="3600" D="4"><DLV A="0051" B="300" C="DET-3"/></TIM>
        <PAN A="PDT-1" E="DET-3"/></TSK>"#,
    );
    is(only(&data).kilograms, 1_200.0);
    assert!(
        data.notes.iter().any(|n| n.contains("fell on the way")),
        "{:?}",
        data.notes
    );
}

#[test]
fn totals_that_look_like_increments_are_not_guessed_at() {
    let tim = |hour, kg| {
        format!(
            r#"<TIM A="2026-04-14T{hour}:00:00" C="60" D="4"><DLV A="0051" B="{kg}" C="DET-3"/></TIM>"#
        )
    };
    let times = tim("08", 500) + &tim("09", 520) + &tim("10", 480);
    let data = works(&format!(
        r#"<TSK A="TSK-1" G="4">{times}{UREA_IN_FRONT}</TSK>"#
    ));
    assert_eq!(only(&data).kilograms, None);
    assert!(
        data.notes.iter().any(|n| n.contains("cannot be told")),
        "{:?}",
        data.notes
    );
}

#[test]
fn a_product_changed_on_the_way_without_a_time_log_is_named_mixed() {
    let two = r#"<PAN A="PDT-1" E="DET-3"/><PAN A="PDT-2" E="DET-3"/>"#;
    let data = works(&task(r#"<DLV A="0051" B="900" C="DET-3"/>"#, two));
    assert_eq!(only(&data).product.as_deref(), Some("mixed: urea + lime"));
    is(only(&data).kilograms, 900.0);
}

#[test]
fn a_filling_says_nothing_of_what_was_spread() {
    let filled = r#"<PAN A="PDT-2" B="0051" C="5000" D="1" E="DET-3"/><PAN A="PDT-1" B="0051" C="300" D="2" E="DET-4"/>"#;
    let data = works(&task(r#"<DLV A="0051" B="900" C="DET-3"/>"#, filled));
    assert_eq!(only(&data).product.as_deref(), Some("lime"));
    is(only(&data).kilograms, 900.0);
}

#[test]
fn work_without_a_product_or_a_machine_is_told_and_kept_apart() {
    let data = works(&task(r#"<DLV A="0051" B="900" C="DET-3"/>"#, ""));
    let trouble = |data: &TaskData| only(data).trouble.clone().unwrap_or_default();
    assert!(trouble(&data).starts_with("the task does not name the product"));
    let data = works(&task("", r#"<PAN A="PDT-1" E="DET-77"/>"#));
    assert!(trouble(&data).starts_with("the task does not say which machine did it"));
}

#[test]
fn templates_and_plans_are_no_work_and_a_cancelled_task_is_set_aside() {
    for status in [1, 5] {
        let planned = task("", UREA_IN_FRONT).replace(r#"G="4""#, &format!(r#"G="{status}""#));
        assert!(works(&planned).works.is_empty());
    }
    let cancelled = works(&task("", UREA_IN_FRONT).replace(r#"G="4""#, r#"G="6""#));
    assert!(only(&cancelled).trouble.is_some());
}

#[test]
fn parts_of_the_main_file_that_stand_in_files_of_their_own_are_read_with_it() {
    let tasks = format!(
        "<XFC>{}</XFC>",
        task(r#"<DLV A="0051" B="900" C="DET-3"/>"#, UREA_IN_FRONT)
    );
    let main = set_of(r#"<XFR A="TSK00000" B="1"/>"#);
    let data = taskdata::read(&[
        file("taskdata.xml", main.clone()),
        file("tsk00000.Xml", tasks.clone()),
    ]);
    is(only(&data.expect("task data")).kilograms, 900.0);
    // A part named twice, or the main file as a part of itself, is read once.
    let circle = r#"<XFR A="TSK00000"/><XFR A="tsk00000"/><XFR A="TASKDATA"/>"#;
    let circle = taskdata::read(&[
        file("TASKDATA.XML", set_of(circle)),
        file("TSK00000.XML", tasks),
    ]);
    assert_eq!(circle.expect("task data").works.len(), 1);
    let alone = taskdata::read(&[file("TASKDATA.XML", main)]).expect("task data");
    assert!(
        alone
            .notes
            .iter()
            .any(|n| n.contains("TSK00000.XML") && n.contains("missing"))
    );
}

#[test]
fn a_total_past_the_end_of_its_counter_is_unknown() {
    let data = works(&task(r#"<DLV A="0051" B="-5" C="DET-3"/>"#, UREA_IN_FRONT));
    assert_eq!(only(&data).kilograms, None);
    let data = works(&task(
        r#"<DLV A="0051" B="99999999999" C="DET-3"/>"#,
        UREA_IN_FRONT,
    ));
    assert_eq!(only(&data).kilograms, None);
    assert!(!data.notes.is_empty());
}

#[test]
fn a_lifetime_counter_is_no_total_of_the_task() {
    let device = r#"<DPD A="9" B="0051" C="1" D="16"/>"#;
    let set = set_of(&task(
        r#"<DLV A="0051" B="1408630" C="DET-3"/>"#,
        UREA_IN_FRONT,
    ))
    .replace("</DVC>", &format!("{device}</DVC>"))
    .replace(r#"E="2" F="2"/>"#, r#"E="2" F="2"><DOR A="9"/></DET>"#);
    let data = taskdata::read(&[file("TASKDATA.XML", set)]).expect("task data");
    assert_eq!(only(&data).kilograms, None);
}

#[test]
fn task_data_in_other_encodings_says_the_same() {
    let text = set_of(&task(r#"<DLV A="0051" B="900" C="DET-3"/>"#, UREA_IN_FRONT));
    let text = text.replace("\"urea\"", "\"Harnstoff s\u{fc}\u{df}\"");
    let read = |bytes: Vec<u8>| taskdata::read(&[file("TASKDATA.XML", bytes)]);
    let plain = read(text.clone().into_bytes()).expect("task data");
    assert_eq!(
        only(&plain).product.as_deref(),
        Some("Harnstoff s\u{fc}\u{df}")
    );
    let wide = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
    assert_eq!(read(wide).as_ref(), Ok(&plain));
    let western = text.replace("UTF-8", "ISO-8859-1");
    let western = western.chars().map(|c| c as u8).collect();
    assert_eq!(read(western), Ok(plain));
}

#[test]
fn other_files_are_no_task_data() {
    let read = |bytes: &[u8]| taskdata::read(&[file("TASKDATA.XML", bytes)]);
    assert!(matches!(
        read(b"<a/>"),
        Err(TaskDataError::OtherRoot { .. })
    ));
    for bytes in [&b""[..], b"<ISO11783_TaskData>", b"<ISO11783_TaskData \0/>"] {
        assert!(
            matches!(read(bytes), Err(TaskDataError::Xml { .. })),
            "{bytes:?}"
        );
    }
    for bytes in [
        &b"\xff\xfe<"[..],
        b"<ISO11783_TaskData>\xfc</ISO11783_TaskData>",
    ] {
        assert!(
            matches!(read(bytes), Err(TaskDataError::Encoding { .. })),
            "{bytes:?}"
        );
    }
    assert_eq!(taskdata::read(&[]), Err(TaskDataError::NoMainFile));
}

/// The entity that stands for ten others that stand for ten others.
#[test]
fn entities_that_expand_are_refused() {
    let bomb = r#"<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "lol"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]>
        <ISO11783_TaskData>&b;</ISO11783_TaskData>"#;
    let read = taskdata::read(&[file("TASKDATA.XML", bomb)]);
    assert!(matches!(read, Err(TaskDataError::Xml { .. })), "{read:?}");
}
