//! Text tables and settings made to do harm.

use super::{all, assert_told, check_with};

/// Name, file, bytes, status, words.
type Case = (
    &'static str,
    &'static str,
    Vec<u8>,
    i32,
    &'static [&'static str],
);

fn run(cases: Vec<Case>) {
    for (name, file, bytes, status, words) in cases {
        assert_told(name, &check_with(file, &bytes), status, words);
    }
}

fn text(parts: &[&str]) -> Vec<u8> {
    parts.concat().into_bytes()
}

fn columns(count: usize) -> String {
    let names: Vec<String> = (0..count).map(|i| format!("{i:x}")).collect();
    names.join(",")
}

#[test]
fn a_million_columns_are_told_whether_they_have_names_or_not() {
    let many = &["stock.csv", "columns"];
    run(vec![
        (
            "a line of 7 MB",
            "stock.csv",
            columns(1_000_000).into_bytes(),
            3,
            &["stock.csv", "too large"],
        ),
        (
            "as many as go on a line",
            "stock.csv",
            text(&["part,on_hand,", &columns(150_000), "\nF-1,3\n"]),
            1,
            many,
        ),
        (
            "one name over and over",
            "stock.csv",
            text(&["part,on_hand,", &"a,".repeat(400_000), "a\nF-1,3\n"]),
            1,
            many,
        ),
        (
            "no name",
            "stock.csv",
            text(&["part,on_hand\nF-1,3", &",".repeat(1_000_000), "\n"]),
            0,
            &[],
        ),
        (
            "no name, and something in the last cell",
            "stock.csv",
            text(&["part,on_hand\nF-1,3", &",".repeat(1_000_000), "x\n"]),
            1,
            &["stock.csv, row 2", "under no header"],
        ),
    ]);
}

#[test]
fn cells_of_a_megabyte_and_quotes_that_never_close_cost_their_row() {
    let long = "x".repeat(900_000);
    let open = ["part,on_hand\n", "\"", &format!("{long}\n").repeat(40)].concat();
    run(vec![
        (
            "a long number",
            "stock.csv",
            text(&["part,on_hand\nF-1,", &long, "\n"]),
            1,
            &["stock.csv, row 2, column `on_hand`"],
        ),
        (
            "a quote before 36 MB",
            "stock.csv",
            open.into_bytes(),
            1,
            &["row 2", "a quote that is not closed"],
        ),
        (
            "a quote in every other line",
            "stock.csv",
            text(&[
                "part,on_hand\n",
                &format!("\"\n{}", "x\n".repeat(250)).repeat(200),
            ]),
            1,
            &["a quote that is not closed"],
        ),
        (
            "blank lines",
            "stock.csv",
            text(&["part,on_hand\n", &"\n".repeat(1_000_000)]),
            0,
            &[],
        ),
    ]);
}

/// A message repeats a few words of a cell, never all of it.
#[test]
fn a_message_about_a_long_cell_is_short() {
    let long = "x".repeat(900_000);
    let output = check_with("stock.csv", &text(&["part,on_hand\nF-1,", &long, "\n"]));
    assert!(all(&output).len() < 10_000);
}

#[test]
fn zero_bytes_are_told_wherever_they_stand() {
    let rows = "F-1,1\n".repeat(20_000);
    run(vec![
        (
            "at once",
            "stock.csv",
            b"part,on_hand\nF-1,\0\n".to_vec(),
            1,
            &["zero bytes, the first in line"],
        ),
        (
            "after what is looked at first",
            "stock.csv",
            text(&[
                "part,on_hand\n",
                &rows,
                "F\0,1\n",
                &"\0".repeat(100_000),
                "\n",
            ]),
            1,
            &["stock.csv, row 20002", "not UTF-8"],
        ),
        (
            "in settings",
            "settings.toml",
            b"units = \"us\0\"\n".to_vec(),
            1,
            &["settings.toml"],
        ),
        (
            "nothing else",
            "columns.toml",
            vec![0; 100_000],
            1,
            &["columns.toml"],
        ),
    ]);
}

#[test]
fn settings_nested_without_end_are_told() {
    let deep = 100_000;
    let lists = ["labor_rate = ", &"[".repeat(deep), &"]".repeat(deep)].concat();
    let tables = ["labor_rate = ", &"{a=".repeat(deep), "1", &"}".repeat(deep)].concat();
    let dots = ["labor_rate", &".a".repeat(4 * deep), " = 1\n"].concat();
    let heads = ["[usage", &".a".repeat(4 * deep), "]\n"].concat();
    for (name, text) in [
        ("lists", &lists),
        ("tables", &tables),
        ("dots", &dots),
        ("heads", &heads),
    ] {
        for file in ["settings.toml", "columns.toml", "models/deep.toml"] {
            let source = file.rsplit('/').next().expect("a name");
            assert_told(name, &check_with(file, text.as_bytes()), 1, &[source]);
        }
    }
    let large = format!("# {}\n", "x".repeat(1 << 20));
    assert_told(
        "large",
        &check_with("settings.toml", large.as_bytes()),
        3,
        &["too large"],
    );
}

#[test]
fn rules_for_more_columns_than_any_table_has_are_told() {
    let rules: Vec<String> = (0..50_000)
        .map(|i| format!("\"k{i}\" = \"acres\"\n"))
        .collect();
    let text = format!("[usage.columns]\n{}", rules.concat());
    let output = check_with("columns.toml", text.as_bytes());
    assert_told("rules", &output, 1, &["columns.toml", "at most"]);
    let words: Vec<String> = (0..30_000)
        .map(|i| format!("\"word {i}\" = \"lime\"\n"))
        .collect();
    let text = format!("[usage.values.product]\n{}", words.concat());
    assert_told(
        "words",
        &check_with("columns.toml", text.as_bytes()),
        0,
        &[],
    );
}
