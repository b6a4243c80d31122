//! A judgement in words.

use super::agreement::{Agreement, PartOfLife};
use super::{Goodness, Judged, likelihood_ratio_p};
use crate::model::fit::Fit;
use crate::model::kernel::Distribution;
use crate::model::observations::Observations;

/// Wear-outs below which nothing is said of age.
const LEAST_WORN: f64 = 3.0;

/// A shape up to here is no use for deciding when to replace; one that may be larger is not yet
/// ruled out.
const AGE_MATTERS_MUCH: f64 = 2.0;

/// Standard deviation of the log hazard from machine to machine from which on the test of a fit of all
/// machines alike sees it (our own choice, no source).
const MACHINES_SHOW: f64 = 0.25;

/// A fit whose test has a lower p-value than this misses its lives (our own choice).
const MISSES: f64 = 0.01;

/// Where nothing wore out.
pub(super) fn without_wear_out(lives: &Observations) -> Vec<String> {
    if lives.is_empty() {
        return Vec::new();
    }
    vec!["no wear-out in it to judge a fit by".to_owned()]
}

/// Whether the test says clearly that the fit misses.
pub(super) fn misses(agreement: &Agreement) -> bool {
    agreement.p_value < MISSES
}

/// What belongs beside forecasts that rest on a fit which misses its lives; `None` where it does not
/// clearly miss.
pub(super) fn misfit(goodness: &Goodness, judged: &Judged<'_>) -> Option<String> {
    let agreement_of = goodness.agreement.as_ref();
    agreement_of.filter(|a| misses(a))?;
    let sentences = [
        Some(agreement(agreement_of, judged)),
        machines(agreement_of, judged),
        better(goodness, judged.distribution),
    ];
    Some(
        sentences
            .into_iter()
            .flatten()
            .collect::<Vec<_>>()
            .join("; "),
    )
}

/// Sentences on age, on agreement, on machines, on the distribution and on the prior, in that order; the
/// last three only where there is something to say.
pub(super) fn words(
    goodness: &Goodness,
    judged: &Judged<'_>,
    weibull: Option<&Fit>,
) -> Vec<String> {
    if judged.lives.worn() < LEAST_WORN {
        let few = "too few wear-outs to tell whether age matters or to judge the fit";
        return [Some(few.to_owned()), prior(judged)]
            .into_iter()
            .flatten()
            .collect();
    }
    let age = age(goodness.age_matters_p, weibull);
    let sentences = [
        Some(age),
        Some(agreement(goodness.agreement.as_ref(), judged)),
        machines(goodness.agreement.as_ref(), judged),
        better(goodness, judged.distribution),
        prior(judged),
    ];
    sentences.into_iter().flatten().collect()
}

fn age(p: Option<f64>, weibull: Option<&Fit>) -> String {
    let (Some(p), Some(weibull)) = (p, weibull) else {
        return "too few wear-outs, or too alike, to tell whether age matters".to_owned();
    };
    let told = p_value(p);
    if p < 0.05 && weibull.theta[0] < 0.0 {
        return format!(
            "new parts wear out sooner than seasoned ones ({told}), as after a bad batch or poor fitting"
        );
    }
    if p < 0.05 {
        return format!("age matters ({told}): the more a part has done, the sooner it wears out");
    }
    let sd = weibull
        .covariance()
        .map_or(f64::INFINITY, |c| c[(0, 0)].sqrt());
    if AGE_MATTERS_MUCH < (weibull.theta[0] + 1.96 * sd).exp() {
        return format!("too few wear-outs to tell whether age matters ({told})");
    }
    format!("no sign that age matters ({told})")
}

fn agreement(agreement: Option<&Agreement>, judged: &Judged<'_>) -> String {
    let Some(agreement) = agreement else {
        return if judged.likeliest.is_ok() {
            "too few wear-outs to judge the fit".to_owned()
        } else {
            "the lives alone give no fit to judge".to_owned()
        };
    };
    let told = p_value(agreement.p_value);
    let start = match agreement.p_value {
        p if p < MISSES => "the fit misses",
        p if p < 0.05 => "the fit may miss",
        _ => return format!("the fit agrees with the lives ({told})"),
    };
    let off = |s: &PartOfLife| (s.worn - s.expected).abs() / s.expected.max(0.5).sqrt();
    let worst = agreement
        .parts_of_life
        .iter()
        .enumerate()
        .max_by(|a, b| off(a.1).total_cmp(&off(b.1)));
    let Some((i, worst)) = worst else {
        return format!("{start} ({told})");
    };
    let place = match i {
        0 => "early in life",
        i if i + 1 == agreement.parts_of_life.len() => "late in life",
        _ => "in mid-life",
    };
    format!(
        "{start} ({told}): {place} {:.0} wore out where it expects {:.1}",
        worst.worn, worst.expected
    )
}

/// Where a misfit may be no more than machines that differ.
fn machines(agreement: Option<&Agreement>, judged: &Judged<'_>) -> Option<String> {
    let misses = agreement.is_some_and(|a| a.p_value < 0.05);
    let shape = judged.likeliest.as_ref().ok()?.theta[0].exp();
    let shows = judged
        .machine_spread
        .is_some_and(|spread| MACHINES_SHOW < spread * shape);
    (misses && shows).then(|| {
        "machines that differ may be why: this test takes all of them as one, the forecasts do not"
            .to_owned()
    })
}

fn better(goodness: &Goodness, distribution: Distribution) -> Option<String> {
    // Whether an exponential life would do is what the sentence on age says.
    let best = goodness
        .tried
        .iter()
        .find(|t| t.distribution != Distribution::Exponential)?;
    let own = goodness
        .tried
        .iter()
        .find(|t| t.distribution == distribution)?;
    let (best_weight, own_weight) = (best.weight?, own.weight?);
    (best.distribution != distribution && 9.0 * own_weight < best_weight).then(|| {
        format!(
            "a {} life explains these lives better (Akaike weight {best_weight:.2} against {own_weight:.2})",
            best.distribution.name(),
        )
    })
}

/// Whether the most probable parameters lie where the lives alone would not have them.
fn prior(judged: &Judged<'_>) -> Option<String> {
    let fit = judged.likeliest.as_ref().ok()?;
    let freedom = fit.free.iter().filter(|f| **f).count() as f64;
    let p = likelihood_ratio_p(
        fit.log_likelihood() - judged.log_likelihood_at_mode?,
        freedom,
    );
    (p < 0.05).then(|| {
        format!(
            "these lives disagree with what the family's model file says beforehand ({})",
            p_value(p)
        )
    })
}

fn p_value(p: f64) -> String {
    if p < 0.001 {
        "p < 0.001".to_owned()
    } else {
        format!("p = {p:.3}")
    }
}
