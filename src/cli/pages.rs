//! Completions for shells and pages for `man`, made from what can be typed.

use std::io::Write;

use clap::CommandFactory;

use super::args::{Args, CompletionsArgs, ManArgs};
use super::output;
use super::{CliError, ExitStatus};

const NAME: &str = "wearcast";

/// Prints the script that lets a shell complete what is typed.
pub(super) fn completions(
    args: &CompletionsArgs,
    out: &mut dyn Write,
) -> Result<ExitStatus, CliError> {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut Args::command(), NAME, &mut script);
    out.write_all(&script)?;
    out.flush()?;
    Ok(ExitStatus::Done)
}

/// Writes a page for the program and one for each command.
pub(super) fn man(args: &ManArgs, err: &mut dyn Write) -> Result<ExitStatus, CliError> {
    let mut program = Args::command();
    program.build();
    let mut pages = vec![(format!("{NAME}.1"), page(program.clone())?)];
    for command in program.get_subcommands().filter(|c| !c.is_hide_set()) {
        let name = format!("{NAME}-{}.1", command.get_name());
        pages.push((name, page(command.clone())?));
    }
    let count = pages.len();
    output::give_files(&args.dir, pages, args.force)?;
    writeln!(err, "wrote {count} pages into {}", args.dir.display())?;
    Ok(ExitStatus::Done)
}

fn page(command: clap::Command) -> Result<Vec<u8>, CliError> {
    let mut bytes = Vec::new();
    clap_mangen::Man::new(command).render(&mut bytes)?;
    Ok(bytes)
}
