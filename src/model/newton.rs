//! The search for the most likely parameters: Newton steps on exact derivatives, damped until
//! they climb, run by argmin's executor.
//!
//! argmin's own Newton method has no step control and its line searches stop or hang on flat
//! likelihoods, so the step rule is ours; iteration, limits and the reason for stopping are argmin's.

use argmin::core::{
    Error, Executor, IterState, KV, Problem, Solver, State, TerminationReason, TerminationStatus,
};
use nalgebra::{DMatrix, DVector};

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
/// Least curvature that damping goes by.
const FLAT: f64 = 1e-2;
/// Longest step in any parameter.
const LONGEST_STEP: f64 = 1.5;
/// Relative gain below which a search is over, where derivatives are exact.
pub const PRECISION: f64 = 1e-14;
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
    let mut solver = DampedNewton::new(start, free);
    solver.precision = objective.precision();
    if solver.free.is_empty() {
        let mut derivatives = Derivatives::zero(start.len());
        objective.evaluate(start, &mut derivatives);
        return Ok(Maximum {
            theta: start.to_vec(),
            derivatives,
        });
    }
    let result = Executor::new(Borrowed(objective), solver)
        .configure(|state| state.param(start.to_vec()).max_iters(MAX_ITERATIONS))
        .timer(false)
        .ctrlc(false)
        .run();
    let result = match result {
        Ok(result) => result,
        Err(error) => {
            return Err(error
                .downcast::<SearchError>()
                .unwrap_or_else(|e| SearchError::NotConverged(e.to_string())));
        }
    };
    let reason = result.state().get_termination_reason().cloned();
    let solver = result.solver();
    match reason {
        Some(TerminationReason::SolverConverged) => Ok(Maximum {
            theta: solver.theta.clone(),
            derivatives: solver.here.clone(),
        }),
        _ => Err(solver.runaway.map_or_else(
            || SearchError::NotConverged(reason.map_or_else(String::new, |r| r.text().to_owned())),
            |index| SearchError::Runaway {
                index,
                up: solver.start[index] < solver.theta[index],
            },
        )),
    }
}

struct Borrowed<'a, O>(&'a O);

/// The state of the climb.
struct DampedNewton {
    free: Vec<usize>,
    start: Vec<f64>,
    theta: Vec<f64>,
    here: Derivatives,
    trial: Derivatives,
    damping: f64,
    precision: f64,
    converged: bool,
    runaway: Option<usize>,
}

type ClimbState = IterState<Vec<f64>, (), (), (), (), f64>;

impl DampedNewton {
    fn new(start: &[f64], free: &[bool]) -> Self {
        let n = start.len();
        Self {
            free: (0..n).filter(|i| free[*i]).collect(),
            start: start.to_vec(),
            theta: start.to_vec(),
            here: Derivatives::zero(n),
            trial: Derivatives::zero(n),
            damping: 0.0,
            precision: PRECISION,
            converged: false,
            runaway: None,
        }
    }

    /// The damped Newton step over the free parameters, and the gain a quadratic would give.
    fn step(&mut self) -> (DVector<f64>, f64) {
        let n = self.theta.len();
        let m = self.free.len();
        let gradient = DVector::from_fn(m, |i, _| self.here.gradient[self.free[i]]);
        let curvature = DMatrix::from_fn(m, m, |i, j| {
            -self.here.hessian[self.free[i] * n + self.free[j]]
        });
        // Each parameter is damped by its own curvature: a flat one must be free to run.
        let size = curvature.diagonal().map(|c| c.abs().max(FLAT));
        loop {
            let mut damped = curvature.clone();
            for i in 0..m {
                damped[(i, i)] += self.damping * size[i];
            }
            if let Some(factors) = damped.cholesky() {
                let step = factors.solve(&gradient);
                let gain = gradient.dot(&step);
                return (step, gain);
            }
            self.damping = if self.damping == 0.0 {
                1e-8
            } else {
                self.damping * 10.0
            };
            if !self.damping.is_finite() || 1e12 < self.damping {
                return (gradient.component_div(&size), 0.0);
            }
        }
    }
}

impl<O: Objective> Solver<Borrowed<'_, O>, ClimbState> for DampedNewton {
    fn name(&self) -> &'static str {
        "damped Newton"
    }

    fn init(
        &mut self,
        problem: &mut Problem<Borrowed<'_, O>>,
        state: ClimbState,
    ) -> Result<(ClimbState, Option<KV>), Error> {
        let (theta, here) = (&self.theta, &mut self.here);
        problem.problem("evaluations", |o| {
            o.0.evaluate(theta, here);
            Ok(())
        })?;
        if !self.here.value.is_finite() {
            return Err(SearchError::Start.into());
        }
        let cost = -self.here.value;
        Ok((state.cost(cost), None))
    }

    fn next_iter(
        &mut self,
        problem: &mut Problem<Borrowed<'_, O>>,
        state: ClimbState,
    ) -> Result<(ClimbState, Option<KV>), Error> {
        let (mut step, gain) = self.step();
        let undamped = self.damping == 0.0;
        let longest = step.amax();
        if LONGEST_STEP < longest {
            step *= LONGEST_STEP / longest;
        }
        let mut theta = self.theta.clone();
        for (i, d) in self.free.iter().zip(step.iter()) {
            theta[*i] += d;
        }
        let trial = &mut self.trial;
        problem.problem("evaluations", |o| {
            o.0.evaluate(&theta, trial);
            Ok(())
        })?;
        let rounding = 10.0 * self.precision * self.here.value.abs().max(1.0);
        let climbed = self.trial.value - self.here.value;
        if self.trial.value.is_finite() && 0.0 <= climbed + rounding {
            std::mem::swap(&mut self.here, &mut self.trial);
            self.theta = theta;
            self.converged = undamped && gain < self.precision * self.here.value.abs().max(1.0);
            self.damping = if self.damping < 1e-7 {
                0.0
            } else {
                self.damping / 10.0
            };
        } else if gain < rounding {
            // No step can be told from rounding any more.
            self.converged = undamped;
            self.damping = if undamped { 0.0 } else { self.damping / 10.0 };
        } else {
            self.damping = if self.damping == 0.0 {
                1e-4
            } else {
                self.damping * 8.0
            };
        }
        self.runaway = self.free.iter().copied().find(|i| {
            let limit = if *i == 0 { RUNAWAY_SHAPE } else { RUNAWAY };
            limit < (self.theta[*i] - self.start[*i]).abs()
        });
        let cost = -self.here.value;
        Ok((state.param(self.theta.clone()).cost(cost), None))
    }

    fn terminate(&mut self, _state: &ClimbState) -> TerminationStatus {
        if self.converged {
            TerminationStatus::Terminated(TerminationReason::SolverConverged)
        } else if self.runaway.is_some() {
            TerminationStatus::Terminated(TerminationReason::SolverExit("runaway".to_owned()))
        } else {
            TerminationStatus::NotTerminated
        }
    }
}
