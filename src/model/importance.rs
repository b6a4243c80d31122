//! The quick way to draws: a heavy-tailed proposal around the most probable point, its draws weighted by
//! how much more or less probable the records make them. The proposal is moved and reshaped to the
//! weighted draws twice before the last round.

use nalgebra::{DMatrix, DVector};
use rayon::prelude::*;

use super::even::{self, EvenPoints};
use super::health::{self, Health};
use super::newton::Maximum;
use super::posterior::{Sample, Target, shuffle, stream};

/// Half the degrees of freedom of the proposal: tails heavier than those of any posterior met here.
const HALF_TAIL: usize = 3;
const TAIL: f64 = 2.0 * HALF_TAIL as f64;
/// Draws of each round before the last: they shape the proposal and nothing else.
fn rough(count: usize) -> usize {
    (count / 4).max(250)
}

/// Draws from the normal distribution of the curvature at `mode`, without weights; `None` where the
/// curvature is not known.
///
/// # Source
/// The posterior of many lives is close to it: Gelman et al., *Bayesian Data Analysis* (2013), section 4.1.
#[must_use]
pub fn unweighted(mode: &Maximum, free: &[bool], count: usize, seed: u64) -> Option<Sample> {
    let proposal = Proposal::by_curvature(mode, free)?;
    // Heavier tails are for draws that are weighted.
    let even = EvenPoints::new(proposal.free(), &mut stream(seed, 2, 0));
    let point = |i: u64| proposal.at(&even.at(i).map(even::normal).collect::<Vec<_>>());
    let mut points: Vec<Vec<f64>> = (0..count as u64).into_par_iter().map(point).collect();
    shuffle(&mut points, seed);
    Some(Sample {
        points,
        health: Health::exact(),
    })
}

/// Weighted draws, resampled to `count` equally probable ones; and the proposal they came from.
///
/// - `peaks`: distinct peaks that were found; a single proposal is laid over all of them.
#[must_use]
pub fn weighted(
    target: &dyn Target,
    mode: &Maximum,
    free: &[bool],
    (count, peaks): (usize, usize),
    seed: u64,
) -> (Sample, Proposal) {
    let mut proposal = Proposal::at_mode(mode, free);
    for attempt in 0..2 {
        let full = proposal.clone();
        let round = proposal.draw(seed, attempt, rough(count), |p| {
            target.ln_density(&full.full(p))
        });
        proposal.reshape(&round);
    }
    let round = proposal.draw(seed, 2, count, |p| target.ln_density(&proposal.full(p)));
    let weights = round.weights();
    let effective = 1.0 / weights.iter().map(|w| w * w).sum::<f64>();
    let k = health::pareto_k(&round.ln_weights);
    let all: Vec<Vec<f64>> = round.points.iter().map(|p| proposal.full(p)).collect();
    let mut points: Vec<Vec<f64>> = systematic(&weights, &along_life(&all), count)
        .into_iter()
        .map(|i| all[i].clone())
        .collect();
    shuffle(&mut points, seed);
    let sample = Sample {
        points,
        health: Health::weighted(effective / count as f64, Some(k), peaks),
    };
    (sample, proposal)
}

/// A multivariate t distribution over the free parameters.
#[derive(Clone)]
pub struct Proposal {
    base: Vec<f64>,
    index: Vec<usize>,
    center: DVector<f64>,
    /// Lower Cholesky factor of the scatter.
    factor: DMatrix<f64>,
}

struct Round {
    points: Vec<DVector<f64>>,
    /// Log of target over proposal, up to a constant.
    ln_weights: Vec<f64>,
}

impl Round {
    fn weights(&self) -> Vec<f64> {
        let most = self
            .ln_weights
            .iter()
            .copied()
            .fold(f64::NEG_INFINITY, f64::max);
        let raw: Vec<f64> = self.ln_weights.iter().map(|w| (w - most).exp()).collect();
        let total: f64 = raw.iter().sum();
        raw.into_iter().map(|w| w / total).collect()
    }
}

impl Proposal {
    /// With the curvature of a peak; where that is not a number, one wide in every logarithm. The rounds
    /// find the true width then, or the weights' own checks say that they did not.
    #[must_use]
    pub fn at_mode(mode: &Maximum, free: &[bool]) -> Self {
        Self::by_curvature(mode, free).unwrap_or_else(|| {
            let m = free.iter().filter(|f| **f).count();
            Self::about(mode, free, DMatrix::identity(m, m))
        })
    }

    /// With the curvature of a peak; `None` where that is not a number.
    fn by_curvature(mode: &Maximum, free: &[bool]) -> Option<Self> {
        let index: Vec<usize> = (0..free.len()).filter(|i| free[*i]).collect();
        let (n, m) = (mode.theta.len(), index.len());
        let information = DMatrix::from_fn(m, m, |i, j| {
            -mode.derivatives.hessian[index[i] * n + index[j]]
        });
        Some(Self::about(mode, free, factor_of_inverse(information)?))
    }

