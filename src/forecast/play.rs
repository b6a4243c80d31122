//! The life of one family's parts on one machine, under one draw of its parameters.

use std::borrow::Cow;

use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution as _, Exp1};

use super::unit::{Age, Unit};
use crate::degradation::{Crossing, LifePrior, PathDraw};
use crate::model::posterior::Draws;
use crate::model::{Distribution, wear_factors};

/// One family's life in one play.
pub(crate) struct Life<'a> {
    pub(super) distribution: Distribution,
    pub(super) shape: f64,
    pub(super) ln_scale: f64,
    /// Wear factors, the reference first.
    pub(super) factors: Cow<'a, [f64]>,
}

impl Life<'_> {
    /// The life of one draw on one machine.
    ///
    /// - `machine`: its place among the machines the family has lives of; one without any gets an
    ///   effect from the spread of machines.
    pub(crate) fn new(
        draws: &Draws,
        draw: usize,
        machine: Option<usize>,
        rng: &mut ChaCha8Rng,
    ) -> Life<'static> {
        let theta = draws.get(draw);
        let z = if machine.is_none() && draws.spread(draw).is_some() {
            rand_distr::StandardNormal.sample(rng)
        } else {
            0.0
        };
        Life {
            distribution: draws.distribution,
            shape: theta[0].exp(),
            ln_scale: theta[1] + draws.effect(draw, machine, z),
            factors: wear_factors(theta).collect(),
        }
    }

    /// Effective exposure of use by group.
    pub(crate) fn effective(&self, used: &[f64]) -> f64 {
        used.iter()
            .zip(self.factors.iter())
            .map(|(u, w)| u * w)
            .sum()
    }

    /// Cumulative hazard at an exposure.
    pub(crate) fn hazard(&self, x: f64) -> f64 {
        if x <= 0.0 {
            return 0.0;
        }
        self.distribution
            .cumulative(self.shape * (x.ln() - self.ln_scale))
            .value
    }

    /// Exposure at which the cumulative hazard is `h`.
    fn life_at(&self, h: f64) -> f64 {
        (self.ln_scale + self.distribution.inverse(h) / self.shape).exp()
    }

    /// What is left of a part in service.
    pub(crate) fn draw_rest(&self, age: &Age, rng: &mut ChaCha8Rng) -> f64 {
        match age {
            Age::Known(used) => self.draw_beyond(self.effective(used), rng),
            Age::AtLeast(used) => self.draw_of_unknown_age(self.effective(used), rng),
        }
    }

    fn draw_beyond(&self, age: f64, rng: &mut ChaCha8Rng) -> f64 {
        let e: f64 = Exp1.sample(rng);
        (self.life_at(self.hazard(age) + e) - age).max(0.0)
    }

    /// A part found in a long-running machine: its life is one that was long enough to be found
    /// (drawn in proportion to its length), and its age then is anything up to it; what is on
    /// record since must have been survived.
    fn draw_of_unknown_age(&self, since: f64, rng: &mut ChaCha8Rng) -> f64 {
        /// Tries before the use on record is taken for the whole age.
        const TRIES: usize = 200;
        for _ in 0..TRIES {
            let rest = self.draw_new_by_length(rng) * rand::RngExt::random::<f64>(rng);
            if since < rest {
                return rest - since;
            }
        }
        self.draw_beyond(since, rng)
    }

    /// A life drawn in proportion to its length.
    fn draw_new_by_length(&self, rng: &mut ChaCha8Rng) -> f64 {
        match self.distribution {
            Distribution::Weibull | Distribution::Exponential => {
                // (x / scale)^shape of such a life has a gamma distribution of shape 1 + 1/shape.
                let gamma = rand_distr::Gamma::new(1.0 + 1.0 / self.shape, 1.0)
                    .expect("positive parameters");
                (self.ln_scale + gamma.sample(rng).ln() / self.shape).exp()
            }
            Distribution::Lognormal => {
                let z: f64 = rand_distr::StandardNormal.sample(rng);
                let sd = 1.0 / self.shape;
                (self.ln_scale + sd * sd + sd * z).exp()
            }
        }
    }

    /// What is left of a part with readings; `None` where it has none that tell anything.
    pub(crate) fn crossing(&self, unit: &Unit, path: &PathDraw) -> Option<Crossing> {
        let readings = unit.readings.as_ref()?;
        let Age::Known(used) = &unit.age else {
            return None;
        };
        let prior = LifePrior {
            distribution: self.distribution,
            shape: self.shape,
            ln_scale: self.ln_scale,
        };
        let points: Vec<(f64, f64)> = readings
            .path
            .iter()
            .map(|(used, share)| (self.effective(used), *share))
            .collect();
        let age = self.effective(used) - self.effective(&readings.skipped);
        Crossing::new(&prior, path, &points, age)
    }

    /// Age at which a part of the family wears out in the exposure ahead with a given chance.
    ///
    /// The age that a part with readings is worth to whoever plans by age. 0 where new parts are as
    /// likely to wear out already.
    pub(crate) fn age_of_chance(&self, chance: f64, ahead: f64) -> f64 {
        let hazard = -(-chance.min(1.0 - 1e-9)).ln_1p();
        let reached = |age: f64| hazard <= self.hazard(age + ahead) - self.hazard(age);
        let scale = self.ln_scale.exp();
        let mut high = scale;
        // A hazard that does not rise, or hardly, never gets there.
        while !reached(high) && high < 1e4 * scale {
            high *= 2.0;
        }
        let mut low = 0.0;
        for _ in 0..60 {
            let mid = 0.5 * (low + high);
            if reached(mid) {
                high = mid;
            } else {
                low = mid;
            }
        }
        high
    }
}

