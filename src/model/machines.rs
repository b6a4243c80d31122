//! Machines differ: the operator's care, the soil, the washing. Each machine has an effect `a` on
//! log life, normal with mean 0 and a spread that is estimated; on a machine with effect `a` the
//! log scale is `ln scale + a`.
//!
//! The spread has a prior: median 0.12, 90 % sure to lie between 0.04 and 0.36 (our own choice:
//! a spread that a handful of lives cannot show stays small). The effects are integrated out of
//! the likelihood machine by machine, by Gauss-Hermite sums about the peak of each, which is
//! unique since the log-likelihood of a Weibull or lognormal life is concave in its log scale.

use std::ops::Range;

use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution as _, StandardNormal};

use super::anchor::{Anchored, Normal};
use super::found::{Found, FoundAt};
use super::kernel::Distribution;
use super::observations::End;
use super::rises::Rises;

/// Prior of the log spread of machines.
pub const SPREAD_PRIOR: Normal = Normal {
    // ln 0.12, and ln 3 over the 95 % point of the standard normal.
    mean: -2.120_263_536_200_091,
    sd: 0.667_914_2,
};

/// Nodes and weights of the 7-point Gauss-Hermite rule for `exp(-x^2)` (Abramowitz & Stegun,
/// table 25.10), the weights with `exp(x^2)` multiplied in.
const NODES: [(f64, f64); 7] = [
    (-2.651_961_356_835_233, 1.101_330_729_610_323),
    (-1.673_551_628_767_471, 0.897_184_600_225_184),
    (-0.816_287_882_858_965, 0.828_687_303_283_64),
    (0.0, 0.810_264_617_556_807),
    (0.816_287_882_858_965, 0.828_687_303_283_64),
    (1.673_551_628_767_471, 0.897_184_600_225_184),
    (2.651_961_356_835_233, 1.101_330_729_610_323),
];

/// Log posterior of `(ln shape, ln anchor life, ln w_1, .., ln spread)`, machine effects
/// integrated out.
#[derive(Clone, Debug)]
pub struct Machines<'a> {
    /// Everything but the machines.
    pub base: Anchored<'a>,
    /// First life of each machine, and one past the last life.
    starts: Vec<usize>,
    /// Heights look at one machine in so many, which stands for them all.
    one_in: usize,
    /// Parts of unknown age that were found in machines.
    found: Option<&'a Found>,
}

/// One life under one set of parameters, as a function of its machine's effect.
enum Term {
    /// `weight * -(H(t))`.
    Survived { t: f64, weight: f64 },
    /// `weight * ln(1 - exp(-(H(t + step) - H(t))))`; the survival to `t` is a term of its own.
    Worn { t: f64, step: f64, weight: f64 },
    /// `weight * ln h'(t)`; the survival is a term of its own.
    At { t: f64, weight: f64 },
}

/// The lives of one machine under one set of parameters.
#[derive(Default)]
struct Terms {
    /// For a Weibull life, whose cumulative hazard is multiplied by `s = exp(-shape * effect)`:
    /// the hazard survived in all, and the rise in which each part wore out.
    survived: f64,
    rises: Rises,
    /// Weight of lives seen to end exactly, under a Weibull life.
    exact: f64,
    /// For any other life.
    general: Vec<Term>,
    /// What does not depend on the effect.
    constant: f64,
}

impl Terms {
    fn clear(&mut self) {
        self.rises.clear();
        self.general.clear();
        (self.survived, self.exact, self.constant) = (0.0, 0.0, 0.0);
    }

    fn add(&mut self, distribution: Distribution, term: Term) {
        if !distribution.is_weibull() {
            self.general.push(term);
            return;
        }
        match term {
            Term::Survived { t, weight } => self.survived += weight * t.exp(),
            Term::Worn { t, step, weight } => {
                self.rises.push(t.exp() * step.exp_m1(), weight);
            }
            Term::At { t, weight } => {
                self.constant += weight * t;
                self.exact += weight;
            }
        }
    }

    /// `weight * (ln(1 - exp(-(H(t + step) - H(t)))) - H(t))`.
    fn add_end(&mut self, distribution: Distribution, (t, step): (f64, f64), weight: f64) {
        if !distribution.is_weibull() {
            self.general.push(Term::Survived { t, weight });
            self.general.push(Term::Worn { t, step, weight });
            return;
        }
        let hazard = t.exp();
        self.survived += weight * hazard;
        self.rises.push(hazard * exp_m1(step), weight);
    }
}

