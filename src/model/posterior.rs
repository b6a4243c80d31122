//! What the records and the prior leave possible: draws of the parameters.
//!
//! Draws are made the quick way first, by weights ([`super::importance`]). Where the weights say that
//! they cannot be relied on, or where several peaks were found, Markov chains take over
//! ([`super::chain`]). Which of the two it was, and what its own checks say, goes with the draws.
//!
//! Where a family has no prior for its life and nothing has worn out yet, any life that is long
//! enough explains the records and no average exists. Then half a wear-out is added at the
//! longest use seen (Jeffreys' rule for a rate), which keeps the forecast finite; results say so.

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;

use super::anchor::{Anchored, Objective};
use super::chain;
use super::health::Health;
use super::importance::{self, Proposal};
use super::kernel::Distribution;
use super::likelihood::Derivatives;
use super::machines::Machines;
use super::newton::{self, Maximum, SearchError};

/// Wear-outs from which the normal distribution of the curvature is the answer: its error falls with
/// their number.
const PLENTY: f64 = 5_000.0;
/// Peaks lower than the highest by more than this in log density hold nothing to speak of.
const PEAK_DEPTH: f64 = 10.0;
/// Peaks closer than this in every parameter are one.
const PEAK_GAP: f64 = 0.02;

/// A density to draw from.
pub trait Target: Sync {
    /// Log density up to a constant; negative infinity where the parameters are out of reach.
    fn ln_density(&self, theta: &[f64]) -> f64;

    /// The same, with its first derivatives into `out`; by differences unless the target knows them.
    fn ln_density_and_slopes(&self, theta: &[f64], out: &mut [f64]) -> f64 {
        /// One-sided, as densities are dear: a chain is exact by them, whatever its slopes.
        const STEP: f64 = 1e-5;
        let ln_density = self.ln_density(theta);
        let mut point = theta.to_vec();
        for (i, slope) in out.iter_mut().enumerate() {
            point[i] = theta[i] + STEP;
            *slope = (self.ln_density(&point) - ln_density) / STEP;
            point[i] = theta[i];
        }
        ln_density
    }
}

impl Target for Anchored<'_> {
    fn ln_density(&self, theta: &[f64]) -> f64 {
        Anchored::ln_density(self, theta)
    }

    fn ln_density_and_slopes(&self, theta: &[f64], out: &mut [f64]) -> f64 {
        let mut derivatives = Derivatives::zero(theta.len());
        self.evaluate(theta, &mut derivatives);
        out.copy_from_slice(&derivatives.gradient);
        derivatives.value
    }
}

impl Target for Machines<'_> {
    fn ln_density(&self, theta: &[f64]) -> f64 {
        Machines::ln_density(self, theta)
    }
}

/// Draws of the parameters, all equally probable.
#[derive(Clone, Debug, PartialEq)]
pub struct Draws {
    /// The distribution of life.
    pub distribution: Distribution,
    /// Parameters a draw: ln shape, ln scale, log wear factors.
    n_parameters: usize,
    values: Vec<f64>,
    /// Spread of machines, draw by draw; empty where machines are taken as alike.
    spreads: Vec<f64>,
    /// Effects on log life, draw by draw within each machine.
    effects: Vec<f64>,
    /// How they were made and what their own checks say.
    pub health: Health,
}

impl Draws {
    /// Parameters that are known: `(ln shape, ln scale, ln w_1, ..)` as the only draw.
    #[must_use]
    pub fn known(distribution: Distribution, theta: Vec<f64>) -> Self {
        Self::given(distribution, theta.len(), theta)
    }

    /// Draws made elsewhere, one after the other; machines are taken as alike.
    #[must_use]
    pub fn given(distribution: Distribution, n_parameters: usize, values: Vec<f64>) -> Self {
        Self {
            distribution,
            n_parameters,
            values,
            spreads: Vec::new(),
            effects: Vec::new(),
            health: Health::exact(),
        }
    }

    /// Of points in the coordinates of `base`, machines taken as alike.
    #[must_use]
    pub fn alike(base: &Anchored<'_>, sample: &Sample) -> Self {
        Self {
            distribution: base.likelihood.distribution,
            n_parameters: base.likelihood.n_parameters(),
            values: sample
                .points
                .iter()
                .flat_map(|p| base.to_scale(p))
                .collect(),
            spreads: Vec::new(),
            effects: Vec::new(),
            health: sample.health,
        }
    }

    /// Of points in the coordinates of `machines`, the spread last; effects are drawn for each.
    #[must_use]
    pub fn of_machines(machines: &Machines<'_>, sample: &Sample, seed: u64) -> Self {
        let by_draw: Vec<Vec<f64>> = sample
            .points
            .par_iter()
            .enumerate()
            .map(|(i, point)| machines.effects(point, &mut stream(seed, EFFECTS, i)))
            .collect();
        let n_machines = by_draw.first().map_or(0, Vec::len);
        let effects = (0..n_machines).flat_map(|m| by_draw.iter().map(move |d| d[m]));
        let n_parameters = machines.base.likelihood.n_parameters();
        let own = |point: &Vec<f64>| machines.base.to_scale(&point[..n_parameters]);
        Self {
            distribution: machines.base.likelihood.distribution,
            n_parameters,
            values: sample.points.iter().flat_map(own).collect(),
            spreads: sample
                .points
                .iter()
                .map(|p| p[n_parameters].exp())
                .collect(),
            effects: effects.collect(),
            health: sample.health,
        }
    }

