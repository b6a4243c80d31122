//! Markov chains: what takes over where weighted draws cannot be relied on.
//!
//! Four chains of the no-U-turn sampler (Hoffman & Gelman, JMLR 15 (2014), by `nuts-rs`), begun well
//! apart, in coordinates in which the proposal of the quick way is round. Step sizes and lengths are
//! tuned in a warm-up that is thrown away. Chains that do not agree, move too slowly or go wrong say
//! so in their [`Health`]. Each chain has a random stream of its own, so that the draws do not depend
//! on the number of threads.

use std::collections::HashMap;

use nalgebra::DVector;
use nuts_rs::{
    Chain as _, CpuLogpFunc, CpuMath, CpuMathError, DiagNutsSettings, HasDims, LogpError, Settings,
};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution as _, StandardNormal};
use rayon::prelude::*;

use super::health::{self, Health, Sampler};
use super::importance::Proposal;
use super::newton::Maximum;
use super::posterior::{CHAINS, Sample, Target, shuffle, stream};

/// Chains run beside each other.
const NUMBER: usize = 4;
/// Steps of each chain that are thrown away.
const WARM_UP: u64 = 1_000;
/// Fewest draws of each chain, for its checks to mean anything.
const FEWEST: usize = 500;
/// How chains are run.
#[derive(Clone, Copy)]
struct Pace {
    /// Draws of each.
    draws: usize,
    /// Share of moves that the step is tuned to accept.
    accept: f64,
}

/// Of the first try: strides that turn a smooth posterior over in few steps.
const ACCEPT: f64 = 0.8;
/// Of the second, where the first was unhealthy: small steps, for bends and corners.
const CAREFUL_ACCEPT: f64 = 0.98;
/// The second try is this many times longer.
const LONGER: usize = 4;
/// Starts lie this many widths of the proposal from a peak.
const APART: f64 = 2.5;

/// What a chain draws from: a target in coordinates in which the proposal is round.
struct Whitened<'a> {
    target: &'a dyn Target,
    proposal: &'a Proposal,
    /// Derivatives by all parameters.
    slopes: Vec<f64>,
}

/// A point where the target has no density; the chain turns back from it.
#[derive(Debug, thiserror::Error)]
#[error("the parameters are out of reach")]
struct OutOfReach;

impl LogpError for OutOfReach {
    fn is_recoverable(&self) -> bool {
        true
    }
}

impl HasDims for Whitened<'_> {
    fn dim_sizes(&self) -> HashMap<String, u64> {
        HashMap::from([("unconstrained_parameter".to_owned(), self.dim() as u64)])
    }
}

impl CpuLogpFunc for Whitened<'_> {
    type LogpError = OutOfReach;
    type FlowParameters = ();
    type ExpandedVector = Vec<f64>;

    fn dim(&self) -> usize {
        self.proposal.free()
    }

    fn logp(&mut self, position: &[f64], gradient: &mut [f64]) -> Result<f64, OutOfReach> {
        let theta = self.proposal.at(position);
        let ln_density = self.target.ln_density_and_slopes(&theta, &mut self.slopes);
        self.proposal.slopes_at(&self.slopes, gradient);
        if ln_density.is_finite() && gradient.iter().all(|g| g.is_finite()) {
            Ok(ln_density)
        } else {
            Err(OutOfReach)
        }
    }

    fn expand_vector<R: rand::Rng + ?Sized>(
        &mut self,
        _rng: &mut R,
        position: &[f64],
    ) -> Result<Vec<f64>, CpuMathError> {
        Ok(position.to_vec())
    }
}

/// One chain after its warm-up.
struct Run {
    points: Vec<Box<[f64]>>,
    divergent: usize,
}

/// Draws by Markov chains, in the measure of `proposal`, from starts about `peaks`; `None` where no
/// chain could start.
#[must_use]
pub fn draw(
    target: &dyn Target,
    proposal: &Proposal,
    peaks: &[Maximum],
    count: usize,
    seed: u64,
) -> Option<Sample> {
    let each = count.div_ceil(NUMBER).max(FEWEST);
    let first = Pace {
        draws: each,
        accept: ACCEPT,
    };
    let short = side_by_side(target, proposal, peaks, first, seed)?;
    let health = judge(&short, count, peaks.len());
    if health.trouble().is_none() {
        return Some(gathered(&short, proposal, count, health, seed));
    }
    let second = Pace {
        draws: LONGER * each,
        accept: CAREFUL_ACCEPT,
    };
    let long = side_by_side(target, proposal, peaks, second, seed)?;
    let health = judge(&long, count, peaks.len());
    Some(gathered(&long, proposal, count, health, seed))
}