/// `ln(1 + x)`; a series, good to 1e-14 of the value, for the small steps of a day against a life.
fn ln_1p(x: f64) -> f64 {
    if 0.02 < x {
        return x.ln_1p();
    }
    let tail = 1.0 / 5.0 - x * (1.0 / 6.0 - x * (1.0 / 7.0 - x / 8.0));
    x * (1.0 - x * (1.0 / 2.0 - x * (1.0 / 3.0 - x * (1.0 / 4.0 - x * tail))))
}

/// `exp(x) - 1`; a series, good to 1e-14 of the value, for small steps.
fn exp_m1(x: f64) -> f64 {
    if 0.1 < x {
        return x.exp_m1();
    }
    let tail =
        1.0 + x / 5.0 * (1.0 + x / 6.0 * (1.0 + x / 7.0 * (1.0 + x / 8.0 * (1.0 + x / 9.0))));
    x * (1.0 + x / 2.0 * (1.0 + x / 3.0 * (1.0 + x / 4.0 * tail)))
}

impl<'a> Machines<'a> {
    /// `None` where a life is of no machine. Where one machine has all lives, its effect and the family's scale are
    /// told apart by their priors alone, which matters to machines without lives; where there are no lives at all,
    /// machines differ as the prior of their spread says.
    #[must_use]
    pub fn new(base: Anchored<'a>) -> Option<Self> {
        let machine = &base.likelihood.lives.machine;
        if machine.iter().any(Option::is_none) {
            return None;
        }
        let ends = (1..machine.len()).filter(|i| machine[*i] != machine[*i - 1]);
        let last = (!machine.is_empty()).then_some(machine.len());
        Some(Self {
            base,
            starts: std::iter::once(0).chain(ends).chain(last).collect(),
            one_in: 1,
            found: None,
        })
    }

    /// The same, with parts of unknown age among what is known.
    #[must_use]
    pub(super) fn with_found(self, found: &'a Found) -> Self {
        Self {
            found: (!found.is_empty()).then_some(found),
            ..self
        }
    }

    /// The same, densities told by one machine in so many: where a search may begin.
    #[must_use]
    pub(super) fn one_in(&self, one_in: usize) -> Self {
        Self {
            one_in,
            ..self.clone()
        }
    }

    pub(super) fn has_found(&self) -> bool {
        self.found.is_some()
    }

    /// The machines with lives, in the order of [`Self::effects`].
    pub fn machines(&self) -> impl Iterator<Item = u32> {
        let starts = &self.starts[..self.starts.len() - 1];
        starts
            .iter()
            .filter_map(|i| self.base.likelihood.lives.machine[*i])
    }

    /// Log posterior density up to a constant.
    ///
    /// # Panics
    /// When `theta` is empty.
    #[must_use]
    pub fn ln_density(&self, theta: &[f64]) -> f64 {
        let (ln_spread, theta) = theta.split_last().expect("the spread comes last");
        let spread = ln_spread.exp();
        let scale = self.base.to_scale(theta);
        let gap = (ln_spread - SPREAD_PRIOR.mean) / SPREAD_PRIOR.sd;
        let mut total = self.base.log_prior(theta) - gap * gap / 2.0;
        let mut terms = Terms::default();
        let weight = self.one_in as f64;
        let found = self.found_at(&scale);
        for window in self.starts.windows(2).step_by(self.one_in) {
            let lives = window[0]..window[1];
            self.terms(&scale, lives.clone(), &mut terms);
            let machine = self.machine(
                &terms,
                &scale,
                spread,
                self.found_in(found.as_ref(), &lives),
            );
            total += weight * (terms.constant + machine.log_integral());
            if !total.is_finite() {
                return f64::NEG_INFINITY;
            }
        }
        let Some(found) = &found else {
            return total;
        };
        terms.clear();
        terms.rises.close();
        for parts in found.found.of_others().step_by(self.one_in) {
            let machine = self.machine(&terms, &scale, spread, Some((found, parts)));
            total += weight * machine.log_integral();
        }
        if total.is_finite() {
            total
        } else {
            f64::NEG_INFINITY
        }
    }

