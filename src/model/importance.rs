//! The quick way to draws: a heavy-tailed bell around the most probable point, its draws weighted by
//! how much more or less probable the records make them. The bell is moved and reshaped to the
//! weighted draws twice before the last round.

use nalgebra::{DMatrix, DVector};
use rand_distr::{ChiSquared, Distribution as _, StandardNormal};
use rayon::prelude::*;

use super::health::{self, Health};
use super::newton::Maximum;
use super::posterior::{Sample, Target, shuffle, stream};

/// Degrees of freedom of the bell: tails heavier than those of any posterior met here.
const TAIL: f64 = 6.0;
/// Draws of each round before the last: they shape the bell and nothing else.
fn rough(count: usize) -> usize {
    (count / 4).max(250)
}

/// Draws from the bell at `mode` itself, without weights.
#[must_use]
pub fn unweighted(mode: &Maximum, free: &[bool], count: usize, seed: u64) -> Sample {
    let bell = Bell::at_mode(mode, free);
    let round = bell.draw(seed, 2, count, |_| 0.0);
    Sample {
        points: round.points.iter().map(|p| bell.full(p)).collect(),
        health: Health::exact(),
    }
}

/// Weighted draws, resampled to `count` equally probable ones; and the bell they came from.
///
/// - `peaks`: distinct peaks that were found; a single bell is laid over all of them.
#[must_use]
pub fn weighted(
    target: &dyn Target,
    mode: &Maximum,
    free: &[bool],
    (count, peaks): (usize, usize),
    seed: u64,
) -> (Sample, Bell) {
    let mut bell = Bell::at_mode(mode, free);
    for attempt in 0..2 {
        let full = bell.clone();
        let round = bell.draw(seed, attempt, rough(count), |p| {
            target.height(&full.full(p))
        });
        bell.reshape(&round);
    }
    let round = bell.draw(seed, 2, count, |p| target.height(&bell.full(p)));
    let weights = round.weights();
    let effective = 1.0 / weights.iter().map(|w| w * w).sum::<f64>();
    let k = health::pareto_k(&round.log_weights);
    let sample = Sample {
        points: systematic(&weights, count)
            .into_iter()
            .map(|i| bell.full(&round.points[i]))
            .collect(),
        health: Health::weighted(effective / count as f64, Some(k), peaks),
    };
    (sample, bell)
}

/// A multivariate t distribution over the free parameters.
#[derive(Clone)]
pub struct Bell {
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
    /// With the curvature of a peak.
    #[must_use]
    pub fn at_mode(mode: &Maximum, free: &[bool]) -> Self {
        let index: Vec<usize> = (0..free.len()).filter(|i| free[*i]).collect();
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
            center: DVector::from_fn(m, |i, _| mode.theta[index[i]]),
            index,
            factor,
        }
    }

    /// Number of free parameters.
    #[must_use]
    pub fn free(&self) -> usize {
        self.index.len()
    }

    /// All parameters of a point given in the coordinates in which the bell is round.
    #[must_use]
    pub fn at(&self, coordinates: &[f64]) -> Vec<f64> {
        self.full(&(&self.center + &self.factor * DVector::from_column_slice(coordinates)))
    }

    /// The coordinates of [`Self::at`].
    #[must_use]
    pub fn coordinates(&self, theta: &[f64]) -> Vec<f64> {
        let gap = DVector::from_fn(self.free(), |i, _| theta[self.index[i]] - self.center[i]);
        let solved = self.factor.solve_lower_triangular(&gap);
        solved.map_or_else(|| vec![0.0; self.free()], |u| u.as_slice().to_vec())
    }

    /// Derivatives by those coordinates, from derivatives by all parameters.
    pub fn slopes_at(&self, slopes: &[f64], out: &mut [f64]) {
        for (j, slope) in out.iter_mut().enumerate() {
            *slope = (j..self.free())
                .map(|i| self.factor[(i, j)] * slopes[self.index[i]])
                .sum();
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
