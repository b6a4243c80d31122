//! What people meet at the terminal: help, next steps, waiting, tables that fit, completions, manual pages.

use std::io::Write;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use wearcast::cli::{self, ExitStatus, Screen};
use wearcast::read;
use wearcast::study::progress::{Progress, Stage};
use wearcast::study::{Options, Study};

use crate::cli::{fleet, wearcast};
use crate::read::Folder;

/// Names of all commands, from the help itself.
fn commands() -> Vec<String> {
    let (_, help, _) = wearcast(&["--help"]);
    let list = help
        .split("Commands:\n")
        .nth(1)
        .expect("a list of commands");
    let of = list.lines().take_while(|l| !l.is_empty());
    let names = of.filter(|l| l.starts_with("  ") && !l.starts_with("   "));
    let names = names.filter_map(|l| l.split_whitespace().next());
    names.filter(|n| *n != "help").map(str::to_owned).collect()
}

#[test]
fn help_says_which_files_a_result_can_be_written_to() {
    let plain = "form (.csv, .json, .txt)";
    for (command, kinds) in [
        ("check", plain),
        ("lives", plain),
        ("fit", plain),
        ("remaining", plain),
        ("compare", plain),
        ("backtest", plain),
        ("budget", "form (.xlsx, .csv, .json, .txt)"),
        ("stock", "form (.xlsx, .csv, .json, .txt)"),
        ("report", "(.html)"),
    ] {
        let (_, help, _) = wearcast(&[command, "--help"]);
        assert!(help.contains(kinds), "{command}: {help}");
    }
    let folder = tempfile::tempdir().expect("a folder");
    let out = folder.path().join("a.xlsx").display().to_string();
    let (status, _, err) = wearcast(&["lives", "sample-data/owner", "--out", &out]);
    assert_eq!(status, ExitStatus::Usage);
    assert!(err.contains(".csv, .json or .txt"), "{err}");
}

#[test]
fn every_command_has_an_example_that_can_be_parsed() {
    let commands = commands();
    assert!(14 <= commands.len(), "{commands:?}");
    for command in &commands {
        let (status, help, _) = wearcast(&[command, "--help"]);
        assert_eq!(status, ExitStatus::Done);
        let examples: Vec<&str> = help
            .split("Example")
            .nth(1)
            .unwrap_or_else(|| panic!("`{command} --help` has no example"))
            .lines()
            .filter_map(|l| l.split_once("wearcast ").map(|(_, rest)| rest))
            .collect();
        assert!(!examples.is_empty(), "{command}");
        for example in examples {
            assert!(
                example.starts_with(command.as_str()),
                "{command}: {example}"
            );
        }
    }
}

#[test]
fn completions_of_every_shell_know_every_command() {
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let (status, script, err) = wearcast(&["completions", shell]);
        assert_eq!((status, err.as_str()), (ExitStatus::Done, ""), "{shell}");
        for command in commands() {
            assert!(script.contains(&command), "{shell} does not know {command}");
        }
    }
    assert_eq!(wearcast(&["completions", "teletype"]).0, ExitStatus::Usage);
}

/// bash itself reads the script and completes from it, where there is a bash.
#[test]
fn bash_takes_the_completions() {
    let (_, script, _) = wearcast(&["completions", "bash"]);
    let ask = "\nCOMP_WORDS=(wearcast bud); COMP_CWORD=1; _wearcast wearcast bud wearcast; echo \"${COMPREPLY[@]}\"\n";
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("script");
    std::fs::write(&file, script + ask).expect("written");
    let Ok(output) = std::process::Command::new("bash").arg(&file).output() else {
        return;
    };
    let reply = String::from_utf8_lossy(&output.stdout);
    assert_eq!(reply.trim(), "budget");
}

