//! Every `console` block of the notebooks, run as it stands.

use std::fs;
use std::path::{Path, PathBuf};

fn notebooks() -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("notebooks-md");
    let mut files: Vec<PathBuf> = fs::read_dir(folder)
        .expect("the folder of notebooks")
        .map(|entry| entry.expect("an entry").path())
        .filter(|path| path.extension().is_some_and(|e| e == "md"))
        .collect();
    files.sort();
    files
}

/// Whether every command of the notebook still prints what is written below it.
///
/// `TRYCMD=overwrite cargo test --test suite notebooks` writes the outputs anew.
#[test]
fn notebooks_show_what_the_program_prints() {
    // A notebook may write its files there, as `cargo` keeps everything it makes there.
    fs::create_dir_all("target").expect("the folder `target`");
    trycmd::TestCases::new().case("notebooks-md/*.md").run();
}

/// A file without a block would pass as `ignored`.
#[test]
fn every_notebook_has_blocks_that_are_run() {
    assert!(!notebooks().is_empty(), "no notebook");
    for path in notebooks() {
        let text = fs::read_to_string(&path).expect("a notebook");
        let blocks = text.lines().filter(|line| *line == "```console").count();
        let commands = text
            .lines()
            .filter(|line| line.starts_with("$ wearcast "))
            .count();
        assert!(0 < blocks, "{} has no `console` block", path.display());
        assert!(
            blocks <= commands,
            "{} has {blocks} blocks and {commands} commands",
            path.display()
        );
    }
}
