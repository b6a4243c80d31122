//! What is known of one family: its lives, its fit, its posterior.

use crate::family::{DistributionChoice, Family, MeasureChoice};
use crate::life::Life;
use crate::units::Measure;
use crate::wear::Groups;

use super::fit::{self, Fit, FitError};
use super::kernel::Distribution;
use super::newton::SearchError;
use super::observations::Observations;
use super::posterior::Draws;

use super::family_lives::is_known;
pub use super::family_lives::{Counts, FamilyLives, family_lives};

/// How the draws are wanted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wanted {
    /// Whether the family's prior counts.
    pub priors: bool,
    /// Whether machines may differ.
    pub machine_effect: bool,
    /// Whether parts of unknown age count, as they do in a forecast and not in a fit.
    pub found: bool,
    /// Number of draws; 0 where nothing but the likeliest parameters are asked for.
    pub draws: usize,
    /// Seed of the random numbers.
    pub seed: u64,
}

/// One family, assessed.
#[derive(Clone, Debug, PartialEq)]
pub struct Assessment {
    /// The family.
    pub family: Family,
    /// Its lives.
    pub lives: FamilyLives,
    /// Whether the measure of its lives is known; a bare table need not say.
    pub measure_known: bool,
    /// The distribution used.
    pub distribution: Distribution,
    /// Maximum likelihood, or what stands in its way.
    pub likeliest: Result<Fit, FitError>,
    /// Draws of the parameters; `None` where neither records nor prior say anything.
    pub draws: Option<Draws>,
    /// Log-likelihood at the most probable point of the posterior.
    pub log_likelihood_at_mode: Option<f64>,
    /// Sentences for the results.
    pub notes: Vec<String>,
}

/// Assesses one family of the records.
#[must_use]
pub fn assess(
    family: &Family,
    lives: &[&Life],
    groups: &Groups,
    also: &[String],
    wanted: Wanted,
) -> Assessment {
    let mut notes = Vec::new();
    let measured = measured(family, lives, groups, also, &mut notes);
    assess_lives(family, measured, wanted, notes)
}

/// The lives of a family in its measure, or in the one the records choose.
#[must_use]
pub fn measured(
    family: &Family,
    lives: &[&Life],
    groups: &Groups,
    also: &[String],
    notes: &mut Vec<String>,
) -> FamilyLives {
    match family.measure {
        MeasureChoice::Fixed(measure) => family_lives(lives, measure, groups, also),
        MeasureChoice::Best => best_measure(family, lives, groups, also, notes),
    }
}

/// Assesses lives that are already counted in their measure.
#[must_use]
pub fn assess_lives(
    family: &Family,
    lives: FamilyLives,
    wanted: Wanted,
    mut notes: Vec<String>,
) -> Assessment {
    note_counts(family, &lives, wanted.priors, &mut notes);
    let distribution = choose_distribution(family, &lives.observations, &mut notes);
    let likeliest = fit::maximum_likelihood(distribution, &lives.observations);
    if let Err(error) = &likeliest {
        notes.push(format!(
            "{}: {}",
            family.name,
            in_words(error, &lives.groups)
        ));
    }
    if let Ok(fit) = &likeliest {
        note_untold(family, &lives, fit, wanted.priors, &mut notes);
    }
    let mut assessment = Assessment {
        family: family.clone(),
        lives,
        measure_known: true,
        distribution,
        likeliest,
        draws: None,
        log_likelihood_at_mode: None,
        notes,
    };
    assessment.draw(wanted);
    assessment
}

/// What stands in the way of a likeliest model, and what that means.
fn in_words(error: &FitError, groups: &[String]) -> String {
    match error {
        FitError::UnboundedFactor(group) => format!(
            "the records alone set no upper limit on how much harder {} wears than {}; `--reference \"{}\"` asks the other way round",
            groups[*group], groups[0], groups[*group]
        ),
        FitError::UnboundedShape | FitError::UnboundedScale | FitError::UnboundedRatio => {
            format!("{error}, so the records alone give no estimate")
        }
        FitError::Search(error) => search_in_words(error, groups),
        FitError::NoLives | FitError::NoneWorn => error.to_string(),
    }
}

