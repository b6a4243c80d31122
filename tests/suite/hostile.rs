//! Files made to do harm: each ends in a clear message, with memory bounded and without a hang.

mod archives;
mod formulas;
mod parquet;
mod tables;
mod trees;
mod workbooks;

use std::path::Path;
use std::process::{Command, Output, Stdio};
use std::time::{Duration, Instant};

use crate::read::Folder;

/// What the program may take of memory, in kilobytes, as the shell counts it.
const MEMORY: u32 = 3 << 20;
/// Far more than any of the files takes: whoever is not done by then never will be.
const PATIENCE: Duration = Duration::from_mins(10);

/// Runs the program under a limit on its memory; more than that ends it by a signal.
fn bounded(args: &[&str]) -> Output {
    let script = format!("ulimit -v {MEMORY}; exec \"$0\" \"$@\"");
    let mut child = Command::new("sh")
        .args(["-c", &script])
        .arg(assert_cmd::cargo::cargo_bin!("wearcast"))
        .args(args)
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("a shell");
    let id = child.id();
    // What it prints is read beside it, or it would wait for that.
    let guard = std::thread::spawn({
        let begin = Instant::now();
        move || {
            let proc = format!("/proc/{id}");
            while Path::new(&proc).exists() && begin.elapsed() < PATIENCE {
                std::thread::sleep(Duration::from_millis(20));
            }
            if PATIENCE <= begin.elapsed() {
                let _ = Command::new("kill").args(["-9", &id.to_string()]).status();
            }
        }
    });
    let mut told = Vec::new();
    let mut out = child.stdout.take().expect("a pipe");
    let reader = std::thread::spawn(move || {
        let mut bytes = Vec::new();
        std::io::Read::read_to_end(&mut out, &mut bytes).expect("output");
        bytes
    });
    let mut err = child.stderr.take().expect("a pipe");
    std::io::Read::read_to_end(&mut err, &mut told).expect("messages");
    let status = child.wait().expect("an end");
    let stdout = reader.join().expect("output");
    guard.join().expect("a guard");
    Output {
        status,
        stdout,
        stderr: told,
    }
}

/// Everything a run said.
fn all(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr)
}

/// The run ended with that status and these words, and not in a panic.
fn assert_told(name: &str, output: &Output, status: i32, words: &[&str]) {
    let said = all(output);
    let begin: String = said.chars().take(2_000).collect();
    assert_eq!(output.status.code(), Some(status), "{name}: {begin}");
    assert!(!said.contains("panicked"), "{name}: {begin}");
    for word in words {
        assert!(said.contains(word), "{name}: no `{word}` in {begin}");
    }
}

/// As many texts in one.
fn many(numbers: impl IntoIterator<Item = usize>, of: impl Fn(usize) -> String) -> String {
    numbers.into_iter().map(of).collect()
}

fn dir(folder: &Folder) -> String {
    folder.path().display().to_string()
}

/// What `check` says of a good folder in which one file is another.
fn check_with(name: &str, bytes: &[u8]) -> Output {
    let folder = Folder::good();
    // No table may be in two places.
    let stem = name.split('.').next().expect("a stem");
    let text = folder.path().join(format!("{stem}.csv"));
    if !name.ends_with("csv") && text.exists() {
        folder.remove(&format!("{stem}.csv"));
    }
    if let Some((above, _)) = name.rsplit_once('/') {
        std::fs::create_dir_all(folder.path().join(above)).expect("a folder");
    }
    folder.write(name, bytes);
    bounded(&["check", &dir(&folder)])
}
