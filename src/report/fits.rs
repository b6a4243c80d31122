//! Life models and wear factors.

use super::probability::ProbabilityPlot;
use super::{Estimate, Header};
use crate::family::Counted;
use crate::model::Distribution;
use crate::model::assess::Counts;
use crate::model::goodness::Goodness;
use crate::model::health::Sampler;
use crate::model::nonparametric::Survival;
use crate::units::{Measure, Units};

/// Every family fitted.
#[derive(Clone, Debug, PartialEq)]
pub struct FitsReport {
    /// What every result says.
    pub header: Header,
    /// Units for people.
    pub units: Units,
    /// Whether parts of unknown age count, as they do in a forecast.
    pub with_found: bool,
    /// By family.
    pub families: Vec<FitLine>,
}

/// One family fitted; what is `None` the records cannot tell.
#[derive(Clone, Debug, PartialEq)]
pub struct FitLine {
    /// Family.
    pub family: String,
    /// Words for people.
    pub description: String,
    /// What a life is measured in; `None` where a bare table does not say.
    pub measure: Option<Measure>,
    /// What a life is a life of.
    pub counted: Counted,
    /// The life distribution.
    pub distribution: Distribution,
    /// How many lives of which sort.
    pub counts: Counts,
    /// The product group whose factor is 1; `None` for calendar days.
    pub reference_group: Option<String>,
    /// Shape.
    pub shape: Option<Estimate>,
    /// Scale.
    pub scale: Option<Estimate>,
    /// Life by which 10 % have worn out.
    pub life10: Option<Estimate>,
    /// Life by which half have worn out.
    pub life50: Option<Estimate>,
    /// Mean life.
    pub mean_life: Option<Estimate>,
    /// Wear factors of the other groups.
    pub factors: Vec<FactorLine>,
    /// Log-likelihood at the estimate.
    pub log_likelihood: Option<f64>,
    /// Whether the prior counts.
    pub priors: bool,
    /// With no wear-out: the median life is at least this.
    pub at_least: Option<f64>,
    /// Spread of machines in log life; `None` where they are taken as alike.
    pub machine_spread: Option<Estimate>,
    /// Each machine's life against the typical machine's; empty where they are taken as alike.
    pub machines: Vec<MachineEffect>,
    /// How many independent draws one posterior draw is worth.
    pub effective_share: Option<f64>,
    /// Which sampler made the posterior draws.
    pub sampler: Option<Sampler>,
    /// Wear-outs more that would about halve the interval of the median life.
    pub wear_outs_to_halve: Option<f64>,
    /// How well the fit agrees with its lives, in figures and words.
    pub goodness: Goodness,
    /// Survival along effective exposure without a distribution.
    pub survival: Survival,
    /// The fit against that survival; `None` without a wear-out.
    pub plot: Option<ProbabilityPlot>,
}

/// What one machine does to life.
#[derive(Clone, Debug, PartialEq)]
pub struct MachineEffect {
    /// Machine.
    pub machine: String,
    /// Its life over the life on a typical machine, shrunk towards 1 by how little is known.
    pub life_ratio: Estimate,
}

/// A wear factor.
#[derive(Clone, Debug, PartialEq)]
pub struct FactorLine {
    /// Product group.
    pub group: String,
    /// Wear per unit of use, against the reference group.
    pub factor: Option<Estimate>,
    /// Likelihood-ratio p-value of the factor being 1.
    pub p_value: Option<f64>,
}

/// Whether an interval and a p-value of the factor being 1 say opposite things: the p-value takes all
/// machines as alike and knows no prior, the interval may do otherwise.
#[must_use]
pub fn at_odds(factor: &Estimate, p_value: f64) -> bool {
    let low = factor.low.unwrap_or(0.0);
    let high = factor.high.unwrap_or(f64::INFINITY);
    if low <= 1.0 && 1.0 <= high {
        p_value < 0.01
    } else {
        0.1 < p_value
    }
}
