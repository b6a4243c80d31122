//! Scores of forecasts against what happened. Smaller is better for every score but coverage.

pub mod calibration;

pub use calibration::{Calibration, Placing};

use crate::forecast::summary::Forecast;

/// Continuous ranked probability score of equally probable samples, in the unit of the samples.
///
/// - `sorted`: ascending, at least one.
/// - Result: `E|X - y| - E|X - X'| / 2`, the integral of `(F(x) - 1{y <= x})^2` over all x. Summed
///   from the gaps between samples, it is never negative, and for a single sample it is exactly
///   the absolute error; [`of_point`] is that of a budget given as one figure.
///
/// # Source
/// Gneiting & Raftery, Strictly proper scoring rules, prediction, and estimation, Journal of the
/// American Statistical Association 102 (2007), equations 20 and 21.
///
/// # Panics
/// Where there is no sample.
#[must_use]
pub fn crps(sorted: &[f64], actual: f64) -> f64 {
    debug_assert!(sorted.is_sorted(), "samples are sorted");
    let (first, last) = (sorted[0], sorted[sorted.len() - 1]);
    let n = sorted.len() as f64;
    let outside = (first - actual).max(0.0) + (actual - last).max(0.0);
    let gaps = sorted.windows(2).enumerate().map(|(k, gap)| {
        let share = (k + 1) as f64 / n;
        let split = actual.clamp(gap[0], gap[1]);
        share.powi(2) * (split - gap[0]) + (1.0 - share).powi(2) * (gap[1] - split)
    });
    outside + gaps.sum::<f64>()
}

/// The score of a budget given as one figure: its absolute error.
#[must_use]
pub fn of_point(forecast: f64, actual: f64) -> f64 {
    (actual - forecast).abs()
}

/// Share of outcomes within their intervals, ends included; `None` of none.
#[must_use]
pub fn coverage(inside: impl IntoIterator<Item = bool>) -> Option<f64> {
    let (n, held) = inside
        .into_iter()
        .fold((0.0, 0.0), |(n, held), is| (n + 1.0, held + f64::from(is)));
    (0.0 < n).then(|| held / n)
}

/// One forecast and what happened, beside two budgets that need no model.
#[derive(Clone, Debug, PartialEq)]
pub struct Scored {
    /// The forecast.
    pub forecast: Forecast,
    /// What happened.
    pub actual: f64,
    /// The budget 'as last season'.
    pub last_season: f64,
    /// The budget 'as the average of the seasons so far'.
    pub average: f64,
    /// Score of the forecast.
    pub crps: f64,
    /// Score of 'as last season'.
    pub crps_last_season: f64,
    /// Score of the average.
    pub crps_average: f64,
    /// Whether it lies from the forecast's p10 to its p90.
    pub inside_80: bool,
    /// Where in the forecast it lies.
    pub placing: Placing,
}

impl Scored {
    /// Scores equally probable samples, in any order.
    ///
    /// # Panics
    /// Where there is no sample.
    #[must_use]
    pub fn of(samples: &[f64], actual: f64, last_season: f64, average: f64) -> Self {
        let mut sorted = samples.to_vec();
        sorted.sort_unstable_by(f64::total_cmp);
        let forecast = Forecast::of(&sorted);
        Self {
            forecast,
            actual,
            last_season,
            average,
            crps: crps(&sorted, actual),
            crps_last_season: of_point(last_season, actual),
            crps_average: of_point(average, actual),
            inside_80: forecast.p10 <= actual && actual <= forecast.p90,
            placing: Placing::of(&sorted, actual),
        }
    }
}

/// Forecasts of one unit taken together.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Score {
    /// Forecasts.
    pub forecasts: usize,
    /// Sum of what was expected; `None` of none.
    pub expected: Option<f64>,
    /// Sum of what happened; `None` of none.
    pub actual: Option<f64>,
    /// Share of outcomes from p10 to p90; `None` of none.
    pub inside_80: Option<f64>,
    /// `1 - sum of scores / sum of scores of 'as last season'`: 0 no better, 1 perfect, below 0
    /// worse; `None` where last season was right every time.
    pub skill_over_last_season: Option<f64>,
    /// The same over the average of the seasons so far.
    pub skill_over_average: Option<f64>,
}

impl Score {
    /// Sums up forecasts of one unit.
    #[must_use]
    pub fn of(scored: &[&Scored]) -> Self {
        let sum = |pick: fn(&Scored) -> f64| scored.iter().map(|s| pick(s)).sum::<f64>();
        let some = !scored.is_empty();
        let skill = |other: f64| (0.0 < other).then(|| 1.0 - sum(|s| s.crps) / other);
        Self {
            forecasts: scored.len(),
            expected: some.then(|| sum(|s| s.forecast.expected)),
            actual: some.then(|| sum(|s| s.actual)),
            inside_80: coverage(scored.iter().map(|s| s.inside_80)),
            skill_over_last_season: skill(sum(|s| s.crps_last_season)),
            skill_over_average: skill(sum(|s| s.crps_average)),
        }
    }
}
