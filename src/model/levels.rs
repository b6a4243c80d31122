//! Levels compared by their life at the same effective exposure: an accelerated-life term each.
//!
//! A life of level `l` has log scale `ln scale + r_l`, with `r_0 = 0`: the level stretches life by
//! `exp(r_l)` whatever the exposure. The ratios are estimated together with shape, scale and wear
//! factors.
//!
//! # Source
//! Meeker & Escobar, *Statistical Methods for Reliability Data* (1998), chapter 17 (regression on
//! log life); the terms are those of `survreg` in R's survival.

use statrs::distribution::{ContinuousCDF, Normal};

use super::anchor::{Anchor, Anchored};
use super::fit::{self, Fit};
use super::goodness::likelihood_ratio_p;
use super::machines::{Machines, SPREAD_PRIOR};
use super::observations::Observations;
use super::posterior;

/// Likelihood-ratio p-value of a level's life being that of level 0.
///
/// - `machines`: whether machines may differ. Then their effects are integrated out of both
///   likelihoods, the spread of machines being fitted with its prior. A level that stands for a
///   few machines, such as a site, is then not told from those machines' own differences.
///
/// `None` where either search finds no maximum.
#[must_use]
pub fn p_value(fit: &Fit, lives: &Observations, level: usize, machines: bool) -> Option<f64> {
    let alike = fit::level_alike(fit.distribution, lives, level).ok()?;
    let base = Anchored::plain(fit.distribution, lives, Anchor::Scale);
    let differ = Some(base).filter(|_| machines).and_then(Machines::new);
    let several = differ.filter(|m| 1 < m.machines().count());
    let Some(differ) = several else {
        let gain = fit.log_likelihood() - alike.log_likelihood();
        return Some(likelihood_ratio_p(gain, 1.0));
    };
    let ln_density = |of: &Fit| {
        let mut start = of.theta.clone();
        start.push(SPREAD_PRIOR.mean);
        let mut free = of.free.clone();
        free.push(true);
        let mode = posterior::numeric_mode(&differ, &start, &free).ok()?;
        Some(mode.derivatives.value)
    };
    Some(likelihood_ratio_p(
        ln_density(fit)? - ln_density(&alike)?,
        1.0,
    ))
}

/// How sure the records alone make it that a level's log life ratio exceeds `ln_ratio`: the signed
/// root of the likelihood ratio, read as a standard normal.
///
/// With a flat prior on the ratio and many wear-outs this is its posterior probability.
///
/// # Panics
/// Never: the standard normal is a valid one.
#[must_use]
pub fn chance_above(fit: &Fit, lives: &Observations, level: usize, ln_ratio: f64) -> Option<f64> {
    let free: Vec<bool> = (0..lives.n_groups()).map(|g| lives.worn_under(g)).collect();
    let held = fit::held(fit.distribution, lives, &free, Some((level, ln_ratio))).ok()?;
    let drop = (fit.log_likelihood() - held.log_likelihood()).max(0.0);
    let above = fit.theta[lives.n_groups() + level] - ln_ratio;
    let normal = Normal::new(0.0, 1.0).expect("a standard normal");
    Some(normal.cdf((2.0 * drop).sqrt().copysign(above)))
}

/// A quantity of the parameters and the standard deviation of its estimate, by the first-order
/// (delta) method on the observed information; `None` where that is singular.
#[must_use]
pub fn delta(fit: &Fit, quantity: impl Fn(&[f64]) -> f64) -> Option<(f64, f64)> {
    /// Central differences of smooth functions of logarithms.
    const STEP: f64 = 1e-5;
    let covariance = fit.covariance()?;
    let gradient: Vec<f64> = (0..fit.theta.len())
        .map(|i| {
            let at = |step: f64| {
                let mut theta = fit.theta.clone();
                theta[i] += step;
                quantity(&theta)
            };
            (at(STEP) - at(-STEP)) / (2.0 * STEP)
        })
        .collect();
    let gradient = nalgebra::DVector::from_vec(gradient);
    let variance = (gradient.transpose() * covariance * &gradient)[(0, 0)];
    Some((quantity(&fit.theta), variance.max(0.0).sqrt()))
}
