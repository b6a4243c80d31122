//! One function a command: read, ask, tell.

use std::path::{Path, PathBuf};

use super::args::{
    Args, Choices, Command, CompareArgs, FitArgs, LivesArgs, ModelsArgs, PolicyChoice,
    RemainingArgs, ReportArgs, Shared,
};
use super::output::{self, Forms};
use super::{CliError, ExitStatus, Streams, next, pages, waiting};
use crate::family::Families;
use crate::life::bare::BareAge;
use crate::read::{self, Reading, RowCounts};
use crate::record::{Problem, ProblemKind, Records, Severity, Table};
use crate::report::check::CheckReport;
use crate::report::{Header, csv, html, json, sql, terminal, xlsx};
use crate::study::bare::BareStudy;
use crate::study::compare::group_products_by;
use crate::study::{self, Options, Policy, Study};

pub(super) fn run(args: &Args, to: &mut Streams<'_>) -> Result<ExitStatus, CliError> {
    let mut whole = false;
    let status = match &args.command {
        Command::Check(args) => {
            let checked = check(args, to)?;
            whole = checked.whole;
            checked.status
        }
        Command::Lives(args) => lives(args, to)?,
        Command::Fit(args) => fit(args, to)?,
        Command::Remaining(args) => remaining(args, to)?,
        Command::Budget(args) => budget(args, to)?,
        Command::Report(args) => report(args, to)?,
        Command::Stock(args) => stock(args, to)?,
        Command::Models(args) => models(args, to)?,
        Command::Compare(args) => compare(args, to)?,
        Command::Backtest(args) => backtest(args, to)?,
        Command::Import(args) => super::import::run(args, to)?,
        Command::Start(args) => super::start::run(args, to.out)?,
        Command::Completions(args) => pages::completions(args, to.out)?,
        Command::Man(args) => pages::man(args, to.err)?,
    };
    if let Some(lines) = next::after(&args.command, status, whole) {
        write!(to.err, "{lines}")?;
    }
    Ok(status)
}

fn options(choices: &Choices) -> Options {
    Options {
        as_of: choices.as_of,
        season: choices.season,
        reference: choices.reference.clone(),
        priors: !choices.no_priors,
        machine_effect: !choices.no_machine_effect,
        level: choices.level,
        seed: choices.seed,
        policy: match choices.policy {
            PolicyChoice::Run => Policy::Run,
            PolicyChoice::Advised => Policy::Advised,
        },
        families: choices.family.clone(),
        machines: choices.machine.clone(),
    }
}

fn read_folder(dir: &Path, choices: &Choices) -> Result<(Families, Reading), CliError> {
    let (families, wrong) = read::families(Some(dir), choices.models.as_deref())?;
    let sums = choices.usage_sums.as_deref();
    let mut reading = read::folder_with(dir, sums, choices.as_of, &families)?;
    reading.problems.extend(wrong);
    reading.problems.sort();
    Ok((families, reading))
}

/// What a check came to.
struct Checked {
    status: ExitStatus,
    /// Whether a problem of a whole file stands in the way, which no option sets aside.
    whole: bool,
}

fn check(args: &Shared, to: &mut Streams<'_>) -> Result<Checked, CliError> {
    output::check_beside(&args.dir, &args.choices)?;
    let (_, reading) = read_folder(&args.dir, &args.choices)?;
    // A second look at every row costs time, and is taken where something is wrong.
    let thorough = !reading.problems.is_empty();
    // What stands above a header would be mapped as one.
    let titled = |p: &Problem| p.kind == ProblemKind::Title;
    let proposal = if reading.problems.iter().any(titled) {
        None
    } else {
        read::proposal(&args.dir, thorough)?
    };
    let header = Header {
        as_of: args.choices.as_of.or_else(|| reading.records.last_date()),
        seed: args.choices.seed,
        level: args.choices.level,
        machines: Vec::new(),
        families: Vec::new(),
        notes: Vec::new(),
        cautions: Vec::new(),
    };
    let report = CheckReport {
        header,
        problems: &reading.problems,
        accounts: &reading.accounts,
        mapping: &reading.mapping,
        proposal,
    };
    let forms = Forms::new(&report, terminal::check, json::check, csv::check);
    output::give(&forms, &args.choices, to)?;
    let whole = reading.has_whole_problems();
    let stops = if args.choices.set_aside {
        whole
    } else {
        reading.has_problems()
    };
    let status = if stops {
        ExitStatus::Problems
    } else {
        ExitStatus::Done
    };
    Ok(Checked { status, whole })
}

