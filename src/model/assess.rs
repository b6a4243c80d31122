//! What is known of one family: its lives, its fit, its posterior.

use crate::family::{DistributionChoice, Family, MeasureChoice, Prior, Spread};
use crate::life::Life;
use crate::units::Measure;
use crate::wear::Groups;

use super::anchor::{Anchor, Anchored, Normal};
use super::conflict::{self, Conflict};
use super::fit::{self, Fit, FitError};
use super::health::{Sampler, Trouble};
use super::kernel::Distribution;
use super::likelihood::{Derivatives, Likelihood};
use super::machines::{Machines, SPREAD_PRIOR};
use super::newton::Maximum;
use super::observations::{End, Observation, Observations};
use super::posterior::{self, Draws, Request};

/// How many lives there are, of which sort.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Counts {
    /// Lives in the fit: worn and censored.
    pub lives: f64,
    /// Of these worn out.
    pub worn: f64,
    /// Of these not worn out.
    pub censored: f64,
    /// Of these first seen with use behind them.
    pub late_entry: f64,
    /// Of these with days whose use is filled in from past rates.
    pub filled: f64,
    /// Kept out of the fit: nobody knows when they began.
    pub start_unknown: f64,
    /// Kept out of the fit: some of their use is not recorded in this measure.
    pub use_unknown: f64,
    /// Kept out of the fit: said to have worn out without any use.
    pub no_use: f64,
}

/// The lives of one family in one measure.
#[derive(Clone, Debug, PartialEq)]
pub struct FamilyLives {
    /// The measure.
    pub measure: Measure,
    /// Product groups, the reference first; only that one where the measure has no groups.
    pub groups: Vec<String>,
    /// Machines with lives in the fit, sorted.
    pub machines: Vec<String>,
    /// What the fit sees.
    pub observations: Observations,
    /// How many, of which sort.
    pub counts: Counts,
}

impl FamilyLives {
    /// Place of a machine among those with lives.
    #[must_use]
    pub fn place_of(&self, machine: &str) -> Option<usize> {
        self.machines
            .binary_search_by(|m| m.as_str().cmp(machine))
            .ok()
    }
}

/// How the draws are wanted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wanted {
    /// Whether the family's prior counts.
    pub priors: bool,
    /// Whether machines may differ.
    pub machine_effect: bool,
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

/// The lives of `family` in `measure`, with the groups that they or `also` saw.
#[must_use]
pub fn family_lives(
    lives: &[&Life],
    measure: Measure,
    groups: &Groups,
    also: &[String],
) -> FamilyLives {
    let names = group_names(lives, measure, groups, also);
    let mut machines: Vec<String> = lives.iter().map(|l| l.machine.clone()).collect();
    machines.sort();
    machines.dedup();
    let mut counts = Counts::default();
    let mut rows = Vec::new();
    for life in lives {
        if life.fitted.is_none() {
            counts.start_unknown += 1.0;
            continue;
        }
        let span = life.filled[measure.index()];
        let (Some(entry), Some(low), Some(end)) = (span.entry, span.low, span.end) else {
            counts.use_unknown += 1.0;
            continue;
        };
        if life.ended.is_wear() && end <= low {
            counts.no_use += 1.0;
            continue;
        }
        counts.lives += 1.0;
        counts.worn += f64::from(u8::from(life.ended.is_wear()));
        counts.late_entry += f64::from(u8::from(0.0 < entry));
        counts.filled += f64::from(u8::from(life.spans[measure.index()] != span));
        let machine = machines.binary_search(&life.machine).ok();
        let machine = machine.and_then(|m| u32::try_from(m).ok());
        rows.push(observation(life, measure, &names, machine));
    }
    counts.censored = counts.lives - counts.worn;
    FamilyLives {
        measure,
        observations: Observations::new(names.len(), rows),
        groups: names,
        machines,
        counts,
    }
}

