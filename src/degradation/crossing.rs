//! The life of one part with readings: its family's life distribution, and its own path.
//!
//! Symbols as in [`super`]: `x` effective exposure since new, `p` the power of the path, `s` the error of a
//! reading, `h` the habit and `w` the wander of the limit, `u` the log rate of the part.
//!
//! With `l` the log life, the family says how probable each `l` is; a part of log life `l` has a
//! log rate `u` of mean `h - p l0 - b p (l - l0)` and variance `b w^2`, where `l0` and `v` are mean and
//! variance of `l` in the family and `b = 1 - w^2 / (p^2 v)`: the share of the scatter of lives that
//! is scatter of rates, the rest being wander. (For normal `l` and `u` this is exact: rates and
//! wander then are independent.) The readings then have, with `X = x^p`, a least-squares rate
//! that is normal about `r = exp(u)` with variance `s^2 / sum X^2 + r r' b w^2`, where `r'` is the
//! part's own rate at that `l`, between `r` and the readings'. (With `r r` in its place the variance
//! would take wander as normal in the rate; it is so in the logarithm, and `r r'` comes within a
//! percent of that.) So
//!
//! ```text
//! p(l | readings, good at age a)  ~  f(l) * N(rate; r, s^2 / sum X^2 + r r' b w^2),    l > ln a
//! ```
//!
//! is one curve, laid out on a grid and turned over to draw from.

use std::f64::consts::PI;

use super::family_path::PathDraw;
use crate::model::Distribution;

/// A family's life on one machine, under one draw.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LifePrior {
    /// Distribution.
    pub distribution: Distribution,
    /// Shape.
    pub shape: f64,
    /// Log scale.
    pub ln_scale: f64,
}

/// Euler's constant: minus the mean of the logarithm of a standard exponential variable.
const EULER: f64 = 0.577_215_664_901_532_9;
/// Most of the scatter of lives that may be wander: something must be left for rates to tell.
const MOST_WANDER: f64 = 0.9;

impl LifePrior {
    /// Log density of log life, up to a constant of the distribution.
    fn ln_density(&self, l: f64) -> f64 {
        let t = self.shape * (l - self.ln_scale);
        match self.distribution {
            Distribution::Weibull | Distribution::Exponential => t - t.exp(),
            Distribution::Lognormal => -0.5 * t * t,
        }
    }

    /// Mean and variance of log life.
    fn moments(&self) -> (f64, f64) {
        let square = self.shape * self.shape;
        match self.distribution {
            Distribution::Weibull | Distribution::Exponential => {
                (self.ln_scale - EULER / self.shape, PI * PI / 6.0 / square)
            }
            Distribution::Lognormal => (self.ln_scale, 1.0 / square),
        }
    }

    /// Log life by which a cumulative hazard is reached.
    fn at_hazard(&self, hazard: f64) -> f64 {
        self.ln_scale + self.distribution.inverse(hazard) / self.shape
    }

    fn hazard(&self, l: f64) -> f64 {
        let t = self.shape * (l - self.ln_scale);
        self.distribution.cumulative(t).value
    }
}

/// What the readings of one part say of its log life.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Evidence {
    /// Least-squares rate and its precision.
    rate: f64,
    precision: f64,
    /// Mean of the log rate at `l` = 0, and its fall with `l`.
    ln_rate_at_0: f64,
    fall: f64,
    /// Variance of the log rate at one `l`.
    wander2: f64,
}

impl Evidence {
    fn new(prior: &LifePrior, path: &PathDraw, readings: &[(f64, f64)]) -> Option<Self> {
        let (mut xx, mut zx) = (0.0, 0.0);
        for (x, z) in readings {
            let x = x.max(0.0).powf(path.power);
            xx += x * x;
            zx += x * z;
        }
        if xx <= 0.0 {
            return None;
        }
        let (l0, variance) = prior.moments();
        let scatter = path.power.powi(2) * variance;
        let wander2 = path.wander.powi(2).min(MOST_WANDER * scatter);
        let share = 1.0 - wander2 / scatter;
        let fall = share * path.power;
        Some(Self {
            rate: zx / xx,
            precision: xx / path.error.powi(2),
            ln_rate_at_0: path.habit - path.power * l0 + fall * l0,
            fall,
            wander2: share * wander2,
        })
    }

    /// Mean rate at a log life.
    fn rate_at(&self, l: f64) -> f64 {
        (self.ln_rate_at_0 - self.fall * l).exp()
    }

    fn ln_likelihood(&self, l: f64) -> f64 {
        let rate = self.rate_at(l);
        let variance = 1.0 / self.precision + self.own(rate).max(0.0) * rate * self.wander2;
        -0.5 * (variance.ln() + (self.rate - rate).powi(2) / variance)
    }

    /// Log life that the readings alone point to.
    fn center(&self) -> Option<f64> {
        (0.0 < self.rate).then(|| (self.ln_rate_at_0 - self.rate.ln()) / self.fall)
    }

    /// Mean of the part's own rate, where its log life is `l`.
    fn own_rate(&self, l: f64) -> f64 {
        self.own(self.rate_at(l))
    }

    /// The same by the mean rate at that log life.
    fn own(&self, mean: f64) -> f64 {
        let weight = 1.0 / (mean * mean * self.wander2);
        (self.precision * self.rate + weight * mean) / (self.precision + weight)
    }
}