    fn found_at(&self, scale: &[f64]) -> Option<FoundAt<'a>> {
        let found = self.found?;
        Some(found.at(self.base.likelihood.distribution, scale))
    }

    /// The found parts of the machine whose lives these are.
    fn found_in<'b>(
        &self,
        found: Option<&'b FoundAt<'b>>,
        lives: &Range<usize>,
    ) -> Option<(&'b FoundAt<'b>, Range<usize>)> {
        let place = self.base.likelihood.lives.machine[lives.start]?;
        let found = found?;
        Some((found, found.found.of_machine(place))).filter(|(_, parts)| !parts.is_empty())
    }

    fn machine<'b>(
        &self,
        terms: &'b Terms,
        scale: &[f64],
        spread: f64,
        found: Option<(&'b FoundAt<'b>, Range<usize>)>,
    ) -> Machine<'b> {
        Machine {
            terms,
            shape: scale[0].exp(),
            spread,
            distribution: self.base.likelihood.distribution,
            found,
        }
    }

    /// A draw of every machine's effect, given the other parameters.
    ///
    /// # Panics
    /// When `theta` is empty.
    #[must_use]
    pub fn effects(&self, theta: &[f64], rng: &mut ChaCha8Rng) -> Vec<f64> {
        let (ln_spread, theta) = theta.split_last().expect("the spread comes last");
        let scale = self.base.to_scale(theta);
        let mut terms = Terms::default();
        let (spread, found) = (ln_spread.exp(), self.found_at(&scale));
        self.starts
            .windows(2)
            .map(|window| {
                let lives = window[0]..window[1];
                self.terms(&scale, lives.clone(), &mut terms);
                let found = self.found_in(found.as_ref(), &lives);
                self.machine(&terms, &scale, spread, found).draw(rng)
            })
            .collect()
    }

    /// Fills `terms` with the lives of one machine.
    fn terms(&self, scale: &[f64], lives: Range<usize>, terms: &mut Terms) {
        terms.clear();
        let distribution = self.base.likelihood.distribution;
        let data = self.base.likelihood.lives;
        let n = data.n_groups;
        let (shape, ln_scale) = (scale[0].exp(), scale[1]);
        let (factors, ratios) = scale[2..].split_at(n - 1);
        let factors: Vec<f64> = std::iter::once(1.0)
            .chain(factors.iter().map(|w| w.exp()))
            .collect();
        let weigh = |u: &[f64]| u.iter().zip(&factors).map(|(u, w)| u * w).sum::<f64>();
        let mut constant = 0.0;
        for i in lives {
            let row = i * n..(i + 1) * n;
            let weight = data.count[i];
            let level = data.level[i];
            let ln_scale = ln_scale + if level == 0 { 0.0 } else { ratios[level - 1] };
            let at = |x: f64| shape * (x.ln() - ln_scale);
            let entry = weigh(&data.entry[row.clone()]);
            let (low, step) = (weigh(&data.low[row.clone()]), weigh(&data.step[row]));
            if 0.0 < entry {
                terms.add(
                    distribution,
                    Term::Survived {
                        t: at(entry),
                        weight: -weight,
                    },
                );
            }
            let end = low + step;
            if end <= 0.0 {
                continue;
            }
            match data.known[i] {
                End::Censored => terms.add(distribution, Term::Survived { t: at(end), weight }),
                End::At => {
                    constant += weight * (shape.ln() - end.ln());
                    terms.add(distribution, Term::Survived { t: at(end), weight });
                    terms.add(distribution, Term::At { t: at(end), weight });
                }
                End::Between if low <= 0.0 => {
                    // From t = -60 on: nothing wears out before.
                    terms.add(
                        distribution,
                        Term::Worn {
                            t: -60.0,
                            step: at(end) + 60.0,
                            weight,
                        },
                    );
                }
                End::Between => {
                    let step = shape * ln_1p(step / low);
                    terms.add_end(distribution, (at(low), step), weight);
                }
            }
        }
        terms.constant += constant;
        terms.rises.close();
    }
}

/// The lives of one machine under one set of parameters.
struct Machine<'a> {
    terms: &'a Terms,
    shape: f64,
    spread: f64,
    distribution: Distribution,
    /// The parts that were found in it.
    found: Option<(&'a FoundAt<'a>, Range<usize>)>,
}

