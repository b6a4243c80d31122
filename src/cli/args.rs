//! What can be typed.

use std::path::PathBuf;

use chrono::{Datelike, NaiveDate};
use clap::builder::PossibleValuesParser;
use clap::{Parser, Subcommand, ValueEnum};

/// Wear parts of dry-product spreaders: what will wear out, what it will cost, what to have on the
/// shelf.
#[derive(Debug, Parser)]
#[command(name = "wearcast", version, about, long_about = None, max_term_width = 100)]
pub(super) struct Args {
    #[command(subcommand)]
    pub(super) command: Command,
}

/// What `--out` takes where a result can be a workbook.
const OUT_AS_WORKBOOK: &str =
    "Write the result to this file; its extension says the form (.xlsx, .csv, .json, .txt)";

#[derive(Debug, Subcommand)]
pub(super) enum Command {
    /// Write an empty, ready-to-fill records workbook, or a copy of an example
    #[command(after_help = "Examples:\n  wearcast start my-records\n  \
                            wearcast start try-out --example owner")]
    Start(StartArgs),
    /// Read everything, account for every row, list every problem
    #[command(after_help = "Example: wearcast check sample-data/owner")]
    Check(Shared),
    /// The installed lives built from the records
    #[command(
        after_help = "Examples:\n  wearcast lives sample-data/owner --format csv --out lives.csv\n  \
                      wearcast lives sample-data/owner --print-sql"
    )]
    Lives(LivesArgs),
    /// Life models and wear factors for each part family
    #[command(after_help = "Example: wearcast fit sample-data/owner --family conveyor-chain")]
    Fit(FitArgs),
    /// Remaining life of every part now in service
    #[command(after_help = "Example: wearcast remaining sample-data/owner --machine \"north rig\"")]
    Remaining(RemainingArgs),
    /// Next season's replacements, money and cost per acre
    #[command(after_help = "Example: wearcast budget sample-data/owner --out budget.xlsx")]
    #[command(mut_arg("out", |arg| arg.help(OUT_AS_WORKBOOK)))]
    Budget(Shared),
    /// One page with pictures: the season's money, what to change now, and what it rests on
    #[command(
        after_help = "Examples:\n  wearcast report sample-data/owner --out page.html\n  \
                      wearcast report sample-data/owner --figures pictures"
    )]
    #[command(mut_arg("format", |arg| arg.hide(true)))]
    #[command(mut_arg("out", |arg| arg.help("Write the page to this file (.html)")))]
    Report(ReportArgs),
    /// What the parts desk should hold and order, for the machines of its customers
    #[command(after_help = "Example: wearcast stock sample-data/owner --out order.xlsx")]
    #[command(mut_arg("out", |arg| arg.help(OUT_AS_WORKBOOK)))]
    Stock(Shared),
    /// The part families known: what a life is, what is assumed of it, and where that comes from
    #[command(
        after_help = "Examples:\n  wearcast models\n  wearcast models spinner-fin\n  \
                            wearcast models --validate my-models/gate-seal.toml"
    )]
    Models(ModelsArgs),
    /// Wear and cost side by side: products, machines, materials, sites, any column
    #[command(
        after_help = "Examples:\n  wearcast compare sample-data/owner --by product\n  \
                            wearcast compare sample-data/owner --by material --family conveyor-chain\n  \
                            wearcast compare sample-data/owner --by machines.oiling"
    )]
    Compare(CompareArgs),
    /// Forecast past seasons from the records before them, and score the forecasts
    #[command(after_help = "Example: wearcast backtest sample-data/owner --season 2026")]
    Backtest(Shared),
    /// Bring use and meter readings in from files of open standards
    #[command(
        after_help = "Examples:\n  wearcast import taskdata TASKDATA --into my-records\n  \
                            wearcast import taskdata TASKDATA.zip --into my-records --dry-run"
    )]
    Import(ImportArgs),
    /// Print a script that lets your shell complete commands and options
    #[command(
        after_help = "Example: wearcast completions bash > ~/.local/share/bash-completion/completions/wearcast"
    )]
    Completions(CompletionsArgs),
    /// Write manual pages, one for each command
    #[command(after_help = "Example: wearcast man ~/.local/share/man/man1")]
    Man(ManArgs),
}

#[derive(Clone, Debug, clap::Args)]
pub(super) struct CompletionsArgs {
    /// The shell
    #[arg(value_enum, value_name = "SHELL")]
    pub(super) shell: clap_complete::Shell,
}

#[derive(Clone, Debug, clap::Args)]
pub(super) struct ManArgs {
    /// The folder to write into; made where there is none
    #[arg(value_name = "DIR")]
    pub(super) dir: PathBuf,
    /// Replace files of the same name
    #[arg(long)]
    pub(super) force: bool,
}

