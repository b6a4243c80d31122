//! What all lives of a family with readings say of its paths: the power of use, the measuring
//! error, and how near to the limit its parts are changed.
//!
//! Log rates of parts are normal about a family mean. Each part's rate is integrated out by
//! Gauss-Hermite quadrature about its own most probable rate; the rest is drawn by weights about
//! the peak, as parameters of lives are ([`crate::model::importance`]). A life that wore out adds
//! the probability that its wear reached `C` times the limit between the use when it was last good
//! and the use at its end; any other life adds the probability that it had not by its end. A life
//! first seen with use behind it counts given that it was good by then.
//!
//! Lives without readings count by their endings: parts that are still in service, which may be the
//! only ones that were measured, are the slower ones of their family. Without readings nothing ties a
//! life to its own rate, so `u - ln C` is normal and its integral is a tail of that.
//!
//! # Priors
//! All are our own choice, no source: error 0.05 of the way to the limit, 90 % sure within a
//! factor of 3; wander 0.12, within 2; habit 0, 90 % sure that parts are changed on average at
//! 0.85 to 1.18 times the limit; power 1, within 1.25; spread of rates 0.4, within 2.5; the mean
//! rate reaches the limit at the family's median life, within a factor of 4.

use statrs::function::erf::erfc;

use crate::family::Spread;
use crate::model::posterior::{self, Request, Target};

/// What one life shows, its exposure as a multiple of the family's median life.
#[derive(Clone, Debug, PartialEq)]
pub struct PartPath {
    /// Exposure and share of the way to the limit, reading by reading; may be empty.
    pub readings: Vec<(f64, f64)>,
    /// Exposure when it was first seen, good by then; 0 of a part seen from new.
    pub entry: f64,
    /// Exposure when last good; `None`: it has not worn out.
    pub low: Option<f64>,
    /// Exposure at its end, or now; 0 where not known.
    pub end: f64,
}

/// One draw of what a family's paths have in common.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PathDraw {
    /// Power of exposure, `p`.
    pub power: f64,
    /// Standard deviation of a reading, as a share of the way to the limit, `s`.
    pub error: f64,
    /// Mean of `ln C`: how far on parts are when they are changed.
    pub habit: f64,
    /// Standard deviation of `ln C`, `w`.
    pub wander: f64,
    /// Mean log rate of parts, exposure as a multiple of the family's median life.
    pub ln_rate: f64,
    /// Standard deviation of log rates from part to part.
    pub spread: f64,
}

/// What is known of a family's paths.
#[derive(Clone, Debug, PartialEq)]
pub struct FamilyPath {
    /// All equally probable; never empty.
    pub draws: Vec<PathDraw>,
    /// Lives with readings behind them.
    pub lives: usize,
    /// Their readings.
    pub readings: usize,
    /// Whether the readings were followed; false where only what is assumed beforehand stands.
    pub fitted: bool,
}

/// Draws made.
const DRAWS: usize = 2_000;
/// Relative gain in log density below which the peak is reached: draws are weighted, so that near is
/// good enough.
const PRECISION: f64 = 1e-8;
/// Lives with readings used at most, those with the most readings: more change nothing that shows.
const MOST_LIVES: usize = 300;
/// Lives without readings used at most; each then counts for several.
const MOST_UNREAD: usize = 1_000;

/// Places in a point: mean log rate, ln spread, ln error, habit, ln wander, ln power.
const RATE: usize = 0;
const SPREAD: usize = 1;
const ERROR: usize = 2;
const HABIT: usize = 3;
const WANDER: usize = 4;
const POWER: usize = 5;
const N: usize = 6;

/// Mean and standard deviation of the normal prior of each.
fn priors() -> [(f64, f64); N] {
    let known = |median: f64, spread: f64| {
        let prior = Spread { median, spread };
        (prior.ln_mean(), prior.ln_sd())
    };
    [
        known(1.0, 4.0),
        known(0.4, 2.5),
        known(0.05, 3.0),
        (0.0, 0.1),
        known(0.12, 2.0),
        known(1.0, 1.25),
    ]
}

