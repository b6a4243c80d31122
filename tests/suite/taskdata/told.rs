//! What is odd in a set of task data is told, and what is used of it is right.

use wearcast::import::taskdata::{self, TaskData};

use super::{UREA_IN_FRONT, file, is, only, set_of, task, works};

/// Header of a time log with the mass of the front bin and the area of the function.
const LOG: &str = r#"<TIM A="" D="4"><PTN A="" B="" D=""/><DLV A="0051" B="" C="DET-3"/><DLV A="0074" B="" C="DET-2"/></TIM>"#;

/// Bytes of records on the 14th and 15th of April 2026 (days 16,905 and 16,906 since 1980): day,
/// hour, kilograms, square metres.
fn log(records: &[(u16, u32, i32, i32)]) -> Vec<u8> {
    let record = |(day, hour, kilograms, area): &(u16, u32, i32, i32)| {
        let mut bytes = (hour * 3_600_000).to_le_bytes().to_vec();
        bytes.extend((16_891 + day).to_le_bytes());
        bytes.extend([0; 9]);
        bytes.push(2);
        for (column, value) in [(0_u8, kilograms), (1, area)] {
            bytes.push(column);
            bytes.extend(value.to_le_bytes());
        }
        bytes
    };
    records.iter().flat_map(record).collect()
}

/// A task from 8 to 11 on the 14th with a time log, and what was written at its end.
fn with_log(values: &str, bytes: Vec<u8>) -> TaskData {
    let tasks = format!(
        r#"<TSK A="TSK-1" G="4"><TIM A="2026-04-14T08:00:00" B="2026-04-14T11:00:00" D="4">{values}</TIM>
        {UREA_IN_FRONT}<TLG A="TLG00001"/></TSK>"#
    );
    taskdata::read(&[
        file("TASKDATA.XML", set_of(&tasks)),
        file("TLG00001.xml", LOG),
        file("TLG00001.bin", bytes),
    ])
    .expect("task data")
}

fn tells(data: &TaskData, words: &[&str]) {
    let told = |note: &String| words.iter().all(|word| note.contains(word));
    assert!(data.notes.iter().any(told), "no {words:?} in {data:#?}");
}

#[test]
fn the_days_of_the_log_are_those_of_the_task() {
    let data = with_log("", log(&[(14, 8, 0, 0), (14, 9, 600, 6_000)]));
    assert_eq!(only(&data).date.to_string(), "2026-04-14");
    assert!(data.notes.is_empty(), "{:?}", data.notes);
}

/// By hand: the whole records come to 600 kg.
#[test]
fn a_log_that_is_cut_off_is_told_and_its_whole_records_count() {
    let mut bytes = log(&[(14, 8, 0, 0), (14, 9, 600, 6_000), (14, 10, 900, 9_000)]);
    bytes.truncate(bytes.len() - 3);
    let data = with_log("", bytes);
    is(only(&data).kilograms, 600.0);
    tells(
        &data,
        &["TSK-1", "`TLG00001.bin`", "23 bytes at its end", "cut off"],
    );
}

#[test]
fn stray_bytes_in_a_log_and_a_log_without_records_are_told() {
    let mut bytes = log(&[(14, 8, 0, 0)]);
    bytes.push(0xff);
    bytes.extend(log(&[(14, 9, 600, 6_000)]));
    let data = with_log("", bytes);
    is(only(&data).kilograms, 600.0);
    tells(&data, &["`TLG00001.bin`", "1 bytes between its records"]);
    tells(&with_log("", Vec::new()), &["it holds no record"]);
}

/// By hand: 600 before the fall, 50 and then 1,450 more after it are 2,100 kg; of the area ten times
/// as much.
#[test]
fn a_counter_that_falls_within_a_log_adds_up_and_is_told() {
    let records = [
        (14, 8, 0, 0),
        (14, 9, 600, 6_000),
        (14, 10, 50, 500),
        (14, 11, 1_500, 15_000),
    ];
    let data = with_log("", log(&records));
    is(only(&data).kilograms, 2_100.0);
    is(only(&data).square_metres, 21_000.0);
    tells(&data, &["DET-3, total 0051 in its time log", "fell once"]);
    tells(&data, &["DET-2, total 0074 in its time log", "fell once"]);
    // What the task wrote at its end is what the counter showed since it fell.
    let end = r#"<DLV A="0051" B="1500" C="DET-3"/><DLV A="0074" B="15000" C="DET-2"/>"#;
    let data = with_log(end, log(&records));
    is(only(&data).kilograms, 2_100.0);
    is(only(&data).square_metres, 21_000.0);
    tells(
        &data,
        &["total 0051", "come to 1500", "to 2100", "the log is used"],
    );
}