    /// Number of draws.
    #[must_use]
    pub fn len(&self) -> usize {
        self.values.len() / self.n_parameters
    }

    /// Whether there is none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.values.is_empty()
    }

    /// `(ln shape, ln scale, ln w_1, ..)` of one draw, on a machine like the others.
    #[must_use]
    pub fn get(&self, index: usize) -> &[f64] {
        &self.values[index * self.n_parameters..(index + 1) * self.n_parameters]
    }

    /// Every draw.
    pub fn iter(&self) -> impl Iterator<Item = &[f64]> {
        self.values.chunks_exact(self.n_parameters)
    }

    /// Spread of machines of one draw; `None` where they are taken as alike.
    #[must_use]
    pub fn spread(&self, index: usize) -> Option<f64> {
        self.spreads.get(index).copied()
    }

    /// Effect of one machine on log life, in one draw.
    ///
    /// - `machine`: its place among the machines with lives; `None` for one without any, which
    ///   gets an effect from the spread by `z`, a standard normal number.
    #[must_use]
    pub fn effect(&self, index: usize, machine: Option<usize>, z: f64) -> f64 {
        let Some(spread) = self.spread(index) else {
            return 0.0;
        };
        machine.map_or(spread * z, |m| self.effects_of(m)[index])
    }

    /// Effects of one machine with lives on log life, draw by draw; empty where machines are taken
    /// as alike.
    #[must_use]
    pub fn effects_of(&self, machine: usize) -> &[f64] {
        let n = self.spreads.len();
        &self.effects[machine * n..(machine + 1) * n]
    }

    /// A quantity of each draw, sorted.
    #[must_use]
    pub fn sorted(&self, quantity: impl Fn(&[f64]) -> f64) -> Vec<f64> {
        let mut values: Vec<f64> = self.iter().map(quantity).collect();
        values.sort_by(f64::total_cmp);
        values
    }

    /// The effects of one machine, sorted; empty where machines are taken as alike.
    #[must_use]
    pub fn sorted_effects(&self, machine: usize) -> Vec<f64> {
        let mut values = self.effects_of(machine).to_vec();
        values.sort_by(f64::total_cmp);
        values
    }

    /// The spreads, sorted.
    #[must_use]
    pub fn sorted_spreads(&self) -> Vec<f64> {
        let mut values = self.spreads.clone();
        values.sort_by(f64::total_cmp);
        values
    }
}

/// Points drawn from a target, all equally probable.
#[derive(Clone, Debug, PartialEq)]
pub struct Sample {
    /// All parameters of each point.
    pub points: Vec<Vec<f64>>,
    /// How they were made and what their own checks say.
    pub health: Health,
}

/// Rounds of random streams: three of the proposal, then the effects, the chains, the order of draws.
const EFFECTS: u64 = 3;
/// See [`EFFECTS`].
pub(super) const CHAINS: u64 = 4;
/// See [`EFFECTS`].
const SHUFFLE: u64 = 5;

/// The random stream of one draw of one round.
pub(super) fn stream(seed: u64, round: u64, draw: usize) -> ChaCha8Rng {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    rng.set_stream(round << 32 | draw as u64);
    rng
}

/// Puts neighbours apart, so that the first so many draws are as good as any, and no family's draws keep step with
/// another's.
pub(super) fn shuffle<T>(chosen: &mut [T], seed: u64) {
    use rand::seq::SliceRandom;
    chosen.shuffle(&mut stream(seed, SHUFFLE, 0));
}

/// The distinct peaks that several starts lead to, the highest first; never empty.
///
/// # Errors
/// The last failure, when no start led to a peak.
pub fn peaks(
    objective: &Anchored<'_>,
    starts: &[Vec<f64>],
    free: &[bool],
) -> Result<Vec<Maximum>, SearchError> {
    let mut found: Vec<Maximum> = Vec::new();
    let mut failure = SearchError::Start;
    for start in starts {
        match newton::maximize(objective, start, free) {
            Ok(peak) => found.push(peak),
            Err(error) => failure = error,
        }
    }
    if found.is_empty() {
        return Err(failure);
    }
    Ok(distinct(found))
}

/// Peaks worth a proposal of their own, the highest first.
fn distinct(found: Vec<Maximum>) -> Vec<Maximum> {
    let mut peaks: Vec<Maximum> = Vec::new();
    // The first found stays first among equals, whatever rounding says of their densities.
    for peak in found {
        let same = |p: &Maximum| {
            let gaps = p.theta.iter().zip(&peak.theta).map(|(a, b)| (a - b).abs());
            gaps.fold(0.0, f64::max) < PEAK_GAP
        };
        if !peaks.iter().any(same) {
            peaks.push(peak);
        }
    }
    peaks.sort_by(|a, b| b.derivatives.value.total_cmp(&a.derivatives.value));
    let least = peaks[0].derivatives.value - PEAK_DEPTH;
    peaks.retain(|p| least <= p.derivatives.value);
    peaks
}

