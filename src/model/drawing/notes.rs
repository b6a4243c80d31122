//! Sentences on draws of the parameters.

use super::{GUARD_FACTOR_SPREAD, GUARD_LIFE_SPREAD, GUARD_SHAPE};
use crate::family::{Prior, Spread};
use crate::model::anchor::{Anchored, Normal};
use crate::model::assess::Assessment;
use crate::model::conflict::{self, Conflict};
use crate::model::found::Found;
use crate::model::health::{Sampler, Trouble};
use crate::model::newton::Maximum;
use crate::model::posterior::Draws;

/// What is said of parts that the fit leaves out and the forecast does not.
pub(super) fn found_note(family: &str, found: &Found) -> Option<String> {
    (!found.is_empty()).then(|| {
        format!(
            "{family}: parts of unknown age that the forecast counts all the same, by how long they have lasted since the records began: {}",
            found.count()
        )
    })
}

/// What the draws' own checks have to say to people; `None` where nothing is out of the ordinary.
pub(super) fn sampler_note(draws: &Draws) -> Option<String> {
    let health = draws.health;
    let took_over = "the quick way to its ranges was not reliable here, so a slower one was taken";
    let words = match (health.sampler, health.trouble()) {
        (Sampler::Importance, None) => return None,
        (Sampler::Chain, None) => took_over.to_owned(),
        (_, Some(Trouble::Weights)) => format!(
            "its ranges are rough: what they were reckoned from is worth only {:.0} % of its number",
            100.0 * health.effective_share
        ),
        (_, Some(Trouble::Peaks(peaks))) => format!(
            "the records have {peaks} explanations, and only the likeliest counts; its ranges may be too short"
        ),
        (_, Some(Trouble::Disagree(r_hat))) => format!(
            "{took_over}, but repeating it gave other answers (R-hat {r_hat:.2}): the records may have more than one explanation; its ranges are rough"
        ),
        (_, Some(Trouble::Slow(size))) => format!(
            "{took_over}, but it made little headway (worth {size:.0} independent tries); its ranges are rough"
        ),
        (_, Some(Trouble::Divergent(share))) => format!(
            "{took_over}, but {:.1} % of its steps went wrong; its ranges may be too short",
            100.0 * share
        ),
    };
    Some(words)
}

/// As [`conflict::FAR`], for one of several factors: 1 in 80 would be called so where nothing is wrong.
const FAR_FACTOR: f64 = 2.5;

/// Sentences where the records contradict the priors of life, shape and wear factors.
pub(super) fn conflict_notes(
    assessment: &Assessment,
    objective: &Anchored<'_>,
    (prior, life50): (Prior, Option<Spread>),
    mode: &Maximum,
    free: &[bool],
) -> Vec<String> {
    let family = &assessment.family;
    let whose = if family.from_file {
        "the model file"
    } else {
        "the built-in prior"
    };
    let guard = |index: usize, spread: f64| Normal {
        mean: mode.theta[index],
        sd: Spread {
            median: 1.0,
            spread,
        }
        .ln_sd(),
    };
    let guard_shape = Normal {
        mean: GUARD_SHAPE.ln_mean(),
        sd: GUARD_SHAPE.ln_sd(),
    };
    let between = |index, guard| conflict::with_prior(objective, index, guard, mode, free);
    let far = |index, guard| between(index, guard).filter(|c| c.is_far());
    let life = life50.and_then(|_| far(1, guard(1, GUARD_LIFE_SPREAD)));
    let shape = prior.shape.and_then(|_| far(0, guard_shape));
    let life = life.map(|c: Conflict| {
        let kind = if c.distance < 0.0 { "shorter" } else { "longer" };
        format!(
            "{}: the records speak for much {kind} lives than {whose} expects; its figures are a compromise of the two",
            family.name
        )
    });
    let shape = shape.map(|c: Conflict| {
        let kind = if c.distance < 0.0 { "more" } else { "less" };
        format!(
            "{}: the records speak for lives that scatter much {kind} than {whose} expects; its figures are a compromise of the two",
            family.name
        )
    });
    let groups = assessment.lives.groups.iter().enumerate().skip(1);
    let factors = groups.filter_map(|(g, group)| {
        prior.wear_factor?;
        let conflict = between(g + 1, guard(g + 1, GUARD_FACTOR_SPREAD))?;
        let kind = if conflict.distance < 0.0 { "less" } else { "more" };
        (FAR_FACTOR < conflict.distance.abs()).then(|| {
            format!(
                "{}: the records speak for {group} wearing much {kind} than {whose} expects beside {}; its factor is a compromise of the two, and a wider `wear_factor` in a model file of yours lets the records speak",
                family.name, assessment.lives.groups[0]
            )
        })
    });
    life.into_iter().chain(shape).chain(factors).collect()
}