fn group_names(lives: &[&Life], measure: Measure, groups: &Groups, also: &[String]) -> Vec<String> {
    let Some(reference) = groups.reference(measure) else {
        return vec![String::new()];
    };
    let seen = |name: &String| {
        lives.iter().any(|l| {
            l.groups
                .get(name)
                .and_then(|g| g.end.get(measure))
                .is_some_and(|use_| 0.0 < use_)
        })
    };
    let mut names = vec![reference.to_owned()];
    names.extend(
        groups
            .names()
            .iter()
            .filter(|n| n.as_str() != reference && (seen(n) || also.contains(n)))
            .cloned(),
    );
    names
}

fn observation(
    life: &Life,
    measure: Measure,
    names: &[String],
    machine: Option<u32>,
) -> Observation {
    let known = if life.ended.is_wear() {
        End::Between
    } else {
        End::Censored
    };
    let span = life.filled[measure.index()];
    if measure == Measure::Days {
        let only = |value: Option<f64>| vec![value.unwrap_or(0.0)];
        return Observation {
            entry: only(span.entry),
            low: only(span.low),
            end: only(span.end),
            known,
            count: 1.0,
            machine,
        };
    }
    // A group that a life of known use never saw is absent: none of it was spread.
    let by_group = |pick: fn(&crate::life::GroupUse) -> crate::record::Amounts| -> Vec<f64> {
        names
            .iter()
            .map(|n| {
                life.groups
                    .get(n)
                    .and_then(|g| pick(g).get(measure))
                    .unwrap_or(0.0)
            })
            .collect()
    };
    Observation {
        entry: by_group(|g| g.entry),
        low: by_group(|g| g.low),
        end: by_group(|g| g.end),
        known,
        count: 1.0,
        machine,
    }
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
    note_counts(family, &lives, &mut notes);
    let distribution = choose_distribution(family, &lives.observations, &mut notes);
    let likeliest = fit::maximum_likelihood(distribution, &lives.observations);
    if let Err(error) = &likeliest {
        notes.push(format!(
            "{}: {}",
            family.name,
            in_words(error, &lives.groups)
        ));
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
            "the records alone set no upper limit on how much harder {} wears than {}",
            groups[*group], groups[0]
        ),
        FitError::Unbounded(what) => format!("{what}, so the records alone give no estimate"),
        _ => error.to_string(),
    }
}

