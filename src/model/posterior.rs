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

use super::anchor::Anchored;
use super::kernel::Distribution;
use super::newton::{self, Maximum, SearchError};

/// Degrees of freedom of the bell: tails heavier than those of any posterior met here.
const TAIL: f64 = 6.0;
/// Wear-outs from which the bell itself is the answer: its error falls with their number.
const PLENTY: f64 = 5_000.0;
/// Share of effective draws below which the draws are called unhealthy.
pub const HEALTHY_SHARE: f64 = 0.1;

/// Draws of the parameters, all equally probable.
#[derive(Clone, Debug, PartialEq)]
pub struct Draws {
    /// The distribution of life.
    pub distribution: Distribution,
    /// Parameters a draw: ln shape, ln scale, log wear factors.
    n_parameters: usize,
    values: Vec<f64>,
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
            effective_share: 1.0,
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

    /// `(ln shape, ln scale, ln w_1, ..)` of one draw.
    #[must_use]
    pub fn get(&self, index: usize) -> &[f64] {
        &self.values[index * self.n_parameters..(index + 1) * self.n_parameters]
    }

    /// Every draw.
    pub fn iter(&self) -> impl Iterator<Item = &[f64]> {
        self.values.chunks_exact(self.n_parameters)
    }

    /// A quantity of each draw, sorted.
    #[must_use]
    pub fn sorted(&self, quantity: impl Fn(&[f64]) -> f64) -> Vec<f64> {
        let mut values: Vec<f64> = self.iter().map(quantity).collect();
        values.sort_by(f64::total_cmp);
        values
    }
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

/// Draws `count` times around `mode`; parameters that are not free stay where they are.
///
/// The same seed gives the same draws on any number of threads.
#[must_use]
pub fn draw(
    objective: &Anchored<'_>,
    mode: &Maximum,
    free: &[bool],
    count: usize,
    seed: u64,
) -> Draws {
    let index: Vec<usize> = (0..free.len()).filter(|i| free[*i]).collect();
    let mut bell = Bell::at_mode(mode, &index);
    let distribution = objective.likelihood.distribution;
    let n_parameters = free.len();
    if PLENTY <= objective.likelihood.lives.worn() {
        let round = bell.draw(seed, 3, count, |_| 0.0);
        let values = round
            .points
            .iter()
            .flat_map(|p| objective.to_scale(&bell.full(p)))
            .collect();
        return Draws {
            distribution,
            n_parameters,
            values,
            effective_share: 1.0,
        };
    }
    let height = |point: &[f64]| objective.height(point);
    for attempt in 0..2 {
        let full = bell.clone();
        let round = bell.draw(seed, attempt, count.min(2_000), |p| height(&full.full(p)));
        bell.reshape(&round);
    }
    let full = bell.clone();
    let round = bell.draw(seed, 2, count, |p| height(&full.full(p)));
    let weights = round.weights();
    let effective = 1.0 / weights.iter().map(|w| w * w).sum::<f64>();
    let values = systematic(&weights, count)
        .into_iter()
        .flat_map(|i| objective.to_scale(&bell.full(&round.points[i])))
        .collect();
    Draws {
        distribution,
        n_parameters,
        values,
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
                let mut rng = ChaCha8Rng::seed_from_u64(seed);
                rng.set_stream(round << 32 | i);
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
