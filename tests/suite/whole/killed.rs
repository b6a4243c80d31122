//! The program killed without warning while it writes: the old file or the new one is there.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::{ExitStatus, Stdio};
use std::time::{Duration, Instant};

use super::{IMPORT, command, contents, glance, records, run, said};
use crate::cli::fleet;

/// Begins the names of files that a killed program leaves.
const UNFINISHED: &str = ".wearcast-unfinished-";
/// Runs that are killed after a share of the time that a whole run takes.
const SPREAD: u32 = 8;
/// More changes than any of the commands makes in its folder.
const MOST_CHANGES: usize = 200;

/// When a run is killed.
#[derive(Clone, Copy, Debug)]
enum Moment {
    /// Something was seen to happen in its folder for the so-manieth time.
    Change(usize),
    /// So long after its begin.
    After(Duration),
}

/// Runs the program and kills it at a moment, if it is not done before.
fn killed(args: &[&str], folder: &Path, moment: Moment) -> ExitStatus {
    let mut child = command(args, folder)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .expect("a program");
    let begin = Instant::now();
    let mut seen = glance(folder);
    let mut changes = 0;
    loop {
        let now = match moment {
            Moment::Change(at) => {
                let glance = glance(folder);
                changes += usize::from(glance != seen);
                seen = glance;
                at <= changes
            }
            Moment::After(wait) => wait <= begin.elapsed(),
        };
        if now {
            // On this kind of machine: a signal that no program can catch.
            let _ = child.kill();
            return child.wait().expect("an end");
        }
        if let Some(status) = child.try_wait().expect("a state") {
            return status;
        }
    }
}

fn is_unfinished(path: &Path) -> bool {
    let name = path.file_name().expect("a name").to_string_lossy();
    name.starts_with(UNFINISHED)
}

/// Each file is the old one or the new one, and none is there that belongs to neither.
fn assert_whole(
    now: &BTreeMap<PathBuf, Vec<u8>>,
    old: &BTreeMap<PathBuf, Vec<u8>>,
    new: &BTreeMap<PathBuf, Vec<u8>>,
    moment: Moment,
) {
    for path in old.keys() {
        assert!(
            now.contains_key(path),
            "{moment:?}: {} is gone",
            path.display()
        );
    }
    for (path, bytes) in now.iter().filter(|(path, _)| !is_unfinished(path)) {
        let is = |all: &BTreeMap<PathBuf, Vec<u8>>| all.get(path) == Some(bytes);
        assert!(
            is(old) || is(new),
            "{moment:?}: {} is neither",
            path.display()
        );
    }
}

fn put_back(folder: &Path, old: &BTreeMap<PathBuf, Vec<u8>>) {
    for path in contents(folder).keys().filter(|p| !old.contains_key(*p)) {
        std::fs::remove_file(path).expect("a file");
    }
    for (path, bytes) in old {
        std::fs::write(path, bytes).expect("a file");
    }
}

/// Kills a command at every change it makes, and over all of its time; after each kill the same
/// command with `more` makes up for it, whatever was left behind.
fn kill_all_over(args: &[&str], more: &[&str], folder: &Path) {
    let old = contents(folder);
    let begin = Instant::now();
    let output = run(args, folder);
    let whole = begin.elapsed();
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    let new = contents(folder);
    assert!(!new.keys().any(|path| is_unfinished(path)));
    assert_ne!(old, new, "nothing to interrupt");
    let (mut kills, mut left) = (0, 0);
    let mut end = |moment: Moment| {
        put_back(folder, &old);
        let status = killed(args, folder, moment);
        let now = contents(folder);
        assert_whole(&now, &old, &new, moment);
        left += now.keys().filter(|path| is_unfinished(path)).count();
        kills += usize::from(status.code().is_none());
        status.code() == Some(0)
    };
    for share in 0..SPREAD {
        end(Moment::After(whole * share / SPREAD));
    }
    let all = (1..MOST_CHANGES).find(|at| end(Moment::Change(*at)));
    assert!(all.is_some(), "it never came to its end");
    assert!(1 < kills, "{kills} runs were killed of {SPREAD}");
    // A killed run leaves whatever it leaves; the next one does the whole work beside it.
    put_back(folder, &old);
    killed(args, folder, Moment::Change(1));
    let again = run(&[args, more].concat(), folder);
    assert_eq!(again.status.code(), Some(0), "{}", said(&again));
    let mut after = contents(folder);
    after.retain(|path, _| !is_unfinished(path));
    assert!(after == new, "the next run makes up for it");
}

#[test]
fn a_workbook_replaced_is_the_old_one_or_the_new_one() {
    let folder = fleet();
    std::fs::create_dir(folder.path().join("out")).expect("a folder");
    folder.write("out/budget.xlsx", "an old workbook");
    let args = [
        "budget",
        "DIR",
        "--family",
        "spinner-fin",
        "--force",
        "--out",
    ];
    kill_all_over(
        &[&args[..], &["DIR/out/budget.xlsx"]].concat(),
        &[],
        folder.path(),
    );
}

#[test]
fn an_order_list_that_was_not_there_is_there_whole_or_not_at_all() {
    let folder = fleet();
    std::fs::create_dir(folder.path().join("out")).expect("a folder");
    let args = [
        "stock",
        "DIR",
        "--family",
        "spinner-fin",
        "--out",
        "DIR/out/order.xlsx",
    ];
    kill_all_over(&args, &["--force"], folder.path());
}

#[test]
fn a_page_and_its_pictures_are_each_the_old_one_or_the_new_one() {
    let folder = fleet();
    std::fs::create_dir(folder.path().join("pictures")).expect("a folder");
    folder
        .write("page.html", "old page")
        .write("pictures/season.svg", "old picture");
    let args = [
        "report",
        "DIR",
        "--family",
        "spinner-fin",
        "--force",
        "--out",
        "DIR/page.html",
        "--figures",
        "DIR/pictures",
    ];
    kill_all_over(&args, &[], folder.path());
}

#[test]
fn tables_that_are_imported_into_are_old_or_new_and_a_second_import_makes_up_for_it() {
    let dir = records();
    kill_all_over(IMPORT, &[], dir.path());
}

#[test]
fn records_to_begin_with_are_each_the_old_file_or_the_new_one() {
    for more in [&["--example", "fleet"][..], &[]] {
        let dir = tempfile::tempdir().expect("a folder");
        std::fs::write(dir.path().join("settings.toml"), "units = \"us\"\n").expect("a file");
        std::fs::write(dir.path().join("my notes.txt"), "mine").expect("a file");
        kill_all_over(
            &[&["start", "DIR", "--force"], more].concat(),
            &[],
            dir.path(),
        );
    }
}

#[test]
fn manual_pages_are_whole() {
    let dir = tempfile::tempdir().expect("a folder");
    kill_all_over(&["man", "DIR/man1"], &["--force"], dir.path());
}

/// What a killed program leaves is passed over by every reader.
#[test]
fn unfinished_files_change_no_result() {
    let dir = records();
    let check = ["check", "DIR", "--format", "json"];
    let before = run(&check, dir.path());
    for (folder, name) in [
        ("", "usage.csv"),
        ("", "records.xlsx"),
        ("set", "TASKDATA.XML"),
    ] {
        let path = dir
            .path()
            .join(folder)
            .join(format!("{UNFINISHED}{name}-a1B2c3"));
        std::fs::write(path, "date,mach").expect("a file");
    }
    let after = run(&check, dir.path());
    assert_eq!(before.stdout, after.stdout);
    assert_eq!(run(IMPORT, dir.path()).status.code(), Some(0));
}