/// Why a search ended short of a model, in words that need no model to be understood.
pub(super) fn search_in_words(error: &SearchError, groups: &[String]) -> String {
    let what = match error {
        SearchError::Start => "no model was found under which these records are possible",
        SearchError::NotConverged(_) => "the search for the likeliest model came to no end",
        SearchError::Runaway { index, .. } => {
            return in_words(&fit::unbounded(*index, groups.len()), groups);
        }
    };
    format!("{what}, so the records alone give no estimate")
}

/// What the lives cannot tell though they have a likeliest model, and what stands in for it.
fn note_untold(
    family: &Family,
    lives: &FamilyLives,
    likeliest: &Fit,
    priors: bool,
    notes: &mut Vec<String>,
) {
    let (name, groups) = (&family.name, &lives.groups);
    let names = |told: &dyn Fn(usize) -> bool| -> Vec<&str> {
        let of = (0..groups.len()).filter(|g| told(*g));
        of.map(|g| groups[g].as_str()).collect()
    };
    let unseen = names(&|g| 0 < g && !lives.observations.worn_under(g));
    if !unseen.is_empty() {
        let instead = if priors {
            "what is told of it is the prior alone".to_owned()
        } else {
            format!("until one has, it is taken to wear like {}", groups[0])
        };
        notes.push(format!(
            "{name}: no part that wore out has seen {}, so the records do not tell its wear factor; {instead}",
            unseen.join(", ")
        ));
    }
    if likeliest.on_ridge[0] {
        notes.push(format!(
            "{name}: the records agree as well with any shape, so the records alone give no estimate"
        ));
        return;
    }
    // The scale is the reference group's.
    let together = names(&|g| likeliest.on_ridge[g + 1]);
    if 1 < together.len() {
        let end = if priors {
            "what tells them apart is the prior"
        } else {
            "lives with another mix would tell"
        };
        notes.push(format!(
            "{name}: the records cannot tell the wear of {} apart, since they always come in the same proportions; {end}",
            together.join(", ")
        ));
    }
}

fn note_counts(family: &Family, lives: &FamilyLives, priors: bool, notes: &mut Vec<String>) {
    let name = &family.name;
    let counts = lives.counts;
    if !family.from_file {
        notes.push(format!(
            "{name}: no model file, so these records alone say how long they last{}; a life is {}",
            if priors {
                ", helped by a rough guess at the shape"
            } else {
                ""
            },
            if family.counted == crate::family::Counted::Each {
                "each piece's"
            } else {
                "a whole set's"
            }
        ));
    }
    if 0.0 < counts.start_unknown {
        notes.push(format!(
            "{name}: kept out of the fit, since nobody knows when they were fitted: {}",
            counts.start_unknown
        ));
    }
    if 0.0 < counts.use_unknown {
        let measure = lives.measure.name();
        let mut of_worn = String::new();
        if 0.0 < counts.use_unknown_worn {
            of_worn = format!(", of which {} wore out", counts.use_unknown_worn);
        }
        let before = if 0.0 < counts.before_unknown_worn {
            format!(
                "; where they were older than the records, a rough figure in `{measure}_before` of `positions` lets them count"
            )
        } else {
            String::new()
        };
        notes.push(format!(
            "{name}: kept out of the fit, since some of their {measure} are not recorded: {}{of_worn}{before}",
            counts.use_unknown
        ));
    }
    if 0.0 < counts.filled {
        notes.push(format!(
            "{name}: lives with days whose {} are not recorded, filled in at past rates of their product group: {}",
            lives.measure.name(),
            counts.filled
        ));
    }
    if 0.0 < counts.no_use {
        notes.push(format!(
            "{name}: kept out of the fit, since they wore out without any recorded use: {}",
            counts.no_use
        ));
    }
}

