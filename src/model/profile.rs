//! Profile-likelihood intervals: the values of one quantity that the records do not contradict,
//! every other parameter doing its best for each.

use argmin::core::{CostFunction, Error, Executor, State};
use argmin::solver::brent::BrentRoot;
use statrs::distribution::{ChiSquared, ContinuousCDF};

use super::anchor::Objective;
use super::anchor::{Anchor, Anchored};
use super::fit::{Fit, NOTHING, covariance};
use super::likelihood::Derivatives;
use super::newton::{self, SearchError};
use super::observations::Observations;

/// What an interval is of.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Quantity {
    /// The shape.
    Shape,
    /// The scale, a quantile or the mean of life at the reference group.
    Life(Anchor),
    /// The wear factor of this group (1 or more).
    Factor(usize),
    /// Life of this level (1 or more) over that of level 0.
    Level(usize),
}

impl Quantity {
    fn index(self, n_groups: usize) -> usize {
        match self {
            Self::Shape => 0,
            Self::Life(_) => 1,
            Self::Factor(g) => g + 1,
            Self::Level(l) => n_groups + l,
        }
    }

    fn anchor(self) -> Anchor {
        match self {
            Self::Life(anchor) => anchor,
            Self::Shape | Self::Factor(_) | Self::Level(_) => Anchor::Scale,
        }
    }
}

/// Estimate and profile-likelihood limits; a limit is `None` where the likelihood never falls
/// far enough.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interval {
    /// The maximum-likelihood estimate.
    pub estimate: f64,
    /// Lower limit.
    pub low: Option<f64>,
    /// Upper limit.
    pub high: Option<f64>,
}

/// How far a limit may lie from the estimate, as a factor `e^FARTHEST`.
const FARTHEST: f64 = 11.0;

/// Log wear factor from which a search begins that leaves nothing behind.
const SOMETHING: f64 = -2.0;

/// Interval of one quantity at confidence `level`; `None` for a parameter that was not estimated, or
/// that the lives cannot tell from others.
///
/// # Panics
/// Never: one degree of freedom is a valid one.
///
/// # Source
/// Meeker & Escobar, *Statistical Methods for Reliability Data* (1998), section 8.3: the limits
/// are where twice the drop of the profile log-likelihood reaches the chi-square(1) quantile.
#[must_use]
pub fn interval(
    fit: &Fit,
    lives: &Observations,
    quantity: Quantity,
    level: f64,
) -> Option<Interval> {
    let index = quantity.index(lives.n_groups());
    if !fit.free[index] {
        return edge(fit, lives, quantity, level);
    }
    if fit.on_ridge[index] {
        return None;
    }
    let objective = Anchored::plain(fit.distribution, lives, quantity.anchor());
    let mut center = fit.theta.clone();
    center[1] += quantity.anchor().offset(fit.distribution, center[0]).value;
    let mut at = Derivatives::zero(center.len());
    objective.evaluate(&center, &mut at);
    let chi_square = ChiSquared::new(1.0).expect("one degree of freedom is valid");
    let drop = chi_square.inverse_cdf(level) / 2.0;
    let sd = covariance(&at, &fit.free).map_or(0.5, |c| c[(index, index)].sqrt());
    let mut free = fit.free.clone();
    free[index] = false;
    let profile = Profile {
        objective: &objective,
        center: &center,
        free,
        index,
        floor: at.value - drop,
    };
    Some(Interval {
        estimate: center[index].exp(),
        low: profile.limit(-sd * (2.0 * drop).sqrt()).map(f64::exp),
        high: profile.limit(sd * (2.0 * drop).sqrt()).map(f64::exp),
    })
}

/// A factor that the records drive to nothing: 0, with an upper limit.
fn edge(fit: &Fit, lives: &Observations, quantity: Quantity, level: f64) -> Option<Interval> {
    /// Far below any log factor that a record could tell from nothing.
    const START: f64 = -9.0;
    let index = quantity.index(lives.n_groups());
    if !matches!(quantity, Quantity::Factor(_)) || NOTHING < fit.theta[index] {
        return None;
    }
    let objective = Anchored::plain(fit.distribution, lives, Anchor::Scale);
    let chi_square = ChiSquared::new(1.0).expect("one degree of freedom is valid");
    let mut center = fit.theta.clone();
    center[index] = START;
    let profile = Profile {
        objective: &objective,
        center: &center,
        free: fit.free.clone(),
        index,
        floor: fit.at.value - chi_square.inverse_cdf(level) / 2.0,
    };
    Some(Interval {
        estimate: 0.0,
        low: Some(0.0),
        high: profile.limit(1.5).map(f64::exp),
    })
}

