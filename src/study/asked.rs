//! What a user asked for, and why a question may have no answer.

use chrono::NaiveDate;

use crate::wear::UnknownGroup;

/// What a user asked for, beside the question itself.
#[derive(Clone, Debug, PartialEq)]
pub struct Options {
    /// Records after this date are not yet known; `None`: the last date in the records.
    pub as_of: Option<NaiveDate>,
    /// The season that ends in this year; `None`: the first that ends after the as-of date.
    pub season: Option<i32>,
    /// The product group whose wear factor is 1; `None`: as the settings say, or the most used.
    pub reference: Option<String>,
    /// Whether the families' priors count.
    pub priors: bool,
    /// Whether machines may differ.
    pub machine_effect: bool,
    /// Share of cases in which an interval holds the truth: 0.9.
    pub level: f64,
    /// Seed of the random numbers.
    pub seed: u64,
    /// What is done before the season.
    pub policy: Policy,
    /// Only these families; empty for all.
    pub families: Vec<String>,
    /// Only these machines; empty for all.
    pub machines: Vec<String>,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            as_of: None,
            season: None,
            reference: None,
            priors: true,
            machine_effect: true,
            level: 0.9,
            seed: 1,
            policy: Policy::Run,
            families: Vec::new(),
            machines: Vec::new(),
        }
    }
}

/// What is done before the season.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Policy {
    /// Nothing is changed that is not worn or due.
    Run,
    /// First every replacement that is advised.
    Advised,
}

impl Policy {
    /// The word on the command line and in JSON.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Run => "run",
            Self::Advised => "advised",
        }
    }
}

/// Why a question has no answer.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum StudyError {
    /// The reference group is not in the records.
    #[error(transparent)]
    Group(#[from] UnknownGroup),
    /// A filter names something the records do not know.
    #[error("no {what} is called `{name}`; the records know: {known}")]
    Filter {
        /// `family` or `machine`.
        what: &'static str,
        /// What was asked for.
        name: String,
        /// What there is.
        known: String,
    },
    /// Lives are to be told apart by a column that the records do not hold.
    #[error("no column is called `{name}`; lives can be compared by: {known}")]
    Column {
        /// What was asked for.
        name: String,
        /// What there is.
        known: String,
    },
    /// A comparison by a column of rows that a life sees many of.
    #[error(
        "`{name}` is a column of {table}, and a life sees many rows of it; lives can be compared by: {known}"
    )]
    OfRows {
        /// What was asked for.
        name: String,
        /// The table it is in.
        table: &'static str,
        /// The columns there are.
        known: String,
    },
    /// The season asked for is over on the as-of date.
    #[error(
        "season {season} is over on {as_of}; ask for a later `--season`, or an earlier `--as-of`"
    )]
    SeasonOver {
        /// The season.
        season: i32,
        /// The as-of date.
        as_of: NaiveDate,
    },
    /// The records are sound, but do not hold enough.
    #[error("{0}")]
    TooThin(String),
}
