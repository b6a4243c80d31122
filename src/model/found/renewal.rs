//! How long a part lasts that is found in a machine, whose parts were changed as they wore out.
//!
//! After so much use `b` of the machine, the chance that the part found in it lasts for more than `x`
//! from there is that of a delayed renewal process (Cox 1962, Renewal Theory, section 5.2):
//!
//! ```text
//! R(x; b) = S(b + x) + integral over u from 0 to b of S(b + x - u) dM(u)
//! ```
//!
//! with `M` the renewal function, which is solved for by the midpoint rule of Xie (1989): it needs no
//! density and is exact at `x = 0`. For large `b` the density of the rest is `S(x) / mean`, whatever
//! `b` is: the part is one that was long enough to be found.
//!
//! `R` is told as `exp(-H(x)) * psi(x; b)`: what is tabulated is smooth and of a middling size, however small
//! the chance. Exposures are counted in mean lives, so that tables depend on the shape alone.

use crate::model::kernel::Distribution;
use crate::model::vector;
use crate::registers::widest;

/// Steps to a mean life.
const STEPS: usize = 8;
const STEP: f64 = 1.0 / STEPS as f64;
/// Mean lives after which nothing is left of how a machine began: `M` still swings a little about its line
/// there, and less than what nobody knows of use before the records makes of it.
const LONG: f64 = 2.0;
/// Mean lives from which on the one passes into the other.
const LONG_FROM: f64 = 1.5;
const CELLS: usize = LONG as usize * STEPS;
/// Steps of the tables.
const TABLE: usize = 6 * STEPS;

/// A function step by step, and `STEP` times its slope.
#[derive(Default)]
struct Table {
    values: Vec<f64>,
    slopes: Vec<f64>,
}

impl Table {
    fn of(rows: impl Iterator<Item = (f64, f64)>) -> Self {
        let (values, slopes) = rows.unzip();
        Self { values, slopes }
    }

    /// At a number of steps; `None` past its end.
    fn at(&self, steps: f64) -> Option<f64> {
        let k = steps as usize;
        let next = k.saturating_add(1);
        let weights = blend(steps - k as f64);
        let here = weights[0] * self.values.get(k)? + weights[1] * self.slopes[k];
        Some(here + weights[2] * self.values.get(next)? + weights[3] * self.slopes[next])
    }
}

/// Tables of one shape.
pub(super) struct Renewals {
    distribution: Distribution,
    shape: f64,
    /// Logarithm of the mean life, in scales.
    ln_mean: f64,
    /// The cumulative hazard.
    hazard: Table,
    /// Mean rest of a part that has lasted so long, in mean lives: `psi` of an old machine.
    rest: Table,
    /// What each step adds to the renewal function, the last step first.
    changes: Vec<f64>,
}

impl Renewals {
    pub(super) fn new(distribution: Distribution, ln_shape: f64) -> Self {
        let mut out = Self {
            distribution,
            shape: ln_shape.exp(),
            ln_mean: distribution.mean_offset(ln_shape).value,
            hazard: Table::default(),
            rest: Table::default(),
            changes: Vec::new(),
        };
        out.tabulate_hazard();
        out.tabulate_rest();
        out.tabulate_changes();
        out
    }

    fn tabulate_hazard(&mut self) {
        // Where the slope has no end, that of a line stands in.
        let falls = self.distribution.is_weibull() && self.shape <= 1.0;
        let at_once = if falls {
            self.hazard_in_full(STEP)
        } else {
            0.0
        };
        let later = (1..=TABLE).map(|k| {
            let x = k as f64 * STEP;
            let h = self.distribution.cumulative(self.at(x));
            (h.value, STEP * h.d1 * self.shape / x)
        });
        self.hazard = Table::of(std::iter::once((0.0, at_once)).chain(later));
    }

