//! Archives made to do harm.

use super::workbooks::archive;
use super::{all, assert_told, bounded, dir};
use crate::cli::listing;
use crate::read::Folder;

const SET: &str = r#"<ISO11783_TaskData VersionMajor="3" VersionMinor="0" DataTransferOrigin="2"><DVC A="DVC-1" E="S1"/></ISO11783_TaskData>"#;

/// What `import taskdata` says of an archive.
fn import(bytes: &[u8]) -> (std::process::Output, Folder) {
    let folder = Folder::good();
    folder.write("set.zip", bytes);
    let dir = dir(&folder);
    let output = bounded(&[
        "import",
        "taskdata",
        &format!("{dir}/set.zip"),
        "--into",
        &dir,
    ]);
    (output, folder)
}

#[test]
fn names_that_lead_out_of_an_archive_write_nothing() {
    let hostile = [
        ("../../evil.xml", &b"<x/>"[..]),
        ("/tmp/evil.xml", b"<x/>"),
        ("C:\\evil.xml", b"<x/>"),
        ("..\\..\\evil.xml", b"<x/>"),
        ("TASKDATA/TASKDATA.XML", SET.as_bytes()),
    ];
    let (output, folder) = import(&archive(&hostile));
    assert_told("names", &output, 0, &[]);
    let good = Folder::good();
    good.write("set.zip", "");
    assert_eq!(listing(folder.path()), listing(good.path()));
    for place in ["/tmp/evil.xml", "/evil.xml"] {
        assert!(!std::path::Path::new(place).exists());
    }
    assert!(!folder.path().join("../../evil.xml").exists());
    assert!(!folder.path().join("../evil.xml").exists());
}

#[test]
fn archives_that_unpack_to_far_more_than_their_size_are_told() {
    let blank = vec![b' '; 65 << 20];
    let (output, _) = import(&archive(&[("TASKDATA.XML", &blank)]));
    assert_told("one", &output, 3, &["set.zip", "too large"]);
    let names: Vec<String> = (0..5).map(|i| format!("{i}.bin")).collect();
    let many: Vec<(&str, &[u8])> = names
        .iter()
        .map(|n| (n.as_str(), &blank[..60 << 20]))
        .collect();
    let (output, _) = import(&archive(&many));
    assert_told("many", &output, 3, &["set.zip", "too large"]);
    let names: Vec<String> = (0..10_001).map(|i| format!("{i}.bin")).collect();
    let many: Vec<(&str, &[u8])> = names.iter().map(|n| (n.as_str(), &b""[..])).collect();
    let (output, _) = import(&archive(&many));
    assert_told("files", &output, 3, &["set.zip", "more than 10000 files"]);
}

/// A set inside a set is not unpacked any further.
#[test]
fn an_archive_in_an_archive_stays_packed() {
    let inner = archive(&[("TASKDATA.XML", SET.as_bytes())]);
    let (output, _) = import(&archive(&[("inner.zip", &inner)]));
    assert_told("inner", &output, 3, &["no file TASKDATA.XML"]);
}

#[test]
fn an_archive_cut_off_or_with_any_method_of_packing_is_told() {
    let sound = archive(&[("TASKDATA.XML", SET.as_bytes())]);
    for length in [4, 30, sound.len() / 2, sound.len() - 1] {
        let (output, _) = import(&sound[..length]);
        assert_told("cut", &output, 3, &["set.zip"]);
    }
    for method in [1_u8, 6, 9, 12, 14, 93, 95, 99, 255] {
        let mut other = sound.clone();
        for (mark, offset) in [(b"PK\x03\x04", 8), (b"PK\x01\x02", 10)] {
            let at = other.windows(4).position(|w| w == mark).expect("there");
            other[at + offset] = method;
        }
        let (output, _) = import(&other);
        assert_told("method", &output, 3, &["set.zip"]);
        assert!(!all(&output).is_empty());
    }
}
