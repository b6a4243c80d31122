//! Forecasts of past seasons beside what happened.

use super::Header;
use crate::score::{Calibration, Score, Scored};

/// The family of the rows that hold money.
pub const TOTAL: &str = "TOTAL";

/// Past seasons forecast and scored.
#[derive(Clone, Debug, PartialEq)]
pub struct BacktestReport {
    /// What every result says.
    pub header: Header,
    /// Currency sign or code.
    pub currency: String,
    /// By season, then family; the money of a season last.
    pub rows: Vec<BacktestRow>,
    /// Replacements, family by family.
    pub families: Vec<FamilyScore>,
    /// Replacements of all families together.
    pub replacements: Score,
    /// Money of all seasons together.
    pub money: Score,
    /// Outcomes of the families' rows against their forecasts.
    pub calibration: Calibration,
    /// The same of the money.
    pub money_calibration: Calibration,
}

/// One season of one family, or its money.
#[derive(Clone, Debug, PartialEq)]
pub struct BacktestRow {
    /// The season that ends in this year.
    pub season: i32,
    /// Family; `None`: money for everything.
    pub family: Option<String>,
    /// Forecast and outcome: replacements, or money; `None` where no price is known, or where nobody
    /// ever wrote down whether scheduled work was done.
    pub scored: Option<Scored>,
}

impl BacktestRow {
    /// The family's name, or [`TOTAL`].
    #[must_use]
    pub fn name(&self) -> &str {
        self.family.as_deref().unwrap_or(TOTAL)
    }
}

/// All seasons of one family.
#[derive(Clone, Debug, PartialEq)]
pub struct FamilyScore {
    /// Family.
    pub family: String,
    /// Its seasons together.
    pub score: Score,
}
