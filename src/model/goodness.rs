//! How well a fit agrees with its lives, and whether age matters to them at all.

pub mod agreement;
pub mod residuals;
mod verdict;

use statrs::distribution::{ChiSquared, ContinuousCDF};

use super::fit::{self, Fit, FitError};
use super::kernel::Distribution;
use super::observations::Observations;
use agreement::Agreement;

/// A distribution tried.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tried {
    /// Which.
    pub distribution: Distribution,
    /// Corrected information criterion; `None` where the lives are too few for it or set no limit
    /// on a parameter.
    pub aicc: Option<f64>,
    /// Akaike weight among those tried.
    pub weight: Option<f64>,
}

/// How well a fit agrees with its lives.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Goodness {
    /// Likelihood-ratio p-value of an exponential life against a Weibull life.
    pub age_matters_p: Option<f64>,
    /// Agreement of the Cox-Snell residuals with a unit exponential; `None` for too few wear-outs.
    pub agreement: Option<Agreement>,
    /// The distributions tried, best first.
    pub tried: Vec<Tried>,
    /// Sentences for people.
    pub verdict: Vec<String>,
}

/// What is judged.
#[derive(Clone, Copy, Debug)]
pub struct Judged<'a> {
    /// The lives.
    pub lives: &'a Observations,
    /// Their most likely fit, or what stands in its way.
    pub likeliest: &'a Result<Fit, FitError>,
    /// The distribution asked for.
    pub distribution: Distribution,
    /// Log-likelihood at the most probable point of the posterior, where a prior counts.
    pub log_likelihood_at_mode: Option<f64>,
    /// Standard deviation of log life from machine to machine that results reckon with, and the most
    /// likely fit does not; `None` where they have none.
    pub machine_spread: Option<f64>,
}

/// Judges a fit: the most likely one, since only that is centred on its lives.
#[must_use]
pub fn judge(judged: &Judged<'_>) -> Goodness {
    if judged.lives.worn() <= 0.0 {
        return Goodness {
            verdict: verdict::without_wear_out(judged.lives),
            ..Goodness::default()
        };
    }
    let fit = |distribution| {
        let known = judged.likeliest.as_ref().ok();
        known
            .filter(|fit| fit.distribution == distribution)
            .cloned()
            .or_else(|| fit::whichever_reference(distribution, judged.lives).ok())
    };
    let fits = [
        Distribution::Weibull,
        Distribution::Lognormal,
        Distribution::Exponential,
    ]
    .map(|d| (d, fit(d)));
    let [(_, weibull), _, (_, exponential)] = &fits;
    let age_matters_p = weibull
        .as_ref()
        .zip(exponential.as_ref())
        .map(|(w, e)| likelihood_ratio_p(w.log_likelihood() - e.log_likelihood(), 1.0));
    let mut out = Goodness {
        age_matters_p,
        agreement: judged
            .likeliest
            .as_ref()
            .ok()
            .and_then(|fit| agreement::agreement(fit, judged.lives)),
        tried: weighed(&fits, judged.lives),
        verdict: Vec::new(),
    };
    out.verdict = verdict::words(&out, judged, weibull.as_ref());
    out
}

/// What belongs beside forecasts that rest on a fit which misses its lives; `None` where it does not
/// clearly miss.
#[must_use]
pub fn misfit(judged: &Judged<'_>) -> Option<String> {
    // Most fits agree, and are then not held against other distributions.
    let fit = judged.likeliest.as_ref().ok()?;
    let agreement = agreement::agreement(fit, judged.lives)?;
    let misses = verdict::misses(&agreement);
    misses
        .then(|| verdict::misfit(&judge(judged), judged))
        .flatten()
}

/// Chance of a log-likelihood this much higher, or more, from `freedom` parameters that do nothing.
///
/// The shape may lie on either side of 1 and a log wear factor on either side of 0, so neither
/// test is at a boundary, where half of this would be right.
///
/// # Panics
/// Never for `freedom` above 0.
///
/// # Source
/// Wilks (1938), Ann. Math. Stat. 9:60.
#[must_use]
pub fn likelihood_ratio_p(gain: f64, freedom: f64) -> f64 {
    ChiSquared::new(freedom)
        .expect("there are degrees of freedom")
        .sf((2.0 * gain).max(0.0))
}

/// Likelihood-ratio test of one wear factor against 1; `None` where no wear-out saw the group, or
/// where the lives cannot tell it from others.
#[must_use]
pub fn factor_p(fit: &Fit, lives: &Observations, group: usize) -> Option<f64> {
    if !lives.worn_under(group) || fit.on_ridge[group + 1] {
        return None;
    }
    let free: Vec<bool> = (0..lives.n_groups())
        .map(|g| g != group && lives.worn_under(g))
        .collect();
    let held = fit::constrained(fit.distribution, lives, &free).ok()?;
    Some(likelihood_ratio_p(
        fit.log_likelihood() - held.log_likelihood(),
        1.0,
    ))
}

/// Criteria and Akaike weights `exp(-(aicc - least) / 2)`, summing to 1; best first. No weights where the
/// wear-outs are too few for the criterion of one that could be fitted.
///
/// # Source
/// Burnham & Anderson, *Model Selection and Multimodel Inference* (2002), section 2.9.
fn weighed(fits: &[(Distribution, Option<Fit>)], lives: &Observations) -> Vec<Tried> {
    let mut out: Vec<Tried> = fits
        .iter()
        .map(|(distribution, fit)| Tried {
            distribution: *distribution,
            aicc: fit
                .as_ref()
                .map(|f| f.corrected_aic(lives))
                .filter(|a| a.is_finite()),
            weight: None,
        })
        .collect();
    let least = out
        .iter()
        .filter_map(|t| t.aicc)
        .fold(f64::INFINITY, f64::min);
    let relative = |aicc: f64| ((least - aicc) / 2.0).exp();
    let sum: f64 = out.iter().filter_map(|t| t.aicc).map(relative).sum();
    let mut of_fits = out.iter().zip(fits);
    let are_judged = of_fits.all(|(tried, (_, fit))| tried.aicc.is_some() || fit.is_none());
    for tried in &mut out {
        tried.weight = tried.aicc.filter(|_| are_judged).map(|a| relative(a) / sum);
    }
    out.sort_by(|a, b| {
        let key = |t: &Tried| t.aicc.unwrap_or(f64::INFINITY);
        key(a).total_cmp(&key(b))
    });
    out
}
