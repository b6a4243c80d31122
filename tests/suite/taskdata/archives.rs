//! Task data in archives, hostile ones among them, and files damaged at random.

use std::io::{Cursor, Write as _};
use std::path::PathBuf;

use proptest::prelude::*;
use wearcast::import::taskdata;
use wearcast::read::{NamedFile, ReadError, bundle};
use zip::write::SimpleFileOptions;

use super::{line, reference, work_of};

/// An archive with these files.
fn archive(files: &[(&str, Vec<u8>)]) -> (tempfile::TempDir, PathBuf) {
    let mut writer = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in files {
        writer
            .start_file(*name, SimpleFileOptions::default())
            .expect("an entry");
        writer.write_all(bytes).expect("its bytes");
    }
    let bytes = writer.finish().expect("an archive").into_inner();
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("set.zip");
    std::fs::write(&path, bytes).expect("a file");
    (folder, path)
}

fn sample() -> Vec<NamedFile> {
    bundle(&reference("TASKDATA"), &["xml", "bin"]).expect("files")
}

#[test]
fn an_archive_gives_what_its_folder_gives() {
    let files: Vec<(String, Vec<u8>)> = sample()
        .into_iter()
        .map(|f| (format!("export/TASKDATA/{}", f.name), f.bytes))
        .collect();
    let files: Vec<(&str, Vec<u8>)> = files.iter().map(|(n, b)| (n.as_str(), b.clone())).collect();
    let (_folder, path) = archive(&files);
    let lines = |path: &std::path::Path| work_of(path).works.iter().map(line).collect::<Vec<_>>();
    assert_eq!(lines(&path), lines(&reference("TASKDATA")));
    assert_eq!(
        lines(&reference("TASKDATA").join("..")),
        lines(&path),
        "a folder above it"
    );
}

#[test]
fn a_file_outside_the_archive_cannot_be_reached_and_nothing_is_unpacked() {
    let main = sample().remove(0).bytes;
    let (folder, path) = archive(&[
        ("../../evil.xml", b"<x/>".to_vec()),
        ("TASKDATA/TASKDATA.XML", main),
    ]);
    // Without its time log the product change stays one row.
    assert_eq!(work_of(&path).works.len(), 6);
    let left: Vec<_> = std::fs::read_dir(folder.path())
        .expect("a folder")
        .collect();
    assert_eq!(left.len(), 1, "{left:?}");
}

#[test]
fn an_archive_that_unpacks_to_far_more_than_its_size_is_refused() {
    let (_folder, path) = archive(&[("TASKDATA.XML", vec![b' '; 65 << 20])]);
    assert!(std::fs::metadata(&path).expect("a file").len() < 1 << 20);
    assert!(matches!(
        bundle(&path, &["xml"]),
        Err(ReadError::TooLarge { .. })
    ));
    let many: Vec<(String, Vec<u8>)> = (0..5)
        .map(|i| (format!("{i}.bin"), vec![0; 60 << 20]))
        .collect();
    let many: Vec<(&str, Vec<u8>)> = many.iter().map(|(n, b)| (n.as_str(), b.clone())).collect();
    let (_folder, path) = archive(&many);
    assert!(matches!(
        bundle(&path, &["bin"]),
        Err(ReadError::TooLarge { .. })
    ));
}

#[test]
fn an_archive_that_is_cut_off_is_told() {
    let (_folder, path) = archive(&[("TASKDATA.XML", sample().remove(0).bytes)]);
    let whole = std::fs::read(&path).expect("a file");
    std::fs::write(&path, &whole[..whole.len() / 2]).expect("a file");
    assert!(matches!(
        bundle(&path, &["xml"]),
        Err(ReadError::Corrupt { .. })
    ));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(128))]

    /// A log of any bytes under a sound header.
    #[test]
    fn a_time_log_of_any_bytes_never_panics(log in prop::collection::vec(any::<u8>(), 0..2_000)) {
        let mut files = sample();
        let bin = files.iter_mut().find(|f| f.name.ends_with("bin")).expect("a log");
        bin.bytes = log;
        prop_assert!(taskdata::read(&files).is_ok());
    }
}
