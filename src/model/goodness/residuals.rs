//! Cox-Snell residuals: lives on the scale of their own cumulative hazard, where they are unit
//! exponential if the fit is right.

use nalgebra::{DMatrix, DVector};

use super::likelihood_ratio_p;
use crate::model::fit::{Fit, covariance};
use crate::model::kernel::Distribution;
use crate::model::observations::{End, Observations};

/// A life on the scale of the cumulative hazard `H`; a censored one stays censored, an interval an
/// interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Residual {
    /// `H` at entry.
    pub entry: f64,
    /// `H` when last known good.
    pub low: f64,
    /// `H` at the end less `H` when last known good; exact for narrow intervals.
    pub rise: f64,
    /// How the end is known.
    pub known: End,
    /// This many lives are alike.
    pub count: f64,
}

/// The residuals at `theta`, in the order of the lives.
///
/// # Source
/// Cox & Snell (1968), J. R. Stat. Soc. B 30:248.
#[must_use]
pub fn residuals(distribution: Distribution, theta: &[f64], lives: &Observations) -> Vec<Residual> {
    let n = lives.n_groups;
    let factors: Vec<f64> = std::iter::once(1.0)
        .chain(theta[2..].iter().map(|w| w.exp()))
        .collect();
    let weigh = |u: &[f64]| u.iter().zip(&factors).map(|(u, w)| u * w).sum::<f64>();
    let scale = Scale::new(distribution, theta);
    (0..lives.len())
        .map(|i| {
            let row = i * n..(i + 1) * n;
            let (low, step) = (
                weigh(&lives.low[row.clone()]),
                weigh(&lives.step[row.clone()]),
            );
            Residual {
                entry: scale.hazard(weigh(&lives.entry[row])),
                low: scale.hazard(low),
                rise: scale.rise(low, step),
                known: lives.known[i],
                count: lives.count[i],
            }
        })
        .collect()
}

/// From effective exposure to cumulative hazard and back.
struct Scale {
    distribution: Distribution,
    shape: f64,
    ln_scale: f64,
}

impl Scale {
    fn new(distribution: Distribution, theta: &[f64]) -> Self {
        Self {
            distribution,
            shape: theta[0].exp(),
            ln_scale: theta[1],
        }
    }

    fn hazard(&self, exposure: f64) -> f64 {
        if exposure <= 0.0 {
            return 0.0;
        }
        let t = self.shape * (exposure.ln() - self.ln_scale);
        self.distribution.cumulative(t).value
    }

    fn rise(&self, low: f64, step: f64) -> f64 {
        if low <= 0.0 {
            return self.hazard(step);
        }
        let t = self.shape * (low.ln() - self.ln_scale);
        let up = self.shape * (step / low).ln_1p();
        self.distribution.rise(t, up).value
    }

    fn exposure(&self, hazard: f64) -> f64 {
        (self.ln_scale + self.distribution.inverse(hazard) / self.shape).exp()
    }
}

/// One part of life: wear-outs seen, and those the fit expects.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stretch {
    /// Ends at this effective exposure; `None` for the last part.
    pub until: Option<f64>,
    /// Wear-outs seen (expected number, where intervals cross an end).
    pub worn: f64,
    /// Wear-outs the fit expects.
    pub expected: f64,
}

/// Agreement of residuals with a unit exponential.
#[derive(Clone, Debug, PartialEq)]
pub struct Agreement {
    /// Chance of disagreement as large as this, or larger, if the fit is right.
    pub p_value: f64,
    /// Parts of life, each with about as many expected wear-outs.
    pub stretches: Vec<Stretch>,
}

/// Wear-outs below which no judgement is made.
const LEAST_WORN: f64 = 10.0;

/// Number of parts of life for so many wear-outs.
fn parts(worn: f64) -> usize {
    match worn {
        w if w < 30.0 => 3,
        w if w < 100.0 => 4,
        w if w < 400.0 => 6,
        _ => 8,
    }
}