    /// The integral of the survival function from the end of the table down.
    fn tabulate_rest(&mut self) {
        let Table { values, slopes } = &self.hazard;
        let mut rest = STEP / slopes[TABLE];
        let mut rests = vec![rest; TABLE + 1];
        for k in (0..TABLE).rev() {
            let rise = values[k + 1] - values[k];
            let lasts = (-rise).exp();
            // Simpson's rule, and where it is steep a rate that is even over the step: the one passes into
            // the other, since a search goes over shapes.
            let middle =
                f64::midpoint(values[k], values[k + 1]) + (slopes[k] - slopes[k + 1]) / 8.0;
            let simpson = (1.0 + 4.0 * (values[k] - middle).exp() + lasts) / 6.0;
            let even = if rise < 1e-9 {
                1.0
            } else {
                (1.0 - lasts) / rise
            };
            let within = simpson + passed(rise, 1.0, 3.0) * (even - simpson);
            rest = lasts * rest + STEP * within;
            rests[k] = rest;
        }
        let mean = rests[0];
        let slope = |k: usize| {
            let exact = rests[k] * slopes[k] - STEP;
            if k == 0 || k == TABLE {
                return exact;
            }
            // Where hazards rise by more than that in a step, the two cancel to less than the rounding.
            let about = (rests[k + 1] - rests[k - 1]) / 2.0;
            exact + passed(slopes[k], 0.25, 0.75) * (about - exact)
        };
        let rows = (0..=TABLE).map(|k| (rests[k] / mean, slope(k) / mean));
        self.rest = Table::of(rows);
    }

    fn tabulate_changes(&mut self) {
        let worn = |hazard: f64| -(-hazard).exp_m1();
        let halves: Vec<f64> = (0..CELLS)
            .map(|k| worn(self.hazard((k as f64 + 0.5) * STEP)))
            .collect();
        let mut renewals = 0.0;
        for k in 0..CELLS {
            let earlier = self.changes.iter().zip(halves[..=k].iter().rev());
            let earlier: f64 = earlier.map(|(change, f)| change * f).sum();
            let all = worn(self.hazard.values[k + 1]) + earlier;
            let change = (all - renewals) / (1.0 - halves[0]);
            renewals += change;
            self.changes.push(change);
        }
        self.changes.reverse();
    }

    /// Logarithm of the mean life, in scales.
    pub(super) fn ln_mean(&self) -> f64 {
        self.ln_mean
    }

    /// `t` of so many mean lives.
    fn at(&self, x: f64) -> f64 {
        self.shape * (x.ln() + self.ln_mean)
    }

    fn hazard_in_full(&self, x: f64) -> f64 {
        self.distribution.cumulative(self.at(x)).value
    }

    fn hazard(&self, x: f64) -> f64 {
        let tabulated = self.hazard.at(x * STEPS as f64);
        tabulated.unwrap_or_else(|| self.hazard_in_full(x))
    }

    /// What step `k` adds to the renewal function.
    fn change(&self, k: usize) -> f64 {
        self.changes[CELLS - 1 - k]
    }

    /// The chance that the part found after `before` lasts for more than `x` from there, over that of a
    /// new part.
    fn psi(&self, before: f64, x: f64) -> f64 {
        if LONG <= before {
            return self.psi_of_old(x);
        }
        let young = self.psi_of_young(before, x);
        let passed = passed(before, LONG_FROM, LONG);
        if passed <= 0.0 {
            return young;
        }
        young + passed * (self.psi_of_old(x) - young)
    }

    fn psi_of_old(&self, x: f64) -> f64 {
        self.rest.at(x * STEPS as f64).unwrap_or_else(|| {
            // Past the table: the hazard rate no longer changes much against itself.
            let rate = self.distribution.cumulative(self.at(x)).d1 * self.shape / x;
            1.0 / rate
        })
    }

    /// By the sum over what was fitted before, in a machine younger than [`LONG`].
    fn psi_of_young(&self, before: f64, x: f64) -> f64 {
        let (whole, part) = split(before);
        let base = self.hazard(x);
        let lasts = |x: f64| (base - self.hazard(x)).exp();
        let sum = lasts(before + x) + self.last_change(whole, part) * lasts(x + part / 2.0);
        // The steps before lie a whole number of steps of the table apart.
        let at = (x + part) * STEPS as f64 + 0.5;
        let k = at as usize;
        let changes = &self.changes[CELLS - whole..];
        if TABLE < k.saturating_add(whole) {
            let far = changes.iter().enumerate();
            let far = far.map(|(i, c)| c * lasts(x + part + (i as f64 + 0.5) * STEP));
            return sum + far.sum::<f64>();
        }
        let weights = blend(at - k as f64);
        let (values, slopes) = (&self.hazard.values, &self.hazard.slopes);
        let (values, slopes) = (&values[k..=k + whole], &slopes[k..=k + whole]);
        sum + widest(|| survivals(changes, (values, slopes), weights, base))
    }

