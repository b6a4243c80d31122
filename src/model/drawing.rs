//! Draws of one family's parameters: priors, peaks, and which sampler the case asks for.

mod notes;

use crate::family::{MeasureChoice, Prior, Spread};

use super::anchor::{Anchor, Anchored, Normal};
use super::assess::{Assessment, Wanted, name_hash, search_in_words};
use super::found::{Alike, Found};
use super::kernel::Distribution;
use super::likelihood::{Derivatives, Likelihood};
use super::machines::{Machines, SPREAD_PRIOR};
use super::newton::{Maximum, SearchError};
use super::observations::Observations;
use super::posterior::{self, Draws, Request};
use notes::{conflict_notes, found_note, sampler_note};

/// Log standard deviation of a lognormal life of unit shape over that of a Weibull one: sqrt(6) / pi
/// turned over. A prior on the Weibull shape means the same steepness for a lognormal life.
const WEIBULL_STEEPNESS: f64 = 1.282_549_830_161_864;

/// Logarithm of the median of a prior on the shape, in a distribution's own terms: of a lognormal life
/// `1 / sigma`.
fn ln_shape(prior: Spread, distribution: Distribution) -> f64 {
    let steepness = match distribution {
        Distribution::Lognormal => WEIBULL_STEEPNESS,
        Distribution::Weibull | Distribution::Exponential => 1.0,
    };
    prior.ln_mean() - steepness.ln()
}

/// Priors so wide that they only keep the draws finite where nothing else does.
const GUARD_SHAPE: Spread = Spread {
    median: 1.5,
    spread: 20.0,
};
const GUARD_LIFE_SPREAD: f64 = 1_000.0;
const GUARD_FACTOR_SPREAD: f64 = 20.0;

/// Prior of the life of one level over another's, say of two materials: 90 % sure within a factor of
/// 5 either way (our own choice, no source; two wear-outs of each outweigh it).
const LEVEL: Spread = Spread {
    median: 1.0,
    spread: 5.0,
};