/// Whether the residuals are unit exponential: a score test of the hazard being higher or lower in
/// some part of life than the fit has it.
///
/// Life is cut at fixed effective exposures into parts with equal expected wear-outs. With `b_k`
/// added to the log hazard in part `k` (0 in the first), `U = d logL / db` at `b = 0` and `V` the
/// observed information on `b` after that on the fit's own parameters is taken out, `U' V^-1 U` is
/// chi-square with as many degrees of freedom as there are parts less one. Intervals, late entry
/// and censoring enter through the likelihood itself.
///
/// `None` for fewer than 10 wear-outs or a singular information.
///
/// # Source
/// Rao (1948), Math. Proc. Camb. Phil. Soc. 44:50, for the score test; the piecewise alternative is
/// that of Akritas (1988), J. Am. Stat. Assoc. 83:222 (from memory); checked by simulation in
/// tests/suite/goodness.rs.
#[must_use]
pub fn agreement(fit: &Fit, lives: &Observations) -> Option<Agreement> {
    if lives.worn() < LEAST_WORN {
        return None;
    }
    let here = residuals(fit.distribution, &fit.theta, lives);
    let cuts = equal_parts(&here, parts(lives.worn()))?;
    let scale = Scale::new(fit.distribution, &fit.theta);
    let exposures: Vec<f64> = cuts.iter().map(|r| scale.exposure(*r)).collect();
    let k = exposures.len();
    let score = Score::new(&here, &cuts);
    let u = DVector::from_fn(k, |i, _| score.gradient[i + 1]);
    let own = score.information.view((1, 1), (k, k)).into_owned();
    let taken = cross(fit, lives, &exposures);
    let v = own - &taken * covariance(&fit.at, &fit.free)? * taken.transpose();
    let statistic = u.dot(&v.cholesky()?.solve(&u));
    let stretches = (0..=k).map(|i| Stretch {
        until: exposures.get(i).copied(),
        worn: score.worn[i],
        expected: score.worn[i] - score.gradient[i],
    });
    Some(Agreement {
        p_value: likelihood_ratio_p(statistic / 2.0, k as f64),
        stretches: stretches.collect(),
    })
}

/// Residuals that cut the time at risk into equal amounts: of a unit exponential, as many wear out
/// in each.
fn equal_parts(residuals: &[Residual], parts: usize) -> Option<Vec<f64>> {
    let mut changes: Vec<(f64, f64)> = residuals
        .iter()
        .flat_map(|r| [(r.entry, r.count), (r.low + r.rise, -r.count)])
        .collect();
    changes.sort_by(|a, b| a.0.total_cmp(&b.0));
    let total: f64 = changes.iter().map(|(at, count)| -at * count).sum();
    let mut cuts = Vec::with_capacity(parts - 1);
    let (mut done, mut risk, mut from) = (0.0, 0.0, 0.0);
    for (at, count) in changes {
        let more = risk * (at - from);
        while cuts.len() + 1 < parts {
            let wanted = total * (cuts.len() + 1) as f64 / parts as f64;
            if done + more < wanted || risk <= 0.0 {
                break;
            }
            cuts.push(from + (wanted - done) / risk);
        }
        done += more;
        risk += count;
        from = at;
    }
    let rising = cuts.windows(2).all(|w| w[0] < w[1]) && cuts.first().is_some_and(|c| 0.0 < *c);
    (cuts.len() + 1 == parts && rising).then_some(cuts)
}