#[derive(Clone, Debug, clap::Args)]
pub(super) struct StartArgs {
    /// The folder to write into; made where there is none
    #[arg(value_name = "DIR")]
    pub(super) dir: PathBuf,
    /// Invented records to try out, in place of an empty workbook
    #[arg(long, value_name = "NAME", value_parser = PossibleValuesParser::new(super::start::sample_names()))]
    pub(super) example: Option<String>,
    /// No rows that show how
    #[arg(long, conflicts_with = "example")]
    pub(super) no_examples: bool,
    /// Replace files of the same name
    #[arg(long)]
    pub(super) force: bool,
}

/// What can be imported.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(super) enum ImportKind {
    /// ISO 11783-10 task data: what was spread, by machine, day, product and bin
    Taskdata,
    /// ISO 15143-3 telematics feeds: engine hours and distance of machines, as meter readings
    Telematics,
}

/// What rows of two bins in one pass carry.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(super) enum TwoBinsChoice {
    /// Each the acres and hours of the whole pass
    Whole,
    /// Each its share of them by tons, so that rows add up
    Shared,
}

#[derive(Clone, Debug, clap::Args)]
pub(super) struct ImportArgs {
    /// What the files are
    #[arg(value_enum, value_name = "KIND")]
    pub(super) kind: ImportKind,
    /// A folder, a zip archive or a file
    #[arg(value_name = "PATH")]
    pub(super) path: PathBuf,
    /// The records folder to add to
    #[arg(long, value_name = "DIR")]
    pub(super) into: PathBuf,
    #[command(flatten)]
    pub(super) target: Target,
    /// Task data: what the rows of two bins that work in one pass carry
    #[arg(long, value_enum, value_name = "HOW", default_value = "whole")]
    pub(super) two_bins: TwoBinsChoice,
    /// End well although names are not matched or files have problems; their rows are still listed and counted
    #[arg(long)]
    pub(super) set_aside: bool,
    /// Only say what would be done
    #[arg(long)]
    pub(super) dry_run: bool,
}

/// What is done before the season.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(super) enum PolicyChoice {
    /// Change nothing that is not worn or due
    Run,
    /// First every replacement that `remaining` advises, its cost counted
    Advised,
}

/// The form of a result on the screen.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(super) enum Format {
    /// For people
    Table,
    /// For programs, the whole result
    Json,
    /// For spreadsheet programs, one table
    Csv,
}

#[derive(Clone, Debug, clap::Args)]
pub(super) struct Shared {
    /// The records folder
    #[arg(value_name = "DIR")]
    pub(super) dir: PathBuf,
    #[command(flatten)]
    pub(super) choices: Choices,
}

#[derive(Clone, Debug, clap::Args)]
pub(super) struct LivesArgs {
    #[command(flatten)]
    pub(super) shared: Shared,
    /// Print the SQL that makes the file of `--usage-sums` from the tables of these records, and
    /// nothing else
    #[arg(long, conflicts_with_all = ["usage_sums", "format", "out"])]
    pub(super) print_sql: bool,
}

#[derive(Clone, Debug, clap::Args)]
pub(super) struct CompareArgs {
    #[command(flatten)]
    pub(super) shared: Shared,
    /// `product`, `machine`, or any column of machines, positions or parts, also one of your own
    #[arg(long, value_name = "COLUMN")]
    pub(super) by: String,
}

#[derive(Clone, Debug, clap::Args)]
pub(super) struct FitArgs {
    /// The records folder
    #[arg(value_name = "DIR", required_unless_present = "lives")]
    pub(super) dir: Option<PathBuf>,
    /// A bare table of lives in place of the records folder (csv, parquet, xlsx, or json as `lives`
    /// writes it)
    #[arg(long, value_name = "FILE", conflicts_with = "dir")]
    pub(super) lives: Option<PathBuf>,
    #[command(flatten)]
    pub(super) choices: Choices,
}

#[derive(Clone, Debug, clap::Args)]
pub(super) struct RemainingArgs {
    /// The records folder
    #[arg(value_name = "DIR", required_unless_present = "lives")]
    pub(super) dir: Option<PathBuf>,
    /// A bare table of lives in place of the records folder (csv, parquet, xlsx, or json as `lives`
    /// writes it)
    #[arg(long, value_name = "FILE", conflicts_with = "dir", requires = "ages")]
    pub(super) lives: Option<PathBuf>,
    /// A bare table of the ages of parts in service, beside `--lives`
    #[arg(long, value_name = "FILE", requires = "lives")]
    pub(super) ages: Option<PathBuf>,
    #[command(flatten)]
    pub(super) choices: Choices,
}