impl Assessment {
    pub(super) fn draw(&mut self, wanted: Wanted) {
        if wanted.draws == 0 {
            return;
        }
        let observations = &self.lives.observations;
        let prior = if wanted.priors {
            self.family.prior
        } else {
            Prior::default()
        };
        let none = Found::default();
        let found = if wanted.found {
            &self.lives.found
        } else {
            &none
        };
        let worn = observations.worn() + found.worn();
        let in_measure = matches!(self.family.measure, MeasureChoice::Fixed(_));
        let life50 = prior.life50.filter(|_| in_measure);
        if prior.life50.is_some() && !in_measure {
            self.notes.push(format!(
                "{}: the prior of the median life is left out, since its measure was chosen by the records",
                self.family.name
            ));
        }
        let crude = observations.crude_ln_scale(prior.shape.map_or(1.5, |s| s.median));
        // Without a prior, parts that all still run set no upper limit on life, and parts that were
        // all found worn out no lower one.
        let no_limit = worn <= 0.0 || !observations.seen_good();
        let no_prior = life50.is_none() && crude.is_none();
        let nothing_known = !wanted.priors && no_limit || worn <= 0.0 && no_prior;
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
            half_event_at: half_worn.then(|| longest(observations).unwrap_or(center)),
        };
        let mut free = vec![true; observations.n_parameters()];
        free[0] = self.distribution.has_shape();
        let starts = self.starts(&objective, center);
        let peaks = match posterior::peaks(&objective, &starts, &free) {
            Ok(peaks) => peaks,
            Err(error) => {
                let words = search_in_words(&error, &self.lives.groups);
                self.notes.push(format!("{}: {words}", self.family.name));
                return;
            }
        };
        let mode = &peaks[0];
        let at_mode = objective.likelihood.value(&objective.to_scale(&mode.theta));
        let conflicts = conflict_notes(self, &objective, (prior, life50), mode, &free);
        let seen = observations.lives() + found.count();
        let request = Request {
            count: wanted.draws.min(most_draws(seen)),
            seed: wanted.seed ^ name_hash(&self.family.name),
            worn,
            chains: observations.lives() <= CHAIN_LIVES && found.count() <= CHAIN_FOUND,
        };
        // On a lone machine there is no difference to see, nor to expect; and half a wear-out, at a use that nothing
        // but running parts has told, cannot hold machines apart.
        let differ = wanted.machine_effect && 1 < self.lives.n_machines && !half_worn;
        let machines = Some(objective.clone()).filter(|_| differ);
        let machines = machines.and_then(Machines::new);
        let machines = machines.map(|m| m.with_found(found));
        let differ = machines.as_ref().map(|m| {
            let most = most_draws_of_machines(seen, m.machines().count());
            let count = request.count.min(most);
            draw_machines(m, &peaks, &free, Request { count, ..request })
        });
        let given_up = differ.as_ref().is_some_and(Option::is_none);
        let draws = differ
            .flatten()
            .unwrap_or_else(|| draw_alike(&objective, found, &peaks, &free, request));
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
        self.notes.extend(found_note(&self.family.name, found));
        self.log_likelihood_at_mode = Some(at_mode);
        self.draws = Some(draws);
    }

    /// The shape that the family's prior is about, in the distribution's own terms: of a lognormal life
    /// `1 / sigma`.
    #[must_use]
    pub fn prior_shape(&self) -> Option<f64> {
        let shape = self.family.prior.shape?;
        Some(ln_shape(shape, self.distribution).exp())
    }

    fn priors(&self, prior: Prior, life50: Option<Spread>, center: f64) -> Vec<Option<Normal>> {
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
                mean: ln_shape(shape, self.distribution),
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
        let observations = &self.lives.observations;
        priors.resize(observations.n_groups() + 1, Some(normal));
        let level = Normal {
            mean: 0.0,
            sd: LEVEL.ln_sd(),
        };
        priors.resize(observations.n_parameters(), Some(level));
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

/// Draws with machines taken as alike.
fn draw_alike(
    objective: &Anchored<'_>,
    found: &Found,
    peaks: &[Maximum],
    free: &[bool],
    request: Request,
) -> Draws {
    let target = Alike {
        base: objective,
        found,
    };
    let mode = (!found.is_empty())
        .then(|| posterior::numeric_mode_within(&target, &peaks[0].theta, free, FINE_ENOUGH).ok())
        .flatten();
    let sample = match mode {
        Some(mode) => posterior::draw(&target, &[mode], free, request),
        None if found.is_empty() => posterior::draw(objective, peaks, free, request),
        None => posterior::draw(&target, peaks, free, request),
    };
    Draws::alike(objective, &sample)
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
    let mode = mode_of_machines(machines, &near[0].theta, &free);
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

/// Share of the log density below which a step to the peak is not worth taking: what found parts
/// tell comes from tables.
const FINE_ENOUGH: f64 = 1e-8;

/// The most probable point; where machines are many, the search begins with some of them.
fn mode_of_machines(
    machines: &Machines<'_>,
    start: &[f64],
    free: &[bool],
) -> Result<Maximum, SearchError> {
    /// Machines from which it pays.
    const MANY: usize = 800;
    const ONE_IN: usize = 8;
    let mode = |machines: &Machines<'_>, start: &[f64]| {
        if machines.has_found() {
            posterior::numeric_mode_within(machines, start, free, FINE_ENOUGH)
        } else {
            posterior::numeric_mode(machines, start, free)
        }
    };
    if machines.machines().count() < MANY {
        return mode(machines, start);
    }
    mode(&machines.one_in(ONE_IN), start)
        .and_then(|near| mode(machines, &near.theta))
        .or_else(|_| mode(machines, start))
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

/// Lives up to which Markov chains take a bearable time.
const CHAIN_LIVES: f64 = 20_000.0;
/// The same of parts of unknown age, whose slopes come from differences.
const CHAIN_FOUND: f64 = 100.0;
/// The same with machines that differ, whose density takes longer.
const CHAIN_LIVES_OF_MACHINES: f64 = 250.0;

/// Few lives leave much open, and their draws cost little; with many lives draws are costly and alike.
fn most_draws(lives: f64) -> usize {
    match lives {
        n if n < 1_500.0 => few_lives(n),
        n if n < 10_000.0 => 1 << 11,
        _ => 1 << 10,
    }
}

/// As many as cost no more than 4,000 of forty lives; powers of two, of which plays are multiples.
fn few_lives(lives: f64) -> usize {
    match lives {
        n if n <= 10.0 => 1 << 14,
        n if n <= 20.0 => 1 << 13,
        _ => 1 << 12,
    }
}

/// The same with machines that differ, each draw of which goes through every machine.
fn most_draws_of_machines(lives: f64, machines: usize) -> usize {
    /// Effects drawn of one family, about 16 MB of them.
    const EFFECTS: usize = 2_000_000;
    let most = match lives {
        n if n < 250.0 => few_lives(n),
        _ => 1 << 11,
    };
    most.min((EFFECTS / machines.max(1)).max(250))
}

fn longest(lives: &Observations) -> Option<f64> {
    let longest = (0..lives.len())
        .map(|i| lives.plain_end(i))
        .fold(0.0, f64::max);
    (0.0 < longest).then(|| longest.ln())
}

#[cfg(test)]
mod tests {
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution as _, StandardNormal};

    use super::*;
    use crate::model::Observation;
    use crate::model::observations::End;

    /// Three lives on each of a thousand machines, shape 2.5, scale 1,000, spread of machines 0.2, seen
    /// for up to 2,500; about a third of them still run.
    fn lives() -> Observations {
        let mut rng = ChaCha8Rng::seed_from_u64(1);
        let mut lives = Vec::new();
        for machine in 0..1_000 {
            let z: f64 = StandardNormal.sample(&mut rng);
            for _ in 0..3 {
                let u: f64 = rng.random();
                let life = 1_000.0 * (0.2 * z).exp() * (-(-u).ln_1p()).powf(1.0 / 2.5);
                let now = 2_500.0 * rng.random::<f64>();
                let (runs, end) = (now < life, life.min(now));
                lives.push(Observation {
                    entry: vec![0.0],
                    low: vec![0.99 * end],
                    end: vec![end],
                    known: if runs { End::Censored } else { End::Between },
                    count: 1.0,
                    machine: Some(machine),
                });
            }
        }
        Observations::new(1, lives)
    }

    #[test]
    fn a_search_that_begins_with_some_machines_ends_where_one_with_all_does() {
        let lives = lives();
        let base = Anchored {
            likelihood: Likelihood {
                distribution: Distribution::Weibull,
                lives: &lives,
            },
            anchor: Anchor::Quantile(0.5),
            priors: vec![None, None],
            half_event_at: None,
        };
        let machines = Machines::new(base).expect("many machines");
        let start = [2_f64.ln(), 900_f64.ln(), SPREAD_PRIOR.mean];
        let free = [true; 3];
        let all = posterior::numeric_mode(&machines, &start, &free).expect("a peak");
        let some = mode_of_machines(&machines, &start, &free).expect("a peak");
        for (i, (all_at, some_at)) in all.theta.iter().zip(&some.theta).enumerate() {
            let sd = (-all.derivatives.hessian[i * 3 + i]).sqrt().recip();
            assert!(
                (all_at - some_at).abs() < 0.02 * sd,
                "{i}: {all_at}, {some_at}, sd {sd}"
            );
        }
        // And what made the lives is found again: four standard deviations at most.
        for (i, truth) in [(0, 2.5_f64.ln()), (2, 0.2_f64.ln())] {
            let sd = (-all.derivatives.hessian[i * 3 + i]).sqrt().recip();
            let off = (all.theta[i] - truth).abs();
            assert!(off < 4.0 * sd.max(0.02), "{i}: {off}, sd {sd}");
        }
    }

    #[test]
    fn only_fleets_of_over_a_thousand_machines_get_fewer_draws() {
        assert_eq!(most_draws_of_machines(200.0, 20), 4_096);
        assert_eq!(most_draws_of_machines(5_000.0, 1_000), 2_000);
        assert_eq!(most_draws_of_machines(50_000.0, 4_000), 500);
        assert_eq!(most_draws_of_machines(50_000.0, 1_000_000), 250);
    }
}