fn note_counts(family: &Family, lives: &FamilyLives, notes: &mut Vec<String>) {
    let name = &family.name;
    let counts = lives.counts;
    if !family.from_file {
        notes.push(format!(
            "{name}: no model file, so a weak prior on the shape alone; a life is {}",
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
        notes.push(format!(
            "{name}: kept out of the fit, since some of their {} are not recorded: {}",
            lives.measure.name(),
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
fn best_measure(
    family: &Family,
    lives: &[&Life],
    groups: &Groups,
    also: &[String],
    notes: &mut Vec<String>,
) -> FamilyLives {
    let order = [Measure::Tons, Measure::Hours, Measure::Acres, Measure::Days];
    let candidates: Vec<FamilyLives> = order
        .iter()
        .filter(|m| **m == Measure::Days || groups.reference(**m).is_some())
        .map(|m| family_lives(lives, *m, groups, also))
        .collect();
    let most = candidates
        .iter()
        .map(|c| c.counts.lives)
        .fold(0.0, f64::max);
    let complete: Vec<FamilyLives> = candidates
        .into_iter()
        .filter(|c| most <= c.counts.lives)
        .collect();
    let scored = complete.iter().enumerate().filter_map(|(i, c)| {
        let fit = fit::maximum_likelihood(Distribution::Weibull, &c.observations).ok()?;
        let parameters = fit.free.iter().filter(|f| **f).count() as f64;
        Some((i, parameters - fit.log_likelihood()))
    });
    let best = scored.min_by(|a, b| a.1.total_cmp(&b.1)).map(|(i, _)| i);
    let told = best.is_some_and(|i| 3.0 <= complete[i].counts.worn);
    let chosen = complete
        .into_iter()
        .nth(if told { best.unwrap_or(0) } else { 0 })
        .expect("days are always a candidate");
    notes.push(if told {
        format!(
            "{}: measured in {}, under which the records are most probable",
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
    match family.distribution {
        DistributionChoice::Weibull => Distribution::Weibull,
        DistributionChoice::Lognormal => Distribution::Lognormal,
        DistributionChoice::Exponential => Distribution::Exponential,
        DistributionChoice::Best => {
            let tried = [
                Distribution::Weibull,
                Distribution::Lognormal,
                Distribution::Exponential,
            ];
            let best = tried
                .into_iter()
                .filter_map(|d| {
                    Some((
                        d,
                        fit::maximum_likelihood(d, lives).ok()?.corrected_aic(lives),
                    ))
                })
                .min_by(|a, b| a.1.total_cmp(&b.1));
            let chosen = best.map_or(Distribution::Weibull, |(d, _)| d);
            notes.push(format!(
                "{}: {} life by the corrected information criterion",
                family.name,
                chosen.name()
            ));
            chosen
        }
    }
}

/// Log standard deviation of a lognormal life of unit shape over that of a Weibull one: sqrt(6) / pi
/// turned over. A prior on the Weibull shape means the same steepness for a lognormal life.
const WEIBULL_STEEPNESS: f64 = 1.282_549_830_161_864;

/// Priors so wide that they only keep the draws finite where nothing else does.
const GUARD_SHAPE: Spread = Spread {
    median: 1.5,
    spread: 20.0,
};
const GUARD_LIFE_SPREAD: f64 = 1_000.0;
const GUARD_FACTOR_SPREAD: f64 = 20.0;

impl Assessment {
    fn draw(&mut self, wanted: Wanted) {
        if wanted.draws == 0 {
            return;
        }
        let observations = &self.lives.observations;
        let prior = if wanted.priors {
            self.family.prior
        } else {
            Prior::default()
        };
        let worn = observations.worn();
        let in_measure = matches!(self.family.measure, MeasureChoice::Fixed(_));
        let life50 = prior.life50.filter(|_| in_measure);
        if prior.life50.is_some() && !in_measure {
            self.notes.push(format!(
                "{}: the prior of the median life is left out, since its measure was chosen by the records",
                self.family.name
            ));
        }
        let crude = observations.crude_ln_scale(prior.shape.map_or(1.5, |s| s.median));
        let nothing_known = worn <= 0.0 && (!wanted.priors || life50.is_none() && crude.is_none());
        let center = life50.map(Spread::ln_mean).or(crude);
        let (false, Some(center)) = (nothing_known, center) else {
            return;
        };
        let half_worn = worn <= 0.0 && life50.is_none();
        if half_worn {
            self.notes.push(format!(
                "{}: no wear-out yet and no prior of its life; the forecast counts half a wear-out at the longest use seen",
                self.family.name
            ));
        }
        let objective = Anchored {
            likelihood: Likelihood {
                distribution: self.distribution,
                lives: observations,
            },
            anchor: Anchor::Quantile(0.5),
            priors: self.priors(prior, life50, center),
            half_worn_at: half_worn.then(|| longest(observations).unwrap_or(center)),
        };
        let mut free = vec![true; observations.n_groups() + 1];
        free[0] = self.distribution.has_shape();
        let starts = self.starts(&objective, center);
        let peaks = match posterior::peaks(&objective, &starts, &free) {
            Ok(peaks) => peaks,
            Err(error) => {
                self.notes.push(format!("{}: {error}", self.family.name));
                return;
            }
        };
        let mode = &peaks[0];
        let at_mode = objective.likelihood.value(&objective.to_scale(&mode.theta));
        let conflicts = conflict_notes(self, &objective, (prior, life50), mode, &free);
        let request = Request {
            count: wanted.draws.min(most_draws(observations.lives())),
            seed: wanted.seed ^ name_hash(&self.family.name),
            worn,
            chains: observations.lives() <= CHAIN_LIVES,
        };
        let machines = Some(objective.clone()).filter(|_| wanted.machine_effect);
        let machines = machines.and_then(Machines::new);
        let differ = machines.as_ref();
        let differ = differ.map(|m| draw_machines(m, &peaks, &free, request));
        let given_up = differ.as_ref().is_some_and(Option::is_none);
        let draws = differ.flatten().unwrap_or_else(|| {
            let sample = posterior::draw(&objective, &peaks, &free, request);
            Draws::alike(&objective, &sample)
        });
        self.notes.extend(conflicts);
        if given_up {
            self.notes.push(format!(
                "{}: the records do not tell how much machines differ; they are taken as alike",
                self.family.name
            ));
        }
        let said = sampler_note(&draws);
        let said = said.map(|words| format!("{}: {words}", self.family.name));
        self.notes.extend(said);
        self.log_likelihood_at_mode = Some(at_mode);
        self.draws = Some(draws);
    }

    fn priors(&self, prior: Prior, life50: Option<Spread>, center: f64) -> Vec<Option<Normal>> {
        let steepness = if self.distribution == Distribution::Lognormal {
            WEIBULL_STEEPNESS.ln()
        } else {
            0.0
        };
        let shape = prior.shape.unwrap_or(GUARD_SHAPE);
        let guard = Spread {
            median: center.exp(),
            spread: GUARD_LIFE_SPREAD,
        };
        let life = life50.unwrap_or(guard);
        let factor = Spread {
            median: 1.0,
            spread: prior.wear_factor.unwrap_or(GUARD_FACTOR_SPREAD),
        };
        let mut priors = vec![
            Some(Normal {
                mean: shape.ln_mean() - steepness,
                sd: shape.ln_sd(),
            }),
            Some(Normal {
                mean: life.ln_mean(),
                sd: life.ln_sd(),
            }),
        ];
        let normal = Normal {
            mean: 0.0,
            sd: factor.ln_sd(),
        };
        priors.resize(self.lives.observations.n_groups() + 1, Some(normal));
        priors
    }

    fn starts(&self, objective: &Anchored<'_>, center: f64) -> Vec<Vec<f64>> {
        let n = objective.likelihood.n_parameters();
        let mut starts = Vec::new();
        if let Ok(fit) = &self.likeliest {
            let mut theta = fit.theta.clone();
            theta[1] += objective.anchor.offset(self.distribution, theta[0]).value;
            starts.push(theta);
        }
        let shapes: &[f64] = if self.distribution.has_shape() {
            &[2.0, 1.0, 4.0]
        } else {
            &[1.0]
        };
        for shape in shapes {
            let crude = self.lives.observations.crude_ln_scale(*shape);
            for life in crude.into_iter().chain([center]) {
                let mut theta = vec![shape.ln(), life];
                theta.resize(n, 0.0);
                starts.push(theta);
            }
        }
        starts
    }
}

/// Draws with an effect for each machine; `None` where neither a peak was found nor chains agreed.
fn draw_machines(
    machines: &Machines<'_>,
    alike: &[Maximum],
    free: &[bool],
    request: Request,
) -> Option<Draws> {
    let mut free = free.to_vec();
    free.push(true);
    let near: Vec<Maximum> = alike.iter().map(with_spread).collect();
    let mode = posterior::numeric_mode(machines, &near[0].theta, &free);
    let request = Request {
        chains: request.chains && machines.base.likelihood.lives.lives() <= CHAIN_LIVES_OF_MACHINES,
        ..request
    };
    let sample = match mode {
        Ok(mode) => {
            let peaks: Vec<Maximum> = std::iter::once(mode)
                .chain(near.into_iter().skip(1))
                .collect();
            posterior::draw(machines, &peaks, &free, request)
        }
        Err(_) if request.chains => posterior::draw_by_chains(machines, &near, &free, request)
            .filter(|s| s.health.trouble().is_none())?,
        Err(_) => return None,
    };
    Some(Draws::of_machines(machines, &sample, request.seed))
}

/// A peak with machines alike as a place to start with machines that differ: the prior of the spread
/// in place of its curvature.
fn with_spread(alike: &Maximum) -> Maximum {
    let n = alike.theta.len();
    let mut theta = alike.theta.clone();
    theta.push(SPREAD_PRIOR.mean);
    let mut derivatives = Derivatives::zero(n + 1);
    derivatives.value = alike.derivatives.value;
    for i in 0..n {
        let row = &alike.derivatives.hessian[i * n..(i + 1) * n];
        derivatives.hessian[i * (n + 1)..i * (n + 1) + n].copy_from_slice(row);
    }
    derivatives.hessian[(n + 1) * (n + 1) - 1] = -1.0 / (SPREAD_PRIOR.sd * SPREAD_PRIOR.sd);
    Maximum { theta, derivatives }
}

/// What the draws' own checks have to say to people; `None` where nothing is out of the ordinary.
fn sampler_note(draws: &Draws) -> Option<String> {
    let health = draws.health;
    let took_over = "Markov chains drew it instead of weighted draws, which were not reliable here";
    let words = match (health.sampler, health.trouble()) {
        (Sampler::Importance, None) => return None,
        (Sampler::Chain, None) => took_over.to_owned(),
        (_, Some(Trouble::Weights)) => format!(
            "few of the draws carry the weight (worth {:.0} % of their number); its intervals are rough",
            100.0 * health.effective_share
        ),
        (_, Some(Trouble::Peaks(peaks))) => format!(
            "the records have {peaks} explanations, and only the likeliest was drawn from; its intervals may be too short"
        ),
        (_, Some(Trouble::Disagree(r_hat))) => format!(
            "{took_over}, but they do not agree (R-hat {r_hat:.2}): the records may have more than one explanation; its intervals are rough"
        ),
        (_, Some(Trouble::Slow(size))) => format!(
            "{took_over}, but they moved slowly (worth {size:.0} independent draws); its intervals are rough"
        ),
        (_, Some(Trouble::Divergent(share))) => format!(
            "{took_over}, but {:.1} % of their steps went wrong; its intervals may be too short",
            100.0 * share
        ),
    };
    Some(words)
}

/// Sentences where the records contradict the priors of life and shape.
fn conflict_notes(
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
    let wide = |spread: Spread| Normal {
        mean: mode.theta[1],
        sd: spread.ln_sd(),
    };
    let guard_life = wide(Spread {
        median: 1.0,
        spread: GUARD_LIFE_SPREAD,
    });
    let guard_shape = Normal {
        mean: GUARD_SHAPE.ln_mean(),
        sd: GUARD_SHAPE.ln_sd(),
    };
    let far = |index, guard| {
        conflict::with_prior(objective, index, guard, mode, free).filter(|c| c.is_far())
    };
    let life = life50.and_then(|_| far(1, guard_life));
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
    life.into_iter().chain(shape).collect()
}

/// Lives up to which Markov chains take a bearable time.
const CHAIN_LIVES: f64 = 20_000.0;
/// The same with machines that differ, whose density takes longer.
const CHAIN_LIVES_OF_MACHINES: f64 = 250.0;

/// With many lives the draws are costly and alike: fewer do.
fn most_draws(lives: f64) -> usize {
    match lives {
        n if n < 3_000.0 => 4_000,
        n if n < 30_000.0 => 2_000,
        _ => 1_000,
    }
}

fn longest(lives: &Observations) -> Option<f64> {
    let longest = (0..lives.len())
        .map(|i| lives.plain_end(i))
        .fold(0.0, f64::max);
    (0.0 < longest).then(|| longest.ln())
}

/// A number of its own for each family, so that leaving one out does not change another's draws
/// (FNV-1a).
#[must_use]
pub fn name_hash(name: &str) -> u64 {
    name.bytes().fold(0xcbf2_9ce4_8422_2325, |hash, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3)
    })
}