/// The most probable point of a target without derivatives of its own, from a near start.
///
/// # Errors
/// [`SearchError`] when no peak was reached.
pub fn numeric_mode(
    target: &dyn Target,
    start: &[f64],
    free: &[bool],
) -> Result<Maximum, SearchError> {
    newton::maximize(&Differenced(target, newton::PRECISION), start, free)
}

/// The same, ended once a step would gain less than a share `precision` of the log density: for targets
/// whose differences are too coarse for more.
///
/// # Errors
/// As [`numeric_mode`].
pub fn numeric_mode_within(
    target: &dyn Target,
    start: &[f64],
    free: &[bool],
    precision: f64,
) -> Result<Maximum, SearchError> {
    newton::maximize(&Differenced(target, precision), start, free)
}

/// Derivatives by central differences, and the precision they are good for.
struct Differenced<'a>(&'a dyn Target, f64);

impl Objective for Differenced<'_> {
    fn n_parameters(&self) -> usize {
        unreachable!("the search asks for values alone")
    }

    fn precision(&self) -> f64 {
        self.1
    }

    fn evaluate(&self, theta: &[f64], out: &mut Derivatives) {
        /// Balances rounding of log densities against the curvature's own change.
        const STEP: f64 = 1e-3;
        let n = theta.len();
        let at = |moves: &[(usize, f64)]| {
            let mut point = theta.to_vec();
            for (i, sign) in moves {
                point[*i] += sign * STEP;
            }
            self.0.ln_density(&point)
        };
        out.value = at(&[]);
        if !out.value.is_finite() {
            return;
        }
        let alone: Vec<(f64, f64)> = (0..n)
            .into_par_iter()
            .map(|i| (at(&[(i, 1.0)]), at(&[(i, -1.0)])))
            .collect();
        let pairs: Vec<(usize, usize)> = (0..n).flat_map(|i| (0..i).map(move |j| (i, j))).collect();
        let together: Vec<f64> = pairs
            .par_iter()
            .map(|(i, j)| at(&[(*i, 1.0), (*j, 1.0)]) + at(&[(*i, -1.0), (*j, -1.0)]))
            .collect();
        let square = STEP * STEP;
        for (i, (up, down)) in alone.iter().enumerate() {
            out.gradient[i] = (up - down) / (2.0 * STEP);
            out.hessian[i * n + i] = (up - 2.0 * out.value + down) / square;
        }
        // Both moved one way and the other, less what each does alone.
        for ((i, j), both) in pairs.into_iter().zip(together) {
            let (i_alone, j_alone) = (alone[i].0 + alone[i].1, alone[j].0 + alone[j].1);
            let curve = (both + 2.0 * out.value - i_alone - j_alone) / (2.0 * square);
            out.hessian[i * n + j] = curve;
            out.hessian[j * n + i] = curve;
        }
    }
}

/// How many draws are wanted of a target.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Request {
    /// Draws.
    pub count: usize,
    /// Seed of the random numbers.
    pub seed: u64,
    /// Wear-outs behind the target; with plenty of them the curvature at the peak says it all.
    pub worn: f64,
    /// Whether Markov chains may take over; they are slow where lives are many.
    pub chains: bool,
}

/// Draws around the peaks of a target; parameters that are not free stay where they are.
///
/// - `peaks`: the distinct peaks found, the highest first.
///
/// The quick way where it is healthy, Markov chains where it is not. The same seed gives the same
/// draws on any number of threads.
///
/// # Panics
/// When `peaks` is empty.
#[must_use]
pub fn draw(target: &dyn Target, peaks: &[Maximum], free: &[bool], request: Request) -> Sample {
    let Request { count, seed, .. } = request;
    if PLENTY <= request.worn
        && let Some(sample) = importance::unweighted(&peaks[0], free, count, seed)
    {
        return sample;
    }
    let (quick, proposal) =
        importance::weighted(target, &peaks[0], free, (count, peaks.len()), seed);
    if quick.health.trouble().is_none() || !request.chains {
        return quick;
    }
    chain::draw(target, &proposal, peaks, count, seed).unwrap_or(quick)
}

/// Markov chains whatever the quick way would say, with the proposal of the highest peak as their
/// measure of length; `None` where no chain could start.
///
/// # Panics
/// When `peaks` is empty.
#[must_use]
pub fn draw_by_chains(
    target: &dyn Target,
    peaks: &[Maximum],
    free: &[bool],
    request: Request,
) -> Option<Sample> {
    let proposal = Proposal::at_mode(&peaks[0], free);
    chain::draw(target, &proposal, peaks, request.count, request.seed)
}