#[test]
fn there_is_a_manual_page_for_each_command_and_none_is_overwritten() {
    let folder = tempfile::tempdir().expect("a folder");
    let dir = folder.path().join("man1").display().to_string();
    let (status, _, err) = wearcast(&["man", &dir]);
    assert_eq!(status, ExitStatus::Done, "{err}");
    for command in commands() {
        let path = folder.path().join(format!("man1/wearcast-{command}.1"));
        let page = std::fs::read_to_string(&path).expect("a page");
        assert!(
            page.contains(".TH") && page.contains(".SH SYNOPSIS"),
            "{command}"
        );
        assert!(page.contains(&format!("wearcast {command}")), "{command}");
    }
    let page = std::fs::read_to_string(folder.path().join("man1/wearcast.1")).expect("a page");
    assert!(page.contains("wearcast"));
    assert_eq!(wearcast(&["man", &dir]).0, ExitStatus::File);
    assert_eq!(wearcast(&["man", &dir, "--force"]).0, ExitStatus::Done);
}

fn dir(folder: &Folder) -> String {
    folder.path().display().to_string()
}

/// The lines below a result are for people: not in the result, and not where a program reads it.
#[test]
fn a_result_for_people_says_what_to_do_next_beside_it() {
    let folder = fleet();
    let dir = dir(&folder);
    for command in [
        &["check"][..],
        &["lives"],
        &["fit"],
        &["remaining"],
        &["budget"],
        &["stock"],
        &["compare", "--by", "product"],
    ] {
        let args = [&command[..1], &[dir.as_str()], &command[1..]].concat();
        let (status, out, err) = wearcast(&args);
        assert_eq!(status, ExitStatus::Done, "{command:?}: {err}");
        assert!(err.starts_with("\nNext: wearcast "), "{command:?}: {err}");
        assert!(!out.contains("Next:"), "{command:?}");
        assert!(err.lines().all(|l| !l.ends_with(' ')), "{err}");
        // What is advised can be typed.
        for line in err.lines().filter_map(|l| l.split_once("wearcast ")) {
            let words: Vec<&str> = line
                .1
                .split("  ")
                .next()
                .expect("words")
                .split(' ')
                .collect();
            let (status, ..) = wearcast(&[&[words[0]][..], &["--help"]].concat());
            assert_eq!(status, ExitStatus::Done, "{words:?}");
            assert_eq!(words[1], dir);
        }
        for format in ["json", "csv"] {
            let (_, _, err) = wearcast(&[&args[..], &["--format", format]].concat());
            assert_eq!(err, "", "{command:?} {format}");
        }
    }
}

/// A terminal that remembers what it was told.
#[derive(Clone, Default)]
struct Remembers(Arc<Mutex<Vec<u8>>>);