/// The measure under which the records are most probable, for the number of factors it needs.
///
/// Measures are held against each other on the lives that all of them know: one life of which the
/// tons are not on record decides nothing. A measure that fewer than half of the lives have is no
/// choice.
fn best_measure(
    family: &Family,
    lives: &[&Life],
    groups: &Groups,
    also: &[String],
    notes: &mut Vec<String>,
) -> FamilyLives {
    let order = [Measure::Tons, Measure::Hours, Measure::Acres, Measure::Days];
    let known = |m: Measure| lives.iter().filter(|l| is_known(l, m)).count();
    let counted = order.map(|m| (m, known(m)));
    let most = counted.iter().map(|(_, known)| *known).max().unwrap_or(0);
    let measures: Vec<Measure> = counted
        .iter()
        .filter(|(m, _)| *m == Measure::Days || groups.is_in_log(*m))
        .filter(|(_, known)| most <= 2 * known)
        .map(|(m, _)| *m)
        .collect();
    let of_all = |life: &&&Life| measures.iter().all(|m| is_known(life, *m));
    let common: Vec<&Life> = lives.iter().filter(of_all).copied().collect();
    let distribution = fixed(family.distribution).unwrap_or(Distribution::Weibull);
    let scored = measures.iter().filter_map(|m| {
        let seen = family_lives(&common, *m, groups, also);
        let fit = fit::whichever_reference(distribution, &seen.observations).ok()?;
        let parameters = fit.free.iter().filter(|f| **f).count() as f64;
        let told = 3.0 <= seen.counts.worn;
        told.then(|| (*m, parameters - fit.log_likelihood()))
    });
    let best = scored.min_by(|a, b| a.1.total_cmp(&b.1)).map(|(m, _)| m);
    let told = best.is_some();
    let fullest = measures.iter().find(|m| known(**m) == most);
    let chosen = best.or(fullest.copied()).unwrap_or(Measure::Days);
    let chosen = family_lives(lives, chosen, groups, also);
    notes.push(if told {
        format!(
            "{}: lives are counted in {}, which fits the records best",
            family.name,
            chosen.measure.name()
        )
    } else {
        format!(
            "{}: too few wear-outs to tell what wears it; measured in {}",
            family.name,
            chosen.measure.name()
        )
    });
    chosen
}

fn choose_distribution(
    family: &Family,
    lives: &Observations,
    notes: &mut Vec<String>,
) -> Distribution {
    if let Some(fixed) = fixed(family.distribution) {
        return fixed;
    }
    let tried = [
        Distribution::Weibull,
        Distribution::Lognormal,
        Distribution::Exponential,
    ];
    let criterion = |d| {
        Some(
            fit::whichever_reference(d, lives)
                .ok()?
                .corrected_aic(lives),
        )
    };
    let judged: Vec<(Distribution, f64)> = tried
        .into_iter()
        .filter_map(|d| Some((d, criterion(d)?)))
        .collect();
    // One of fewer parameters would win for its criterion being there at all.
    if judged.iter().any(|(_, aicc)| aicc.is_infinite()) {
        notes.push(format!(
            "{}: too few wear-outs to choose a distribution by; weibull life",
            family.name
        ));
        return Distribution::Weibull;
    }
    let best = judged.into_iter().min_by(|a, b| a.1.total_cmp(&b.1));
    let chosen = best.map_or(Distribution::Weibull, |(d, _)| d);
    notes.push(format!(
        "{}: {} life by the corrected information criterion",
        family.name,
        chosen.name()
    ));
    chosen
}

/// The distribution that a family names; `None` where the lives are to choose it.
fn fixed(choice: DistributionChoice) -> Option<Distribution> {
    match choice {
        DistributionChoice::Weibull => Some(Distribution::Weibull),
        DistributionChoice::Lognormal => Some(Distribution::Lognormal),
        DistributionChoice::Exponential => Some(Distribution::Exponential),
        DistributionChoice::Best => None,
    }
}

/// A number of its own for each family, so that leaving one out does not change another's draws
/// (FNV-1a).
#[must_use]
pub fn name_hash(name: &str) -> u64 {
    name.bytes().fold(0xcbf2_9ce4_8422_2325, |hash, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3)
    })
}
