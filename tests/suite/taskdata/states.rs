//! A task that comes in several states: the later one stands, whichever comes last.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Output;

use assert_cmd::cargo::cargo_bin_cmd;

use super::import::folder;
use super::{UREA_IN_FRONT, set_of, works};

const MACHINES: &str = "name_in_file,machine,note\nS1,red,\n";

/// A records folder that knows the machine of the sets made here.
fn records() -> tempfile::TempDir {
    folder(&[("machine_names.csv", MACHINES)])
}

/// A folder with these tasks.
fn tasks(text: &str) -> (tempfile::TempDir, PathBuf) {
    let dir = tempfile::tempdir().expect("a folder");
    let path = dir.path().join("TASKDATA.XML");
    fs::write(&path, set_of(text)).expect("a file");
    (dir, path)
}

/// A stretch on the 14th, with these kilograms from the front bin at its end.
fn stretch(from: &str, until: &str, kilograms: u32) -> String {
    format!(
        r#"<TIM A="2026-04-14T{from}:00" B="2026-04-14T{until}:00" D="4"><DLV A="0051" B="{kilograms}" C="DET-3"/></TIM>"#
    )
}

fn task(times: &str) -> String {
    format!(r#"<TSK A="TSK-1" G="4">{times}{UREA_IN_FRONT}</TSK>"#)
}

fn import(tasks_of: &str, into: &Path) -> Output {
    let (_set, path) = tasks(tasks_of);
    cargo_bin_cmd!("wearcast")
        .args(["import", "taskdata"])
        .arg(path)
        .arg("--into")
        .arg(into)
        .args(["--format", "json"])
        .output()
        .expect("a run")
}

fn usage(dir: &Path) -> String {
    fs::read_to_string(dir.join("usage.csv")).expect("a usage log")
}

fn told(output: &Output) -> serde_json::Value {
    serde_json::from_slice(&output.stdout).expect("JSON")
}

#[test]
fn an_older_state_of_a_task_never_takes_the_place_of_a_later_one() {
    let older = task(&stretch("08:00", "09:00", 1_000));
    let later = task(&(stretch("08:00", "09:00", 1_000) + &stretch("10:00", "12:00", 1_800)));
    let dir = records();
    import(&older, dir.path());
    let replaced = told(&import(&later, dir.path()));
    assert_eq!(replaced["replaced"], 1);
    let notes = replaced["notes"].to_string();
    assert!(
        notes.contains("task TSK-1 2026-04-14 DET-3 urea: hours 1 -> 3, tons 1.102311 -> 1.98416"),
        "{notes}"
    );
    let table = usage(dir.path());
    let again = told(&import(&older, dir.path()));
    assert_eq!([&again["replaced"], &again["set_aside"]], [0, 1]);
    let why = again["rows"][0]["why"].to_string();
    assert!(
        why.contains("later state of the same task, until 2026-04-14T12:00:00"),
        "{why}"
    );
    assert_eq!(usage(dir.path()), table);
}

/// The older state knows nothing of the second day, whose row must not be taken for a leftover.
#[test]
fn an_older_state_takes_out_no_day_that_came_later() {
    let first = r#"<TIM A="2026-04-14T08:00:00" B="2026-04-14T09:00:00" D="4"/>"#;
    let second = r#"<TIM A="2026-04-15T08:00:00" B="2026-04-15T09:00:00" D="4"/>"#;
    let dir = records();
    import(&task(&format!("{first}{second}")), dir.path());
    let table = usage(dir.path());
    let again = told(&import(&task(first), dir.path()));
    assert_eq!(again["taken_out"], 0);
    assert_eq!(usage(dir.path()), table);
}

/// A running task has no end yet: what it spread so far tells the states apart.
#[test]
fn of_two_states_that_end_together_the_one_with_more_is_the_later() {
    let running = |kilograms: u32| {
        task(&format!(
            r#"<TIM A="2026-04-14T08:00:00" D="4"><DLV A="0051" B="{kilograms}" C="DET-3"/></TIM>"#
        ))
    };
    let dir = records();
    import(&running(1_400), dir.path());
    let table = usage(dir.path());
    assert_eq!(told(&import(&running(1_000), dir.path()))["set_aside"], 1);
    assert_eq!(usage(dir.path()), table);
    assert_eq!(told(&import(&running(1_500), dir.path()))["replaced"], 1);
}

/// Rows written before the source told until when a task went.
#[test]
fn rows_that_do_not_say_until_when_are_compared_by_what_was_spread() {
    let dir = records();
    import(&task(&stretch("08:00", "12:00", 1_800)), dir.path());
    let old = usage(dir.path()).replace("@2026-04-14T12:00:00", "");
    fs::write(dir.path().join("usage.csv"), &old).expect("a file");
    import(&task(&stretch("08:00", "09:00", 1_000)), dir.path());
    assert_eq!(usage(dir.path()), old);
    let later = told(&import(
        &task(&stretch("08:00", "13:00", 2_000)),
        dir.path(),
    ));
    assert_eq!(later["replaced"], 1);
}

#[test]
fn a_task_that_stands_twice_in_a_file_counts_once_in_its_later_state() {
    let twice = task(&stretch("08:00", "09:00", 1_000)) + &task(&stretch("08:00", "09:00", 1_500));
    let data = works(&twice);
    assert!(
        data.notes.iter().any(|n| n.contains("stands 2 times")),
        "{:?}",
        data.notes
    );
    let used: Vec<_> = data.works.iter().filter(|w| w.trouble.is_none()).collect();
    assert_eq!(used.len(), 1);
    assert_eq!(used[0].kilograms, Some(1_500.0));
    let dir = records();
    let told = told(&import(&twice, dir.path()));
    assert_eq!(
        [&told["read"], &told["used"], &told["set_aside"]],
        [2, 1, 1]
    );
    assert!(
        usage(dir.path()).contains(",1.653467,"),
        "{}",
        usage(dir.path())
    );
}

/// Neither work nor plans: a stretch of no day is a row that is set aside, and a problem.
#[test]
fn a_start_that_cannot_be_read_is_a_problem_with_its_file_place_and_value() {
    let sound = stretch("08:00", "09:00", 1_000);
    let bad = sound.replace("2026-04-14T08", "2026-13-45T08");
    let none = sound.replace("2026-04-14T08:00:00", "");
    let dir = records();
    let output = import(
        &(task(&(sound + &bad)) + &task(&none).replace("TSK-1", "TSK-2")),
        dir.path(),
    );
    assert_eq!(output.status.code(), Some(1));
    let told = told(&output);
    assert_eq!(
        [&told["read"], &told["used"], &told["set_aside"]],
        [3, 1, 2]
    );
    let words = [
        "TASKDATA.XML, task TSK-1, `TIM` 2, start (attribute A): found `2026-13-45T08:00:00`, expected a date and time",
        "TASKDATA.XML, task TSK-2, `TIM` 1, start (attribute A): found nothing, expected a date and time",
    ];
    let said = String::from_utf8(output.stderr).expect("text");
    for (row, words) in words.into_iter().enumerate() {
        let problem = told["problems"][row].as_str().expect("a problem");
        assert!(problem.starts_with(words), "{problem}");
        assert!(said.contains(words), "{said}");
        assert_eq!(told["rows"][row + 1]["date"], serde_json::Value::Null);
        assert_eq!(told["rows"][row + 1]["why"], problem);
    }
    assert!(!told["notes"].to_string().contains("only plans"));
}

/// Nothing that the owner could fill in names the product, so it is a problem of the file.
#[test]
fn work_without_a_product_is_a_problem_and_no_quiet_success() {
    let unnamed = task(&stretch("08:00", "09:00", 1_000)).replace(UREA_IN_FRONT, "");
    let dir = records();
    let output = import(&unnamed, dir.path());
    assert_eq!(output.status.code(), Some(1));
    let told = told(&output);
    assert_eq!(
        [&told["read"], &told["used"], &told["set_aside"]],
        [1, 0, 1]
    );
    let problem = told["problems"][0].as_str().expect("a problem");
    assert!(
        problem.starts_with(
            "TASKDATA.XML, task TSK-1, DET-3: the task does not name the product; expected a `PAN`"
        ),
        "{problem}"
    );
    // A task that the file itself calls cancelled is none.
    let cancelled = unnamed.replace(r#"G="4""#, r#"G="6""#);
    assert_eq!(import(&cancelled, dir.path()).status.code(), Some(0));
}

/// What a name of a file tells a terminal: to clear itself, to take a title, to write backwards.
#[test]
fn names_that_command_a_terminal_are_spelled_out() {
    let (_set, path) = tasks(&task(&stretch("08:00", "09:00", 1_000)));
    let text = fs::read_to_string(&path).expect("a file");
    // A parser of XML takes no escape as such, but others it takes.
    let evil = "S1&#x9b;2J\u{85}&#x202e;&#10;x";
    fs::write(&path, text.replace("E=\"S1\"", &format!("E=\"{evil}\""))).expect("a file");
    let dir = records();
    let output = cargo_bin_cmd!("wearcast")
        .args(["import", "taskdata"])
        .arg(&path)
        .arg("--into")
        .arg(dir.path())
        .output()
        .expect("a run");
    for (stream, bytes) in [("out", output.stdout), ("err", output.stderr)] {
        let text = String::from_utf8(bytes).expect("text");
        let bad = |c: char| (c.is_control() && c != '\n') || c == '\u{202e}';
        assert!(!text.contains(bad), "{stream}: {text:?}");
        assert!(text.contains("S1\\u{9b}2J"), "{stream}: {text}");
    }
}
