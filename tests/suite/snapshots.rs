//! What people and programs see of the sample, kept word for word; figures in JSON to four digits.
//!
//! `INSTA_UPDATE=always cargo test --test suite snapshots` renews them; read what changed.

use serde_json::Value;

use crate::cli::wearcast;

const SAMPLE: &str = "sample-data/owner";

fn printed(args: &[&str]) -> String {
    let (_, out, _) = wearcast(args);
    out
}

/// Numbers to four digits: what is printed holds on any processor.
fn rounded(value: Value) -> Value {
    match value {
        Value::Number(n) if n.is_f64() => {
            let text = format!("{:.3e}", n.as_f64().expect("a float"));
            Value::from(text.parse::<f64>().expect("a float again"))
        }
        Value::Array(items) => items.into_iter().map(rounded).collect(),
        Value::Object(map) => map.into_iter().map(|(k, v)| (k, rounded(v))).collect(),
        other => other,
    }
}

fn json(args: &[&str]) -> Value {
    let out = printed(&[args, &["--format", "json"]].concat());
    rounded(serde_json::from_str(&out).expect("JSON"))
}

#[test]
fn the_account_of_the_sample() {
    insta::assert_snapshot!(printed(&["check", SAMPLE]));
}

#[test]
fn the_lives_of_one_position_kind() {
    let args = [
        "lives",
        SAMPLE,
        "--family",
        "conveyor-chain",
        "--machine",
        "twin bin",
    ];
    insta::assert_snapshot!(printed(&args));
    insta::assert_snapshot!(printed(&[&args[..], &["--format", "csv"]].concat()));
    insta::assert_json_snapshot!(json(&args));
}

#[test]
fn the_fit_of_the_chains() {
    let args = ["fit", SAMPLE, "--family", "conveyor-chain", "--no-priors"];
    insta::assert_snapshot!(printed(&args));
    insta::assert_json_snapshot!(json(&args));
}

#[test]
fn what_is_left_on_one_machine() {
    let args = ["remaining", SAMPLE, "--machine", "creek rig"];
    insta::assert_snapshot!(printed(&args));
    insta::assert_json_snapshot!(json(&[&args[..], &["--family", "spinner-fin"]].concat()));
}

#[test]
fn the_budget() {
    insta::assert_snapshot!(printed(&["budget", SAMPLE]));
    insta::assert_json_snapshot!(json(&["budget", SAMPLE]));
}

#[test]
fn the_help() {
    insta::assert_snapshot!(printed(&["budget", "--help"]));
}
