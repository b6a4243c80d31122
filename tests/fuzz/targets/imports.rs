//! Files of open standards, and the tables that what they say is added to.

use std::sync::OnceLock;

use wearcast::family::Families;
use wearcast::import::taskdata::{self, TaskData};
use wearcast::import::telematics::{self, Feed};
use wearcast::import::usage::{Imported, TwoBins};
use wearcast::import::{Kept, Kind, meters, usage};
use wearcast::read::{self, NamedFile};
use wearcast::record::Records;
use wearcast::report::imports::Lines;

use super::folder::{GOOD, Room};
use super::{files, seeds};

fn file(name: &str, bytes: &[u8]) -> NamedFile {
    NamedFile {
        folder: String::new(),
        name: name.to_owned(),
        bytes: bytes.to_vec(),
    }
}

/// The records that are added to.
fn records() -> &'static Records {
    static RECORDS: OnceLock<Records> = OnceLock::new();
    RECORDS.get_or_init(|| {
        let mut room = Room::new();
        let names = ["machines.csv", "positions.csv", "parts.csv"];
        let tables = GOOD.iter().filter(|(name, _)| names.contains(name));
        let tables: Vec<_> = tables.map(|(n, text)| (*n, text.as_bytes())).collect();
        let reading = read::folder(room.lay(&tables), None, &Families::built_in());
        reading.expect("a folder").records
    })
}

/// The names that the machines of the sets are known by.
const MACHINES: &[u8] =
    b"name_in_file,machine\nSN-A-1001,M1\nSN-B-1002,M2\nCH-1,M1\nCH-2,M2\nS1,M1\n";

fn kept(tables: [Option<&[u8]>; 3]) -> Option<Kept> {
    let table = |kind| match kind {
        Kind::Machine => tables[0],
        Kind::Bin => tables[1],
        Kind::Product => tables[2],
    };
    Kept::new(records(), |kind| table(kind).map(<[u8]>::to_vec)).ok()
}

/// Adds to a table, and again: the second time there is nothing left to add.
fn twice(
    tables: [Option<&[u8]>; 3],
    existing: Option<&[u8]>,
    merge: impl Fn(&mut Kept, Option<&[u8]>) -> Result<Imported, String>,
) {
    let Some(mut names) = kept(tables) else {
        return;
    };
    let Ok(first) = merge(&mut names, existing) else {
        return;
    };
    let new = names.files();
    let new_table = |kind: Kind| {
        new.iter()
            .find(|(n, _)| *n == kind.file())
            .map(|(_, b)| &b[..])
    };
    let tables = [Kind::Machine, Kind::Bin, Kind::Product]
        .into_iter()
        .zip(tables)
        .map(|(kind, old)| new_table(kind).or(old));
    let tables: Vec<Option<&[u8]>> = tables.collect();
    let mut names = kept([tables[0], tables[1], tables[2]]).expect("names that were written");
    let existing = first.table.as_deref().or(existing);
    let second = merge(&mut names, existing).expect("a table that was written");
    assert_eq!(second.table, None, "a second import changes nothing");
    assert_eq!(names.files(), [], "a second import finds no new names");
    let changed = rows(&first) == rows(&second);
    assert!(changed, "the same rows are told");
}

fn rows(imported: &Imported) -> usize {
    match &imported.report.lines {
        Lines::Use(lines) => lines.len(),
        Lines::Meters(lines) => lines.len(),
    }
}

fn add_use(data: &TaskData) {
    for work in &data.works {
        let amounts = [work.kilograms, work.square_metres, work.hours];
        for value in amounts.into_iter().flatten() {
            assert!(value.is_finite() && 0.0 <= value, "{work:?}");
        }
    }
    for bins in [TwoBins::Whole, TwoBins::Shared] {
        twice([Some(MACHINES), None, None], None, |names, table| {
            usage::merge(data, records(), names, bins, table, "usage.csv")
        });
    }
}

fn add_readings(feed: &Feed) {
    for reading in &feed.readings {
        let sound = reading.value.is_none_or(|v| v.is_finite() && 0.0 <= v);
        assert!(sound, "{reading:?}");
    }
    twice([Some(MACHINES), None, None], None, |names, table| {
        meters::merge(feed, names, table, "meters.csv")
    });
}

pub(super) fn task_data(_: &mut Room, bytes: &[u8]) {
    let [main, header, log] = files(bytes);
    set(&[
        file("TASKDATA.XML", main),
        file("TLG00001.XML", header),
        file("TLG00001.BIN", log),
        // A part of the main file in a file of its own.
        file("TSK00001.XML", header),
    ]);
}

fn set(files: &[NamedFile]) {
    match taskdata::read(files) {
        Ok(data) => add_use(&data),
        Err(error) => assert!(error.to_string().contains(' ')),
    }
}

/// A log under a sound main file.
pub(super) fn time_log(_: &mut Room, bytes: &[u8]) {
    let [header, log] = files(bytes);
    set(&[
        file("TASKDATA.XML", seeds::TASKS),
        file("TLG00001.XML", header),
        file("TLG00001.BIN", log),
    ]);
}

pub(super) fn archive(room: &mut Room, bytes: &[u8]) {
    let path = room.lay(&[("set.zip", bytes)]).join("set.zip");
    if let Ok(files) = read::bundle(&path, &["xml", "bin"]) {
        set(&files);
    }
}

pub(super) fn telematics(_: &mut Room, bytes: &[u8]) {
    let [first, second] = files(bytes);
    match telematics::read(&[file("1", first), file("2", second)]) {
        Ok(feed) => add_readings(&feed),
        Err(error) => assert!(error.to_string().contains(' ')),
    }
}

/// Tables of the owner's that a sound set is added to.
pub(super) fn kept_tables(_: &mut Room, bytes: &[u8]) {
    static DATA: OnceLock<(TaskData, Feed)> = OnceLock::new();
    let (data, feed) = DATA.get_or_init(|| {
        let set = [file("TASKDATA.XML", seeds::TASKS)];
        let data = taskdata::read(&set).expect("task data");
        (
            data,
            telematics::read(&[file("1", seeds::XML.as_bytes())]).expect("a feed"),
        )
    });
    let [usage, meters, machines, bins, products] = files(bytes);
    let names = [machines, bins, products].map(|bytes| (!bytes.is_empty()).then_some(bytes));
    for bins in [TwoBins::Whole, TwoBins::Shared] {
        twice(
            names,
            (!usage.is_empty()).then_some(usage),
            |names, table| usage::merge(data, records(), names, bins, table, "usage.csv"),
        );
    }
    twice(
        names,
        (!meters.is_empty()).then_some(meters),
        |names, table| meters::merge(feed, names, table, "meters.csv"),
    );
}