impl FamilyPath {
    /// Draws what the family's paths have in common; `None` of no reading with exposure.
    ///
    /// - `parts`: all lives of the family whose use is known, those without readings too.
    #[must_use]
    pub fn of(parts: &[PartPath], seed: u64) -> Option<Self> {
        let target = Paths::of(parts);
        let used = &target.read;
        if used.is_empty() {
            return None;
        }
        let (lives, readings) = (used.len(), used.iter().map(|p| p.readings.len()).sum());
        let target = target.at_most(MOST_LIVES, MOST_UNREAD);
        let start: Vec<f64> = target.priors.iter().map(|(mean, _)| *mean).collect();
        let free = [true; N];
        let request = Request {
            count: DRAWS,
            seed,
            worn: 0.0,
            chains: false,
        };
        let peak = posterior::numeric_mode_within(&target, &start, &free, PRECISION);
        let fitted = peak.is_ok();
        let points = match peak {
            Ok(peak) => posterior::draw(&target, &[peak], &free, request).points,
            // Priors are proper and the density smooth, so this is a last resort; results say so.
            Err(_) => vec![start],
        };
        Some(Self {
            draws: points.iter().map(|p| PathDraw::of(p)).collect(),
            lives,
            readings,
            fitted,
        })
    }

    /// One draw for each draw of something else.
    #[must_use]
    pub fn get(&self, index: usize) -> &PathDraw {
        &self.draws[index % self.draws.len()]
    }
}

impl PathDraw {
    fn of(point: &[f64]) -> Self {
        Self {
            power: point[POWER].exp(),
            error: point[ERROR].exp(),
            habit: point[HABIT],
            wander: point[WANDER].exp(),
            ln_rate: point[RATE],
            spread: point[SPREAD].exp(),
        }
    }

    /// Log-likelihood of one part, its rate integrated out.
    #[must_use]
    pub fn log_likelihood(&self, part: &PartPath) -> f64 {
        let seen = if part.is_read() {
            RateOf::new(self, part).log_integral()
        } else {
            self.ending(part)
        };
        seen - self.good_until(part.entry)
    }

    /// Log probability of how a life without readings ended, or that it has not.
    fn ending(&self, part: &PartPath) -> f64 {
        match part.low {
            None => self.good_until(part.end),
            Some(low) => ln_between(self.standard(low), self.standard(part.end)),
        }
    }

    /// Log probability that a part is good at an exposure.
    fn good_until(&self, exposure: f64) -> f64 {
        if exposure <= 0.0 {
            return 0.0;
        }
        upper(self.standard(exposure)).max(1e-300).ln()
    }

    /// By how many standard deviations a part of the mean rate is past its change at an exposure.
    fn standard(&self, exposure: f64) -> f64 {
        let ln_wear = self.ln_rate + self.power * exposure.max(1e-300).ln();
        (ln_wear - self.habit) / self.spread.hypot(self.wander)
    }

    /// Mean and standard deviation of one part's log rate, shrunk to the family.
    #[must_use]
    pub fn ln_rate_of(&self, part: &PartPath) -> (f64, f64) {
        RateOf::new(self, part).moments()
    }
}

impl PartPath {
    /// Whether any reading tells of its rate: one of a part that was new says nothing.
    fn is_read(&self) -> bool {
        self.readings.iter().any(|(x, _)| 0.0 < *x)
    }
}

/// The density to draw from.
struct Paths<'a> {
    /// Lives with readings.
    read: Vec<&'a PartPath>,
    /// Lives without, and for how many each of them counts.
    unread: Vec<&'a PartPath>,
    weight: f64,
    priors: [(f64, f64); N],
}

impl<'a> Paths<'a> {
    fn of(parts: &'a [PartPath]) -> Self {
        let (read, unread) = parts.iter().partition(|p| p.is_read());
        Self {
            read,
            unread,
            weight: 1.0,
            priors: priors(),
        }
    }