    fn about(mode: &Maximum, free: &[bool], factor: DMatrix<f64>) -> Self {
        let index: Vec<usize> = (0..free.len()).filter(|i| free[*i]).collect();
        Self {
            base: mode.theta.clone(),
            center: DVector::from_fn(index.len(), |i, _| mode.theta[index[i]]),
            index,
            factor,
        }
    }

    /// Number of free parameters.
    #[must_use]
    pub fn free(&self) -> usize {
        self.index.len()
    }

    /// All parameters of a point given in the coordinates in which the proposal is round.
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
        ln_density: impl Fn(&DVector<f64>) -> f64 + Sync,
    ) -> Round {
        let m = self.index.len();
        let even = EvenPoints::new(m + HALF_TAIL, &mut stream(seed, round, 0));
        let drawn: Vec<(DVector<f64>, f64)> = (0..count as u64)
            .into_par_iter()
            .map(|i| {
                let mut uniform = even.at(i);
                let z = DVector::from_iterator(m, uniform.by_ref().take(m).map(even::normal));
                let stretch = (TAIL / even::chi_squared(uniform)).sqrt();
                let square = z.norm_squared() * stretch * stretch;
                let point = &self.center + &self.factor * z * stretch;
                let ln_proposal = -(TAIL + m as f64) / 2.0 * (square / TAIL).ln_1p();
                let weight = ln_density(&point) - ln_proposal;
                (point, weight)
            })
            .collect();
        let (points, ln_weights) = drawn.into_iter().unzip();
        Round { points, ln_weights }
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

/// Lower Cholesky factor of the inverse of an information matrix, with a ridge where the peak is flat: the
/// rounds that follow find the true width. `None` where the matrix holds what is not a number, which no
/// ridge mends.
fn factor_of_inverse(mut information: DMatrix<f64>) -> Option<DMatrix<f64>> {
    if information.iter().any(|x| !x.is_finite()) {
        return None;
    }
    let mut ridge = 1e-6;
    while f64::is_finite(ridge) {
        let inverse = information.clone().cholesky().map(|f| f.inverse());
        if let Some(f) = inverse.and_then(DMatrix::cholesky) {
            return Some(f.l());
        }
        for i in 0..information.nrows() {
            information[(i, i)] += ridge;
        }
        ridge *= 10.0;
    }
    None
}

/// Places of points by their median lives, on which a forecast leans most: resampled in this order, short lives and
/// long ones keep their shares.
fn along_life(points: &[Vec<f64>]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..points.len()).collect();
    order.sort_by(|i, j| points[*i][1].total_cmp(&points[*j][1]));
    order
}

/// Systematic resampling: each point about as often as its weight says.
fn systematic(weights: &[f64], order: &[usize], count: usize) -> Vec<usize> {
    let mut chosen = Vec::with_capacity(count);
    let (mut sum, mut at) = (weights[order[0]], 0);
    for k in 0..count {
        let target = (k as f64 + 0.5) / count as f64;
        while sum < target && at + 1 < order.len() {
            at += 1;
            sum += weights[order[at]];
        }
        chosen.push(order[at]);
    }
    chosen
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::likelihood::Derivatives;

    fn peak(hessian: [f64; 4]) -> Maximum {
        let mut derivatives = Derivatives::zero(2);
        derivatives.hessian = hessian.to_vec();
        Maximum {
            theta: vec![0.5, 7.0],
            derivatives,
        }
    }

    /// It went round forever: no ridge makes a number of what is none.
    #[test]
    fn a_curvature_that_is_no_number_ends_in_a_wide_proposal() {
        let broken = peak([-1.0, f64::NAN, f64::NAN, -1.0]);
        assert_eq!(unweighted(&broken, &[true; 2], 10, 1), None);
        let proposal = Proposal::at_mode(&broken, &[true; 2]);
        assert_eq!(proposal.at(&[1.0, -1.0]), [1.5, 6.0]);
        assert!(factor_of_inverse(DMatrix::from_element(1, 1, f64::INFINITY)).is_none());
    }

    /// Of a normal posterior 5 % lie below 1.6449 standard deviations under its mean, and as many above
    /// (any table of the normal distribution).
    #[test]
    fn draws_without_weights_are_as_wide_as_the_posterior() {
        let sample = unweighted(&peak([-25.0, 0.0, 0.0, -400.0]), &[true; 2], 4_000, 1);
        let points = sample.expect("a curvature").points;
        for (place, mean, sd) in [(0, 0.5, 0.2), (1, 7.0, 0.05)] {
            let mut values: Vec<f64> = points.iter().map(|p| (p[place] - mean) / sd).collect();
            values.sort_by(f64::total_cmp);
            assert!((values[200] + 1.6449).abs() < 0.03, "{}", values[200]);
            assert!((values[3_800] - 1.6449).abs() < 0.03, "{}", values[3_800]);
        }
    }

    #[test]
    fn a_flat_or_rising_peak_gets_a_ridge() {
        for hessian in [[0.0; 4], [1.0, 0.0, 0.0, -4.0]] {
            let proposal = Proposal::at_mode(&peak(hessian), &[true; 2]);
            assert!(proposal.factor.iter().all(|x| x.is_finite()));
        }
    }
}
