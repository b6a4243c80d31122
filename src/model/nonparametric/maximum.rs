//! The largest likelihood over cells: self-consistent steps to come near, Newton steps on the
//! cells with mass to arrive.

use nalgebra::{DMatrix, DVector};

use super::cells::{Cells, Span};

/// Relative imbalance at which the maximum counts as reached.
const BALANCED: f64 = 1e-10;

const MOST_ROUNDS: usize = 200;

/// Self-consistent steps before each Newton step.
const NEARING: usize = 5;

/// Cumulative hazard of each cell, and how good it is.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Maximum {
    /// Infinite in a cell that nobody is known to have come through.
    pub hazard: Vec<f64>,
    pub log_likelihood: f64,
    pub imbalance: f64,
}

impl Maximum {
    /// Climbs to the maximum.
    pub fn of(cells: &Cells) -> Self {
        let mut climb = Climb::new(cells);
        let mut imbalance = climb.imbalance();
        for _ in 0..MOST_ROUNDS {
            if imbalance < BALANCED {
                break;
            }
            for _ in 0..NEARING {
                climb.nearer();
            }
            climb.newton();
            imbalance = climb.imbalance();
        }
        let log_likelihood = climb.log_likelihood(&climb.hazard);
        let mut hazard = climb.hazard;
        for (h, survived) in hazard.iter_mut().zip(&cells.survived) {
            if *survived <= 0.0 {
                *h = f64::INFINITY;
            }
        }
        Self {
            hazard,
            log_likelihood,
            imbalance,
        }
    }

    /// Expected number at risk and worn out in each cell.
    pub fn expected(&self, cells: &Cells) -> Vec<(f64, f64)> {
        let mut out: Vec<(f64, f64)> = cells.survived.iter().map(|c| (*c, 0.0)).collect();
        for span in &cells.spans {
            let inside = &self.hazard[span.first..=span.last];
            let all = -(-inside.iter().sum::<f64>()).exp_m1();
            let mut shares: Vec<f64> = Vec::with_capacity(inside.len());
            let mut left = 1.0;
            for h in inside {
                shares.push(left * -(-h).exp_m1() / all);
                left *= (-h).exp();
            }
            let mut still = 0.0;
            for (k, share) in shares.iter().enumerate().rev() {
                still += share;
                let (risk, worn) = &mut out[span.first + k];
                *risk += span.count * still;
                *worn += span.count * share;
            }
        }
        out
    }

    /// Variance of the cumulative hazard after each cell; `None` where the information on the
    /// cells with mass is singular.
    pub fn variances(&self, cells: &Cells) -> Option<Vec<f64>> {
        let support: Vec<usize> = (0..cells.len())
            .filter(|j| 0.0 < self.hazard[*j] && self.hazard[*j].is_finite())
            .collect();
        let information = information(cells.len(), &telling(cells), &self.hazard);
        let on = DMatrix::from_fn(support.len(), support.len(), |i, j| {
            information[(support[i], support[j])]
        });
        let covariance = on.cholesky()?.inverse();
        let mut out = vec![0.0; cells.len()];
        let (mut variance, mut next) = (0.0, 0);
        for (j, v) in out.iter_mut().enumerate() {
            if support.get(next) == Some(&j) {
                let cross: f64 = (0..next).map(|i| covariance[(i, next)]).sum();
                variance += covariance[(next, next)] + 2.0 * cross;
                next += 1;
            }
            *v = variance;
        }
        Some(out)
    }
}

/// The wear-outs that tell something of the other cells: one that may lie in a cell nobody came
/// through is certain there.
fn telling(cells: &Cells) -> Vec<Span> {
    let mut certain = vec![0; cells.len() + 1];
    for (j, survived) in cells.survived.iter().enumerate() {
        certain[j + 1] = certain[j] + usize::from(*survived <= 0.0);
    }
    let tells = |s: &&Span| certain[s.first] == certain[s.last + 1];
    cells.spans.iter().filter(tells).copied().collect()
}

/// Negated second derivatives of the log-likelihood: each wear-out adds the same to every pair of
/// its cells, summed by differences along both sides.
fn information(n: usize, spans: &[Span], hazard: &[f64]) -> DMatrix<f64> {
    let mut out = DMatrix::zeros(n + 1, n + 1);
    for span in spans {
        let q = 1.0 / sum(hazard, span).exp_m1();
        let value = span.count * q * (1.0 + q);
        let (a, b) = (span.first, span.last + 1);
        out[(a, a)] += value;
        out[(b, b)] += value;
        out[(a, b)] -= value;
        out[(b, a)] -= value;
    }
    for i in 0..=n {
        for j in 1..=n {
            out[(i, j)] += out[(i, j - 1)];
        }
    }
    for i in 1..=n {
        for j in 0..=n {
            out[(i, j)] += out[(i - 1, j)];
        }
    }
    out
}

fn sum(hazard: &[f64], span: &Span) -> f64 {
    hazard[span.first..=span.last].iter().sum()
}

/// A climb under way. Cells that nobody came through stay at 0 here and are infinite in the end.
struct Climb<'a> {
    survived: &'a [f64],
    spans: Vec<Span>,
    hazard: Vec<f64>,
}