    /// The same with fewer lives: those with the most readings, and of those without every so many. The
    /// weight keeps their proportion, which is what tells how slow the measured ones are.
    fn at_most(mut self, read: usize, unread: usize) -> Self {
        let with_readings = self.read.len();
        self.read
            .sort_by_key(|p| std::cmp::Reverse(p.readings.len()));
        self.read.truncate(read);
        self.weight = self.read.len() as f64 / with_readings.max(1) as f64;
        let all = self.unread.len();
        if unread < all {
            self.unread = (0..unread).map(|i| self.unread[i * all / unread]).collect();
            self.weight *= all as f64 / unread as f64;
        }
        self
    }
}

impl Target for Paths<'_> {
    fn ln_density(&self, theta: &[f64]) -> f64 {
        let draw = PathDraw::of(theta);
        let prior: f64 = theta
            .iter()
            .zip(&self.priors)
            .map(|(t, (mean, sd))| -0.5 * ((t - mean) / sd).powi(2))
            .sum();
        let of = |parts: &[&PartPath]| parts.iter().map(|p| draw.log_likelihood(p)).sum::<f64>();
        prior + of(&self.read) + self.weight * of(&self.unread)
    }
}

/// Nodes and weights of Gauss-Hermite quadrature of order 9, for a standard normal variable, from
/// 0 outwards (Abramowitz & Stegun, table 25.10, scaled).
const NODES: [(f64, f64); 5] = [
    (0.0, 0.406_349_206_349_206_35),
    (1.023_255_663_789_132_5, 0.244_097_502_894_939_42),
    (2.076_847_978_677_83, 0.049_916_406_765_217_88),
    (3.205_429_002_856_47, 0.002_789_141_321_231_769),
    (4.512_745_863_399_783, 0.000_022_345_844_007_746_584),
];

/// The log rate of one part under one draw: its log density up to a constant, and its peak.
struct RateOf<'a> {
    draw: &'a PathDraw,
    /// Sums over readings, with `X = x^p`: of X X, of z X, of z z.
    sums: (f64, f64, f64),
    count: f64,
    /// `p ln x` when last good, and at the end.
    low: Option<f64>,
    end: Option<f64>,
}

impl<'a> RateOf<'a> {
    fn new(draw: &'a PathDraw, part: &PartPath) -> Self {
        let mut sums = (0.0, 0.0, 0.0);
        for (x, z) in &part.readings {
            let x = x.powf(draw.power);
            sums.0 += x * x;
            sums.1 += x * z;
            sums.2 += z * z;
        }
        let at = |x: f64| (0.0 < x).then(|| draw.power * x.ln());
        Self {
            draw,
            sums,
            count: part.readings.len() as f64,
            // Last good when new: as good as minus infinity.
            low: part.low.map(|x| at(x).unwrap_or(-1e3)),
            end: at(part.end),
        }
    }

    /// Log density of readings, rate and ending, all constants in.
    fn ln_density(&self, u: f64) -> f64 {
        let draw = self.draw;
        let rate = u.exp();
        let (xx, zx, zz) = self.sums;
        let squares = zz - rate * (2.0 * zx - rate * xx);
        let error2 = draw.error * draw.error;
        let readings = -0.5 * squares / error2 - self.count * (draw.error.ln() + LN_SQRT_2PI);
        let rates =
            -0.5 * ((u - draw.ln_rate) / draw.spread).powi(2) - draw.spread.ln() - LN_SQRT_2PI;
        readings + rates + self.ending(u)
    }

    /// Log probability of how the life ended, or that it has not.
    fn ending(&self, u: f64) -> f64 {
        let Some(end) = self.end else { return 0.0 };
        let standard = |at: f64| (u + at - self.draw.habit) / self.draw.wander;
        match self.low {
            None => upper(standard(end)).max(1e-300).ln(),
            Some(low) => ln_between(standard(low), standard(end)),
        }
    }

