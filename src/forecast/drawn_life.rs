//! The life of one family's parts on one machine, under one draw of its parameters.

use std::borrow::Cow;

use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution as _, Exp1};

use super::unit::{Age, Before, Unit};
use crate::degradation::{Crossing, LifePrior, PathDraw};
use crate::model::posterior::Draws;
use crate::model::{Distribution, wear_factors};
use crate::wear;

/// One family's life in one play.
pub(crate) struct DrawnLife<'a> {
    pub(super) distribution: Distribution,
    pub(super) shape: f64,
    pub(super) ln_scale: f64,
    /// Wear factors, the reference first.
    pub(super) factors: Cow<'a, [f64]>,
}

impl DrawnLife<'_> {
    /// The life of one draw on one machine.
    ///
    /// - `machine`: its place among the machines the family has lives of; one without any gets an
    ///   effect from the spread of machines.
    pub(crate) fn new(
        draws: &Draws,
        draw: usize,
        machine: Option<usize>,
        rng: &mut ChaCha8Rng,
    ) -> DrawnLife<'static> {
        let theta = draws.get(draw);
        let z = if machine.is_none() && draws.spread(draw).is_some() {
            rand_distr::StandardNormal.sample(rng)
        } else {
            0.0
        };
        DrawnLife {
            distribution: draws.distribution,
            shape: theta[0].exp(),
            ln_scale: theta[1] + draws.effect(draw, machine, z),
            factors: wear_factors(theta).collect(),
        }
    }

    /// Effective exposure of use by group.
    pub(crate) fn effective(&self, used: &[f64]) -> f64 {
        wear::effective(used, self.factors.iter().copied())
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
            Age::AtLeast { used, before } => {
                let since = self.effective(used);
                let of_machine = match before {
                    Before::OfPart(before) => {
                        return self.draw_beyond(self.effective(before) + since, rng);
                    }
                    Before::OfMachine(before) => self.effective(before),
                    Before::Anything => f64::INFINITY,
                };
                self.draw_of_unknown_age(of_machine, since, rng)
            }
        }
    }

    fn draw_beyond(&self, age: f64, rng: &mut ChaCha8Rng) -> f64 {
        let e: f64 = Exp1.sample(rng);
        (self.life_at(self.hazard(age) + e) - age).max(0.0)
    }

    /// A part found in a machine after `of_machine` of use: what is on record since must have been
    /// survived.
    fn draw_of_unknown_age(&self, of_machine: f64, since: f64, rng: &mut ChaCha8Rng) -> f64 {
        /// Tries before the use on record is taken for the whole age.
        const TRIES: usize = 200;
        for _ in 0..TRIES {
            let rest = self.draw_rest_of_found(of_machine, rng);
            if since < rest {
                return rest - since;
            }
        }
        self.draw_beyond(since, rng)
    }

    /// What is left of the part found after so much use of its machine, whose parts were changed as
    /// they wore out; in a long-running one its life is one that was long enough to be found
    /// (drawn in proportion to its length), and its age then is anything up to it.
    fn draw_rest_of_found(&self, of_machine: f64, rng: &mut ChaCha8Rng) -> f64 {
        /// Scales after which nothing is left of how it began.
        const LONG: f64 = 20.0;
        if LONG * self.ln_scale.exp() < of_machine {
            return self.draw_new_by_length(rng) * rand::RngExt::random::<f64>(rng);
        }
        let mut until = 0.0;
        while until <= of_machine {
            until += self.draw_beyond(0.0, rng);
        }
        until - of_machine
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

    const DRAWS: usize = 40_000;

    fn check(id: &str) -> Value {
        let checks: Vec<Value> =
            serde_json::from_str(include_str!("../../tests/reference/checks.json")).expect("JSON");
        let check = checks.into_iter().find(|c| c["id"] == id);
        check.expect("the check is there")
    }

    fn number(value: &Value) -> f64 {
        value.as_f64().expect("a number")
    }

    fn weibull(shape: f64, scale: f64, factors: &'static [f64]) -> DrawnLife<'static> {
        DrawnLife {
            distribution: Distribution::Weibull,
            shape,
            ln_scale: scale.ln(),
            factors: Cow::Borrowed(factors),
        }
    }

    /// Draws of what is left, against chances and quantiles computed with scipy: the check
    /// `remaining-life` of tests/reference/checks.json.
    #[test]
    fn what_is_drawn_of_a_used_part_is_the_conditional_life_of_the_reference() {
        let check = check("remaining-life");
        let (inputs, expected) = (&check["inputs"], &check["expected"]);
        let (shape, scale) = (number(&inputs["shape"]), number(&inputs["scale"]));
        let life = weibull(shape, scale, &[1.0, 2.0]);
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
    /// The part found in a machine after so much use, and those that follow it, wear out as often
    /// as the renewal function says: Tijms (2003), A First Course in Stochastic Models, table 8.1.1,
    /// the check `renewal-tijms` of tests/reference/checks.json. A machine whose use nobody knows is
    /// one that has run for long: one wear-out for each mean life.
    #[test]
    fn the_part_found_in_a_machine_is_that_of_the_renewal_table() {
        let check = check("renewal-tijms");
        let (inputs, expected) = (&check["inputs"], &check["expected"]);
        let shape = number(&inputs["shape"]);
        let scale = number(&inputs["mean"]) / statrs::function::gamma::gamma(1.0 + 1.0 / shape);
        let life = weibull(shape, scale, &[1.0]);
        let at = |k: usize| (number(&inputs["t"][k]), number(&expected["m"][k]));
        let mut rng = ChaCha8Rng::seed_from_u64(12);
        let mut wear_outs = |before: Before, ahead: f64| -> f64 {
            let age = Age::AtLeast {
                used: vec![0.0],
                before,
            };
            let mut count = 0;
            for _ in 0..DRAWS {
                let mut until = life.draw_rest(&age, &mut rng);
                while until <= ahead {
                    count += 1;
                    until += life.draw_beyond(0.0, &mut rng);
                }
            }
            f64::from(count) / DRAWS as f64
        };
        for (from, to) in [(0, 3), (2, 5), (4, 7), (5, 9)] {
            let ((t0, m0), (t1, m1)) = (at(from), at(to));
            let found = wear_outs(Before::OfMachine(vec![t0]), t1 - t0);
            // A count of at most a few has a variance below its mean.
            let error = ((m1 - m0) / DRAWS as f64).sqrt();
            assert!(
                (found - (m1 - m0)).abs() < 4.0 * error,
                "{found} for {}",
                m1 - m0
            );
        }
        for before in [Before::Anything, Before::OfMachine(vec![30.0])] {
            let found = wear_outs(before, 0.5);
            assert!(
                (found - 0.5).abs() < 4.0 * (0.5 / DRAWS as f64).sqrt(),
                "{found}"
            );
        }
        // Fitted on a known day, it has that use behind it.
        let known = Age::Known(vec![0.7]);
        let guessed = Age::AtLeast {
            used: vec![0.3],
            before: Before::OfPart(vec![0.4]),
        };
        let mean = |age: &Age, seed: u64| {
            let mut rng = ChaCha8Rng::seed_from_u64(seed);
            let rests = (0..DRAWS).map(|_| life.draw_rest(age, &mut rng));
            rests.sum::<f64>() / DRAWS as f64
        };
        assert!((mean(&known, 1) - mean(&guessed, 1)).abs() < 1e-9);
    }
}