/// Second derivatives by log hazard of each part but the first and by each parameter of the fit,
/// negated; central differences of the exact first ones.
fn cross(fit: &Fit, lives: &Observations, exposures: &[f64]) -> DMatrix<f64> {
    const STEP: f64 = 1e-4;
    let mut out = DMatrix::zeros(exposures.len(), fit.theta.len());
    let gradient = |theta: &[f64]| {
        let scale = Scale::new(fit.distribution, theta);
        let cuts: Vec<f64> = exposures.iter().map(|x| scale.hazard(*x)).collect();
        Score::new(&residuals(fit.distribution, theta, lives), &cuts).gradient
    };
    for j in (0..fit.theta.len()).filter(|j| fit.free[*j]) {
        let mut theta = fit.theta.clone();
        theta[j] += STEP;
        let above = gradient(&theta);
        theta[j] -= 2.0 * STEP;
        let below = gradient(&theta);
        for i in 0..exposures.len() {
            out[(i, j)] = (below[i + 1] - above[i + 1]) / (2.0 * STEP);
        }
    }
    out
}

/// Derivatives of the log-likelihood by the log hazard of each part, at the fit.
struct Score {
    gradient: Vec<f64>,
    /// Negated second derivatives.
    information: DMatrix<f64>,
    /// Wear-outs in each part.
    worn: Vec<f64>,
}

impl Score {
    fn new(residuals: &[Residual], cuts: &[f64]) -> Self {
        let parts = cuts.len() + 1;
        let mut out = Self {
            gradient: vec![0.0; parts],
            information: DMatrix::zeros(parts, parts),
            worn: vec![0.0; parts],
        };
        for residual in residuals {
            match residual.known {
                End::Censored => out.survive(residual, residual.low + residual.rise, cuts),
                End::At => {
                    let end = residual.low + residual.rise;
                    out.survive(residual, end, cuts);
                    let part = cuts.partition_point(|c| *c < end);
                    out.gradient[part] += residual.count;
                    out.worn[part] += residual.count;
                }
                End::Between => {
                    out.survive(residual, residual.low, cuts);
                    out.wear_out(residual, cuts);
                }
            }
        }
        out
    }

    fn survive(&mut self, residual: &Residual, until: f64, cuts: &[f64]) {
        for part in 0..=cuts.len() {
            let inside = overlap(part, residual.entry, until, cuts);
            self.gradient[part] -= residual.count * inside;
            self.information[(part, part)] += residual.count * inside;
        }
    }

    /// `ln(1 - exp(-rise))`, with the rise the sum of what falls on each part.
    fn wear_out(&mut self, residual: &Residual, cuts: &[f64]) {
        let (low, high) = (residual.low, residual.low + residual.rise);
        let first = cuts.partition_point(|c| *c <= low);
        let last = cuts.partition_point(|c| *c < high).max(first);
        let q = 1.0 / residual.rise.exp_m1();
        let share = |from: f64, to: f64| {
            (low - from).exp() * (from - to).exp_m1() / (-residual.rise).exp_m1()
        };
        for a in first..=last {
            let ma = if first == last {
                residual.rise
            } else {
                overlap(a, low, high, cuts)
            };
            self.gradient[a] += residual.count * q * ma;
            self.information[(a, a)] -= residual.count * q * ma;
            self.worn[a] += residual.count
                * if first == last {
                    1.0
                } else {
                    let (from, to) = bounds(a, low, high, cuts);
                    share(from, to)
                };
            for b in first..=last {
                let mb = if first == last {
                    residual.rise
                } else {
                    overlap(b, low, high, cuts)
                };
                self.information[(a, b)] += residual.count * q * (1.0 + q) * ma * mb;
            }
        }
    }
}

/// What of `from .. to` lies in a part.
fn bounds(part: usize, from: f64, to: f64, cuts: &[f64]) -> (f64, f64) {
    let from = part.checked_sub(1).map_or(from, |i| from.max(cuts[i]));
    let to = cuts.get(part).map_or(to, |c| to.min(*c));
    (from, to)
}

fn overlap(part: usize, from: f64, to: f64, cuts: &[f64]) -> f64 {
    let (from, to) = bounds(part, from, to, cuts);
    (to - from).max(0.0)
}
