//! The search for the most likely parameters: Newton steps on exact derivatives, damped until
//! they climb.
//!
//! A search allocates when it is made and never on its way: thousands of small fits, such as those of
//! profiles and resamples, spend their time on lives. That is why neither an optimiser's executor, which keeps an
//! account of every step, nor a matrix library's own memory stands here.

use super::anchor::Objective;
use super::likelihood::Derivatives;

/// Why a search did not end at a maximum.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SearchError {
    /// The start is out of reach.
    #[error("the search could not start: the records have no probability at the starting values")]
    Start,
    /// No maximum within the iterations allowed.
    #[error("the search did not converge: {0}")]
    NotConverged(String),
    /// The likelihood goes on rising as a parameter runs away.
    #[error("the records set no limit to parameter {index}")]
    Runaway {
        /// Which one.
        index: usize,
        /// Whether towards large values.
        up: bool,
    },
}

/// Where a search ended.
#[derive(Clone, Debug, PartialEq)]
pub struct Maximum {
    /// The parameters.
    pub theta: Vec<f64>,
    /// Value and derivatives there.
    pub derivatives: Derivatives,
}

/// A parameter (always a logarithm) that leaves its start by more than this has run away; the
/// first, the shape, sooner: above some 500 times its start it tells nothing any more.
const RUNAWAY: f64 = 12.0;
const RUNAWAY_SHAPE: f64 = 6.2;
/// Log of a shape, the first parameter, that has no limit either where the search comes to no end beyond it: rounding keeps
/// it from seeing how little is left to gain.
pub(super) const STEEP: f64 = 3.9;
/// Least curvature that damping goes by.
const FLAT: f64 = 1e-2;
/// Longest step in any parameter.
const LONGEST_STEP: f64 = 1.5;
/// Relative gain below which a search is over, where derivatives are exact.
pub const PRECISION: f64 = 1e-14;
/// Where less than this share of that is left to gain, no further step is looked at.
const NOTHING_LEFT: f64 = 0.1;
/// Iterations allowed.
const MAX_ITERATIONS: u64 = 300;

/// Climbs from `start`; parameters whose `free` is false stay where they are.
///
/// # Errors
/// [`SearchError`] when no maximum was reached, with the reason.
pub fn maximize<O: Objective>(
    objective: &O,
    start: &[f64],
    free: &[bool],
) -> Result<Maximum, SearchError> {
    let mut search = Search::new(start.len());
    search.climb(objective, start, free)?;
    Ok(Maximum {
        theta: search.theta,
        derivatives: search.here,
    })
}

/// A search and its memory, to be used again and again.
#[derive(Clone, Debug)]
pub struct Search {
    theta: Vec<f64>,
    tried: Vec<f64>,
    here: Derivatives,
    there: Derivatives,
    free: Vec<usize>,
    step: Vec<f64>,
    /// Damped curvature over the free parameters, then its Cholesky factor.
    factor: Vec<f64>,
    damping: f64,
}

/// What became of a step.
enum Outcome {
    /// Nothing is left to gain.
    Converged,
    /// It goes on.
    Further,
}

impl Search {
    /// For so many parameters.
    #[must_use]
    pub fn new(n: usize) -> Self {
        Self {
            theta: vec![0.0; n],
            tried: vec![0.0; n],
            here: Derivatives::zero(n),
            there: Derivatives::zero(n),
            free: Vec::with_capacity(n),
            step: Vec::with_capacity(n),
            factor: Vec::with_capacity(n * n),
            damping: 0.0,
        }
    }

    /// Where the last climb ended.
    #[must_use]
    pub fn theta(&self) -> &[f64] {
        &self.theta
    }

    /// Value and derivatives there.
    #[must_use]
    pub fn derivatives(&self) -> &Derivatives {
        &self.here
    }

    /// Climbs from `start`, which has as many entries as the search was made for; parameters whose
    /// `free` is false stay where they are.
    ///
    /// # Errors
    /// [`SearchError`] when no maximum was reached, with the reason.
    pub fn climb<O: Objective>(
        &mut self,
        objective: &O,
        start: &[f64],
        free: &[bool],
    ) -> Result<(), SearchError> {
        self.theta.copy_from_slice(start);
        self.free.clear();
        self.free.extend((0..start.len()).filter(|i| free[*i]));
        self.damping = 0.0;
        objective.evaluate(&self.theta, &mut self.here);
        if self.free.is_empty() {
            return Ok(());
        }
        if !self.here.value.is_finite() {
            return Err(SearchError::Start);
        }
        for _ in 0..MAX_ITERATIONS {
            if matches!(self.advance(objective), Outcome::Converged) {
                return Ok(());
            }
            if let Some(runaway) = self.runaway(start) {
                return Err(runaway);
            }
        }
        if self.free.contains(&0) && STEEP < self.theta[0] {
            return Err(SearchError::Runaway { index: 0, up: true });
        }
        Err(SearchError::NotConverged(format!(
            "no maximum within {MAX_ITERATIONS} steps"
        )))
    }