/// All chains, each in a random stream of its own.
fn side_by_side(
    target: &dyn Target,
    proposal: &Proposal,
    peaks: &[Maximum],
    pace: Pace,
    seed: u64,
) -> Option<Vec<Run>> {
    (0..NUMBER)
        .into_par_iter()
        .map(|c| {
            let peak = &peaks[c % peaks.len()];
            run(target, proposal, peak, pace, &mut stream(seed, CHAINS, c))
        })
        .collect()
}

/// So many draws of all chains, in no order.
fn gathered(runs: &[Run], proposal: &Proposal, count: usize, health: Health, seed: u64) -> Sample {
    let mut points: Vec<&[f64]> = runs
        .iter()
        .flat_map(|r| r.points.iter().map(|p| &**p))
        .collect();
    shuffle(&mut points, seed);
    points.truncate(count);
    Sample {
        points: points.into_iter().map(|u| proposal.at(u)).collect(),
        health,
    }
}

/// One chain, from a start well away from a peak.
fn run(
    target: &dyn Target,
    proposal: &Proposal,
    peak: &Maximum,
    pace: Pace,
    rng: &mut ChaCha8Rng,
) -> Option<Run> {
    let mut settings = DiagNutsSettings {
        num_tune: WARM_UP,
        num_draws: pace.draws as u64,
        ..DiagNutsSettings::default()
    };
    let step_size = &mut settings.adapt_options.step_size_settings;
    step_size.target_accept = pace.accept;
    // Steep corners would shrink the step in every direction if it went by the slopes.
    let lengths = &mut settings.adapt_options.mass_matrix_options;
    lengths.use_grad_based_estimate = false;
    let math = CpuMath::new(Whitened {
        target,
        proposal,
        slopes: vec![0.0; peak.theta.len()],
    });
    let start = start(target, proposal, peak, rng);
    let mut chain = settings.new_chain(0, math, rng).ok()?;
    chain.set_position(&start).ok()?;
    let mut run = Run {
        points: Vec::with_capacity(pace.draws),
        divergent: 0,
    };
    for step in 0..WARM_UP as usize + pace.draws {
        let (point, progress) = chain.draw().ok()?;
        if WARM_UP as usize <= step {
            run.divergent += usize::from(progress.diverging);
            run.points.push(point);
        }
    }
    Some(run)
}

/// A point some widths of the proposal from a peak, where the target has a density; nearer and nearer
/// to the peak until it has.
fn start(
    target: &dyn Target,
    proposal: &Proposal,
    peak: &Maximum,
    rng: &mut ChaCha8Rng,
) -> Vec<f64> {
    let center = proposal.coordinates(&peak.theta);
    let mut apart = APART;
    for _ in 0..30 {
        let point = DVector::from_fn(proposal.free(), |i, _| {
            let z: f64 = StandardNormal.sample(rng);
            center[i] + apart * z
        });
        if target
            .ln_density(&proposal.at(point.as_slice()))
            .is_finite()
        {
            return point.as_slice().to_vec();
        }
        apart *= 0.7;
    }
    center
}

/// The checks of the chains: the worst of every free parameter.
fn judge(runs: &[Run], count: usize, peaks: usize) -> Health {
    let total: usize = runs.iter().map(|r| r.points.len()).sum();
    let parameters = runs[0].points.first().map_or(0, |p| p.len());
    let checks: Vec<(f64, f64)> = (0..parameters)
        .into_par_iter()
        .map(|i| {
            let chains: Vec<Vec<f64>> = runs
                .iter()
                .map(|r| r.points.iter().map(|p| p[i]).collect())
                .collect();
            (
                health::split_r_hat(&chains),
                health::effective_size(&chains),
            )
        })
        .collect();
    // `f64::max` would drop a check that is not a number.
    let worse = |a: f64, b: f64| if a.is_nan() || b < a { a } else { b };
    let r_hat = checks.iter().map(|c| c.0).fold(1.0, worse);
    let size = checks.iter().map(|c| c.1).fold(f64::INFINITY, f64::min);
    let divergent: usize = runs.iter().map(|r| r.divergent).sum();
    Health {
        sampler: Sampler::Chain,
        effective_share: (size / count as f64).min(1.0),
        pareto_k: None,
        r_hat: Some(r_hat),
        effective_size: Some(size),
        divergent: divergent as f64 / total as f64,
        peaks,
    }
}
