//! Maximum likelihood: the fit of one distribution to lives.

use super::anchor::{Anchor, Anchored};
use super::kernel::Distribution;
use super::likelihood::{Derivatives, Likelihood};
use super::newton::{self, SearchError};
use super::observations::Observations;

/// Why lives could not be fitted.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum FitError {
    /// There is no life at all.
    #[error("no life to fit")]
    NoLives,
    /// No life ended in wear: any long enough life explains the records.
    #[error("no wear-out: the records only set a lower bound on life")]
    NoneWorn,
    /// The likelihood rises without end in the wear factor of this group.
    #[error("the records set no upper limit on the wear factor of group {0}")]
    UnboundedFactor(usize),
    /// The likelihood rises without end in the shape.
    #[error("the wear-outs are too few or too alike to set an upper limit on the shape")]
    UnboundedShape,
    /// The likelihood rises without end in the scale.
    #[error("the wear-outs are too few, or too mixed, to say how long a life is")]
    UnboundedScale,
    /// The likelihood rises without end in how the lives of two levels compare.
    #[error("the records set no limit on how lives differ")]
    UnboundedRatio,
    /// The search ended short of a maximum.
    #[error("{0}")]
    Search(SearchError),
}

/// A maximum-likelihood fit.
#[derive(Clone, Debug, PartialEq)]
pub struct Fit {
    /// The distribution.
    pub distribution: Distribution,
    /// `(ln shape, ln scale, ln w_1, ..)`, then the log life ratios of levels.
    pub theta: Vec<f64>,
    /// Which parameters were estimated; a factor is not where no life that wore out saw its group.
    pub free: Vec<bool>,
    /// Which of these the lives cannot tell: along a ridge others make up for any change of them, such
    /// as two wear factors whose groups always come in the same proportions, or shape and scale where all
    /// lives end at the same exposure.
    pub on_ridge: Vec<bool>,
    /// Log-likelihood and its derivatives there.
    pub at: Derivatives,
}

impl Fit {
    /// Weibull shape (1 / sigma of a lognormal).
    #[must_use]
    pub fn shape(&self) -> f64 {
        self.theta[0].exp()
    }

    /// Scale, in the measure of the lives.
    #[must_use]
    pub fn scale(&self) -> f64 {
        self.theta[1].exp()
    }

    /// Log-likelihood.
    #[must_use]
    pub fn log_likelihood(&self) -> f64 {
        self.at.value
    }

    /// Akaike's information criterion with the correction for few wear-outs.
    ///
    /// # Source
    /// Burnham & Anderson, *Model Selection and Multimodel Inference* (2002), section 2.4; wear-outs
    /// take the place of the sample size, since censored lives tell little of the shape (our choice).
    #[must_use]
    pub fn corrected_aic(&self, lives: &Observations) -> f64 {
        let k = self.free.iter().filter(|f| **f).count() as f64;
        let freedom = lives.worn() - k - 1.0;
        let correction = if 0.0 < freedom {
            2.0 * k * (k + 1.0) / freedom
        } else {
            f64::INFINITY
        };
        2.0 * k - 2.0 * self.at.value + correction
    }

    /// Covariance of the estimated parameters by observed information, zeros elsewhere;
    /// `None` where the information is singular, as it is along a ridge.
    #[must_use]
    pub fn covariance(&self) -> Option<nalgebra::DMatrix<f64>> {
        if self.on_ridge.contains(&true) {
            return None;
        }
        covariance(&self.at, &self.free)
    }
}

/// Inverse of the negated Hessian over the free parameters, zeros elsewhere.
#[must_use]
pub(super) fn covariance(at: &Derivatives, free: &[bool]) -> Option<nalgebra::DMatrix<f64>> {
    let n = free.len();
    let index: Vec<usize> = (0..n).filter(|i| free[*i]).collect();
    let m = index.len();
    let information = nalgebra::DMatrix::from_fn(m, m, |i, j| -at.hessian[index[i] * n + index[j]]);
    let inverse = information.cholesky()?.inverse();
    let mut full = nalgebra::DMatrix::zeros(n, n);
    for i in 0..m {
        for j in 0..m {
            full[(index[i], index[j])] = inverse[(i, j)];
        }
    }
    Some(full)
}

