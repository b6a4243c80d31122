//! Files written whole or not at all: killed at any moment, refused by the disk, open elsewhere.

mod killed;
mod refused;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use crate::taskdata::import::folder as import_folder;
use crate::taskdata::reference;

/// Every file below a folder, hidden ones too, with what is in it.
fn contents(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut all = BTreeMap::new();
    let mut folders = vec![folder.to_path_buf()];
    while let Some(at) = folders.pop() {
        // A folder may go while it is looked at.
        for entry in std::fs::read_dir(at).into_iter().flatten().flatten() {
            let path = entry.path();
            if path.is_dir() {
                folders.push(path);
            } else if let Ok(bytes) = std::fs::read(&path) {
                all.insert(path, bytes);
            }
        }
    }
    all
}

/// Names and lengths of the files below a folder: enough to see that something happened.
fn glance(folder: &Path) -> BTreeMap<PathBuf, u64> {
    let mut all = BTreeMap::new();
    let mut folders = vec![folder.to_path_buf()];
    while let Some(at) = folders.pop() {
        for entry in std::fs::read_dir(at).into_iter().flatten().flatten() {
            match entry.metadata() {
                Ok(meta) if meta.is_dir() => folders.push(entry.path()),
                Ok(meta) => drop(all.insert(entry.path(), meta.len())),
                Err(_) => {}
            }
        }
    }
    all
}

fn binary() -> PathBuf {
    assert_cmd::cargo::cargo_bin!("wearcast").to_path_buf()
}

/// The program with these arguments, `DIR` in them standing for a folder.
fn command(args: &[&str], folder: &Path) -> Command {
    let mut command = Command::new(binary());
    command.args(in_folder(args, folder)).stdin(Stdio::null());
    command
}

fn in_folder(args: &[&str], folder: &Path) -> Vec<String> {
    let folder = folder.display().to_string();
    args.iter().map(|a| a.replace("DIR", &folder)).collect()
}

fn run(args: &[&str], folder: &Path) -> Output {
    command(args, folder).output().expect("a run")
}

/// What a run said to people.
fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// A folder of records that the sample task data is imported into, with use on record already.
fn records() -> tempfile::TempDir {
    let names = "name_in_file,machine,note\nSN-A-1001,red,\nSN-B-1002,big,\n";
    let usage = "date,machine,product,tons\n2026-03-01,red,Lime,12\n";
    let dir = import_folder(&[("machine_names.csv", names), ("usage.csv", usage)]);
    let set = dir.path().join("set");
    std::fs::create_dir(&set).expect("a folder");
    for entry in std::fs::read_dir(reference("TASKDATA")).expect("the sample") {
        let from = entry.expect("an entry").path();
        let name = from.file_name().expect("a name");
        std::fs::copy(&from, set.join(name)).expect("a copy");
    }
    dir
}

#[expect(clippy::print_stderr, reason = "a test that could not run says so")]
fn skipped(why: &str) {
    eprintln!("skipped: {why}");
}

const IMPORT: &[&str] = &["import", "taskdata", "DIR/set", "--into", "DIR"];