/// A study of the folder; `None` when the records have problems that stop the work, which have
/// then been listed.
fn study(dir: &Path, choices: &Choices, to: &mut Streams<'_>) -> Result<Option<Study>, CliError> {
    study_with(dir, choices, to, |_| {})
}

/// The same of records that are made ready first.
fn study_with(
    dir: &Path,
    choices: &Choices,
    to: &mut Streams<'_>,
    ready: impl FnOnce(&mut Records),
) -> Result<Option<Study>, CliError> {
    output::check_beside(dir, choices)?;
    if let Some(sums) = choices.usage_sums.as_deref() {
        output::check_apart(&[sums], choices)?;
    }
    let (families, reading) = read_folder(dir, choices)?;
    if tell_problems(&reading.problems, choices.set_aside, to)? {
        return Ok(None);
    }
    let mut records = reading.records;
    ready(&mut records);
    let mut study = Study::new(records, families, options(choices))?;
    study.accounts = reading.accounts;
    let doubtful = |p: &&Problem| {
        p.severity == Severity::Remark
            && matches!(
                p.kind,
                ProblemKind::Odd
                    | ProblemKind::Identical
                    | ProblemKind::Supersession
                    | ProblemKind::Spelling
                    | ProblemKind::Missing
                    | ProblemKind::Unknown
                    | ProblemKind::Unread
            )
    };
    let doubts = reading.problems.iter().filter(doubtful);
    study.doubts = doubts
        .map(|p| format!("{}: {}", p.place, p.found))
        .collect();
    Ok(Some(study))
}

/// Lists what is wrong; true when the work must stop.
fn tell_problems(
    problems: &[Problem],
    set_aside: bool,
    to: &mut Streams<'_>,
) -> Result<bool, CliError> {
    let wrong: Vec<&Problem> = problems
        .iter()
        .filter(|p| p.severity == Severity::Problem)
        .collect();
    if wrong.is_empty() {
        return Ok(false);
    }
    write!(to.err, "{}", terminal::messages(&wrong))?;
    let whole = wrong.iter().any(|p| p.place.row.is_none());
    let count = wrong.len();
    let problems = if count == 1 { "problem" } else { "problems" };
    if set_aside && !whole {
        writeln!(
            to.err,
            "wearcast: {count} {problems}; the rows named are set aside"
        )?;
        return Ok(false);
    }
    let hint = if whole {
        ""
    } else {
        ", or add `--set-aside` to go on without the rows named"
    };
    writeln!(
        to.err,
        "wearcast: {count} {problems} in the records; mend them{hint}"
    )?;
    Ok(true)
}

fn lives(args: &LivesArgs, to: &mut Streams<'_>) -> Result<ExitStatus, CliError> {
    let LivesArgs {
        shared: args,
        print_sql,
    } = args;
    if *print_sql {
        let columns = read::log_columns(&args.dir)?;
        let columns = columns.map_err(|why| CliError::Usage(format!("`--print-sql`: {why}")))?;
        write!(to.out, "{}", sql::usage_sums(&columns))?;
        return Ok(ExitStatus::Done);
    }
    let Some(study) = study(&args.dir, &args.choices, to)? else {
        return Ok(ExitStatus::Problems);
    };
    let report = study.lives_report();
    output::give(
        &Forms::new(&report, terminal::lives, json::lives, csv::lives),
        &args.choices,
        to,
    )?;
    Ok(ExitStatus::Done)
}

