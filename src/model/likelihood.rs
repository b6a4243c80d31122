//! The likelihood of lives, once for every distribution and every ending.
//!
//! Worn between low and end: `ln(S(low) - S(end)) + H(entry)`. Worn exactly at the end:
//! `ln f(end) + H(entry)`, the density taken along effective exposure. Otherwise:
//! `-H(end) + H(entry)`. Exposures move with the wear factors, so all of them are differentiated.
//!
//! Lives may be of several levels, say of two materials. A level stretches life by a factor of its
//! own, which moves the log scale of its lives and nothing else: its derivatives are those by the
//! log scale, summed over its lives alone.

use super::kernel::{Distribution, Jet};
use super::observations::{End, Observations};
use super::weibull;
use crate::wear::effective;

/// A value with gradient and Hessian, row by row.
#[derive(Clone, Debug, PartialEq)]
pub struct Derivatives {
    /// The value; not finite where the parameters are out of reach.
    pub value: f64,
    /// First derivatives.
    pub gradient: Vec<f64>,
    /// Second derivatives, `n * n`; both triangles are filled.
    pub hessian: Vec<f64>,
}

impl Derivatives {
    /// All zero, for `n` parameters.
    #[must_use]
    pub fn zero(n: usize) -> Self {
        Self {
            value: 0.0,
            gradient: vec![0.0; n],
            hessian: vec![0.0; n * n],
        }
    }

    pub(super) fn clear(&mut self) {
        self.value = 0.0;
        self.gradient.fill(0.0);
        self.hessian.fill(0.0);
    }
}

/// Log-likelihood of lives under one distribution.
#[derive(Clone, Copy, Debug)]
pub struct Likelihood<'a> {
    /// The distribution.
    pub distribution: Distribution,
    /// The lives.
    pub lives: &'a Observations,
}

/// `t` at one exposure and what its derivatives need.
struct Point {
    t: f64,
    /// Derivatives of `t`: by ln shape, by ln scale, by each log wear factor.
    dt: Vec<f64>,
    /// Share of each group after the first in effective exposure.
    share: Vec<f64>,
}

impl Point {
    fn new(n_groups: usize) -> Self {
        Self {
            t: 0.0,
            dt: vec![0.0; n_groups + 1],
            share: vec![0.0; n_groups - 1],
        }
    }

    fn set(&mut self, shape: f64, ln_scale: f64, exposure: f64) {
        self.t = shape * (exposure.ln() - ln_scale);
        self.dt[0] = self.t;
        self.dt[1] = -shape;
        for (d, s) in self.dt[2..].iter_mut().zip(&self.share) {
            *d = shape * s;
        }
    }

    /// Second derivative of `t`.
    fn d2t(&self, shape: f64, i: usize, j: usize) -> f64 {
        match (i, j) {
            (0, 0) => self.t,
            (0, 1) | (1, 0) => -shape,
            (1, _) | (_, 1) => 0.0,
            (0, g) | (g, 0) => shape * self.share[g - 2],
            (g, h) => {
                let (a, b) = (self.share[g - 2], self.share[h - 2]);
                shape * (if g == h { a } else { 0.0 } - a * b)
            }
        }
    }
}

/// Buffers of one evaluation.
struct Scratch {
    factor: Vec<f64>,
    entry: Point,
    low: Point,
    end: Point,
    /// End less low: first derivatives of `t`, and shares.
    ddt: Vec<f64>,
    dshare: Vec<f64>,
    /// First derivatives of the rise of the cumulative hazard.
    rise: Vec<f64>,
}