impl Machine<'_> {
    /// The value of [`Self::at`] with what the found parts say, which moves the peak by little.
    fn with_found(&self, effect: f64) -> f64 {
        let found = self.found.as_ref();
        let found = found.map_or(0.0, |(found, parts)| found.ln_chance(parts.clone(), effect));
        self.at(effect).0 + found
    }

    /// Log of likelihood times the effect's density, up to its constant, with two derivatives.
    fn at(&self, effect: f64) -> (f64, f64, f64) {
        let shift = -self.shape * effect;
        let mut sum = (0.0, 0.0, 0.0);
        let mut add = |weight: f64, value: f64, d1: f64, d2: f64| {
            sum.0 += weight * value;
            sum.1 += weight * d1;
            sum.2 += weight * d2;
        };
        let s = shift.exp();
        let alive = self.terms.survived * s;
        add(1.0, -alive, -alive, -alive);
        add(self.terms.exact, shift, 1.0, 0.0);
        let (value, d1, d2) = self.terms.rises.at(s, shift);
        add(1.0, value, d1, d2);
        for term in &self.terms.general {
            match *term {
                Term::Survived { t, weight } => {
                    let h = self.distribution.cumulative(t + shift);
                    add(-weight, h.value, h.d1, h.d2);
                }
                Term::Worn { t, step, weight } => {
                    let rise = self.distribution.rise(t + shift, step);
                    let q = 1.0 / rise.value.exp_m1();
                    let d2 = q * rise.d2 - q * (1.0 + q) * rise.d1 * rise.d1;
                    add(weight, (-(-rise.value).exp_m1()).ln(), q * rise.d1, d2);
                }
                Term::At { t, weight } => {
                    let rate = self.distribution.ln_rate(t + shift);
                    add(weight, rate.value, rate.d1, rate.d2);
                }
            }
        }
        // From t to the effect: dt = -shape da.
        let precision = 1.0 / (self.spread * self.spread);
        (
            sum.0 - effect * effect * precision / 2.0,
            -self.shape * sum.1 - effect * precision,
            self.shape * self.shape * sum.2 - precision,
        )
    }

    /// The effect's most probable value and the width of the peak.
    fn peak(&self) -> (f64, f64) {
        let mut effect = 0.0;
        let mut here = self.at(effect);
        for _ in 0..40 {
            let curvature = (-here.2).max(1.0 / (self.spread * self.spread) * 1e-6);
            let mut step = (here.1 / curvature).clamp(-1.0, 1.0);
            let mut next = self.at(effect + step);
            for _ in 0..30 {
                if here.0 <= next.0 + 1e-12 * here.0.abs().max(1.0) {
                    break;
                }
                step /= 2.0;
                next = self.at(effect + step);
            }
            effect += step;
            here = next;
            if step.abs() < 1e-6 * self.spread {
                break;
            }
        }
        let floor = 1.0 / (self.spread * self.spread);
        (effect, 1.0 / (-here.2).max(floor * 1e-3).sqrt())
    }

    /// Log of the likelihood averaged over the effect.
    fn log_integral(&self) -> f64 {
        let (center, width) = self.peak();
        let step = std::f64::consts::SQRT_2 * width;
        let values = NODES.map(|(node, weight)| (self.with_found(center + step * node), weight));
        let most = values.iter().map(|v| v.0).fold(f64::NEG_INFINITY, f64::max);
        let sum: f64 = values.iter().map(|(v, w)| w * (v - most).exp()).sum();
        let norm = (2.0 * std::f64::consts::PI).sqrt() * self.spread;
        most + (sum * step / norm).ln()
    }

    /// A draw of the effect: proposals from a normal distribution at the peak, kept or refused by
    /// Metropolis' rule.
    fn draw(&self, rng: &mut ChaCha8Rng) -> f64 {
        /// Steps taken; that is close to the truth, so few suffice.
        const STEPS: usize = 4;
        let (center, width) = self.peak();
        let width = 1.15 * width;
        let propose = |rng: &mut ChaCha8Rng| {
            let z: f64 = StandardNormal.sample(rng);
            let effect = center + width * z;
            (effect, self.with_found(effect) + z * z / 2.0)
        };
        let mut current = propose(rng);
        for _ in 0..STEPS {
            let next = propose(rng);
            let keep: f64 = rng.random();
            if keep.ln() < next.1 - current.1 {
                current = next;
            }
        }
        current.0
    }
}

#[cfg(test)]
mod tests {
    use super::{exp_m1, ln_1p};

    #[test]
    fn the_series_of_small_steps_are_the_functions() {
        for x in [
            0.0, 1e-12, 1e-6, 1e-3, 0.01, 0.0199, 0.02, 0.05, 0.0999, 0.1, 0.3,
        ] {
            assert!((ln_1p(x) - x.ln_1p()).abs() <= 2e-14 * x, "ln_1p {x}");
            assert!((exp_m1(x) - x.exp_m1()).abs() <= 2e-14 * x, "exp_m1 {x}");
        }
    }
}