/// Fits by maximum likelihood, every wear factor together with shape and scale.
///
/// A wear factor of a group that no worn-out life saw cannot be told from the records; it is
/// held at 1 and marked as not free.
///
/// # Errors
/// [`FitError`] with what the records cannot tell.
pub fn maximum_likelihood(
    distribution: Distribution,
    lives: &Observations,
) -> Result<Fit, FitError> {
    let free = (0..lives.n_groups())
        .map(|g| lives.worn_under(g))
        .collect::<Vec<_>>();
    constrained(distribution, lives, &free)
}

/// The same whichever group is the reference: another one takes its place where the records drive its
/// own wear to nothing beside that one's. Log-likelihood and shape are those of the lives as they are;
/// the scale and the factors belong to another order of the groups.
///
/// # Errors
/// [`FitError`] with what the records cannot tell.
pub fn whichever_reference(
    distribution: Distribution,
    lives: &Observations,
) -> Result<Fit, FitError> {
    let mut fit = maximum_likelihood(distribution, lives);
    let mut turned = lives.clone();
    for _ in 1..lives.n_groups() {
        let Err(FitError::UnboundedFactor(group)) = fit else {
            break;
        };
        turned = turned.with_reference(group);
        fit = maximum_likelihood(distribution, &turned);
    }
    fit
}

/// The same, with the wear factors of groups whose `factor_free` is false held at 1.
///
/// # Errors
/// As [`maximum_likelihood`].
pub fn constrained(
    distribution: Distribution,
    lives: &Observations,
    factor_free: &[bool],
) -> Result<Fit, FitError> {
    held(distribution, lives, factor_free, None)
}

/// Maximum likelihood with the life of one level held at that of level 0.
///
/// # Errors
/// As [`maximum_likelihood`].
pub fn level_alike(
    distribution: Distribution,
    lives: &Observations,
    level: usize,
) -> Result<Fit, FitError> {
    let free = (0..lives.n_groups())
        .map(|g| lives.worn_under(g))
        .collect::<Vec<_>>();
    held(distribution, lives, &free, Some((level, 0.0)))
}

/// Maximum likelihood with factors held at 1, and at most one level's log life ratio held at a value.
pub(super) fn held(
    distribution: Distribution,
    lives: &Observations,
    factor_free: &[bool],
    level: Option<(usize, f64)>,
) -> Result<Fit, FitError> {
    if lives.is_empty() {
        return Err(FitError::NoLives);
    }
    if lives.worn() <= 0.0 {
        return Err(FitError::NoneWorn);
    }
    let mut free = vec![distribution.has_shape(), true];
    free.extend(&factor_free[1..]);
    free.resize(lives.n_parameters(), true);
    let objective = Anchored::plain(distribution, lives, Anchor::Scale);
    let mut held = vec![0.0; free.len()];
    if let Some((level, ratio)) = level {
        let index = lives.n_groups() + level;
        (free[index], held[index]) = (false, ratio);
    }
    // Each round may find one more factor that the records drive to nothing.
    loop {
        match climb(&objective, &free, &held) {
            Ok(maximum) => {
                if let Some(flat) = flat(&maximum.derivatives, &free) {
                    return Err(unbounded(flat, lives.n_groups()));
                }
                if free[0]
                    && newton::STEEP < maximum.theta[0]
                    && is_shape_flat(&maximum.derivatives)
                {
                    return Err(unbounded(0, lives.n_groups()));
                }
                let on_ridge = ridge(&maximum.derivatives, &free);
                return Ok(Fit {
                    distribution,
                    theta: maximum.theta,
                    free,
                    on_ridge,
                    at: maximum.derivatives,
                });
            }
            Err(SearchError::Runaway { index, up: false })
                if 1 < index && index <= lives.n_groups() =>
            {
                free[index] = false;
                held[index] = NOTHING;
            }
            Err(SearchError::Runaway { index, .. }) => {
                return Err(unbounded(index, lives.n_groups()));
            }
            Err(error) => return Err(FitError::Search(error)),
        }
    }
}