/// The life of one part under one draw, given its readings and that it is still good.
#[derive(Clone, Debug, PartialEq)]
pub struct Crossing {
    age: f64,
    evidence: Evidence,
    power: f64,
    from: f64,
    step: f64,
    /// Probability up to each point of the grid of log life; the last is 1.
    cumulative: [f64; FINE],
}

const COARSE: usize = 24;
const FINE: usize = 32;
/// Log heights below the highest that are looked at.
const DEPTH: f64 = 12.0;
/// Cumulative hazard beyond now at which the family gives a part up.
const GIVEN_UP: f64 = 40.0;
/// Cumulative hazard that no part stays under.
const AT_ONCE: f64 = 1e-8;

impl Crossing {
    /// The life of a part.
    ///
    /// - `readings`: effective exposure since new, and share of the way to the limit.
    /// - `age`: effective exposure now.
    ///
    /// `None` where the readings tell nothing: none was taken after any use.
    #[must_use]
    pub fn new(
        prior: &LifePrior,
        path: &PathDraw,
        readings: &[(f64, f64)],
        age: f64,
    ) -> Option<Self> {
        let evidence = Evidence::new(prior, path, readings)?;
        let least = prior.at_hazard(AT_ONCE);
        let from = if 0.0 < age { age.ln() } else { least };
        let to = prior.at_hazard(prior.hazard(from) + GIVEN_UP);
        // A part far beyond what its family allows is worn at once.
        let to = to.max(from + 1e-6);
        let height = |l: f64| prior.ln_density(l) + evidence.ln_likelihood(l);
        let (from, to) = bulk(height, (from, to), evidence.center());
        let step = (to - from) / (FINE - 1) as f64;
        let heights: [f64; FINE] = std::array::from_fn(|i| height(from + i as f64 * step));
        let most = heights.iter().fold(f64::NEG_INFINITY, |m, h| m.max(*h));
        let mut cumulative = [0.0; FINE];
        let mut sum = 0.0;
        let mut before = (heights[0] - most).exp();
        for (c, h) in cumulative.iter_mut().zip(&heights).skip(1) {
            let here = (h - most).exp();
            sum += 0.5 * (before + here);
            *c = sum;
            before = here;
        }
        for c in &mut cumulative {
            *c /= sum;
        }
        Some(Self {
            age,
            evidence,
            power: path.power,
            from,
            step,
            cumulative,
        })
    }

    /// Effective exposure left, of which a share `p` of such parts has no more.
    #[must_use]
    pub fn left(&self, p: f64) -> f64 {
        (self.ln_life(p).exp() - self.age).max(0.0)
    }

    fn ln_life(&self, p: f64) -> f64 {
        let above = self
            .cumulative
            .partition_point(|c| *c < p)
            .clamp(1, FINE - 1);
        let (low, high) = (self.cumulative[above - 1], self.cumulative[above]);
        let share = if low < high {
            ((p - low) / (high - low)).clamp(0.0, 1.0)
        } else {
            0.5
        };
        self.from + (above as f64 - 1.0 + share) * self.step
    }

    /// Probability that it is worn after so much more effective exposure.
    #[must_use]
    pub fn worn_after(&self, ahead: f64) -> f64 {
        let life = self.age + ahead;
        if ahead <= 0.0 || life <= 0.0 {
            return 0.0;
        }
        let place = (life.ln() - self.from) / self.step;
        if place <= 0.0 {
            return 0.0;
        }
        let below = place.floor() as usize;
        if FINE - 1 <= below {
            return 1.0;
        }
        let (low, high) = (self.cumulative[below], self.cumulative[below + 1]);
        low + (high - low) * place.fract()
    }

    /// Wear so far for a unit of effective exposure, as a share of the way to the limit, where the
    /// life is the one that a share `p` of such parts does not outlast.
    #[must_use]
    pub fn wear_rate(&self, p: f64) -> f64 {
        let age = self.age.max(f64::MIN_POSITIVE);
        self.evidence.own_rate(self.ln_life(p)) * age.powf(self.power - 1.0)
    }
}

/// The stretch that holds all but nothing of a density of one peak.
fn bulk(height: impl Fn(f64) -> f64, (from, to): (f64, f64), center: Option<f64>) -> (f64, f64) {
    let step = (to - from) / (COARSE - 1) as f64;
    let at = |i: usize| from + i as f64 * step;
    let heights: [f64; COARSE] = std::array::from_fn(|i| height(at(i)));
    let mut most = heights.iter().fold(f64::NEG_INFINITY, |m, h| m.max(*h));
    let center = center.filter(|c| from < *c && *c < to);
    if let Some(center) = center {
        most = most.max(height(center));
    }
    let high = |i: &usize| most - DEPTH < heights[*i];
    let first = (0..COARSE).find(high).map(|i| at(i.saturating_sub(1)));
    let last = (0..COARSE)
        .rev()
        .find(high)
        .map(|i| at((i + 1).min(COARSE - 1)));
    match (first, last, center) {
        (Some(first), Some(last), _) => (first, last),
        // A peak between two coarse points.
        (_, _, Some(center)) => ((center - step).max(from), (center + step).min(to)),
        _ => (from, to),
    }
}