impl Likelihood<'_> {
    /// Number of parameters: ln shape, ln scale, a log wear factor for each group but the first, a
    /// log life ratio for each level but the first.
    #[must_use]
    pub fn n_parameters(&self) -> usize {
        self.lives.n_parameters()
    }

    /// Value, gradient and Hessian at `theta`, into `out`.
    pub fn evaluate(&self, theta: &[f64], out: &mut Derivatives) {
        self.evaluate_at(theta, 0.0, out);
    }

    /// The same, with `shift` added to the log scale.
    pub(super) fn evaluate_at(&self, theta: &[f64], shift: f64, out: &mut Derivatives) {
        if self.distribution.is_weibull() {
            weibull::evaluate(self.lives, theta, shift, out);
        } else {
            self.evaluate_life_by_life(theta, shift, out);
        }
    }

    /// For every distribution; the fast sums of [`weibull`] are held against it.
    pub(super) fn evaluate_life_by_life(&self, theta: &[f64], shift: f64, out: &mut Derivatives) {
        out.clear();
        let n_groups = self.lives.n_groups;
        let mut scratch = Scratch {
            factor: std::iter::once(1.0)
                .chain(theta[2..=n_groups].iter().map(|w| w.exp()))
                .collect(),
            entry: Point::new(n_groups),
            low: Point::new(n_groups),
            end: Point::new(n_groups),
            ddt: vec![0.0; n_groups + 1],
            dshare: vec![0.0; n_groups - 1],
            rise: vec![0.0; n_groups + 1],
        };
        let (common, ratios) = theta.split_at(n_groups + 1);
        let mut parts = vec![Derivatives::zero(n_groups + 1); self.lives.n_levels];
        for i in 0..self.lives.len() {
            let level = self.lives.level[i];
            let shift = shift + if level == 0 { 0.0 } else { ratios[level - 1] };
            let part = &mut parts[level];
            self.add_life(i, (common[0].exp(), common[1] + shift), &mut scratch, part);
            if !part.value.is_finite() {
                out.value = f64::NEG_INFINITY;
                return;
            }
        }
        for (level, part) in parts.iter_mut().enumerate() {
            mirror(&mut part.hessian, n_groups + 1);
            gather(part, level, n_groups + 1, out);
        }
    }

    /// The value alone, without the work the derivatives take.
    #[must_use]
    pub fn value(&self, theta: &[f64]) -> f64 {
        self.value_at(theta, 0.0)
    }

    /// The same, with `shift` added to the log scale.
    pub(super) fn value_at(&self, theta: &[f64], shift: f64) -> f64 {
        if self.distribution.is_weibull() {
            weibull::value(self.lives, theta, shift)
        } else {
            self.value_life_by_life(theta, shift)
        }
    }

    fn value_life_by_life(&self, theta: &[f64], shift: f64) -> f64 {
        let n = self.lives.n_groups;
        let (shape, ln_scale) = (theta[0].exp(), theta[1] + shift);
        let (factors, ratios) = theta[2..].split_at(n - 1);
        let factors: Vec<f64> = std::iter::once(1.0)
            .chain(factors.iter().map(|w| w.exp()))
            .collect();
        let weigh = |u: &[f64]| effective(u, factors.iter().copied());
        let mut total = 0.0;
        for i in 0..self.lives.len() {
            let level = self.lives.level[i];
            let ln_scale = ln_scale + if level == 0 { 0.0 } else { ratios[level - 1] };
            let at = |x: f64| shape * (x.ln() - ln_scale);
            let hazard = |x: f64| self.distribution.cumulative(at(x)).value;
            let row = i * n..(i + 1) * n;
            let entry = weigh(&self.lives.entry[row.clone()]);
            let (low, step) = (
                weigh(&self.lives.low[row.clone()]),
                weigh(&self.lives.step[row]),
            );
            let mut value = if 0.0 < entry { hazard(entry) } else { 0.0 };
            value += match self.lives.known[i] {
                End::Censored if low + step <= 0.0 => 0.0,
                // Nothing wears out without use.
                _ if low + step <= 0.0 => f64::NEG_INFINITY,
                End::Censored => -hazard(low + step),
                End::At => {
                    let end = low + step;
                    self.distribution.ln_rate(at(end)).value + shape.ln() - end.ln() - hazard(end)
                }
                End::Between if low <= 0.0 => (-(-hazard(step)).exp_m1()).ln(),
                End::Between => {
                    let t = at(low);
                    let rise = self
                        .distribution
                        .rise(t, shape * (step / low).ln_1p())
                        .value;
                    (-(-rise).exp_m1()).ln() - self.distribution.cumulative(t).value
                }
            };
            total += self.lives.count[i] * value;
        }
        if total.is_nan() {
            f64::NEG_INFINITY
        } else {
            total
        }
    }

    /// Adds one life by the parameters that all lives share; `ln_scale` is that of its level.
    fn add_life(
        &self,
        i: usize,
        (shape, ln_scale): (f64, f64),
        s: &mut Scratch,
        out: &mut Derivatives,
    ) {
        let n = self.lives.n_groups;
        let row = i * n..(i + 1) * n;
        let (entry, low, step) = (
            &self.lives.entry[row.clone()],
            &self.lives.low[row.clone()],
            &self.lives.step[row],
        );
        let count = self.lives.count[i];
        let weigh = |u: &[f64]| effective(u, s.factor.iter().copied());
        let (at_entry, at_low, rise) = (weigh(entry), weigh(low), weigh(step));
        let at_end = at_low + rise;

        if 0.0 < at_entry {
            let weighted = s.factor.iter().zip(entry).skip(1);
            for (share, (w, u)) in s.entry.share.iter_mut().zip(weighted) {
                *share = w * u / at_entry;
            }
            s.entry.set(shape, ln_scale, at_entry);
            let h = self.distribution.cumulative(s.entry.t);
            add_term(out, &s.entry, shape, h, count);
        }
        if at_end <= 0.0 {
            // A life without use: nothing happened, unless it is said to have worn out.
            if self.lives.known[i] != End::Censored {
                out.value = f64::NEG_INFINITY;
            }
            return;
        }
        for g in 1..n {
            s.end.share[g - 1] = s.factor[g] * (low[g] + step[g]) / at_end;
        }
        s.end.set(shape, ln_scale, at_end);
        match self.lives.known[i] {
            End::Censored => {
                add_term(
                    out,
                    &s.end,
                    shape,
                    self.distribution.cumulative(s.end.t),
                    -count,
                );
            }
            End::At => {
                add_term(
                    out,
                    &s.end,
                    shape,
                    self.distribution.cumulative(s.end.t),
                    -count,
                );
                self.add_log_rate(s, shape, at_end, count, out);
            }
            End::Between => {
                for g in 1..n {
                    // Exact as the step goes to 0: shares differ by a product, not a difference.
                    s.dshare[g - 1] = if 0.0 < at_low {
                        s.factor[g] * (step[g] * at_low - low[g] * rise) / (at_end * at_low)
                    } else {
                        0.0
                    };
                    s.low.share[g - 1] = if 0.0 < at_low {
                        s.factor[g] * low[g] / at_low
                    } else {
                        0.0
                    };
                }
                self.add_between(s, (shape, ln_scale), (at_low, rise), count, out);
            }
        }
    }

    /// `ln(density) + H`, which is `ln h'(t) + ln shape - ln x`.
    fn add_log_rate(
        &self,
        s: &Scratch,
        shape: f64,
        at_end: f64,
        count: f64,
        out: &mut Derivatives,
    ) {
        let rate = self.distribution.ln_rate(s.end.t);
        add_term(out, &s.end, shape, rate, count);
        let n = self.lives.n_groups + 1;
        out.value += count * (shape.ln() - at_end.ln());
        out.gradient[0] += count;
        for g in 2..n {
            let a = s.end.share[g - 2];
            out.gradient[g] -= count * a;
            for h in 2..=g {
                let b = s.end.share[h - 2];
                out.hessian[g * n + h] -= count * (if g == h { a } else { 0.0 } - a * b);
            }
        }
    }

    /// `ln(S(low) - S(end)) = -H(low) + ln(1 - exp(-(H(end) - H(low))))`.
    fn add_between(
        &self,
        s: &mut Scratch,
        (shape, ln_scale): (f64, f64),
        (at_low, rise): (f64, f64),
        count: f64,
        out: &mut Derivatives,
    ) {
        let n = self.lives.n_groups + 1;
        if at_low <= 0.0 {
            let h = self.distribution.cumulative(s.end.t);
            let q = 1.0 / h.value.exp_m1();
            out.value += count * (-(-h.value).exp_m1()).ln();
            for i in 0..n {
                let di = h.d1 * s.end.dt[i];
                out.gradient[i] += count * q * di;
                for j in 0..=i {
                    let dj = h.d1 * s.end.dt[j];
                    let dij = h.d2 * s.end.dt[i] * s.end.dt[j] + h.d1 * s.end.d2t(shape, i, j);
                    out.hessian[i * n + j] += count * (q * dij - q * (1.0 + q) * di * dj);
                }
            }
            return;
        }
        s.low.set(shape, ln_scale, at_low);
        let h = self.distribution.cumulative(s.low.t);
        add_term(out, &s.low, shape, h, -count);
        let step = shape * (rise / at_low).ln_1p();
        let dh = self.distribution.rise(s.low.t, step);
        s.ddt[0] = step;
        s.ddt[1] = 0.0;
        for (d, share) in s.ddt[2..].iter_mut().zip(&s.dshare) {
            *d = shape * share;
        }
        for i in 0..n {
            s.rise[i] = dh.d1 * s.end.dt[i] + h.d1 * s.ddt[i];
        }
        let q = 1.0 / dh.value.exp_m1();
        out.value += count * (-(-dh.value).exp_m1()).ln();
        for i in 0..n {
            out.gradient[i] += count * q * s.rise[i];
            for j in 0..=i {
                let squares = s.ddt[i] * s.end.dt[j] + s.low.dt[i] * s.ddt[j];
                let dij = dh.d2 * s.end.dt[i] * s.end.dt[j]
                    + h.d2 * squares
                    + dh.d1 * s.end.d2t(shape, i, j)
                    + h.d1 * rise_of_d2t(s, shape, i, j);
                out.hessian[i * n + j] += count * (q * dij - q * (1.0 + q) * s.rise[i] * s.rise[j]);
            }
        }
    }
}

