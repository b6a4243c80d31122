//! All parts of a machine, site or other value together: how fast they wear, against the average.
//!
//! What is odd about a machine shows in all of its parts, each of which may have too few wear-outs to
//! tell. With the most likely model of each family, all lives taken as alike, the lives of a value are
//! told again as if every unit of its work wore `a` times as much: `a` is where their log-likelihood over
//! all families, `l(ln a)`, is highest.
//!
//! Machines of one value differ from each other as well. Their spread on `ln a` is estimated from how far
//! the machines of each value lie from their value, and makes the ranges wider and the p-values higher.
//!
//! # Source
//! The spread by moments, weighted by information: `DerSimonian` & Laird (1986), *Controlled Clinical Trials*
//! 7:177. Limits of a count: Garwood (1936), *Biometrika* 28:437. Both from memory.

use std::collections::BTreeMap;

use statrs::distribution::{ChiSquared, ContinuousCDF, DiscreteCDF, NegativeBinomial, Poisson};

use super::Case;
use crate::life::Life;
use crate::model::Observations;
use crate::model::assess::{Wanted, assess_lives};
use crate::model::family_lives::family_lives;
use crate::model::fit::Fit;
use crate::model::goodness::residuals::residuals;
use crate::model::likelihood::Likelihood;
use crate::model::multiple::holm;
use crate::report::Estimate;
use crate::report::compare::{CompareTogether, TogetherRow};
use crate::study::teller::reach;

/// `ln a` on both sides of 0 that is searched.
const FARTHEST: f64 = 5.0;

/// Lives by value and machine, family by family.
#[derive(Default)]
pub(super) struct Together {
    by_value: BTreeMap<Option<String>, BTreeMap<String, Vec<Part>>>,
    families: Vec<String>,
}

/// Lives of one family on one machine, and the model of all of them.
struct Part {
    fit: Fit,
    lives: Observations,
}

impl Part {
    /// Log-likelihood were every unit of work to wear `exp(ln_speed)` times as much.
    fn value(&self, ln_speed: f64) -> f64 {
        let mut theta = self.fit.theta.clone();
        theta[1] -= ln_speed;
        let likelihood = Likelihood {
            distribution: self.fit.distribution,
            lives: &self.lives,
        };
        likelihood.value(&theta)
    }

    /// Wear-outs that the model expects while these lives were watched, the work of each as it was.
    fn expected(&self) -> f64 {
        let fit = &self.fit;
        let residuals = residuals(fit.distribution, &fit.theta, &self.lives);
        residuals.iter().map(|r| r.count * r.at_risk()).sum()
    }
}

/// Slope and curvature of the log-likelihood at the average.
#[derive(Clone, Copy, Debug, Default)]
struct Pull {
    slope: f64,
    information: f64,
}

impl Pull {
    fn of(parts: &[Part]) -> Self {
        /// Far below any spread of lives, and far above what rounding leaves of a sum.
        const STEP: f64 = 1e-3;
        let at = |ln_speed: f64| parts.iter().map(|p| p.value(ln_speed)).sum::<f64>();
        let (low, middle, high) = (at(-STEP), at(0.0), at(STEP));
        Self {
            slope: (high - low) / (2.0 * STEP),
            information: ((2.0 * middle - low - high) / (STEP * STEP)).max(0.0),
        }
    }
}

/// What is known of one value.
#[derive(Clone, Copy, Debug, Default)]
struct Sum {
    worn: f64,
    expected: f64,
    /// `ln a`.
    ln_speed: f64,
    information: f64,
    /// Sum of the squares of the machines' information.
    squares: f64,
}

impl Sum {
    /// Variance of `ln a` that machines' spread makes: it averages out over machines.
    fn of_machines(&self, variance: f64) -> f64 {
        variance * self.squares / (self.information * self.information)
    }

    /// How much the logarithm of a cumulative hazard changes with `ln a`: the shape of the lives.
    fn shape(&self) -> f64 {
        (self.information / self.expected).sqrt()
    }
}

impl Together {
    /// Adds a family of which at least two values have lives; one whose lives set no limits on its
    /// model is left out.
    pub(super) fn add(&mut self, case: &Case<'_>, value_of: &dyn Fn(&Life) -> Option<String>) {
        let mut by_value: BTreeMap<Option<String>, BTreeMap<&str, Vec<&Life>>> = BTreeMap::new();
        for life in &case.lives {
            let machines = by_value.entry(value_of(life)).or_default();
            machines.entry(&life.machine).or_default().push(life);
        }
        // The average has no differences between values, and what is left of them is what is asked for.
        let plain = Wanted {
            priors: false,
            machine_effect: false,
            draws: 0,
            ..case.wanted()
        };
        let all = &case.all;
        let average = assess_lives(case.family, all.clone(), plain, Vec::new());
        let Ok(fit) = average.likeliest else { return };
        let mut parts = Vec::new();
        for (value, machines) in by_value {
            for (machine, lives) in machines {
                let seen = family_lives(&lives, all.measure, &case.study.groups, &all.groups);
                let part = Part {
                    fit: fit.clone(),
                    lives: seen.observations,
                };
                if 0.0 < part.expected() {
                    parts.push((value.clone(), machine.to_owned(), part));
                }
            }
        }
        let first = parts.first().map(|(value, ..)| value.clone());
        if parts
            .iter()
            .all(|(value, ..)| Some(value) == first.as_ref())
        {
            return;
        }
        for (value, machine, part) in parts {
            let machines = self.by_value.entry(value).or_default();
            machines.entry(machine).or_default().push(part);
        }
        self.families.push(case.family.name.clone());
    }

