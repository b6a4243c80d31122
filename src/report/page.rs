//! Everything the page shows: the season's money, the parts in service, their lives, past forecasts.

use super::BudgetReport;
use super::backtest::BacktestReport;
use super::fits::FitsReport;
use super::remaining::RemainingReport;

/// The results that stand together on one page, all from one look at the records.
#[derive(Clone, Debug, PartialEq)]
pub struct PageReport {
    /// The season's money.
    pub budget: BudgetReport,
    /// The parts in service, and what to change now.
    pub remaining: RemainingReport,
    /// The life models that the two rest on: of all machines, whichever are asked for.
    pub fits: FitsReport,
    /// Past seasons forecast and scored, or why there is none.
    pub past: Result<BacktestReport, String>,
}
