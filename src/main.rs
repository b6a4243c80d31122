//! The `wearcast` program: parse, run, exit status.

use std::io::{IsTerminal, stderr, stdout};
use std::process::ExitCode;

use wearcast::cli::{self, Screen};

fn main() -> ExitCode {
    // Not locked: the line for those who wait is written from a thread of its own.
    let screen: Screen = stderr().is_terminal().then(|| Box::new(stderr()) as _);
    cli::main_before(
        std::env::args_os(),
        &mut stdout().lock(),
        &mut stderr(),
        screen,
    )
    .into()
}