/// A study of a bare table of lives, and the ages beside it; `None` when one of the two has problems
/// that stop the work: those of both have then been listed.
fn bare_study(
    lives: &Path,
    ages: Option<&Path>,
    choices: &Choices,
    to: &mut Streams<'_>,
) -> Result<Option<(BareStudy, Vec<BareAge>)>, CliError> {
    let asks_ages = ages.is_some();
    let inputs: Vec<&Path> = [Some(lives), ages].into_iter().flatten().collect();
    output::check_apart(&inputs, choices)?;
    if choices.usage_sums.is_some() {
        return Err(CliError::Usage(
            "`--usage-sums` needs a records folder; a bare table of lives has its own use"
                .to_owned(),
        ));
    }
    if !choices.machine.is_empty() {
        return Err(CliError::Usage(
            "`--machine` needs a records folder; a bare table has none".to_owned(),
        ));
    }
    let (families, mut wrong) = read::families(None, choices.models.as_deref())?;
    let (lives, problems, of_lives) = read::bare_lives(lives)?;
    wrong.extend(problems);
    let (ages, problems, of_ages) = ages.map(read::bare_ages).transpose()?.unwrap_or_default();
    wrong.extend(problems);
    if tell_problems(&wrong, choices.set_aside, to)? {
        return Ok(None);
    }
    let mut study = BareStudy::new(&lives, &families, options(choices), asks_ages)?;
    let told = |(read, _, set_aside): RowCounts, what: &str| {
        (0 < set_aside).then(|| format!("{set_aside} of {read} {what}"))
    };
    let aside: Vec<String> = [told(of_lives, "lives"), told(of_ages, "ages")]
        .into_iter()
        .flatten()
        .collect();
    if !aside.is_empty() {
        let note = format!("rows with problems are set aside: {}", aside.join(", "));
        study.notes.insert(0, note);
    }
    Ok(Some((study, ages)))
}

fn fit(args: &FitArgs, to: &mut Streams<'_>) -> Result<ExitStatus, CliError> {
    let report = match (&args.lives, &args.dir) {
        (Some(lives), _) => bare_study(lives, None, &args.choices, to)?.map(|(s, _)| s.fits()),
        (None, Some(dir)) => study(dir, &args.choices, to)?
            .map(|mut study| waiting::ask(to.screen.take(), &mut study, Study::fits))
            .transpose()?,
        (None, None) => None,
    };
    let Some(report) = report else {
        return Ok(ExitStatus::Problems);
    };
    output::give(
        &Forms::new(&report, terminal::fits, json::fits, csv::fits),
        &args.choices,
        to,
    )?;
    Ok(ExitStatus::Done)
}

fn remaining(args: &RemainingArgs, to: &mut Streams<'_>) -> Result<ExitStatus, CliError> {
    let report = match (&args.lives, &args.ages, &args.dir) {
        (Some(lives), Some(ages), _) => {
            let Some((study, ages)) = bare_study(lives, Some(ages), &args.choices, to)? else {
                return Ok(ExitStatus::Problems);
            };
            Some(study.remaining(&ages)?)
        }
        (_, _, Some(dir)) => study(dir, &args.choices, to)?
            .map(|mut study| waiting::ask(to.screen.take(), &mut study, Study::remaining))
            .transpose()?,
        _ => None,
    };
    let Some(report) = report else {
        return Ok(ExitStatus::Problems);
    };
    output::give(
        &Forms::new(
            &report,
            terminal::remaining,
            json::remaining,
            csv::remaining,
        ),
        &args.choices,
        to,
    )?;
    Ok(ExitStatus::Done)
}

fn budget(args: &Shared, to: &mut Streams<'_>) -> Result<ExitStatus, CliError> {
    let Some(mut study) = study(&args.dir, &args.choices, to)? else {
        return Ok(ExitStatus::Problems);
    };
    let workbook = output::is_workbook(&args.choices);
    let report = waiting::ask(to.screen.take(), &mut study, |study| {
        let mut report = if workbook {
            study.budget_to_change()?
        } else {
            study.budget()?
        };
        // Both ways into the season, where there is room for them or one of them is asked for.
        if study.options.policy == Policy::Advised || workbook {
            report.policies = study.policies()?;
        }
        Ok(report)
    })?;
    output::give(
        &Forms::new(&report, terminal::budget, json::budget, csv::budget)
            .with_workbook(xlsx::budget),
        &args.choices,
        to,
    )?;
    Ok(ExitStatus::Done)
}