    /// The values, those that wear fastest first; `None` unless there are two families to put together.
    pub(super) fn told(self, level: f64) -> Option<CompareTogether> {
        if self.families.len() < 2 {
            return None;
        }
        let mut spread = Moments::default();
        let mut sums = Vec::new();
        for (value, machines) in self.by_value {
            let pulls: Vec<Pull> = machines.values().map(|parts| Pull::of(parts)).collect();
            spread.add(&pulls);
            let parts: Vec<&Part> = machines.values().flatten().collect();
            sums.push((value, sum(&parts, &pulls)));
        }
        let variance = spread.variance();
        let row = |(value, sum): (Option<String>, Sum)| TogetherRow {
            value,
            worn: sum.worn,
            wear_factor: speed(sum, variance, level),
            p_value: p_value(sum, variance),
            p_holm: None,
        };
        let mut rows: Vec<TogetherRow> = sums.into_iter().map(row).collect();
        let plain: Vec<Option<f64>> = rows.iter().map(|r| Some(r.p_value)).collect();
        for (row, corrected) in rows.iter_mut().zip(holm(&plain)) {
            row.p_holm = corrected;
        }
        rows.sort_by(|a, b| {
            let factor = |r: &TogetherRow| r.wear_factor.estimate;
            factor(b).total_cmp(&factor(a))
        });
        Some(CompareTogether {
            families: self.families,
            rows,
        })
    }
}

fn sum(parts: &[&Part], pulls: &[Pull]) -> Sum {
    let worn = parts.iter().map(|p| p.lives.worn()).sum();
    let at = |ln_speed: f64| parts.iter().map(|p| p.value(ln_speed)).sum::<f64>();
    Sum {
        worn,
        expected: parts.iter().map(|p| p.expected()).sum(),
        ln_speed: highest(at),
        information: pulls.iter().map(|p| p.information).sum(),
        squares: pulls.iter().map(|p| p.information.powi(2)).sum(),
    }
}

/// Where a function with one top is highest, by golden section.
fn highest(f: impl Fn(f64) -> f64) -> f64 {
    const ROUNDS: usize = 40;
    let golden = (5.0_f64.sqrt() - 1.0) / 2.0;
    let (mut low, mut high) = (-FARTHEST, FARTHEST);
    let inner = |low: f64, high: f64| (high - golden * (high - low), low + golden * (high - low));
    let (mut a, mut b) = inner(low, high);
    let (mut at_a, mut at_b) = (f(a), f(b));
    for _ in 0..ROUNDS {
        if at_a < at_b {
            low = a;
            (a, at_a) = (b, at_b);
            b = inner(low, high).1;
            at_b = f(b);
        } else {
            high = b;
            (b, at_b) = (a, at_a);
            a = inner(low, high).0;
            at_a = f(a);
        }
    }
    f64::midpoint(low, high)
}

/// The spread of machines within values, by moments.
#[derive(Default)]
struct Moments {
    found: f64,
    /// What chance alone makes of `found`.
    chance: f64,
    /// What a unit of variance adds to it.
    each: f64,
}

impl Moments {
    fn add(&mut self, machines: &[Pull]) {
        let known = machines.iter().filter(|m| 0.0 < m.information);
        let all: f64 = known.clone().map(|m| m.information).sum();
        if all <= 0.0 {
            return;
        }
        let middle = known.clone().map(|m| m.slope).sum::<f64>() / all;
        let off = |m: &Pull| (m.slope - m.information * middle).powi(2) / m.information;
        self.found += known.clone().map(off).sum::<f64>();
        self.chance += known.clone().count() as f64 - 1.0;
        self.each += all - known.map(|m| m.information.powi(2)).sum::<f64>() / all;
    }

    fn variance(&self) -> f64 {
        if self.each <= 0.0 {
            return 0.0;
        }
        ((self.found - self.chance) / self.each).max(0.0)
    }
}