    /// What the part of a step after `whole` of them adds to the renewal function: a curve whose slope
    /// goes on over the ends of steps, as a search needs it.
    fn last_change(&self, whole: usize, part: f64) -> f64 {
        let slope = |k: usize| match k {
            0 if self.shape <= 1.0 => self.change(0),
            0 => 0.0,
            CELLS => self.change(CELLS - 1),
            k => f64::midpoint(self.change(k - 1), self.change(k)),
        };
        let (here, next, at) = (slope(whole), slope(whole + 1), part * STEPS as f64);
        let [_, _, mended, _] = blend(at);
        let mend = self.change(whole) - f64::midpoint(here, next);
        here * at + (next - here) * at * at / 2.0 + mend * mended
    }

    /// Logarithm of the chance that it lasts for more than `low`, and no more than `end` where that
    /// is given.
    pub(super) fn ln_ends(&self, before: f64, low: f64, end: Option<f64>) -> f64 {
        let lasts = self.psi(before, low);
        let hazard = self.hazard(low);
        let Some(end) = end else {
            return lasts.max(f64::MIN_POSITIVE).ln() - hazard;
        };
        let ends = lasts - self.psi(before, end) * (hazard - self.hazard(end)).exp();
        ends.max(f64::MIN_POSITIVE).ln() - hazard
    }
}

/// Whole steps, and what is left.
fn split(before: f64) -> (usize, f64) {
    let whole = ((before * STEPS as f64) as usize).min(CELLS - 1);
    (whole, before - whole as f64 * STEP)
}

/// From 0 to 1 between two numbers, level at both.
fn passed(x: f64, from: f64, to: f64) -> f64 {
    let [_, _, passed, _] = blend(((x - from) / (to - from)).clamp(0.0, 1.0));
    passed
}

/// Weights of a value and its slope here, and of those one step on, at a share of the step: a cubic
/// through both (Hermite).
fn blend(at: f64) -> [f64; 4] {
    let (square, cube) = (at * at, at * at * at);
    let next = 3.0 * square - 2.0 * cube;
    [1.0 - next, at - 2.0 * square + cube, next, cube - square]
}

/// The sum of `changes` times the chances to outlast hazards that lie whole steps apart.
#[inline(always)]
fn survivals(
    changes: &[f64],
    (values, slopes): (&[f64], &[f64]),
    weights: [f64; 4],
    base: f64,
) -> f64 {
    /// Worked on side by side, as registers hold them.
    const LANES: usize = 8;
    let n = changes.len();
    let (values, slopes) = (&values[..=n], &slopes[..=n]);
    let term = |i: usize| {
        let here = weights[0] * values[i] + weights[1] * slopes[i];
        let next = weights[2] * values[i + 1] + weights[3] * slopes[i + 1];
        changes[i] * vector::exp_moderate(base - (here + next))
    };
    let whole = n - n % LANES;
    let mut lanes = [0.0; LANES];
    for i in (0..whole).step_by(LANES) {
        for (lane, sum) in lanes.iter_mut().enumerate() {
            *sum += term(i + lane);
        }
    }
    let rest: f64 = (whole..n).map(term).sum();
    let pairs = lanes.chunks_exact(2).map(|pair| pair[0] + pair[1]);
    pairs.sum::<f64>() + rest
}

#[cfg(test)]
mod tests {
    use serde_json::Value;
    use statrs::function::gamma::gamma_ur;

    use super::*;

    fn weibull(shape: f64) -> Renewals {
        Renewals::new(Distribution::Weibull, shape.ln())
    }

    /// The mean rest of the part found after `before`: by Wald's identity `M(before) + 1 - before`,
    /// in mean lives.
    fn mean_rest(renewals: &Renewals, before: f64) -> f64 {
        const FINE: f64 = 0.01;
        let chances = (0..2_000).map(|k| {
            renewals
                .ln_ends(before, (f64::from(k) + 0.5) * FINE, None)
                .exp()
        });
        chances.sum::<f64>() * FINE
    }

    /// Tijms (2003), A First Course in Stochastic Models, table 8.1.1: the check `renewal-tijms` of
    /// tests/reference/checks.json.
    #[test]
    fn the_mean_rest_of_a_found_part_is_that_of_the_renewal_table() {
        let checks: Vec<Value> =
            serde_json::from_str(include_str!("../../../tests/reference/checks.json"))
                .expect("JSON");
        let check = checks.iter().find(|c| c["id"] == "renewal-tijms");
        let check = check.expect("the check is there");
        let number = |value: &Value| value.as_f64().expect("a number");
        let renewals = weibull(number(&check["inputs"]["shape"]));
        let mean = number(&check["inputs"]["mean"]);
        let times = check["inputs"]["t"].as_array().expect("times");
        let table = check["expected"]["m"].as_array().expect("renewals");
        let mut tried = 0;
        for (t, m) in times.iter().zip(table) {
            let before = number(t) / mean;
            if LONG_FROM < before {
                continue;
            }
            tried += 1;
            let found = mean_rest(&renewals, before) + before - 1.0;
            assert!((found - number(m)).abs() < 2e-3, "{found} for {m} at {t}");
        }
        assert!(5 < tried);
    }

