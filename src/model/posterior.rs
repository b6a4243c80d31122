//! What the records and the prior leave possible: draws of the parameters.
//!
//! Draws come from a heavy-tailed bell around the most probable point and are weighted by how
//! much more or less probable the records make them; the bell is moved and reshaped to the
//! weighted draws twice before the last round. How many draws the weights are worth is reported.
//!
//! Where a family has no prior for its life and nothing has worn out yet, any life that is long
//! enough explains the records and no average exists. Then half a wear-out is added at the
//! longest use seen (Jeffreys' rule for a rate), which keeps the forecast finite; results say so.

use nalgebra::{DMatrix, DVector};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{ChiSquared, Distribution as _, StandardNormal};
use rayon::prelude::*;

use super::anchor::{Anchored, Objective};
use super::kernel::Distribution;
use super::likelihood::Derivatives;
use super::machines::Machines;
use super::newton::{self, Maximum, SearchError};

/// Degrees of freedom of the bell: tails heavier than those of any posterior met here.
const TAIL: f64 = 6.0;
/// Wear-outs from which the bell itself is the answer: its error falls with their number.
const PLENTY: f64 = 5_000.0;
/// Share of effective draws below which the draws are called unhealthy.
pub const HEALTHY_SHARE: f64 = 0.1;

/// A density to draw from.
pub trait Target: Sync {
    /// Log density up to a constant; negative infinity where the parameters are out of reach.
    fn height(&self, theta: &[f64]) -> f64;
}

impl Target for Anchored<'_> {
    fn height(&self, theta: &[f64]) -> f64 {
        Anchored::height(self, theta)
    }
}

impl Target for Machines<'_> {
    fn height(&self, theta: &[f64]) -> f64 {
        Machines::height(self, theta)
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
    /// Effects on log life, machine by machine within each draw.
    effects: Vec<f64>,
    /// How many independent draws one draw is worth, 0 to 1.
    pub effective_share: f64,
}

impl Draws {
    /// Parameters that are known: `(ln shape, ln scale, ln w_1, ..)` as the only draw.
    #[must_use]
    pub fn known(distribution: Distribution, theta: Vec<f64>) -> Self {
        Self {
            distribution,
            n_parameters: theta.len(),
            values: theta,
            spreads: Vec::new(),
            effects: Vec::new(),
            effective_share: 1.0,
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
            effective_share: sample.effective_share,
        }
    }

    /// Of points in the coordinates of `machines`, the spread last; effects are drawn for each.
    #[must_use]
    pub fn of_machines(machines: &Machines<'_>, sample: &Sample, seed: u64) -> Self {
        let effects: Vec<Vec<f64>> = sample
            .points
            .par_iter()
            .enumerate()
            .map(|(i, point)| machines.effects(point, &mut stream(seed, EFFECTS, i)))
            .collect();
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
            effects: effects.concat(),
            effective_share: sample.effective_share,
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
        let n_machines = self.effects.len() / self.spreads.len();
        machine.map_or(spread * z, |m| self.effects[index * n_machines + m])
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
        let mut values: Vec<f64> = (0..self.spreads.len())
            .map(|i| self.effect(i, Some(machine), 0.0))
            .collect();
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
    /// How many independent draws one point is worth, 0 to 1.
    pub effective_share: f64,
}

/// Rounds of random streams: three of the bell, then the effects.
const EFFECTS: u64 = 3;

/// The random stream of one draw of one round.
fn stream(seed: u64, round: u64, draw: usize) -> ChaCha8Rng {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    rng.set_stream(round << 32 | draw as u64);
    rng
}

/// The most probable point; several starts, the highest peak wins.
///
/// # Errors
/// The last failure, when no start led to a peak.
pub fn mode(
    objective: &Anchored<'_>,
    starts: &[Vec<f64>],
    free: &[bool],
) -> Result<Maximum, SearchError> {
    let mut best: Option<Maximum> = None;
    let mut failure = SearchError::Start;
    for start in starts {
        match newton::maximize(objective, start, free) {
            Ok(found) => {
                let higher = best
                    .as_ref()
                    .is_none_or(|b| b.derivatives.value + 1e-9 < found.derivatives.value);
                if higher {
                    best = Some(found);
                }
            }
            Err(error) => failure = error,
        }
    }
    best.ok_or(failure)
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
    newton::maximize(&Differenced(target), start, free)
}

/// Derivatives by central differences.
struct Differenced<'a>(&'a dyn Target);