/// How many times as fast as the average; limits exact for a count where machines do not differ, the
/// average taken as known.
fn speed(sum: Sum, variance: f64, level: f64) -> Estimate {
    let tail = (1.0 - level) / 2.0;
    let count = |freedom: f64, p: f64| Some(ChiSquared::new(freedom).ok()?.inverse_cdf(p) / 2.0);
    let of_machines = reach(level) * sum.of_machines(variance).sqrt();
    let most = count(2.0 * sum.worn + 2.0, 1.0 - tail);
    if sum.worn <= 0.0 {
        let most = most.map(|most| (most / sum.expected).ln() / sum.shape() + of_machines);
        return Estimate {
            estimate: 0.0,
            // A count of none says nothing of how few there may be.
            low: Some(0.0),
            high: most.map(f64::exp),
        };
    }
    let from_count = |limit: f64| (limit / sum.worn).ln() / sum.shape();
    let far = |limit: f64| {
        let by_count = from_count(limit);
        (sum.ln_speed + by_count.hypot(of_machines).copysign(by_count)).exp()
    };
    Estimate {
        estimate: sum.ln_speed.exp(),
        low: count(2.0 * sum.worn, tail).map(far),
        high: most.map(far),
    }
}

/// Chance of a count as far from the expected one, or farther, where the value is like the others: twice
/// that of its own tail. Counts of machines that differ are spread as a negative binomial.
fn p_value(sum: Sum, variance: f64) -> f64 {
    let worn = sum.worn.round() as u64;
    let spread = sum.shape().powi(2) * sum.of_machines(variance);
    let tails = |law: &dyn DiscreteCDF<u64, f64>| {
        let from = worn.checked_sub(1).map_or(1.0, |below| law.sf(below));
        (law.cdf(worn), from)
    };
    // Below this it is a Poisson count to all digits that are told.
    let tails = if spread < 1e-9 {
        Poisson::new(sum.expected).ok().map(|law| tails(&law))
    } else {
        let size = 1.0 / spread;
        let law = NegativeBinomial::new(size, size / (size + sum.expected));
        law.ok().map(|law| tails(&law))
    };
    tails.map_or(1.0, |(up_to, from)| (2.0 * up_to.min(from)).min(1.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sum(worn: f64, expected: f64) -> Sum {
        Sum {
            worn,
            expected,
            ln_speed: (worn / expected).ln(),
            information: expected,
            squares: expected * expected,
        }
    }

    /// Limits of a count at 95 %: Pearson & Hartley, *Biometrika Tables for Statisticians*, table 40
    /// (from memory; checked with scipy 1.17, `scipy.stats.chi2.ppf`).
    #[test]
    fn limits_of_a_count_are_those_of_the_tables() {
        for (worn, low, high) in [
            (0.0, 0.0, 3.6889),
            (1.0, 0.0253, 5.5716),
            (5.0, 1.6235, 11.6683),
            (10.0, 4.7954, 18.3904),
            (50.0, 37.1110, 65.9188),
        ] {
            let found = speed(sum(worn, 1.0), 0.0, 0.95);
            let limits = (found.low.expect("known"), found.high.expect("known"));
            assert!((limits.0 - low).abs() < 6e-5, "{worn}: {limits:?}");
            assert!((limits.1 - high).abs() < 6e-5, "{worn}: {limits:?}");
        }
        // With a shape of 2 a count four times as large is a wear twice as fast.
        let steep = Sum {
            information: 4.0,
            ..sum(0.0, 1.0)
        };
        let high = speed(steep, 0.0, 0.95).high.expect("known");
        assert!((high - 3.6889_f64.sqrt()).abs() < 2e-5, "{high}");
    }

    /// By hand: of 2 expected, none has a chance of exp(-2), and five or more one of
    /// 1 - exp(-2) (1 + 2 + 2 + 4/3 + 2/3).
    #[test]
    fn the_chance_of_a_count_is_twice_that_of_its_tail() {
        let p = |worn| p_value(sum(worn, 2.0), 0.0);
        let none = (-2.0_f64).exp();
        assert!((p(0.0) - 2.0 * none).abs() < 1e-12);
        assert!((p(5.0) - 2.0 * (1.0 - 7.0 * none)).abs() < 1e-12);
        assert!((p(2.0) - 1.0).abs() < 1e-12);
        // By hand, a negative binomial of size 4 and mean 2: none has a chance of (4 / 6)^4.
        let spread = p_value(sum(0.0, 2.0), 0.25);
        assert!(
            (spread - 2.0 * (2.0_f64 / 3.0).powi(4)).abs() < 1e-9,
            "{spread}"
        );
    }

    /// By hand: four machines with slopes 3, -3, 1 and -1 of information 2 each: 4.5 + 4.5 + 0.5 + 0.5 found
    /// where chance makes 3, and a unit of variance 8 - 16 / 8.
    #[test]
    fn the_spread_is_the_one_worked_by_hand() {
        let machine = |slope| Pull {
            slope,
            information: 2.0,
        };
        let mut moments = Moments::default();
        moments.add(&[3.0, -3.0, 1.0, -1.0].map(machine));
        assert!((moments.variance() - 7.0 / 6.0).abs() < 1e-12);
        let mut alike = Moments::default();
        alike.add(&[1.0, 1.0].map(machine));
        assert!(alike.variance() < 1e-12);
    }
}