/// Information on the log shape or the log scale below which there is none.
const FLAT: f64 = 1e-6;

/// The shape or the scale where the likelihood is flat along it. On a plateau every shape above some
/// value does as well; where each part was found worn out and none was ever seen good, every scale
/// below some value does.
fn flat(at: &Derivatives, free: &[bool]) -> Option<usize> {
    let n = free.len();
    [0, 1]
        .into_iter()
        .find(|i| free[*i] && -at.hessian[i * n + i] < FLAT)
}

/// Whether no information on the log shape is left when the scale does its best.
fn is_shape_flat(at: &Derivatives) -> bool {
    let n = at.gradient.len();
    let [shape, both, scale] = [0, 1, n + 1].map(|i| -at.hessian[i]);
    shape - both * both / scale < FLAT
}

/// Share of the information on a parameter that is left when all others do their best, below which
/// there is none: that of two groups whose proportions differ by three in ten thousand.
const RIDGE: f64 = 1e-7;
/// Part in a ridge, of one, below which a parameter has none: far above rounding.
const PART: f64 = 1e-2;

/// Which free parameters lie on a ridge of the likelihood, along which it stays as high as it is.
///
/// These are the directions in which the information has nothing, once each parameter is counted by
/// its own information. A parameter without any of its own is no part of a ridge: it is at its limit.
fn ridge(at: &Derivatives, free: &[bool]) -> Vec<bool> {
    let n = free.len();
    let own = |i: usize| -at.hessian[i * n + i];
    let index: Vec<usize> = (0..n).filter(|i| free[*i] && FLAT < own(*i)).collect();
    let m = index.len();
    let scaled = nalgebra::DMatrix::from_fn(m, m, |i, j| {
        let (a, b) = (index[i], index[j]);
        -at.hessian[a * n + b] / (own(a) * own(b)).sqrt()
    });
    let mut out = vec![false; n];
    if m < 2 || scaled.iter().any(|x| !x.is_finite()) {
        return out;
    }
    let eigen = scaled.symmetric_eigen();
    for (k, left) in eigen.eigenvalues.iter().enumerate() {
        if *left < RIDGE {
            for (i, part) in index.iter().zip(eigen.eigenvectors.column(k)) {
                out[*i] |= PART < part.abs();
            }
        }
    }
    out
}

/// Log wear factor of a group that wears nothing as far as the records tell.
pub(super) const NOTHING: f64 = -30.0;

/// Lives from which a search begins with some of them.
const MANY: usize = 60_000;
/// One in so many: near enough for a step or two to do when all of them are looked at.
const ONE_IN: usize = 8;

/// Climbs; parameters that are not free stay at `held`.
fn climb(
    objective: &Anchored<'_>,
    free: &[bool],
    held: &[f64],
) -> Result<newton::Maximum, SearchError> {
    let lives = objective.likelihood.lives;
    if lives.len() < MANY {
        return climb_from_shapes(objective, free, held);
    }
    let some = lives.every(ONE_IN);
    let among_some = Anchored {
        likelihood: Likelihood {
            distribution: objective.likelihood.distribution,
            lives: &some,
        },
        ..objective.clone()
    };
    // Should some lives tell too little, or lead astray, all of them start afresh.
    climb(&among_some, free, held)
        .and_then(|near| newton::maximize(objective, &near.theta, free))
        .or_else(|_| climb_from_shapes(objective, free, held))
}

