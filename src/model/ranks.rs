//! Ranks of wear-outs as shares: where each belongs on a probability plot (plotting positions).

use statrs::distribution::{Beta, Continuous, ContinuousCDF};

/// Ranks of wear-outs among censored lives: each takes its share of the ranks that are left.
///
/// - `at_risk`: lives still in service just before each wear-out, one entry a wear-out, in order.
/// - `lives`: all lives, each seen from new.
///
/// `rank += (lives + 1 - rank) / (1 + at risk)`.
///
/// # Source
/// Johnson, *The Statistical Treatment of Fatigue Experiments* (1964); USAF *Weibull Analysis
/// Handbook*, AFWAL-TR-83-2079 (1983).
#[must_use]
pub fn adjusted(at_risk: &[f64], lives: f64) -> Vec<f64> {
    let mut rank = 0.0;
    at_risk
        .iter()
        .map(|risk| {
            rank += (lives + 1.0 - rank) / (1.0 + risk);
            rank
        })
        .collect()
}

/// The share worn out at a rank: quantile `p` of `Beta(rank, lives + 1 - rank)`, the exact median
/// rank at `p = 0.5`; `None` for a rank outside 0 .. `lives + 1`.
///
/// # Source
/// The distribution of an order statistic of uniform variables: Johnson, Kotz & Balakrishnan,
/// *Continuous Univariate Distributions*, vol. 2 (1995), chapter 25.
#[must_use]
pub fn share(rank: f64, lives: f64, p: f64) -> Option<f64> {
    let beta = Beta::new(rank, lives + 1.0 - rank).ok()?;
    let mut x = beta.inverse_cdf(p);
    // Newton steps sharpen what bisection leaves.
    for _ in 0..4 {
        let step = (beta.cdf(x) - p) / beta.pdf(x);
        if !step.is_finite() || x - step <= 0.0 || 1.0 <= x - step {
            break;
        }
        x -= step;
    }
    Some(x)
}
