//! The `wearcast` program: parse, run, exit status.

use std::process::ExitCode;

fn main() -> ExitCode {
    let mut out = std::io::stdout().lock();
    let mut err = std::io::stderr().lock();
    wearcast::cli::main(std::env::args_os(), &mut out, &mut err).into()
}