impl<'a> Climb<'a> {
    /// Starts with each wear-out spread evenly over its cells: the product limit, where each has
    /// one cell.
    fn new(cells: &'a Cells) -> Self {
        let mut even = vec![(0.0, 0.0); cells.len()];
        for span in &cells.spans {
            let share = span.count / (span.last + 1 - span.first) as f64;
            for (k, (risk, worn)) in even[span.first..=span.last].iter_mut().rev().enumerate() {
                *risk += share * (k + 1) as f64;
                *worn += share;
            }
        }
        let hazard = even
            .into_iter()
            .zip(&cells.survived)
            .map(|((risk, worn), survived)| {
                if *survived <= 0.0 {
                    return 0.0;
                }
                -(-worn / (survived + risk)).ln_1p()
            })
            .collect();
        Self {
            survived: &cells.survived,
            spans: telling(cells),
            hazard,
        }
    }

    fn log_likelihood(&self, hazard: &[f64]) -> f64 {
        let through: f64 = hazard.iter().zip(self.survived).map(|(h, c)| h * c).sum();
        let worn: f64 = self
            .spans
            .iter()
            .map(|s| s.count * (-(-sum(hazard, s)).exp_m1()).ln())
            .sum();
        worn - through
    }

    /// Sums over the wear-outs of each cell.
    fn over_spans(&self, value: impl Fn(f64) -> f64) -> Vec<f64> {
        let mut out = vec![0.0; self.hazard.len() + 1];
        for span in &self.spans {
            let value = span.count * value(sum(&self.hazard, span));
            out[span.first] += value;
            out[span.last + 1] -= value;
        }
        let mut running = 0.0;
        for v in &mut out {
            running += *v;
            *v = running;
        }
        out.pop();
        out
    }

    fn gradient(&self) -> Vec<f64> {
        let mut out = self.over_spans(|s| 1.0 / s.exp_m1());
        for (g, c) in out.iter_mut().zip(self.survived) {
            *g -= c;
        }
        out
    }

    /// The largest breach of the Karush-Kuhn-Tucker conditions: no gradient where there is mass,
    /// none upward where there is not; relative to the lives that came through.
    fn imbalance(&self) -> f64 {
        self.gradient()
            .iter()
            .zip(self.survived)
            .zip(&self.hazard)
            .filter(|((_, c), _)| 0.0 < **c)
            .map(|((g, c), h)| {
                if 0.0 < *h {
                    g.abs() / c
                } else {
                    g.max(0.0) / c
                }
            })
            .fold(0.0, f64::max)
    }

    /// One self-consistent step: events of a Poisson process in each cell, given that every
    /// wear-out had at least one. Never lowers the likelihood.
    ///
    /// # Source
    /// Wang, `McMahan`, Hudgens & Qureshi (2016), Biometrics 72:222 (from memory).
    fn nearer(&mut self) {
        let worn = self.over_spans(|s| -1.0 / (-s).exp_m1());
        let ones = self.over_spans(|_| 1.0);
        for j in 0..self.hazard.len() {
            let risk = self.survived[j] + ones[j];
            if 0.0 < self.survived[j] && 0.0 < risk {
                self.hazard[j] *= worn[j].max(0.0) / risk;
                if self.hazard[j] < 1e-14 {
                    self.hazard[j] = 0.0;
                }
            }
        }
    }

    /// One Newton step on the cells with mass or with gain in some; a cell that would fall below 0
    /// loses its mass. The step is halved until it gains.
    fn newton(&mut self) {
        let gradient = self.gradient();
        let information = information(self.hazard.len(), &self.spans, &self.hazard);
        let Some(step) = self.step(&gradient, &information) else {
            return;
        };
        let here = self.log_likelihood(&self.hazard);
        let mut length = 1.0;
        for _ in 0..30 {
            let there: Vec<f64> = self
                .hazard
                .iter()
                .zip(&step)
                .map(|(h, d)| (h + length * d).max(0.0))
                .collect();
            if here <= self.log_likelihood(&there) {
                self.hazard = there;
                return;
            }
            length /= 2.0;
        }
    }

    fn step(&self, gradient: &[f64], information: &DMatrix<f64>) -> Option<Vec<f64>> {
        let mut step = vec![0.0; self.hazard.len()];
        let mut free: Vec<usize> = (0..self.hazard.len())
            .filter(|j| 0.0 < self.survived[*j])
            .filter(|j| 0.0 < self.hazard[*j] || 0.0 < gradient[*j])
            .collect();
        let mut emptied: Vec<usize> = Vec::new();
        while !free.is_empty() {
            let right = DVector::from_iterator(
                free.len(),
                free.iter().map(|j| {
                    let moved: f64 = emptied
                        .iter()
                        .map(|k| information[(*j, *k)] * step[*k])
                        .sum();
                    gradient[*j] - moved
                }),
            );
            // A trace of the diagonal keeps cells apart that the lives cannot tell apart.
            let on = DMatrix::from_fn(free.len(), free.len(), |i, j| {
                let trace = if i == j { 1.0 + 1e-12 } else { 1.0 };
                information[(free[i], free[j])] * trace
            });
            let solved = on.cholesky()?.solve(&right);
            for (j, d) in free.iter().zip(solved.iter()) {
                step[*j] = *d;
            }
            let (below, rest): (Vec<usize>, Vec<usize>) = free
                .iter()
                .partition(|j| self.hazard[**j] + step[**j] < 0.0);
            if below.is_empty() {
                break;
            }
            for j in &below {
                step[*j] = -self.hazard[*j];
            }
            emptied.extend(below);
            free = rest;
        }
        Some(step)
    }
}
