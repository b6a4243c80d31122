//! Plays by the hundred: what one part does in all of them is worked out in one go.
//!
//! A part seldom ends within a season. With `a` the rise of its cumulative hazard over the use to
//! come and `b` the strikes to be expected, nothing happens to it with probability `exp(-(a + b))`;
//! as `1 - exp(-x) <= x`, a uniform number above `a + b` settles that without any logarithm. Only
//! where something happens are its day and its cause drawn, given that it does.

use std::borrow::Cow;

use rand::Rng as _;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution as _, Exp1, StandardNormal};

use super::measured::LeftByDraw;
use super::play::{Life, Next, factors};
use super::unit::{Age, Unit};
use crate::model::hazards;
use crate::model::posterior::Draws;

/// Plays of a batch.
pub const BATCH: usize = 100;

/// Far above what rounding does to a cumulative hazard, far below what anybody could tell.
const ROUNDING: f64 = 1e-9;

type Column = [f64; BATCH];

/// Draws of one family's parameters as plays need them.
#[derive(Debug)]
pub(super) struct DrawnLives<'a> {
    pub(super) draws: &'a Draws,
    shapes: Vec<f64>,
    /// Wear factors, draw by draw, the reference first.
    factors: Vec<f64>,
    n_groups: usize,
}

impl<'a> DrawnLives<'a> {
    pub(super) fn new(draws: &'a Draws) -> Self {
        Self {
            draws,
            shapes: draws.iter().map(|theta| theta[0].exp()).collect(),
            factors: draws.iter().flat_map(factors).collect(),
            n_groups: draws.get(0).len() - 1,
        }
    }

    fn factors(&self, draw: usize) -> &[f64] {
        &self.factors[draw * self.n_groups..(draw + 1) * self.n_groups]
    }
}

/// A family's lives in the plays of one batch.
#[derive(Debug)]
pub(super) struct FamilyBatch<'a> {
    lives: &'a DrawnLives<'a>,
    /// Number of the first play.
    first: usize,
    shape: Column,
    /// On a machine like the others.
    ln_scale: Column,
    /// Wear factors, a column for each group.
    factors: Vec<Column>,
    /// Damage, by its clock.
    rates: Column,
}

impl<'a> FamilyBatch<'a> {
    pub(super) fn new(lives: &'a DrawnLives<'a>, first: usize, rates: &Column) -> Self {
        let draw = |k: usize| (first + k) % lives.draws.len();
        Self {
            lives,
            first,
            shape: std::array::from_fn(|k| lives.shapes[draw(k)]),
            ln_scale: std::array::from_fn(|k| lives.draws.get(draw(k))[1]),
            factors: (0..lives.n_groups)
                .map(|g| std::array::from_fn(|k| lives.factors(draw(k))[g]))
                .collect(),
            rates: *rates,
        }
    }

    fn draw(&self, k: usize) -> usize {
        (self.first + k) % self.lives.draws.len()
    }

    /// The family's lives on one machine.
    ///
    /// - `machine`: its place among the machines the family has lives of; one without any gets an
    ///   effect from the spread of machines in each play.
    /// - `ahead`: use to come by group.
    /// - `clock`: use to come on the clock of damage.
    pub(super) fn on_machine(
        &self,
        machine: Option<usize>,
        ahead: &[f64],
        clock: f64,
        rng: &mut ChaCha8Rng,
    ) -> MachineBatch<'_> {
        let mut ln_scale = self.ln_scale;
        let draws = self.lives.draws;
        match machine {
            Some(machine) => {
                let effects = draws.effects_of(machine);
                if !effects.is_empty() {
                    for (k, l) in ln_scale.iter_mut().enumerate() {
                        *l += effects[self.draw(k)];
                    }
                }
            }
            None => {
                for (k, l) in ln_scale.iter_mut().enumerate() {
                    if let Some(spread) = draws.spread(self.draw(k)) {
                        let z: f64 = StandardNormal.sample(rng);
                        *l += spread * z;
                    }
                }
            }
        }
        let ahead = self.effective(ahead);
        let mut to_come = [0.0; BATCH];
        let lives = hazards::Lives {
            distribution: draws.distribution,
            shape: &self.shape,
            ln_scale: &ln_scale,
        };
        lives.at(&ahead, &mut to_come);
        MachineBatch {
            family: self,
            ln_scale,
            ahead,
            to_come: to_come.map(|h| h * (1.0 + ROUNDING)),
            strikes: self.rates.map(|rate| rate * clock),
        }
    }

    /// Effective exposure of use by group.
    fn effective(&self, used: &[f64]) -> Column {
        let mut sums = [0.0; BATCH];
        for (used, factors) in used.iter().zip(&self.factors) {
            for (sum, factor) in sums.iter_mut().zip(factors) {
                *sum += used * factor;
            }
        }
        sums
    }
}

/// A family's lives on one machine in the plays of one batch.
#[derive(Debug)]
pub(super) struct MachineBatch<'a> {
    family: &'a FamilyBatch<'a>,
    ln_scale: Column,
    /// Effective exposure to come.
    ahead: Column,
    /// Cumulative hazard of a new part over it.
    to_come: Column,
    /// Strikes to be expected.
    strikes: Column,
}

