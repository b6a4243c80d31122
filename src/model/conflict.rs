//! Whether the records contradict the prior: said in words, since the posterior is then a compromise
//! that neither of the two supports.

use super::anchor::{Anchored, Normal};
use super::newton::{self, Maximum};

/// Distance from which records and prior are said to contradict each other, in standard deviations:
/// about 1 family in 20 would be called so where nothing is wrong.
pub const FAR: f64 = 2.0;

/// Records and the prior of one parameter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Conflict {
    /// Distance of the two in standard deviations of both together; negative where the records speak
    /// for a smaller value.
    pub distance: f64,
    /// The parameter that the records are most probable with, the other priors counting.
    pub records: f64,
    /// Its prior's mean.
    pub prior: f64,
}

impl Conflict {
    /// Whether they are far apart.
    #[must_use]
    pub fn is_far(self) -> bool {
        FAR < self.distance.abs()
    }
}

/// How far the records are from the prior of parameter `index`; `None` where it has none or where
/// the records alone lead nowhere.
///
/// With `l` the log-likelihood and the other priors, and `z` the distance from this prior's mean in
/// its standard deviations,
///
/// ```text
/// distance^2 = 2 * (max l - max(l - z^2 / 2))
/// ```
///
/// For a normal likelihood this is the squared gap of the two over the sum of their variances: Box's
/// prior predictive check, "Sampling and Bayes' inference in scientific modelling and robustness",
/// JRSS A 143 (1980).
///
/// - `guard`: stands in for the prior in the first maximum, so wide that it only keeps it finite.
/// - `mode`: the most probable point with every prior.
#[must_use]
pub fn with_prior(
    objective: &Anchored<'_>,
    index: usize,
    guard: Normal,
    mode: &Maximum,
    free: &[bool],
) -> Option<Conflict> {
    let prior = (*objective.priors.get(index)?)?;
    if !free[index] {
        return None;
    }
    let mut without = objective.clone();
    without.priors[index] = Some(guard);
    let peak = newton::maximize(&without, &mode.theta, free).ok()?;
    let records = peak.theta[index];
    let guarded = (records - guard.mean) / guard.sd;
    let most = peak.derivatives.value + guarded * guarded / 2.0;
    let square = 2.0 * (most - mode.derivatives.value);
    Some(Conflict {
        distance: square.max(0.0).sqrt().copysign(records - prior.mean),
        records,
        prior: prior.mean,
    })
}
