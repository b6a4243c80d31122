//! Rows merged into tables of any shape: what was there stays, and a second time changes nothing.

use std::collections::{BTreeMap, BTreeSet};

use proptest::prelude::*;
use wearcast::import::ledger::{Entry, Merged, Outcome, Value, key, merge};
use wearcast::units::Measure;

fn entry(day: u32, tons: f64) -> Entry {
    let day = format!("2026-04-{day:02}");
    let parts = ["taskdata", "S1", "TSK-1", &day];
    Entry {
        origin: key(&parts),
        key: key(&[&parts[..], &["DET-3", "urea"]].concat()),
        until: None,
        cells: BTreeMap::from([
            ("date", Value::Text(day.clone())),
            ("machine", Value::Text("red, big".to_owned())),
            ("tons", Value::Amount(Measure::Tons, tons)),
        ]),
    }
}

fn merged(table: &[u8], entries: &[Entry]) -> Merged {
    let headings = [
        ("date", None),
        ("machine", None),
        ("tons", Some(Measure::Tons)),
    ];
    merge(Some(table), &headings, entries, &BTreeSet::new()).expect("a table that can be read")
}

fn cell() -> impl Strategy<Value = String> {
    let cells = [
        "",
        "1.50",
        "red",
        " x ",
        "\"a, b\"",
        "\"say \"\"hi\"\"\"",
        "\"two\nlines\"",
        "é",
        "2026-04-17",
    ];
    prop::sample::select(cells.map(str::to_owned).to_vec())
}

fn header() -> impl Strategy<Value = String> {
    let headers = [
        "date,machine,tons",
        "Machine,kg,Ticket No,DATE",
        "date,machine,tonnes,source",
        "\u{feff}date,machine",
    ];
    prop::sample::select(headers.map(str::to_owned).to_vec())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(256))]

    #[test]
    fn rows_that_were_there_stay_and_a_second_merge_changes_nothing(
        header in header(),
        rows in prop::collection::vec(prop::collection::vec(cell(), 4), 0..6),
        days in prop::collection::btree_map(1_u32..28, 0.0..900.0_f64, 1..5),
        crlf in any::<bool>(), closed in any::<bool>(), blank in any::<bool>(),
    ) {
        let end = if crlf { "\r\n" } else { "\n" };
        let width = header.split(',').count();
        let lines: Vec<String> = rows.iter().map(|row| row[..width].join(",")).collect();
        let between = if blank { end.repeat(2) } else { end.to_owned() };
        let mut table = [vec![header], lines.clone()].concat().join(&between);
        if closed {
            table += end;
        }
        let entries: Vec<Entry> = days.into_iter().map(|(day, tons)| entry(day, tons)).collect();
        let first = merged(table.as_bytes(), &entries);
        prop_assert!(first.outcomes.iter().all(|o| *o == Outcome::Added));
        let text = String::from_utf8(first.bytes.clone()).expect("text");
        let mut rest = text.as_str();
        for line in &lines {
            let at = rest.find(line.as_str());
            prop_assert!(at.is_some(), "{line:?} is gone from {text:?}");
            rest = &rest[at.unwrap_or(0) + line.len()..];
        }
        let second = merged(&first.bytes, &entries);
        prop_assert!(!second.changed && second.bytes == first.bytes);
        // Each entry changed: replaced in place, and as many lines as before.
        let changed: Vec<Entry> = entries.iter().cloned().map(|mut e| {
            e.cells.insert("tons", Value::Amount(Measure::Tons, 1_234.5));
            e
        }).collect();
        let third = merged(&first.bytes, &changed);
        prop_assert!(third.outcomes.iter().all(|o| *o == Outcome::Replaced));
        let breaks = |bytes: &[u8]| bytes.split(|b| *b == b'\n').count();
        prop_assert_eq!(breaks(&third.bytes), breaks(&first.bytes));
    }
}

#[test]
fn text_that_is_no_table_is_refused() {
    let headings = [("date", None)];
    for bytes in [&b"date\n\xff\xfe\n"[..], b"date\n\0\n"] {
        assert!(merge(Some(bytes), &headings, &[entry(1, 1.0)], &BTreeSet::new()).is_err());
    }
}
