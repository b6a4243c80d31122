//! All parts of a machine, site or other value together: wear-outs seen, and those that the same work
//! makes on average.
//!
//! What is odd about a machine shows in all of its parts, each of which may have too few wear-outs to
//! tell.

use std::collections::BTreeMap;

use statrs::distribution::{ChiSquared, ContinuousCDF, DiscreteCDF, Poisson};

use super::Case;
use crate::life::Life;
use crate::model::assess::{Wanted, assess_lives};
use crate::model::family_lives::family_lives;
use crate::model::goodness::residuals::residuals;
use crate::model::multiple::holm;
use crate::report::Estimate;
use crate::report::compare::{CompareTogether, TogetherRow};

/// Sums over families.
#[derive(Default)]
pub(super) struct Together {
    by_value: BTreeMap<Option<String>, Sum>,
    families: Vec<String>,
}

#[derive(Clone, Copy, Default)]
struct Sum {
    worn: f64,
    expected: f64,
}

impl Together {
    /// Adds a family of which at least two values have lives; one whose lives set no limits on its
    /// model is left out.
    pub(super) fn add(&mut self, case: &Case<'_>, value_of: &dyn Fn(&Life) -> Option<String>) {
        let mut by_value: BTreeMap<Option<String>, Vec<&Life>> = BTreeMap::new();
        for life in &case.lives {
            by_value.entry(value_of(life)).or_default().push(life);
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
        let mut sums = Vec::new();
        for (value, lives) in by_value {
            let seen = family_lives(&lives, all.measure, &case.study.groups, &all.groups);
            let residuals = residuals(fit.distribution, &fit.theta, &seen.observations);
            let expected: f64 = residuals.iter().map(|r| r.count * r.at_risk()).sum();
            if 0.0 < expected {
                let worn = seen.counts.worn;
                sums.push((value, Sum { worn, expected }));
            }
        }
        if sums.len() < 2 {
            return;
        }
        for (value, sum) in sums {
            let all = self.by_value.entry(value).or_default();
            all.worn += sum.worn;
            all.expected += sum.expected;
        }
        self.families.push(case.family.name.clone());
    }

    /// The values, those that wear out most first; `None` unless there are two families to put together.
    pub(super) fn told(self, level: f64) -> Option<CompareTogether> {
        if self.families.len() < 2 {
            return None;
        }
        let row = |(value, sum): (Option<String>, Sum)| TogetherRow {
            value,
            worn: sum.worn,
            expected: sum.expected,
            ratio: ratio(sum, level),
            p_value: p_value(sum),
            p_holm: None,
        };
        let mut rows: Vec<TogetherRow> = self.by_value.into_iter().map(row).collect();
        let plain: Vec<Option<f64>> = rows.iter().map(|r| Some(r.p_value)).collect();
        for (row, corrected) in rows.iter_mut().zip(holm(&plain)) {
            row.p_holm = corrected;
        }
        rows.sort_by(|a, b| b.ratio.estimate.total_cmp(&a.ratio.estimate));
        Some(CompareTogether {
            families: self.families,
            rows,
        })
    }
}

/// Wear-outs seen for each expected; limits exact for a count, the expected number taken as known.
///
/// # Source
/// Garwood (1936), *Biometrika* 28:437: limits of a Poisson mean by quantiles of chi-square.
fn ratio(sum: Sum, level: f64) -> Estimate {
    let tail = (1.0 - level) / 2.0;
    let limit = |freedom: f64, p: f64| {
        let chi = ChiSquared::new(freedom).ok()?;
        Some(chi.inverse_cdf(p) / 2.0 / sum.expected)
    };
    Estimate {
        estimate: sum.worn / sum.expected,
        // A count of none says nothing of how few there may be.
        low: limit(2.0 * sum.worn, tail).or(Some(0.0)),
        high: limit(2.0 * sum.worn + 2.0, 1.0 - tail),
    }
}

/// Chance of a count as far from the expected one, or farther: twice that of its own tail.
fn p_value(sum: Sum) -> f64 {
    let Ok(poisson) = Poisson::new(sum.expected) else {
        return 1.0;
    };
    let worn = sum.worn.round() as u64;
    let up_to = poisson.cdf(worn);
    let from = worn.checked_sub(1).map_or(1.0, |below| poisson.sf(below));
    (2.0 * up_to.min(from)).min(1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

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
            let found = ratio(
                Sum {
                    worn,
                    expected: 1.0,
                },
                0.95,
            );
            let limits = (found.low.expect("known"), found.high.expect("known"));
            assert!((limits.0 - low).abs() < 6e-5, "{worn}: {limits:?}");
            assert!((limits.1 - high).abs() < 6e-5, "{worn}: {limits:?}");
        }
    }

    /// By hand: of 2 expected, none has a chance of exp(-2), and five or more one of
    /// 1 - exp(-2) (1 + 2 + 2 + 4/3 + 2/3).
    #[test]
    fn the_chance_of_a_count_is_twice_that_of_its_tail() {
        let p = |worn| {
            p_value(Sum {
                worn,
                expected: 2.0,
            })
        };
        let none = (-2.0_f64).exp();
        assert!((p(0.0) - 2.0 * none).abs() < 1e-12);
        assert!((p(5.0) - 2.0 * (1.0 - 7.0 * none)).abs() < 1e-12);
        assert!((p(2.0) - 1.0).abs() < 1e-12);
    }
}
