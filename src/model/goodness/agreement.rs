//! Whether residuals are those of a right fit: a test of the hazard in each part of life.

use nalgebra::{DMatrix, DVector};

use super::likelihood_ratio_p;
use super::residuals::{Residual, Scale, Track, residuals, tracks};
use crate::model::fit::{Fit, covariance};
use crate::model::observations::{End, Observations};

/// One part of life: wear-outs seen, and those the fit expects.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PartOfLife {
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
    pub parts_of_life: Vec<PartOfLife>,
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
/// Life is cut at effective exposures into parts with equal expected wear-outs; a cut stays at its
/// place in each life's own use when the wear factors move. With `b_k`
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
    let cut = Cut {
        exposures: cuts.iter().map(|r| scale.exposure(*r)).collect(),
        tracks: tracks(&fit.theta, lives),
        fit,
        lives,
    };
    let k = cuts.len();
    let score = cut.score(&fit.theta);
    let u = DVector::from_fn(k, |i, _| score.gradient[i + 1]);
    let own = score.information.view((1, 1), (k, k)).into_owned();
    let taken = cut.cross();
    let v = own - &taken * covariance(&fit.at, &fit.free)? * taken.transpose();
    let statistic = u.dot(&v.cholesky()?.solve(&u));
    let parts_of_life = (0..=k).map(|i| PartOfLife {
        until: cut.exposures.get(i).copied(),
        worn: score.worn[i],
        expected: score.worn[i] - score.gradient[i],
    });
    Some(Agreement {
        p_value: likelihood_ratio_p(statistic / 2.0, k as f64),
        parts_of_life: parts_of_life.collect(),
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

/// Lives cut into parts where the fit has its cuts.
struct Cut<'a> {
    exposures: Vec<f64>,
    /// The lives at the fit.
    tracks: Vec<Track>,
    fit: &'a Fit,
    lives: &'a Observations,
}

impl Cut<'_> {
    fn score(&self, theta: &[f64]) -> Score {
        let scale = Scale::new(self.fit.distribution, theta);
        let mut score = Score::new(self.exposures.len() + 1);
        let mut cuts = vec![0.0; self.exposures.len()];
        for (i, now) in tracks(theta, self.lives).iter().enumerate() {
            for (cut, exposure) in cuts.iter_mut().zip(&self.exposures) {
                *cut = moved(*exposure, &self.tracks[i], now)
                    .map_or_else(|outside| outside, |x| scale.hazard(x));
            }
            let residual = scale.residual(now, self.lives.known[i], self.lives.count[i]);
            score.add(&residual, &cuts);
        }
        score
    }

    /// Second derivatives by log hazard of each part but the first and by each parameter of the
    /// fit, negated; central differences of the exact first ones.
    fn cross(&self) -> DMatrix<f64> {
        const STEP: f64 = 1e-4;
        let fit = self.fit;
        let mut out = DMatrix::zeros(self.exposures.len(), fit.theta.len());
        for j in (0..fit.theta.len()).filter(|j| fit.free[*j]) {
            let mut theta = fit.theta.clone();
            theta[j] += STEP;
            let above = self.score(&theta).gradient;
            theta[j] -= 2.0 * STEP;
            let below = self.score(&theta).gradient;
            for i in 0..self.exposures.len() {
                out[(i, j)] = (below[i + 1] - above[i + 1]) / (2.0 * STEP);
            }
        }
        out
    }
}

/// Where a cut through a life `then` lies `now`, at the same share of the same stretch of its use;
/// an infinity where the life does not reach over it.
fn moved(cut: f64, then: &Track, now: &Track) -> Result<f64, f64> {
    if cut <= then.entry {
        return Err(f64::NEG_INFINITY);
    }
    if cut <= then.low {
        let share = (cut - then.entry) / (then.low - then.entry);
        return Ok(now.entry + share * (now.low - now.entry));
    }
    if cut < then.low + then.step {
        return Ok(now.low + (cut - then.low) / then.step * now.step);
    }
    Err(f64::INFINITY)
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
    fn new(parts: usize) -> Self {
        Self {
            gradient: vec![0.0; parts],
            information: DMatrix::zeros(parts, parts),
            worn: vec![0.0; parts],
        }
    }

    fn add(&mut self, residual: &Residual, cuts: &[f64]) {
        match residual.known {
            End::Censored => self.survive(residual, residual.low + residual.rise, cuts),
            End::At => {
                let end = residual.low + residual.rise;
                self.survive(residual, end, cuts);
                let part = cuts.partition_point(|c| *c < end);
                self.gradient[part] += residual.count;
                self.worn[part] += residual.count;
            }
            End::Between => {
                self.survive(residual, residual.low, cuts);
                self.wear_out(residual, cuts);
            }
        }
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
        let (low, high, count) = (residual.low, residual.low + residual.rise, residual.count);
        let first = cuts.partition_point(|c| *c <= low);
        let last = cuts.partition_point(|c| *c < high).max(first);
        let q = 1.0 / residual.rise.exp_m1();
        // Within one part the rise is known better than as a difference.
        let inside = |part| {
            if first == last {
                residual.rise
            } else {
                overlap(part, low, high, cuts)
            }
        };
        for a in first..=last {
            let (begins, _) = bounds(a, low, high, cuts);
            let here = inside(a);
            self.gradient[a] += count * q * here;
            self.worn[a] +=
                count * (low - begins).exp() * (-here).exp_m1() / (-residual.rise).exp_m1();
            self.information[(a, a)] -= count * q * here;
            for b in first..=last {
                self.information[(a, b)] += count * q * (1.0 + q) * here * inside(b);
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