impl Write for Remembers {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.0.lock().expect("no panic").extend(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

fn stages(question: impl FnOnce(&Study)) -> Vec<Stage> {
    let folder = fleet();
    let (families, _) = read::families(Some(folder.path()), None).expect("families");
    // The day after the last season, so that there is one to score.
    let as_of = chrono::NaiveDate::from_ymd_opt(2025, 11, 1);
    let reading = read::folder(folder.path(), as_of, &families).expect("records");
    let options = Options {
        as_of,
        ..Options::default()
    };
    let mut study = Study::new(reading.records, families, options).expect("a study");
    let told = Arc::new(Mutex::new(Vec::new()));
    let listener = Arc::clone(&told);
    study.progress = Progress::to(move |stage| listener.lock().expect("no panic").push(stage));
    question(&study);
    let told = told.lock().expect("no panic");
    told.clone()
}

#[test]
fn a_study_tells_its_stages_to_whoever_listens() {
    let told = stages(|study| {
        study.budget().expect("a budget");
    });
    let fitting = |number, family: &str| Stage::Fitting {
        number,
        of: 2,
        family: family.to_owned(),
    };
    assert_eq!(
        told,
        [
            fitting(1, "conveyor-chain"),
            fitting(2, "spinner-fin"),
            Stage::Playing
        ]
    );
    assert_eq!(
        told[0].to_string(),
        "fitting lives, 1 of 2 families: conveyor-chain"
    );
    let told = stages(|study| {
        study.remaining().expect("what is left");
    });
    assert_eq!(told.last(), Some(&Stage::Advising));
    let told = stages(|study| {
        study.backtest().expect("past seasons");
    });
    let past = |s: &&Stage| matches!(s, Stage::PastSeason { .. });
    assert_eq!(told.iter().filter(past).count(), told.len());
    assert!(!told.is_empty());
}

/// The result is the same; the line is written only on a terminal, and is gone at the end.
#[test]
fn the_line_for_those_who_wait_leaves_nothing_behind() {
    let screen = Remembers::default();
    let args = [
        "wearcast",
        "stock",
        "sample-data/desk",
        "--family",
        "sensor",
    ]
    .map(Into::into);
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let before: Screen = Some(Box::new(screen.clone()));
    let begin = std::time::Instant::now();
    let status = cli::main_before(args, &mut out, &mut err, before);
    let took = begin.elapsed();
    assert_eq!(status, ExitStatus::Done);
    let (_, same, same_err) = wearcast(&["stock", "sample-data/desk", "--family", "sensor"]);
    assert_eq!(String::from_utf8(out).expect("text"), same);
    assert_eq!(String::from_utf8(err).expect("text"), same_err);
    let told = String::from_utf8(screen.0.lock().expect("no panic").clone()).expect("text");
    assert!(!told.contains('\n'), "{told:?}");
    if Duration::from_secs(2) < took {
        assert!(
            told.contains("fitting lives") || told.contains("playing"),
            "{told:?}"
        );
    }
    if !told.is_empty() {
        let after = told
            .trim_end_matches('\r')
            .rsplit('\r')
            .next()
            .expect("a line");
        assert!(after.trim().is_empty(), "not wiped: {told:?}");
    }
}

/// Long names of everything.
fn long_names() -> Folder {
    let folder = fleet();
    for file in [
        "machines",
        "positions",
        "parts",
        "usage",
        "replacements",
        "products",
    ] {
        let path = folder.path().join(format!("{file}.csv"));
        let text = std::fs::read_to_string(&path).expect("a table");
        let text = text
            .replace("north", "the long spreader of the north-eastern yard")
            .replace(
                "chain,C-1",
                "conveyor chain of the left bin,CHAIN-00-471-LONG",
            )
            .replace("C-1,", "CHAIN-00-471-LONG,")
            .replace("dry\n", "dry fertilizer of several sorts\n")
            .replace("lime,lime", "lime,high-calcium lime of the far quarry");
        std::fs::write(&path, text).expect("written");
    }
    folder
}

#[test]
fn tables_fit_eighty_columns_with_long_names() {
    let folders = [long_names(), fleet()];
    for folder in &folders {
        let dir = dir(folder);
        for args in [
            &["check"][..],
            &["lives"],
            &["fit"],
            &["remaining"],
            &["budget"],
            &["stock"],
            &["compare", "--by", "product"],
            &["compare", "--by", "machine"],
            &["compare", "--by", "part"],
        ] {
            let all = [&args[..1], &[dir.as_str()], &args[1..]].concat();
            let (status, out, err) = wearcast(&all);
            assert_eq!(status, ExitStatus::Done, "{args:?}: {err}");
            for line in out.lines() {
                assert!(
                    line.chars().count() <= 80,
                    "{args:?}, {}: {line}",
                    line.chars().count()
                );
            }
        }
    }
}

/// One bad row of `machines`, and everything that names the machine follows from it.
#[test]
fn problems_that_follow_from_one_are_told_once() {
    let folder = fleet();
    folder.write("machines.csv", "machine,in_service\nnorth,2023-13-01\n");
    let dir = dir(&folder);
    let (status, _, err) = wearcast(&["budget", &dir]);
    assert_eq!(status, ExitStatus::Problems);
    assert!(
        err.starts_with("machines.csv, row 2, column `in_service`"),
        "{err}"
    );
    // 2 positions, 100 days of use and 1 replacement follow; 3 of them are told.
    assert!(err.contains("And 100 more like these: "), "{err}");
    assert!(err.contains("Mend machines.csv first."), "{err}");
    assert!(err.contains("104 problems in the records"), "{err}");
    assert_eq!(err.lines().count(), 6, "{err}");
    let (_, out, _) = wearcast(&["check", &dir]);
    assert!(out.starts_with("104 problems stop the work"), "{out}");
    let (_, json, _) = wearcast(&["check", &dir, "--format", "json"]);
    let json: serde_json::Value = serde_json::from_str(&json).expect("JSON");
    assert_eq!(json["problems"].as_array().expect("a list").len(), 104);
}
