//! A probability plot as data: axes on which lives of the distribution lie on a straight line.

use crate::model::Distribution;

/// Where the probability of a point comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Position {
    /// Exact median ranks, adjusted for censored lives.
    MedianRank,
    /// The middle of the fall of the survival estimate.
    MiddleOfFall,
}

/// One point: a wear-out, several at one exposure, or a stretch in which some lie.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ProbabilityPoint {
    /// It lies above this effective exposure ..
    pub low: f64,
    /// .. and not above this one.
    pub high: f64,
    /// Share worn out to plot it at.
    pub probability: f64,
    /// Lower limit of the share worn out by `high`.
    pub probability_low: Option<f64>,
    /// Upper limit of the share worn out by `high`.
    pub probability_high: Option<f64>,
}

/// The plot.
#[derive(Clone, Debug, PartialEq)]
pub struct ProbabilityPlot {
    /// Whose axes.
    pub distribution: Distribution,
    /// Where the probabilities of the points come from.
    pub position: Position,
    /// Every share is of lives still good at this exposure; 0 for all from new.
    pub start: f64,
    /// The lives.
    pub points: Vec<ProbabilityPoint>,
    /// The fit: exposure and share worn out; empty where there is none.
    pub line: Vec<(f64, f64)>,
}

impl ProbabilityPlot {
    /// Place of an exposure along the plot.
    #[must_use]
    pub fn across(exposure: f64) -> f64 {
        exposure.ln()
    }

    /// Height of a share on the plot: `ln(-ln(1 - p))` for a Weibull life, the normal quantile for a
    /// lognormal one.
    #[must_use]
    pub fn height(&self, probability: f64) -> f64 {
        self.distribution.inverse(-(-probability).ln_1p())
    }
}