/// Climbs from several shapes.
fn climb_from_shapes(
    objective: &Anchored<'_>,
    free: &[bool],
    held: &[f64],
) -> Result<newton::Maximum, SearchError> {
    let lives = objective.likelihood.lives;
    let shapes: &[f64] = if objective.likelihood.distribution.has_shape() {
        &[1.5, 3.0, 0.8, 6.0]
    } else {
        &[1.0]
    };
    let mut failure = SearchError::Start;
    for shape in shapes {
        let Some(ln_scale) = lives.crude_ln_scale(*shape) else {
            continue;
        };
        let mut start = held.to_vec();
        (start[0], start[1]) = (shape.ln(), ln_scale);
        match newton::maximize(objective, &start, free) {
            Ok(maximum) => return Ok(maximum),
            Err(error) => failure = error,
        }
    }
    Err(failure)
}

/// That the records set no limit on the parameter `index`.
pub(super) fn unbounded(index: usize, n_groups: usize) -> FitError {
    match index {
        0 => FitError::UnboundedShape,
        1 => FitError::UnboundedScale,
        _ if index <= n_groups => FitError::UnboundedFactor(index - 1),
        _ => FitError::UnboundedRatio,
    }
}

/// Lower bound on the median life at a known shape when no life has worn out, with confidence `level`,
/// every group counting 1: where all lives together survive with a chance of `1 - level`.
#[must_use]
pub fn median_lower_bound(
    distribution: Distribution,
    lives: &Observations,
    shape: f64,
    level: f64,
) -> Option<f64> {
    let ln_shape = if distribution.has_shape() {
        shape.ln()
    } else {
        0.0
    };
    let ln_scale = match distribution {
        Distribution::Weibull => scale_lower_bound(lives, shape, level)?.ln(),
        Distribution::Exponential => scale_lower_bound(lives, 1.0, level)?.ln(),
        Distribution::Lognormal => ln_scale_surviving(distribution, lives, ln_shape, 1.0 - level)?,
    };
    Some((ln_scale + distribution.quantile_offset(0.5, ln_shape).value).exp())
}

/// The log scale under which lives of which none wore out survive with that chance.
fn ln_scale_surviving(
    distribution: Distribution,
    lives: &Observations,
    ln_shape: f64,
    chance: f64,
) -> Option<f64> {
    /// Halvings to the last digit of a double.
    const STEPS: usize = 80;
    let likelihood = Likelihood {
        distribution,
        lives,
    };
    let longest = (0..lives.len()).map(|i| lives.plain_end(i));
    let longest = longest.fold(0.0, f64::max);
    let mut theta = vec![0.0; lives.n_groups + 1];
    theta[0] = ln_shape;
    let mut at = Derivatives::zero(theta.len());
    // A longer scale makes survival likelier.
    let (mut low, mut high) = (longest.ln() - 40.0, longest.ln() + 40.0);
    for _ in 0..STEPS {
        let middle = f64::midpoint(low, high);
        theta[1] = middle;
        likelihood.evaluate(&theta, &mut at);
        if at.value < chance.ln() {
            low = middle;
        } else {
            high = middle;
        }
    }
    (0.0 < longest).then_some(high)
}

/// Lower bound on the scale of a Weibull distribution at a known shape when no life has worn out, with
/// confidence `level`: `(sum of (end^shape - entry^shape) / -ln(1 - level))^(1 / shape)`, every group
/// counting 1.
///
/// # Source
/// Abernethy, *The New Weibull Handbook*: Weibayes without failures (formula from memory; checked
/// against the recomputed values in tests/reference).
#[must_use]
pub fn scale_lower_bound(lives: &Observations, shape: f64, level: f64) -> Option<f64> {
    let n = lives.n_groups;
    let longest = (0..lives.len())
        .map(|i| lives.plain_end(i))
        .fold(0.0, f64::max);
    if longest <= 0.0 {
        return None;
    }
    let sum: f64 = (0..lives.len())
        .map(|i| {
            let entry: f64 = lives.entry[i * n..(i + 1) * n].iter().sum();
            let power = |x: f64| (x / longest).powf(shape);
            lives.count[i] * (power(lives.plain_end(i)) - power(entry))
        })
        .sum();
    Some(longest * (sum / -(-level).ln_1p()).powf(1.0 / shape))
}