/// End less low of the second derivative of `t`.
fn rise_of_d2t(s: &Scratch, shape: f64, i: usize, j: usize) -> f64 {
    match (i, j) {
        (0, 0) => s.ddt[0],
        (1, _) | (_, 1) => 0.0,
        (0, g) | (g, 0) => shape * s.dshare[g - 2],
        (g, h) => {
            let (g, h) = (g - 2, h - 2);
            let product = s.dshare[g] * s.end.share[h] + s.low.share[g] * s.dshare[h];
            shape * (if g == h { s.dshare[g] } else { 0.0 } - product)
        }
    }
}

/// Adds `sign * f(t)`, lower triangle only.
fn add_term(out: &mut Derivatives, point: &Point, shape: f64, f: Jet, sign: f64) {
    let n = point.dt.len();
    out.value += sign * f.value;
    for i in 0..n {
        out.gradient[i] += sign * f.d1 * point.dt[i];
        for j in 0..=i {
            out.hessian[i * n + j] +=
                sign * (f.d2 * point.dt[i] * point.dt[j] + f.d1 * point.d2t(shape, i, j));
        }
    }
}

/// Adds the lives of one level: what they say of the log scale they also say of their level's ratio.
fn gather(part: &Derivatives, level: usize, n: usize, out: &mut Derivatives) {
    let wide = out.gradient.len();
    out.value += part.value;
    for i in 0..n {
        out.gradient[i] += part.gradient[i];
        for j in 0..n {
            out.hessian[i * wide + j] += part.hessian[i * n + j];
        }
    }
    if level == 0 {
        return;
    }
    let own = n + level - 1;
    out.gradient[own] += part.gradient[1];
    out.hessian[own * wide + own] += part.hessian[n + 1];
    for j in 0..n {
        out.hessian[own * wide + j] += part.hessian[n + j];
        out.hessian[j * wide + own] += part.hessian[n + j];
    }
}

fn mirror(hessian: &mut [f64], n: usize) {
    for i in 0..n {
        for j in 0..i {
            hessian[j * n + i] = hessian[i * n + j];
        }
    }
}