    /// One step, taken if it climbs.
    fn advance<O: Objective>(&mut self, objective: &O) -> Outcome {
        let precision = objective.precision();
        let gain = self.find_step();
        let undamped = self.damping == 0.0;
        let enough = precision * self.here.value.abs().max(1.0);
        if undamped && gain < NOTHING_LEFT * enough {
            return Outcome::Converged;
        }
        let longest = self.step.iter().fold(0.0_f64, |a, b| a.max(b.abs()));
        let shrink = (LONGEST_STEP / longest).min(1.0);
        self.tried.copy_from_slice(&self.theta);
        for (i, d) in self.free.iter().zip(&self.step) {
            self.tried[*i] += shrink * d;
        }
        objective.evaluate(&self.tried, &mut self.there);
        let climbed = self.there.value - self.here.value;
        if self.there.value.is_finite() && 0.0 <= climbed + 10.0 * enough {
            std::mem::swap(&mut self.here, &mut self.there);
            std::mem::swap(&mut self.theta, &mut self.tried);
            if undamped && gain < enough {
                return Outcome::Converged;
            }
            self.damping = if self.damping < 1e-7 {
                0.0
            } else {
                self.damping / 10.0
            };
        } else if gain < 10.0 * enough {
            // No step can be told from rounding any more.
            if undamped {
                return Outcome::Converged;
            }
            self.damping /= 10.0;
        } else {
            self.damping = if undamped { 1e-4 } else { self.damping * 8.0 };
        }
        Outcome::Further
    }

    fn runaway(&self, start: &[f64]) -> Option<SearchError> {
        let index = self.free.iter().copied().find(|i| {
            let limit = if *i == 0 { RUNAWAY_SHAPE } else { RUNAWAY };
            limit < (self.theta[*i] - start[*i]).abs()
        })?;
        Some(SearchError::Runaway {
            index,
            up: start[index] < self.theta[index],
        })
    }

    /// The damped Newton step over the free parameters, and the gain a quadratic would give.
    fn find_step(&mut self) -> f64 {
        let n = self.theta.len();
        let m = self.free.len();
        loop {
            self.factor.clear();
            self.step.clear();
            for i in &self.free {
                let row = self.free.iter();
                self.factor
                    .extend(row.map(|j| -self.here.hessian[i * n + j]));
                self.step.push(self.here.gradient[*i]);
            }
            // Each parameter is damped by its own curvature: a flat one must be free to run.
            for i in 0..m {
                let curvature = &mut self.factor[i * m + i];
                *curvature += self.damping * curvature.abs().max(FLAT);
            }
            if solve(&mut self.factor, &mut self.step) {
                return self.slope_along_step();
            }
            self.damping = if self.damping == 0.0 {
                1e-8
            } else {
                self.damping * 10.0
            };
            if !self.damping.is_finite() || 1e12 < self.damping {
                self.step.clear();
                for i in &self.free {
                    let size = self.here.hessian[i * n + i].abs().max(FLAT);
                    self.step.push(self.here.gradient[*i] / size);
                }
                return 0.0;
            }
        }
    }

    fn slope_along_step(&self) -> f64 {
        let slopes = self.free.iter().map(|i| self.here.gradient[*i]);
        slopes.zip(&self.step).map(|(g, s)| g * s).sum()
    }
}

/// Solves for `x` in place, by Cholesky's factor of the matrix `a`, which it takes the place of; false
/// where `a` is not positive definite.
fn solve(a: &mut [f64], x: &mut [f64]) -> bool {
    let n = x.len();
    for i in 0..n {
        for j in 0..=i {
            let mut rest = a[i * n + j];
            for k in 0..j {
                rest -= a[i * n + k] * a[j * n + k];
            }
            if i > j {
                a[i * n + j] = rest / a[j * n + j];
            } else if 0.0 < rest && rest.is_finite() {
                a[i * n + i] = rest.sqrt();
            } else {
                return false;
            }
        }
    }
    for i in 0..n {
        for k in 0..i {
            x[i] -= a[i * n + k] * x[k];
        }
        x[i] /= a[i * n + i];
    }
    for i in (0..n).rev() {
        for k in i + 1..n {
            x[i] -= a[k * n + i] * x[k];
        }
        x[i] /= a[i * n + i];
    }
    true
}

#[cfg(test)]
mod tests {
    use super::solve;

    #[test]
    fn a_system_is_solved_and_one_without_a_top_is_refused() {
        // Solution (1, -2, 3), worked out by hand.
        let matrix = [4.0, 2.0, 0.6, 2.0, 5.0, 1.0, 0.6, 1.0, 3.0];
        let mut x = [1.8, -5.0, 7.6];
        assert!(solve(&mut matrix.clone(), &mut x));
        for (own, wanted) in x.iter().zip([1.0, -2.0, 3.0]) {
            assert!((own - wanted).abs() < 1e-14, "{own} for {wanted}");
        }
        assert!(!solve(&mut [1.0, 2.0, 2.0, 1.0], &mut [1.0, 1.0]));
        assert!(!solve(&mut [f64::NAN], &mut [1.0]));
    }
}
