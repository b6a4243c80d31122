//! Parameters seen from another life than the scale: its median, its mean, any quantile.

use super::kernel::{Distribution, Jet, Offset};
use super::likelihood::{Derivatives, Likelihood};
use super::observations::Observations;

/// The life that takes the place of the scale in `theta`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Anchor {
    /// The scale itself.
    Scale,
    /// The life by which this share is worn out.
    Quantile(f64),
    /// The mean life.
    Mean,
}

impl Anchor {
    /// `k` in `ln(anchor life) = ln(scale) + k(ln shape)`, with derivatives.
    #[must_use]
    pub fn offset(self, distribution: Distribution, ln_shape: f64) -> Offset {
        match self {
            Self::Scale => Jet {
                value: 0.0,
                d1: 0.0,
                d2: 0.0,
            },
            Self::Quantile(p) => distribution.quantile_offset(p, ln_shape),
            Self::Mean => distribution.mean_offset(ln_shape),
        }
    }
}

/// Something to be made as large as can be, with derivatives.
pub trait Objective {
    /// Number of parameters.
    fn n_parameters(&self) -> usize;
    /// Value, gradient and Hessian at `theta`, into `out`.
    fn evaluate(&self, theta: &[f64], out: &mut Derivatives);

    /// Relative gain in value below which a search is over.
    fn precision(&self) -> f64 {
        super::newton::PRECISION
    }
}

/// A normal distribution on one parameter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Normal {
    /// Mean.
    pub mean: f64,
    /// Standard deviation.
    pub sd: f64,
}

/// Log-likelihood, and log prior where there is one, in
/// `theta = (ln shape, ln anchor life, ln w_1, ..)`.
#[derive(Clone, Debug)]
pub struct Anchored<'a> {
    /// The likelihood.
    pub likelihood: Likelihood<'a>,
    /// What the second parameter is.
    pub anchor: Anchor,
    /// Priors by parameter; empty for none.
    pub priors: Vec<Option<Normal>>,
    /// With no wear-out seen: half a one is added, at this log life. See
    /// [`super::posterior`] for why.
    pub half_event_at: Option<f64>,
}

impl<'a> Anchored<'a> {
    /// Without priors.
    #[must_use]
    pub fn plain(distribution: Distribution, lives: &'a Observations, anchor: Anchor) -> Self {
        Self {
            likelihood: Likelihood {
                distribution,
                lives,
            },
            anchor,
            priors: Vec::new(),
            half_event_at: None,
        }
    }
}

impl Anchored<'_> {
    /// `theta` with the log scale in second place.
    #[must_use]
    pub fn to_scale(&self, theta: &[f64]) -> Vec<f64> {
        let mut out = theta.to_vec();
        out[1] -= self
            .anchor
            .offset(self.likelihood.distribution, theta[0])
            .value;
        out
    }

    /// The value alone.
    #[must_use]
    pub fn ln_density(&self, theta: &[f64]) -> f64 {
        let k = self.anchor.offset(self.likelihood.distribution, theta[0]);
        let value = self.likelihood.value_at(theta, -k.value) + self.log_prior(theta);
        if value.is_nan() {
            f64::NEG_INFINITY
        } else {
            value
        }
    }

    /// Log prior density up to a constant.
    #[must_use]
    pub fn log_prior(&self, theta: &[f64]) -> f64 {
        let mut value = 0.0;
        for (prior, x) in self.priors.iter().zip(theta) {
            if let Some(Normal { mean, sd }) = prior {
                let z = (x - mean) / sd;
                value -= z * z / 2.0;
            }
        }
        if let Some(ln_life) = self.half_event_at {
            value -= theta[0].exp() * (theta[1] - ln_life) / 2.0;
        }
        value
    }

    fn add_priors(&self, theta: &[f64], out: &mut Derivatives) {
        let n = theta.len();
        for (i, prior) in self.priors.iter().enumerate() {
            if let Some(Normal { mean, sd }) = prior {
                let z = (theta[i] - mean) / sd;
                out.value -= z * z / 2.0;
                out.gradient[i] -= z / sd;
                out.hessian[i * n + i] -= 1.0 / (sd * sd);
            }
        }
        if let Some(ln_life) = self.half_event_at {
            let (shape, gap) = (theta[0].exp(), theta[1] - ln_life);
            out.value -= shape * gap / 2.0;
            out.gradient[0] -= shape * gap / 2.0;
            out.gradient[1] -= shape / 2.0;
            out.hessian[0] -= shape * gap / 2.0;
            out.hessian[1] -= shape / 2.0;
            out.hessian[n] -= shape / 2.0;
        }
    }
}

impl Objective for Anchored<'_> {
    fn n_parameters(&self) -> usize {
        self.likelihood.n_parameters()
    }

    fn evaluate(&self, theta: &[f64], out: &mut Derivatives) {
        let n = theta.len();
        let k = self.anchor.offset(self.likelihood.distribution, theta[0]);
        self.likelihood.evaluate_at(theta, -k.value, out);
        if !out.value.is_finite() {
            return;
        }
        // ln scale = ln life - k(ln shape): the chain rule through the first two parameters.
        let (h01, h11) = (out.hessian[1], out.hessian[n + 1]);
        out.hessian[0] += k.d1 * (k.d1 * h11 - 2.0 * h01) - k.d2 * out.gradient[1];
        out.gradient[0] -= k.d1 * out.gradient[1];
        for j in 1..n {
            out.hessian[j] -= k.d1 * out.hessian[n + j];
            out.hessian[j * n] = out.hessian[j];
        }
        self.add_priors(theta, out);
    }
}
