//! What README.md shows, held against the program, and what DEVELOPERS.md names, against the files.

use std::fs;
use std::path::Path;

use assert_cmd::cargo::cargo_bin_cmd;

/// The text of README.md.
fn readme() -> String {
    fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("README.md")).expect("README.md")
}

/// Fenced blocks of that language, each with the last line of words above it.
fn blocks(text: &str, language: &str) -> Vec<(String, String)> {
    let fence = format!("```{language}");
    let (mut blocks, mut above) = (Vec::new(), String::new());
    let mut lines = text.lines();
    while let Some(line) = lines.next() {
        if line.starts_with("```") {
            let block: Vec<&str> = lines.by_ref().take_while(|l| *l != "```").collect();
            if line == fence {
                blocks.push((above.clone(), block.join("\n") + "\n"));
            }
        } else if !line.is_empty() {
            line.clone_into(&mut above);
        }
    }
    blocks
}

/// One space between words.
fn words(line: &str) -> String {
    line.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Where the output has moved: copy the lines anew.
#[test]
fn the_excerpt_of_the_budget_is_what_the_program_prints() {
    let output = cargo_bin_cmd!("wearcast")
        .args(["budget", "sample-data/owner"])
        .output()
        .expect("a run");
    let printed = String::from_utf8(output.stdout).expect("text");
    let printed: Vec<String> = printed.lines().map(words).collect();
    let excerpt = blocks(&readme(), "text");
    assert_eq!(excerpt.len(), 1);
    for line in excerpt[0].1.lines().map(words) {
        assert!(printed.contains(&line), "not printed any more: {line}");
    }
}

#[test]
fn the_small_set_of_records_is_sound_and_gives_a_budget() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let mut tables = 0;
    for (above, text) in blocks(&readme(), "csv") {
        if let Some(name) = above.strip_prefix('`').and_then(|a| a.strip_suffix('`')) {
            fs::write(folder.path().join(name), text).expect("a table");
            tables += 1;
        }
    }
    assert_eq!(tables, 5);
    let settings = blocks(&readme(), "toml");
    fs::write(folder.path().join("settings.toml"), &settings[0].1).expect("settings");
    let check = cargo_bin_cmd!("wearcast")
        .arg("check")
        .arg(folder.path())
        .output();
    let check = String::from_utf8(check.expect("a run").stdout).expect("text");
    assert!(check.starts_with("No problems."), "{check}");
    cargo_bin_cmd!("wearcast")
        .arg("budget")
        .arg(folder.path())
        .assert()
        .success();
}

#[test]
fn the_bare_table_of_lives_can_be_fitted() {
    let tables = blocks(&readme(), "csv");
    let (_, lives) = tables.last().expect("a table");
    assert!(lives.starts_with("family,life,ended"));
    let folder = tempfile::tempdir().expect("a temporary folder");
    let file = folder.path().join("lives.csv");
    fs::write(&file, lives).expect("a table");
    cargo_bin_cmd!("wearcast")
        .arg("fit")
        .arg("--lives")
        .arg(&file)
        .assert()
        .success();
}

#[test]
fn the_first_command_of_the_set_up_and_the_tests_are_the_whole_of_it() {
    let set_up = blocks(&readme(), "sh");
    assert_eq!(
        set_up[0].1,
        "cargo run -- budget sample-data/owner\ncargo test\n"
    );
}

fn is_code(path: &Path) -> bool {
    path.extension().is_some_and(|e| e == "rs")
}

#[test]
fn the_code_map_names_every_module_and_files_that_are_there() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let text = fs::read_to_string(root.join("DEVELOPERS.md")).expect("DEVELOPERS.md");
    let map = text.split("## Code map").nth(1).expect("the map");
    let map = map.split("\nOutside `src`").next().expect("its end");
    let mut rooms = Vec::new();
    for item in map.split("\n- ").skip(1) {
        let (names, what) = item.split_once(':').expect("a module and what it is for");
        let quoted = |text: &str| -> Vec<String> {
            let parts = text.split('`').skip(1).step_by(2);
            parts.map(str::to_owned).collect()
        };
        let names = quoted(names);
        for file in quoted(what).iter().filter(|q| is_code(Path::new(q))) {
            let path = root.join("src").join(&names[0]).join(file);
            assert!(path.is_file(), "no src/{}/{file}: mend the map", names[0]);
        }
        rooms.extend(names);
    }
    for entry in fs::read_dir(root.join("src")).expect("src") {
        let path = entry.expect("an entry").path();
        let name = path.file_stem().expect("a name").to_string_lossy();
        let is_module = !["lib", "main"].contains(&name.as_ref());
        assert!(!is_module || rooms.contains(&name.to_string()), "{name}");
    }
}