    /// In a machine that has run for long the rest of the part found in it has the density
    /// `S(x) / mean`; of a Weibull life that integrates to an incomplete gamma function, here of the
    /// statrs crate.
    #[test]
    fn in_an_old_machine_age_no_longer_matters() {
        for shape in [0.8, 1.0, 1.5, 2.5, 4.0_f64] {
            let renewals = weibull(shape);
            for x in [0.05, 0.3, 0.8, 1.5] {
                let found = renewals.ln_ends(f64::INFINITY, x, None).exp();
                let hazard = renewals.hazard_in_full(x);
                let expected = gamma_ur(1.0 / shape, hazard);
                // In the first step, where powers bend most, no cubic follows them.
                let most = match shape {
                    shape if shape < 1.0 => 2e-2,
                    shape if shape < 2.0 => 5e-3,
                    _ => 2e-3,
                };
                assert!(
                    (found - expected).abs() < most,
                    "{shape} {x}: {found} for {expected}"
                );
            }
        }
    }

    #[test]
    fn in_a_new_machine_the_part_is_new() {
        for x in [0.1, 1.0, 2.5] {
            let renewals = weibull(2.0);
            let found = renewals.ln_ends(0.0, x, None);
            assert!((found + renewals.hazard(x)).abs() < 1e-5, "{x}: {found}");
        }
    }

    /// A trial with far too short lives has a height to climb from.
    #[test]
    fn a_chance_too_small_for_a_number_has_its_logarithm() {
        let renewals = weibull(3.0);
        let mut last = 0.0;
        for x in [2.0, 4.0, 6.0, 8.0, 10.0, 50.0, 300.0] {
            let now = renewals.ln_ends(2.3, x, None);
            assert!(now.is_finite() && now < last, "{x}: {now} after {last}");
            let worn = renewals.ln_ends(2.3, x, Some(1.01 * x));
            assert!(worn.is_finite() && worn <= now, "{x}: {worn}");
            last = now;
        }
    }

    /// Steps of a search are small, and so must be what the tables leave out.
    #[test]
    fn chances_are_smooth_in_what_the_machine_had_done() {
        for shape in [1.3, 2.5, 5.0] {
            let renewals = weibull(shape);
            let at = |before: f64| renewals.ln_ends(before, 0.4, None);
            for k in 1..300 {
                let before = 0.011 * f64::from(k);
                let curve = at(before + 1e-3) + at(before - 1e-3) - 2.0 * at(before);
                assert!(curve.abs() < 1e-4, "{shape} {before}: {curve}");
            }
        }
    }

    /// The logarithm bends down wherever lives are tried: nothing for a search to be caught in.
    #[test]
    fn logarithms_of_chances_bend_down_far_into_the_tails() {
        for shape in [0.8, 1.0, 1.5, 2.5, 5.0, 9.0] {
            let renewals = weibull(shape);
            for (before, step) in [0.0, 0.3, 1.0, 1.7, 5.0]
                .into_iter()
                .flat_map(|before| [None, Some(0.001), Some(0.02)].map(|step| (before, step)))
            {
                let at = |x: f64| renewals.ln_ends(before, x, step.map(|s| x + s * x));
                for k in 0..60 {
                    let x: f64 = 0.05 * 1.13_f64.powi(k);
                    let curve = at(x * 1.01) + at(x / 1.01) - 2.0 * at(x);
                    let most = 1e-5 * renewals.hazard(x).max(1.0) * shape * shape + 0.02;
                    assert!(
                        curve < most,
                        "{shape} {before} {step:?} {x}: {curve} {most}"
                    );
                }
            }
        }
    }

    /// Whatever part is found is there at first.
    #[test]
    fn a_found_part_is_there() {
        for shape in [0.5, 0.9, 1.5, 3.0] {
            let renewals = weibull(shape);
            for before in [0.125, 0.5, 1.0, 1.4] {
                let psi = renewals.psi(before, 0.0);
                // Between two steps a share of what the next one adds stands in.
                assert!((psi - 1.0).abs() < 2e-3, "{shape} {before}: {psi}");
            }
        }
    }
}
