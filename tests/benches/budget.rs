//! How long the main job takes on the sample: the whole process, from files to the table.
//!
//! `cargo bench --bench budget`

use std::process::Command;

fn main() {
    divan::main();
}

/// `wearcast budget sample-data/owner`, output thrown away.
#[divan::bench(sample_count = 9, sample_size = 1)]
fn budget_of_the_owner_sample() {
    let out = Command::new(env!("CARGO_BIN_EXE_wearcast"))
        .args(["budget", "sample-data/owner"])
        .output()
        .expect("the program runs");
    assert!(out.status.success());
}