fn compare(args: &CompareArgs, to: &mut Streams<'_>) -> Result<ExitStatus, CliError> {
    let CompareArgs { shared, by } = args;
    let mut column = None;
    let group = |records: &mut Records| column = group_products_by(records, by);
    let Some(mut study) = study_with(&shared.dir, &shared.choices, to, group)? else {
        return Ok(ExitStatus::Problems);
    };
    let by = column.as_ref().map_or(by.as_str(), |_| "product");
    let mut report = waiting::ask(to.screen.take(), &mut study, |study| study.compare(by))?;
    if let Some(column) = column {
        report.by = column;
        report.table = Some(Table::Products.name());
    }
    output::give(
        &Forms::new(&report, terminal::compare, json::compare, csv::compare),
        &shared.choices,
        to,
    )?;
    Ok(ExitStatus::Done)
}

fn report(args: &ReportArgs, to: &mut Streams<'_>) -> Result<ExitStatus, CliError> {
    let target = &args.choices.target;
    output::check_page(target, args.figures.as_deref())?;
    // Pictures may be replaced where no page is written.
    let mut choices = args.choices.clone();
    choices.target.force &= choices.target.out.is_some();
    let Some(mut study) = study(&args.dir, &choices, to)? else {
        return Ok(ExitStatus::Problems);
    };
    let report = waiting::ask(to.screen.take(), &mut study, Study::page)?;
    let pictures = args.figures.as_ref().map(|_| html::figures(&report));
    let figures = args.figures.as_deref().zip(pictures.as_deref());
    output::give_page(&|| html::page(&report), figures, target, to)?;
    Ok(ExitStatus::Done)
}

fn stock(args: &Shared, to: &mut Streams<'_>) -> Result<ExitStatus, CliError> {
    let Some(mut study) = study(&args.dir, &args.choices, to)? else {
        return Ok(ExitStatus::Problems);
    };
    let report = waiting::ask(to.screen.take(), &mut study, Study::stock)?;
    output::give(
        &Forms::new(&report, terminal::stock, json::stock, csv::stock).with_workbook(xlsx::stock),
        &args.choices,
        to,
    )?;
    Ok(ExitStatus::Done)
}

fn models(args: &ModelsArgs, to: &mut Streams<'_>) -> Result<ExitStatus, CliError> {
    if !args.validate.is_empty() {
        return validate(&args.validate, to);
    }
    if let (true, Some(name)) = (args.file, &args.name) {
        let text = Families::built_in_text(name).ok_or_else(|| {
            CliError::Usage(format!(
                "no model file of `{name}` is part of the program; `wearcast models` lists those that are"
            ))
        })?;
        to.out.write_all(text.as_bytes())?;
        return Ok(ExitStatus::Done);
    }
    output::check(&args.target)?;
    let (families, wrong) = read::families(None, args.models.as_deref())?;
    if tell_problems(&wrong, false, to)? {
        return Ok(ExitStatus::Problems);
    }
    let report = study::models::models(&families, args.name.as_deref())
        .map_err(|e| CliError::Usage(e.to_string()))?;
    output::give(
        &Forms::new(&report, terminal::models, json::models, csv::models),
        &args.target,
        to,
    )?;
    Ok(ExitStatus::Done)
}

/// Says of each model file that it is valid, or what is wrong with it.
fn validate(paths: &[PathBuf], to: &mut Streams<'_>) -> Result<ExitStatus, CliError> {
    let mut status = ExitStatus::Done;
    for file in read::model_files(paths)? {
        let path = file.path.display();
        match file.family {
            Ok(family) => writeln!(to.out, "{path}: valid, family `{}`", family.name)?,
            Err(error) => {
                writeln!(to.err, "{path}, {error}")?;
                status = ExitStatus::Problems;
            }
        }
    }
    Ok(status)
}

fn backtest(args: &Shared, to: &mut Streams<'_>) -> Result<ExitStatus, CliError> {
    let Some(mut study) = study(&args.dir, &args.choices, to)? else {
        return Ok(ExitStatus::Problems);
    };
    let report = waiting::ask(to.screen.take(), &mut study, Study::backtest)?;
    output::give(
        &Forms::new(&report, terminal::backtest, json::backtest, csv::backtest),
        &args.choices,
        to,
    )?;
    Ok(ExitStatus::Done)
}