#[derive(Clone, Debug, clap::Args)]
pub(super) struct ReportArgs {
    /// The records folder
    #[arg(value_name = "DIR")]
    pub(super) dir: PathBuf,
    /// Write each picture as an SVG file into this folder; the page only where `--out` names it
    #[arg(long, value_name = "FOLDER")]
    pub(super) figures: Option<PathBuf>,
    #[command(flatten)]
    pub(super) choices: Choices,
}

#[derive(Clone, Debug, clap::Args)]
pub(super) struct ModelsArgs {
    /// Explain this family in full
    #[arg(value_name = "NAME")]
    pub(super) name: Option<String>,
    /// Print the family's model file, to be changed and saved in `models` of your records
    #[arg(long, requires = "name", conflicts_with_all = ["models", "format", "out", "force"])]
    pub(super) file: bool,
    /// A folder with more family files
    #[arg(long, value_name = "DIR")]
    pub(super) models: Option<PathBuf>,
    /// Only say whether these model files are valid, and what is wrong where they are not
    #[arg(
        long,
        value_name = "FILE",
        num_args = 1..,
        conflicts_with_all = ["name", "models", "format", "out", "force"]
    )]
    pub(super) validate: Vec<PathBuf>,
    #[command(flatten)]
    pub(super) target: Target,
}

/// Where a result goes, and in which form.
#[derive(Clone, Debug, clap::Args)]
pub(super) struct Target {
    /// The form of the result
    #[arg(long, value_enum, default_value = "table")]
    pub(super) format: Format,
    /// Write the result to this file; its extension says the form (.csv, .json, .txt)
    #[arg(long, value_name = "FILE")]
    pub(super) out: Option<PathBuf>,
    /// Replace the file of `--out` where there is one
    #[arg(long)]
    pub(super) force: bool,
}

impl AsRef<Self> for Target {
    fn as_ref(&self) -> &Self {
        self
    }
}

impl AsRef<Target> for Choices {
    fn as_ref(&self) -> &Target {
        &self.target
    }
}

#[derive(Clone, Debug, clap::Args)]
pub(super) struct Choices {
    #[command(flatten)]
    pub(super) target: Target,
    /// Treat records after this date as not yet known [default: the last date in the records]
    #[arg(long, value_name = "DATE", value_parser = date)]
    pub(super) as_of: Option<NaiveDate>,
    /// Daily sums of use in place of the usage log (csv, parquet or a folder of it): `date`,
    /// `machine`, `group`, `bin`, and amounts as in the log
    #[arg(long, value_name = "FILE")]
    pub(super) usage_sums: Option<PathBuf>,
    /// The season that ends in this year [default: the first that ends after the as-of date]
    #[arg(long, value_name = "YEAR", value_parser = clap::value_parser!(i32).range(1900..2200))]
    pub(super) season: Option<i32>,
    /// Only this family (can be repeated)
    #[arg(long, value_name = "NAME")]
    pub(super) family: Vec<String>,
    /// Only this machine (can be repeated)
    #[arg(long, value_name = "NAME")]
    pub(super) machine: Vec<String>,
    /// Use the records alone: maximum likelihood, and no prior
    #[arg(long)]
    pub(super) no_priors: bool,
    /// Take all machines as alike: no effect of its own for each
    #[arg(long)]
    pub(super) no_machine_effect: bool,
    /// What is done before the season: nothing, or first every replacement that is advised
    #[arg(long, value_enum, default_value = "run")]
    pub(super) policy: PolicyChoice,
    /// The product group whose wear factor is 1, and which model files tell the life of
    #[arg(long, value_name = "GROUP")]
    pub(super) reference: Option<String>,
    /// Width of every interval
    #[arg(long, value_name = "SHARE", default_value = "0.9", value_parser = level)]
    pub(super) level: f64,
    /// Seed of the random numbers
    #[arg(long, value_name = "N", default_value = "1")]
    pub(super) seed: u64,
    /// A folder with more family files
    #[arg(long, value_name = "DIR")]
    pub(super) models: Option<PathBuf>,
    /// Go on without the rows that have problems
    #[arg(long)]
    pub(super) set_aside: bool,
}

fn date(text: &str) -> Result<NaiveDate, String> {
    let bytes = text.as_bytes();
    let is_mark = |i: usize| i == 4 || i == 7;
    let strict = bytes.len() == 10
        && (0..10)
            .all(|i| is_mark(i) == (bytes[i] == b'-') && (is_mark(i) || bytes[i].is_ascii_digit()));
    NaiveDate::parse_from_str(text, "%Y-%m-%d")
        .ok()
        .filter(|date| strict && (1900..2200).contains(&date.year()))
        .ok_or_else(|| "expected a date such as 2026-11-30".to_owned())
}

fn level(text: &str) -> Result<f64, String> {
    text.parse()
        .ok()
        .filter(|level| 0.0 < *level && *level < 1.0)
        .ok_or_else(|| "expected a number between 0 and 1 such as 0.9".to_owned())
}