#[test]
fn a_product_or_a_part_of_a_machine_that_is_described_twice_is_told() {
    let work = task(r#"<DLV A="0051" B="900" C="DET-3"/>"#, UREA_IN_FRONT);
    let other = works(&format!(r#"<PDT A="PDT-1" B="potash"/>{work}"#));
    let why = only(&other).trouble.clone().unwrap_or_default();
    assert!(why.contains("`urea`, `potash`"), "{why}");
    tells(&other, &["more than once", "PDT-1 (urea, potash)"]);
    let same = works(&format!(r#"<PDT A="PDT-1" B="urea"/>{work}"#));
    assert_eq!(only(&same).trouble, None);
    tells(&same, &["more than once", "PDT-1 (urea)"]);

    let machine = r#"<DVC A="DVC-1" D="A00A8000000003E9" E="S1"><DET A="DET-3" B="3" C="3" D="front" E="2" F="2"/></DVC>"#;
    let same = works(&format!("{machine}{work}"));
    is(only(&same).kilograms, 900.0);
    assert_eq!(only(&same).trouble, None);
    tells(&same, &["alike each time", "DET-3, DVC-1"]);
    let other = works(&format!(
        "{}{work}",
        machine.replace("DVC-1", "DVC-2").replace("S1", "S2")
    ));
    let why = only(&other).trouble.clone().unwrap_or_default();
    assert!(why.contains("`DET-3`"), "{why}");
    tells(&other, &["not alike", "DET-3"]);
}

#[test]
fn a_volume_without_a_density_is_told() {
    let volume = r#"<DLV A="0050" B="10000" C="DET-3"/>"#;
    let data = works(&task(volume, UREA_IN_FRONT));
    assert_eq!(only(&data).kilograms, None);
    tells(&data, &["TSK-1", "DET-3", "volume", "no tons"]);
}

#[test]
fn a_stop_before_its_start_is_told_and_its_hours_are_unknown() {
    let stretch = |stop: &str, seconds: &str| {
        works(&format!(
            r#"<TSK A="TSK-1" G="4"><TIM A="2026-04-14T10:00:00" B="{stop}" C="{seconds}" D="4"/>{UREA_IN_FRONT}</TSK>"#
        ))
    };
    let data = stretch("2026-04-14T09:00:00", "");
    assert_eq!(only(&data).hours, None);
    tells(
        &data,
        &[
            "TSK-1",
            "`TIM` 1",
            "`2026-04-14T09:00:00` lies before its start (A) `2026-04-14T10:00:00`",
        ],
    );
    // The duration that stands beside it still counts.
    is(only(&stretch("2026-04-14T09:00:00", "7200")).hours, 2.0);
    let data = stretch("soon", "long");
    assert_eq!(only(&data).hours, None);
    tells(
        &data,
        &["`soon` cannot be read", "`long` is no whole number"],
    );
}

/// The work of a task as day, kilograms, square metres and hours.
fn days(data: &TaskData) -> Vec<(String, [Option<f64>; 3])> {
    let rounded = |value: Option<f64>| value.map(|v| (v * 1e6).round() / 1e6);
    data.works
        .iter()
        .map(|w| {
            let amounts = [w.kilograms, w.square_metres, w.hours].map(rounded);
            (w.date.to_string(), amounts)
        })
        .collect()
}

fn night(values: &str, more: &str) -> String {
    format!(
        r#"<TSK A="TSK-1" G="4"><TIM A="2026-04-14T22:00:00+02:00" B="2026-04-15T01:00:00+02:00" D="4">{values}</TIM>{UREA_IN_FRONT}{more}</TSK>"#
    )
}

const TOTALS: &str = r#"<DLV A="0051" B="2100" C="DET-3"/><DLV A="0074" B="21000" C="DET-2"/>"#;

/// By hand: two of the three hours lie before midnight.
#[test]
fn work_over_midnight_falls_on_both_days_by_the_clock_and_is_told() {
    let data = works(&night(TOTALS, ""));
    let expected = [
        ("2026-04-14", [1_400.0, 14_000.0, 2.0]),
        ("2026-04-15", [700.0, 7_000.0, 1.0]),
    ];
    let expected = expected.map(|(day, amounts)| (day.to_owned(), amounts.map(Some)));
    assert_eq!(days(&data), expected);
    tells(&data, &["TSK-1", "passes midnight", "by the clock"]);
    // Without totals the hours are all that is known.
    let data = works(&night("", ""));
    let hours: Vec<_> = data.works.iter().map(|w| w.hours).collect();
    assert_eq!(hours, [Some(2.0), Some(1.0)]);
    assert!(data.works.iter().all(|w| w.kilograms.is_none()));
}

/// By hand: of 2,100 kg the log had counted 900 at midnight, and 9,000 of 21,000 square metres.
#[test]
fn work_over_midnight_falls_on_both_days_as_its_time_log_tells() {
    let records = [
        (14, 22, 0, 0),
        (14, 23, 900, 9_000),
        (15, 0, 1_500, 15_000),
        (15, 1, 2_100, 21_000),
    ];
    let data = taskdata::read(&[
        file(
            "TASKDATA.XML",
            set_of(&night(TOTALS, r#"<TLG A="TLG00001"/>"#)),
        ),
        file("TLG00001.xml", LOG),
        file("TLG00001.bin", log(&records)),
    ])
    .expect("task data");
    let expected = [
        ("2026-04-14", [900.0, 9_000.0, 2.0]),
        ("2026-04-15", [1_200.0, 12_000.0, 1.0]),
    ];
    let expected = expected.map(|(day, amounts)| (day.to_owned(), amounts.map(Some)));
    assert_eq!(days(&data), expected);
}

/// By hand: from 02:30 of summer time to 02:30 of winter time is an hour, and from 10:00 two hours
/// east of Greenwich to 09:30 there one and a half.
#[test]
fn hours_between_times_with_offsets_are_those_that_went_by() {
    let hours = |start: &str, stop: &str| {
        let data = works(&format!(
            r#"<TSK A="TSK-1" G="4"><TIM A="{start}" B="{stop}" D="4"/>{UREA_IN_FRONT}</TSK>"#
        ));
        only(&data).hours
    };
    is(
        hours("2026-10-25T02:30:00+02:00", "2026-10-25T02:30:00+01:00"),
        1.0,
    );
    is(
        hours("2026-04-14T10:00:00+02:00", "2026-04-14T09:30:00Z"),
        1.5,
    );
}