    /// A rate that a wear-out points to: mean and variance of the log rate.
    fn by_ending(&self) -> Option<(f64, f64)> {
        let (low, end) = (self.low?, self.end?);
        let low = low.max(end - 3.0);
        let width = end - low;
        let variance = self.draw.wander.powi(2) + width * width / 12.0;
        Some((self.draw.habit - 0.5 * (low + end), variance))
    }

    /// The peak of readings, rates and, roughly, the ending; and the curvature there.
    fn peak(&self) -> (f64, f64) {
        /// Steps at most; each is a Newton step wherever the density is curved the right way.
        const STEPS: usize = 30;
        let draw = self.draw;
        let (xx, zx, _) = self.sums;
        let weight = draw.error.powi(-2);
        let mut precision = draw.spread.powi(-2);
        let mut mean = draw.ln_rate;
        if let Some((at, variance)) = self.by_ending() {
            mean = (mean * precision + at / variance) / (precision + 1.0 / variance);
            precision += 1.0 / variance;
        }
        let mut u = mean;
        let mut curvature = precision;
        for _ in 0..STEPS {
            let rate = u.exp();
            let gauss = precision + weight * xx * rate * rate;
            let full = precision + weight * rate * (2.0 * xx * rate - zx);
            curvature = full.max(0.3 * gauss);
            let slope = precision * (mean - u) + weight * rate * (zx - rate * xx);
            let step = (slope / curvature).clamp(-1.0, 1.0);
            u += step;
            if step.abs() < 1e-11 {
                break;
            }
        }
        (u, curvature)
    }

    /// Heights and log weights at the nodes.
    fn nodes(&self) -> impl Iterator<Item = (f64, f64)> + '_ {
        let (peak, curvature) = self.peak();
        let sd = curvature.sqrt().recip();
        let sides = NODES.iter().flat_map(|(t, w)| {
            let both = if *t == 0.0 { 1 } else { 2 };
            [(*t, *w), (-*t, *w)].into_iter().take(both)
        });
        sides.map(move |(t, w)| {
            let u = peak + sd * t;
            let ln_normal = -0.5 * t * t - LN_SQRT_2PI - sd.ln();
            (u, self.ln_density(u) - ln_normal + w.ln())
        })
    }

    fn log_integral(&self) -> f64 {
        let mut terms = [0.0; 9];
        for (term, (_, ln_density)) in terms.iter_mut().zip(self.nodes()) {
            *term = ln_density;
        }
        let most = terms.iter().fold(f64::NEG_INFINITY, |m, t| m.max(*t));
        most + terms.iter().map(|t| (t - most).exp()).sum::<f64>().ln()
    }

    fn moments(&self) -> (f64, f64) {
        let nodes: Vec<(f64, f64)> = self.nodes().collect();
        let most = nodes.iter().fold(f64::NEG_INFINITY, |m, n| m.max(n.1));
        let weights: Vec<f64> = nodes.iter().map(|n| (n.1 - most).exp()).collect();
        let sum: f64 = weights.iter().sum();
        let mean = nodes
            .iter()
            .zip(&weights)
            .map(|(n, w)| n.0 * w)
            .sum::<f64>()
            / sum;
        let square = |n: &(f64, f64)| (n.0 - mean).powi(2);
        let variance = nodes
            .iter()
            .zip(&weights)
            .map(|(n, w)| square(n) * w)
            .sum::<f64>()
            / sum;
        (mean, variance.sqrt())
    }
}

const LN_SQRT_2PI: f64 = 0.918_938_533_204_672_7;

/// Upper tail of the standard normal distribution.
fn upper(t: f64) -> f64 {
    0.5 * erfc(t * std::f64::consts::FRAC_1_SQRT_2)
}

/// Log probability of a standard normal variable between two values.
fn ln_between(a: f64, b: f64) -> f64 {
    // From the smaller tail, so that nothing cancels.
    let between = if 0.0 < a {
        upper(a) - upper(b)
    } else {
        upper(-b) - upper(-a)
    };
    between.max(1e-300).ln()
}
