//! What a workbook's formulas come to at the multiples of the plan that were played, so that its
//! figures there are those of the plays.

use crate::forecast::replay::Replay;
use crate::forecast::summary::quantile;
use crate::report::BudgetReport;
use crate::report::live::{Live, Place};
use crate::units::Measure;

/// What places add up to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Sum {
    Money,
    /// Field hours lost.
    DownHours,
}

/// Works out, as the workbook's formulas will, what the tables come to at a scale.
pub(super) struct Reckoner<'a> {
    pub(super) live: &'a Live,
    pub(super) report: &'a BudgetReport,
}

impl Reckoner<'_> {
    /// Expected money, or field hours, of a place at a scale.
    fn expected(&self, place: &Place, at: usize, sum: Sum) -> f64 {
        let line = &self.live.lines[place.line];
        let scale = self.live.scales[at];
        let failures = place.worn[at] + place.damage * scale_of(place.clock, scale);
        if sum == Sum::DownHours {
            return failures * line.down_hours.unwrap_or(0.0);
        }
        let singles = scale_of(place.clock, scale);
        let fixed = place.decided + place.due(scale_of(place.measure, scale));
        let pieces = (failures + fixed) * place.pieces + place.single_pieces * singles;
        let jobs = failures + place.singles * singles + fixed * place.jobs_each;
        let price = self.report.lines[place.line].price.unwrap_or(0.0);
        pieces * price + jobs * self.job(place)
    }

    fn job(&self, place: &Place) -> f64 {
        let hours = self.live.lines[place.line].labor_hours;
        self.live
            .labor_rate
            .zip(hours)
            .map_or(0.0, |(rate, hours)| rate * hours)
    }

    /// Standard deviation of the same.
    fn sd(&self, place: &Place, at: usize, sum: Sum) -> f64 {
        let line = &self.live.lines[place.line];
        let each = match sum {
            Sum::Money => {
                let price = self.report.lines[place.line].price.unwrap_or(0.0);
                place.pieces * price + self.job(place)
            }
            Sum::DownHours => line.down_hours.unwrap_or(0.0),
        };
        place.sd[at] * each
    }

    fn spread(&self, at: usize, sum: Sum, keep: impl Fn(&Place) -> bool) -> f64 {
        let places = self.live.places.iter().filter(|p| keep(p));
        places
            .map(|p| self.sd(p, at, sum).powi(2))
            .sum::<f64>()
            .sqrt()
    }

    /// By scale, how many spreads a quantile of the replay lies above the expectation; where it lies
    /// below, what share of the expectation it lacks, as a negative number.
    ///
    /// Dearer parts scatter more money than they add to a mild season's, so that so many spreads below
    /// the expectation would be less for a higher price. A share of it never is.
    ///
    /// - `samples`: of each replay, ascending; of the places for which `keep` holds.
    pub(super) fn spreads(
        &self,
        replays: &[Replay],
        share: f64,
        sum: Sum,
        samples: impl Fn(&Replay) -> Vec<f64>,
        keep: impl Fn(&Place) -> bool,
    ) -> Vec<f64> {
        let of = |(at, replay): (usize, &Replay)| {
            let places = self.live.places.iter().filter(|p| keep(p));
            let expected: f64 = places.map(|p| self.expected(p, at, sum)).sum();
            let spread = self.spread(at, sum, &keep);
            if spread <= 0.0 {
                return 0.0;
            }
            let beyond = quantile(&samples(replay), share) - expected;
            if 0.0 <= beyond || expected <= 0.0 {
                beyond.max(0.0) / spread
            } else {
                (beyond / expected).max(-1.0)
            }
        };
        replays.iter().enumerate().map(of).collect()
    }

    /// What each product's share is over its share by mean factors alone.
    pub(super) fn products(&self) -> Vec<f64> {
        let by_factors = self.live.shares(self.report, |p| {
            self.expected(p, self.live.at_plan(), Sum::Money)
        });
        self.report
            .products
            .iter()
            .zip(by_factors)
            // Where some price is not known yet, what is known is shared out alike.
            .map(
                |(product, share)| match product.cost.unwrap_or(product.known_cost) {
                    cost if 0.0 < share => cost / share,
                    _ => 1.0,
                },
            )
            .collect()
    }
}

/// The calendar does not follow the plan.
fn scale_of(measure: Measure, scale: f64) -> f64 {
    if measure == Measure::Days { 1.0 } else { scale }
}
