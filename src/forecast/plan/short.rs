//! Plans that are far below what was done before: most likely some rows are missing.

use super::Planner;
use super::again::Kind;
use crate::record::{Machine, PlanRow};
use crate::units::Measure;

impl Planner<'_> {
    /// What share the plan of a whole season is of the machine's last full one, and by which measure, where it is
    /// less than half.
    pub(super) fn short(&self, machine: &Machine, rows: &[&PlanRow]) -> Option<(Measure, f64)> {
        let (past, kind) = self.last_season(machine)?;
        if !matches!(kind, Kind::Full) {
            return None;
        }
        let past = self.months_of(self.days_of(machine, past));
        let shares = [Measure::Acres, Measure::Tons, Measure::Hours].map(|measure| {
            let planned: Option<f64> = rows.iter().map(|r| r.amounts.get(measure)).sum();
            let done: Option<f64> = past.values().map(|a| a.get(measure)).sum();
            Some((measure, planned? / done.filter(|done| 0.0 < *done)?))
        });
        let known = shares.into_iter().flatten().next();
        known.filter(|(_, share)| *share < 0.5)
    }
}