/// The profile log-likelihood less its value at the limits.
struct Profile<'a> {
    objective: &'a Anchored<'a>,
    center: &'a [f64],
    free: Vec<bool>,
    index: usize,
    floor: f64,
}

impl Profile<'_> {
    /// Profile height above the limit at `value`, and where the other parameters go.
    fn height(&self, value: f64, from: &[f64]) -> Option<(f64, Vec<f64>)> {
        let mut start = from.to_vec();
        start[self.index] = value;
        let held = self.at_nothing();
        for g in &held {
            start[*g] = NOTHING;
        }
        let mut best = self.climb(&start, &self.free);
        if !held.is_empty() {
            // What wears nothing at the estimate may wear something away from it.
            let mut free = self.free.clone();
            for g in held {
                (start[g], free[g]) = (SOMETHING, true);
            }
            let other = self.climb(&start, &free);
            let height = |m: &newton::Maximum| m.derivatives.value;
            best = [best, other]
                .into_iter()
                .flatten()
                .max_by(|a, b| height(a).total_cmp(&height(b)));
        }
        let best = best?;
        Some((best.derivatives.value - self.floor, best.theta))
    }

    /// The maximum with what is not free held; factors that run down to nothing on the way are held there.
    fn climb(&self, start: &[f64], free: &[bool]) -> Option<newton::Maximum> {
        let last = self.objective.likelihood.lives.n_groups();
        let (mut start, mut free) = (start.to_vec(), free.to_vec());
        for g in 2..=last {
            if free[g] && start[g] <= NOTHING {
                start[g] = SOMETHING;
            }
        }
        loop {
            match newton::maximize(self.objective, &start, &free) {
                Ok(maximum) => return Some(maximum),
                Err(SearchError::Runaway { index, up: false }) if (2..=last).contains(&index) => {
                    (start[index], free[index]) = (NOTHING, false);
                }
                Err(_) => return None,
            }
        }
    }

    /// Other factors that the records drive to nothing.
    fn at_nothing(&self) -> Vec<usize> {
        let last = self.objective.likelihood.lives.n_groups();
        let held = |i: &usize| *i != self.index && self.center[*i] <= NOTHING;
        (2..=last).filter(held).collect()
    }

    /// The limit on the side of `step`.
    fn limit(&self, mut step: f64) -> Option<f64> {
        let center = self.center[self.index];
        let mut inside = center;
        let mut theta = self.center.to_vec();
        let farthest = center + FARTHEST.copysign(step);
        loop {
            let outside = if (inside + step - center).abs() < FARTHEST {
                inside + step
            } else {
                farthest
            };
            if inside.total_cmp(&outside).is_eq() {
                return None;
            }
            match self.height(outside, &theta) {
                Some((height, at)) if 0.0 < height => {
                    inside = outside;
                    theta = at;
                    step *= 1.5;
                }
                Some(_) => return self.root(inside, outside, theta),
                // Out of reach: a shorter step, down to where nothing is left to gain.
                None if 1e-6 < step.abs() => step /= 4.0,
                None => return None,
            }
        }
    }

    fn root(&self, inside: f64, outside: f64, theta: Vec<f64>) -> Option<f64> {
        let problem = Root {
            profile: self,
            theta,
        };
        let (a, b) = (inside.min(outside), inside.max(outside));
        let solver = BrentRoot::new(a, b, 1e-10);
        let result = Executor::new(problem, solver)
            .configure(|state| state.param(a).max_iters(100))
            .timer(false)
            .ctrlc(false)
            .run()
            .ok()?;
        result.state().get_best_param().copied()
    }
}

struct Root<'a> {
    profile: &'a Profile<'a>,
    theta: Vec<f64>,
}

impl CostFunction for Root<'_> {
    type Param = f64;
    type Output = f64;

    fn cost(&self, value: &f64) -> Result<f64, Error> {
        let (height, _) = self
            .profile
            .height(*value, &self.theta)
            .ok_or_else(|| Error::msg("the profile is out of reach"))?;
        Ok(height)
    }
}