#[cfg(test)]
mod tests {
    use rand::SeedableRng;
    use serde_json::Value;

    use super::*;

    /// Draws of what is left, against chances and quantiles computed with scipy: the check
    /// `remaining-life` of tests/reference/checks.json.
    #[test]
    fn what_is_drawn_of_a_used_part_is_the_conditional_life_of_the_reference() {
        const DRAWS: usize = 40_000;
        let checks: Vec<Value> =
            serde_json::from_str(include_str!("../../tests/reference/checks.json")).expect("JSON");
        let check = checks.iter().find(|c| c["id"] == "remaining-life");
        let check = check.expect("the check is there");
        let number = |value: &Value| value.as_f64().expect("a number");
        let (inputs, expected) = (&check["inputs"], &check["expected"]);
        let life = Life {
            distribution: Distribution::Weibull,
            shape: number(&inputs["shape"]),
            ln_scale: number(&inputs["scale"]).ln(),
            factors: Cow::Borrowed(&[1.0, 2.0]),
        };
        let mut rng = ChaCha8Rng::seed_from_u64(11);
        for (i, age) in inputs["age"].as_array().expect("ages").iter().enumerate() {
            // Half of the age at the reference, the other half as a quarter at twice the wear.
            let used = [number(age) / 2.0, number(age) / 4.0];
            let age = Age::Known(used.to_vec());
            let drawn: Vec<f64> = (0..DRAWS).map(|_| life.draw_rest(&age, &mut rng)).collect();
            let share = |x: f64| drawn.iter().filter(|d| **d <= x).count() as f64 / DRAWS as f64;
            let chance = number(&expected["p_fail"][i]);
            let holds = |found: f64, p: f64| {
                let error = (p * (1.0 - p) / DRAWS as f64).sqrt();
                assert!((found - p).abs() < 4.0 * error, "{found} for {p}");
            };
            holds(share(number(&inputs["x"])), chance);
            for (k, p) in inputs["p"].as_array().expect("chances").iter().enumerate() {
                holds(share(number(&expected["quantile"][i][k])), number(p));
            }
        }
    }
}
