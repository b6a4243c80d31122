//! Cox-Snell residuals: lives on the scale of their own cumulative hazard, where they are unit
//! exponential if the fit is right.

use crate::model::kernel::Distribution;
use crate::model::observations::{End, Observations};
use crate::model::wear_factors;
use crate::wear::effective;

/// A life on the scale of the cumulative hazard `H`; a censored one stays censored, an interval an
/// interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Residual {
    /// `H` at entry.
    pub entry: f64,
    /// `H` when last known good.
    pub low: f64,
    /// `H` at the end less `H` when last known good; exact for narrow intervals.
    pub rise: f64,
    /// How the end is known.
    pub known: End,
    /// This many lives are alike.
    pub count: f64,
}

impl Residual {
    /// Wear-outs that the fit expects while the life was watched: `H` where it ended less `H` at entry,
    /// and of an interval the mean over it. Over all lives of a most likely Weibull or exponential fit
    /// they add up to the wear-outs seen.
    ///
    /// # Source
    /// Lagakos (1981), *Biometrika* 68:93, for interval-censored lives (from memory): the mean of a
    /// unit exponential between two limits.
    #[must_use]
    pub fn at_risk(&self) -> f64 {
        let end = match self.known {
            End::Between if 0.0 < self.rise => 1.0 - self.rise / self.rise.exp_m1(),
            _ => self.rise,
        };
        self.low + end - self.entry
    }
}

/// The residuals at `theta`, in the order of the lives.
///
/// # Source
/// Cox & Snell (1968), J. R. Stat. Soc. B 30:248.
#[must_use]
pub fn residuals(distribution: Distribution, theta: &[f64], lives: &Observations) -> Vec<Residual> {
    let scale = Scale::new(distribution, theta);
    tracks(theta, lives)
        .iter()
        .enumerate()
        .map(|(i, track)| scale.residual(track, lives.known[i], lives.count[i]))
        .collect()
}

/// A life along effective exposure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Track {
    pub entry: f64,
    pub low: f64,
    /// End less low.
    pub step: f64,
}

/// The lives at the wear factors of `theta`.
pub(super) fn tracks(theta: &[f64], lives: &Observations) -> Vec<Track> {
    let n = lives.n_groups;
    let factors: Vec<f64> = wear_factors(theta).collect();
    let weigh = |u: &[f64]| effective(u, factors.iter().copied());
    (0..lives.len())
        .map(|i| {
            let row = i * n..(i + 1) * n;
            Track {
                entry: weigh(&lives.entry[row.clone()]),
                low: weigh(&lives.low[row.clone()]),
                step: weigh(&lives.step[row]),
            }
        })
        .collect()
}

/// From effective exposure to cumulative hazard and back.
pub(super) struct Scale {
    distribution: Distribution,
    shape: f64,
    center: f64,
}

impl Scale {
    pub(super) fn new(distribution: Distribution, theta: &[f64]) -> Self {
        Self {
            distribution,
            shape: theta[0].exp(),
            center: theta[1],
        }
    }

    pub(super) fn hazard(&self, exposure: f64) -> f64 {
        if exposure <= 0.0 {
            return 0.0;
        }
        let t = self.shape * (exposure.ln() - self.center);
        self.distribution.cumulative(t).value
    }

    fn rise(&self, low: f64, step: f64) -> f64 {
        if low <= 0.0 {
            return self.hazard(step);
        }
        let t = self.shape * (low.ln() - self.center);
        let up = self.shape * (step / low).ln_1p();
        self.distribution.rise(t, up).value
    }

    pub(super) fn residual(&self, track: &Track, known: End, count: f64) -> Residual {
        Residual {
            entry: self.hazard(track.entry),
            low: self.hazard(track.low),
            rise: self.rise(track.low, track.step),
            known,
            count,
        }
    }

    pub(super) fn exposure(&self, hazard: f64) -> f64 {
        (self.center + self.distribution.inverse(hazard) / self.shape).exp()
    }
}