impl MachineBatch<'_> {
    /// The life of one play.
    pub(super) fn life(&self, k: usize) -> Life<'_> {
        let family = self.family;
        Life {
            distribution: family.lives.draws.distribution,
            shape: family.shape[k],
            ln_scale: self.ln_scale[k],
            factors: Cow::Borrowed(family.lives.factors(family.draw(k))),
            rate: family.rates[k],
            to_come: self.to_come[k],
        }
    }

    /// Draws how a part ends, for each play in which it may end: `ends(play of the batch, how)`.
    ///
    /// - `left`: what is left of it, where its readings say.
    pub(super) fn draw(
        &self,
        unit: &Unit,
        left: Option<&LeftByDraw>,
        rng: &mut ChaCha8Rng,
        mut ends: impl FnMut(usize, Next, &mut ChaCha8Rng),
    ) {
        match (left, &unit.age) {
            (None, Age::Known(used)) => self.draw_of_age(used, rng, ends),
            (None, age @ Age::AtLeast(_)) => {
                self.draw_each(rng, ends, |k, rng| self.life(k).draw_rest(age, rng));
            }
            (Some(left), _) => {
                self.draw_each(rng, &mut ends, |k, _| left.of_play(self.family.first + k));
            }
        }
    }

    /// Draws play by play; `wear` says what is left of the part.
    fn draw_each(
        &self,
        rng: &mut ChaCha8Rng,
        mut ends: impl FnMut(usize, Next, &mut ChaCha8Rng),
        mut wear: impl FnMut(usize, &mut ChaCha8Rng) -> f64,
    ) {
        for k in 0..BATCH {
            let strike: f64 = Exp1.sample(rng);
            let wear_at = wear(k, rng);
            if wear_at <= self.ahead[k] || strike <= self.strikes[k] {
                let damage_at = strike / self.family.rates[k];
                ends(k, Next { wear_at, damage_at }, rng);
            }
        }
    }

    fn draw_of_age(
        &self,
        used: &[f64],
        rng: &mut ChaCha8Rng,
        mut ends: impl FnMut(usize, Next, &mut ChaCha8Rng),
    ) {
        let family = self.family;
        let age = family.effective(used);
        let (mut at, mut rise) = ([0.0; BATCH], [0.0; BATCH]);
        let lives = hazards::Lives {
            distribution: family.lives.draws.distribution,
            shape: &family.shape,
            ln_scale: &self.ln_scale,
        };
        lives.rises(&age, &self.ahead, &mut at, &mut rise);
        let uniform = uniforms(rng);
        for k in 0..BATCH {
            let both = rise[k] + self.strikes[k];
            if both < uniform[k] {
                continue;
            }
            let e = -(-uniform[k]).ln_1p();
            if both <= e {
                continue;
            }
            let (worn, struck) = each_of(e, rise[k], self.strikes[k], rng);
            let next = Next {
                wear_at: worn.map_or(f64::INFINITY, |e| {
                    (self.life(k).life_at(at[k] + e) - age[k]).max(0.0)
                }),
                damage_at: struck.map_or(f64::INFINITY, |e| e / family.rates[k]),
            };
            ends(k, next, rng);
        }
    }
}

/// Uniform numbers between 0 and 1, neither of them among these.
fn uniforms(rng: &mut ChaCha8Rng) -> Column {
    /// Bits of 1, and half of the step between the numbers from 1 to 2.
    const ONE: u64 = 1_f64.to_bits();
    const HALF_STEP: f64 = f64::EPSILON / 2.0;
    let mut bytes = [0; 8 * BATCH];
    rng.fill_bytes(&mut bytes);
    let words = bytes.as_chunks::<8>().0;
    std::array::from_fn(|k| {
        f64::from_bits(u64::from_le_bytes(words[k]) >> 12 | ONE) - 1.0 + HALF_STEP
    })
}

/// Two independent standard exponential numbers, given that at least one stays below its limit; `None` for
/// one that does not.
///
/// - `e`: a standard exponential number below `a + b`. Up to `a` it is the first number itself; what it
///   has beyond is the second, since such a number has no memory.
fn each_of(e: f64, a: f64, b: f64, rng: &mut ChaCha8Rng) -> (Option<f64>, Option<f64>) {
    if a < e {
        return (None, Some(e - a));
    }
    let other: f64 = Exp1.sample(rng);
    (Some(e), (other <= b).then_some(other))
}

#[cfg(test)]
mod tests {
    use rand::SeedableRng as _;
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution as _, Exp1};

    use super::each_of;

    /// Shares of the four cases and means below the limits, by hand from the exponential law.
    #[test]
    fn ends_are_as_frequent_as_two_independent_ones_are() {
        let (a, b) = (0.7_f64, 0.2_f64);
        let (p, q) = (-(-a).exp_m1(), -(-b).exp_m1());
        let either = p + q - p * q;
        let mut rng = ChaCha8Rng::seed_from_u64(1);
        let n = 200_000;
        let (mut both, mut only_a, mut sum_a, mut sum_b, mut n_b) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for _ in 0..n {
            let e = loop {
                let e: f64 = Exp1.sample(&mut rng);
                if e < a + b {
                    break e;
                }
            };
            let (x, y) = each_of(e, a, b, &mut rng);
            assert!(x.is_none_or(|x| x <= a) && y.is_none_or(|y| y <= b));
            assert!(x.is_some() || y.is_some());
            both += f64::from(u8::from(x.is_some() && y.is_some()));
            only_a += f64::from(u8::from(x.is_some() && y.is_none()));
            sum_a += x.unwrap_or(0.0);
            sum_b += y.unwrap_or(0.0);
            n_b += f64::from(u8::from(y.is_some()));
        }
        let n = f64::from(n);
        // Mean of a standard exponential number below a limit.
        let mean = |limit: f64| 1.0 - limit / limit.exp_m1();
        for (seen, expected) in [
            (both / n, p * q / either),
            (only_a / n, p * (1.0 - q) / either),
            (sum_a / (both + only_a), mean(a)),
            (sum_b / n_b, mean(b)),
        ] {
            assert!((seen - expected).abs() < 0.004, "{seen}, {expected}");
        }
    }
}