impl Objective for Differenced<'_> {
    fn n_parameters(&self) -> usize {
        unreachable!("the search asks for values alone")
    }

    fn evaluate(&self, theta: &[f64], out: &mut Derivatives) {
        /// Balances rounding of the heights against the curvature's own change.
        const STEP: f64 = 1e-3;
        let n = theta.len();
        let at = |moves: &[(usize, f64)]| {
            let mut point = theta.to_vec();
            for (i, sign) in moves {
                point[*i] += sign * STEP;
            }
            self.0.height(&point)
        };
        out.value = at(&[]);
        if !out.value.is_finite() {
            return;
        }
        let pairs: Vec<(usize, usize)> =
            (0..n).flat_map(|i| (0..=i).map(move |j| (i, j))).collect();
        let values: Vec<(f64, f64)> = pairs
            .par_iter()
            .map(|(i, j)| {
                if i == j {
                    let (up, down) = (at(&[(*i, 1.0)]), at(&[(*i, -1.0)]));
                    let curve = (up - 2.0 * out.value + down) / (STEP * STEP);
                    return ((up - down) / (2.0 * STEP), curve);
                }
                let corner = |a: f64, b: f64| at(&[(*i, a), (*j, b)]);
                let mixed =
                    corner(1.0, 1.0) - corner(1.0, -1.0) - corner(-1.0, 1.0) + corner(-1.0, -1.0);
                (0.0, mixed / (4.0 * STEP * STEP))
            })
            .collect();
        for ((i, j), (slope, curve)) in pairs.into_iter().zip(values) {
            if i == j {
                out.gradient[i] = slope;
            }
            out.hessian[i * n + j] = curve;
            out.hessian[j * n + i] = curve;
        }
    }
}

/// Draws `count` times around `mode`; parameters that are not free stay where they are.
///
/// - `worn`: wear-outs behind the target; with plenty of them the bell itself is the answer.
///
/// The same seed gives the same draws on any number of threads.
#[must_use]
pub fn draw(
    target: &dyn Target,
    mode: &Maximum,
    free: &[bool],
    worn: f64,
    count: usize,
    seed: u64,
) -> Sample {
    let index: Vec<usize> = (0..free.len()).filter(|i| free[*i]).collect();
    let mut bell = Bell::at_mode(mode, &index);
    if PLENTY <= worn {
        let round = bell.draw(seed, 2, count, |_| 0.0);
        let points = round.points.iter().map(|p| bell.full(p)).collect();
        return Sample {
            points,
            effective_share: 1.0,
        };
    }
    for attempt in 0..2 {
        let full = bell.clone();
        let round = bell.draw(seed, attempt, count.min(2_000), |p| {
            target.height(&full.full(p))
        });
        bell.reshape(&round);
    }
    let full = bell.clone();
    let round = bell.draw(seed, 2, count, |p| target.height(&full.full(p)));
    let weights = round.weights();
    let effective = 1.0 / weights.iter().map(|w| w * w).sum::<f64>();
    Sample {
        points: systematic(&weights, count)
            .into_iter()
            .map(|i| bell.full(&round.points[i]))
            .collect(),
        effective_share: effective / count as f64,
    }
}

/// A multivariate t distribution over the free parameters.
#[derive(Clone)]
struct Bell {
    base: Vec<f64>,
    index: Vec<usize>,
    center: DVector<f64>,
    /// Lower Cholesky factor of the scatter.
    factor: DMatrix<f64>,
}

struct Round {
    points: Vec<DVector<f64>>,
    /// Log of target over proposal, up to a constant.
    log_weights: Vec<f64>,
}

impl Round {
    fn weights(&self) -> Vec<f64> {
        let most = self
            .log_weights
            .iter()
            .copied()
            .fold(f64::NEG_INFINITY, f64::max);
        let raw: Vec<f64> = self.log_weights.iter().map(|w| (w - most).exp()).collect();
        let total: f64 = raw.iter().sum();
        raw.into_iter().map(|w| w / total).collect()
    }
}

