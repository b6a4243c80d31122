//! What to do after a result, in one or two lines.

use std::path::Path;

use super::ExitStatus;
use super::args::{Command, Format, Target};

/// A path as it is typed.
pub(super) fn quoted(path: &Path) -> String {
    let text = path.display().to_string();
    let plain = |c: char| c.is_alphanumeric() || "/\\._-:~+,@%".contains(c);
    match text.chars().all(plain) {
        true => text,
        // Single quotes take what double ones would not, where the path has none itself.
        false if text.contains(['$', '`', '"', '!']) && !text.contains('\'') => format!("'{text}'"),
        false => format!("\"{text}\""),
    }
}

/// Columns that a suggestion may take on one line.
const WIDTH: usize = 80;

/// The lines below a result for people; none where a program reads it, and none after results that
/// end a road.
///
/// - `whole`: what stops the work cannot be set aside.
pub(super) fn after(command: &Command, status: ExitStatus, whole: bool) -> Option<String> {
    let target = target(command)?;
    let for_people = target.out.is_some() || target.format == Format::Table;
    if !for_people {
        return None;
    }
    let steps = match status {
        ExitStatus::Done => steps(command)?,
        ExitStatus::Problems if matches!(command, Command::Check(_)) => vec![(
            format!(
                "mend {} and run this again",
                if whole {
                    "what is named above"
                } else {
                    "the rows named above"
                }
            ),
            if whole {
                ""
            } else {
                "`--set-aside` goes on without them"
            },
        )],
        _ => return None,
    };
    let mut lines = String::new();
    if target.out.is_none() {
        lines.push('\n');
    }
    for (i, (what, why)) in steps.iter().enumerate() {
        let start = if i == 0 { "Next: " } else { "      " };
        lines.push_str(start);
        lines.push_str(what);
        let room = start.len() + what.chars().count() + 2 + why.chars().count();
        if !why.is_empty() {
            lines.push_str(if room <= WIDTH { "  " } else { "\n        " });
            lines.push_str(why);
        }
        lines.push('\n');
    }
    Some(lines)
}

fn target(command: &Command) -> Option<&Target> {
    Some(match command {
        Command::Check(args)
        | Command::Budget(args)
        | Command::Stock(args)
        | Command::Backtest(args) => &args.choices.target,
        Command::Lives(args) if args.print_sql => return None,
        Command::Lives(args) => &args.shared.choices.target,
        Command::Fit(args) => &args.choices.target,
        Command::Remaining(args) => &args.choices.target,
        Command::Compare(args) => &args.shared.choices.target,
        Command::Report(args) => args
            .choices
            .target
            .out
            .is_some()
            .then_some(&args.choices.target)?,
        Command::Models(args) => args.validate.is_empty().then_some(&args.target)?,
        Command::Import(args) => &args.target,
        Command::Start(_) | Command::Completions(_) | Command::Man(_) => return None,
    })
}

/// What is typed next, and what for.
fn steps(command: &Command) -> Option<Vec<(String, &'static str)>> {
    let step = |name: &str, dir: &Path, rest: &str, why| {
        (format!("wearcast {name} {}{rest}", quoted(dir)), why)
    };
    Some(match command {
        Command::Check(args) => vec![
            step("lives", &args.dir, "", "how long each part lasted"),
            step("budget", &args.dir, "", "what next season will cost"),
        ],
        Command::Lives(args) => vec![step(
            "fit",
            &args.shared.dir,
            "",
            "how long parts last, and what wears them",
        )],
        Command::Fit(args) => {
            let dir = args.dir.as_ref()?;
            vec![step("remaining", dir, "", "what is left in each part now")]
        }
        Command::Remaining(args) => {
            let dir = args.dir.as_ref()?;
            vec![step("budget", dir, "", "what next season will cost")]
        }
        Command::Budget(args) if args.choices.target.out.is_none() => vec![
            step("budget", &args.dir, " --out budget.xlsx", "to print"),
            step("backtest", &args.dir, "", "how true such budgets were"),
        ],
        Command::Budget(args) => vec![step(
            "backtest",
            &args.dir,
            "",
            "how true such budgets were",
        )],
        Command::Stock(args) if args.choices.target.out.is_none() => vec![step(
            "stock",
            &args.dir,
            " --out order.xlsx",
            "order list, bin list, customers",
        )],
        Command::Stock(args) => vec![step(
            "backtest",
            &args.dir,
            "",
            "how true such forecasts were",
        )],
        Command::Compare(args) => vec![step(
            "budget",
            &args.shared.dir,
            "",
            "what next season will cost",
        )],
        Command::Backtest(args) => vec![step(
            "fit",
            &args.dir,
            "",
            "the lives that forecasts rest on",
        )],
        Command::Report(args) => vec![(
            format!(
                "open {} in a browser",
                args.choices.target.out.as_ref()?.display()
            ),
            "and print it from there",
        )],
        Command::Models(args) if args.name.is_none() => vec![(
            "wearcast models NAME".to_owned(),
            "all that is assumed of one family, and why",
        )],
        Command::Import(args) if !args.dry_run => {
            vec![step("check", &args.into, "", "whether all rows are sound")]
        }
        _ => return None,
    })
}