impl Bell {
    fn at_mode(mode: &Maximum, index: &[usize]) -> Self {
        let n = mode.theta.len();
        let m = index.len();
        let mut information = DMatrix::from_fn(m, m, |i, j| {
            -mode.derivatives.hessian[index[i] * n + index[j]]
        });
        // A ridge where the peak is flat; the rounds that follow find the true width.
        let mut ridge = 1e-6;
        let factor = loop {
            if let Some(f) = information.clone().cholesky() {
                let scatter = f.inverse();
                if let Some(f) = scatter.cholesky() {
                    break f.l();
                }
            }
            for i in 0..m {
                information[(i, i)] += ridge;
            }
            ridge *= 10.0;
        };
        Self {
            base: mode.theta.clone(),
            index: index.to_vec(),
            center: DVector::from_fn(m, |i, _| mode.theta[index[i]]),
            factor,
        }
    }

    /// A point of the free parameters among all of them.
    fn full(&self, point: &DVector<f64>) -> Vec<f64> {
        let mut theta = self.base.clone();
        for (i, value) in self.index.iter().zip(point.iter()) {
            theta[*i] = *value;
        }
        theta
    }

    fn draw(
        &self,
        seed: u64,
        round: u64,
        count: usize,
        height: impl Fn(&DVector<f64>) -> f64 + Sync,
    ) -> Round {
        let m = self.index.len();
        let chi_squared = ChiSquared::new(TAIL).expect("positive degrees of freedom");
        let drawn: Vec<(DVector<f64>, f64)> = (0..count as u64)
            .into_par_iter()
            .map(|i| {
                let mut rng = stream(seed, round, i as usize);
                let z = DVector::from_fn(m, |_, _| {
                    let z: f64 = StandardNormal.sample(&mut rng);
                    z
                });
                let stretch = (TAIL / chi_squared.sample(&mut rng)).sqrt();
                let square = z.norm_squared() * stretch * stretch;
                let point = &self.center + &self.factor * z * stretch;
                let log_bell = -(TAIL + m as f64) / 2.0 * (square / TAIL).ln_1p();
                let weight = height(&point) - log_bell;
                (point, weight)
            })
            .collect();
        let (points, log_weights) = drawn.into_iter().unzip();
        Round {
            points,
            log_weights,
        }
    }

    /// Moves to the weighted mean and scatter of a round, where it tells enough.
    fn reshape(&mut self, round: &Round) {
        let weights = round.weights();
        let effective = 1.0 / weights.iter().map(|w| w * w).sum::<f64>();
        let m = self.index.len();
        if effective.is_nan() || effective < 10.0 * m as f64 {
            return;
        }
        let mut mean = DVector::zeros(m);
        for (point, weight) in round.points.iter().zip(&weights) {
            mean += point * *weight;
        }
        let mut scatter = DMatrix::zeros(m, m);
        for (point, weight) in round.points.iter().zip(&weights) {
            let gap = point - &mean;
            scatter += &gap * gap.transpose() * *weight;
        }
        // The scatter of a t distribution is larger than its matrix by TAIL / (TAIL - 2).
        if let Some(factors) = (scatter * ((TAIL - 2.0) / TAIL)).cholesky() {
            self.center = mean;
            self.factor = factors.l();
        }
    }
}

/// Systematic resampling: each point about as often as its weight says.
fn systematic(weights: &[f64], count: usize) -> Vec<usize> {
    let mut chosen = Vec::with_capacity(count);
    let (mut sum, mut i) = (weights[0], 0);
    for k in 0..count {
        let target = (k as f64 + 0.5) / count as f64;
        while sum < target && i + 1 < weights.len() {
            i += 1;
            sum += weights[i];
        }
        chosen.push(i);
    }
    shuffle(&mut chosen);
    chosen
}

/// Puts neighbours apart, so that the first so many draws are as good as any.
fn shuffle(chosen: &mut [usize]) {
    use rand::seq::SliceRandom;
    let mut rng = ChaCha8Rng::seed_from_u64(chosen.len() as u64);
    chosen.shuffle(&mut rng);
}
