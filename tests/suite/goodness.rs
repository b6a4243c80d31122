//! Whether fits are judged rightly: by simulation from known truths, and by laws of the estimate.

use proptest::prelude::*;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use wearcast::model::fit;
use wearcast::model::goodness::{self, Goodness, Judged, agreement, residuals};
use wearcast::model::likelihood::Likelihood;
use wearcast::model::nonparametric::{self, MOST_STEPS, Survival};
use wearcast::model::observations::End;
use wearcast::model::{Distribution, Observation, Observations};

/// Lives of a known distribution, found worn out at the end of a day's work of some size; every
/// third still good when last seen, every fifth first seen with use behind it.
fn simulated(distribution: Distribution, shape: f64, n: usize, seed: u64) -> Observations {
    Observations::new(1, simulated_lives(distribution, shape, n, seed))
}

fn simulated_lives(
    distribution: Distribution,
    shape: f64,
    n: usize,
    seed: u64,
) -> Vec<Observation> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut life = || {
        let hazard = -(-rng.random::<f64>()).ln_1p();
        1_000.0 * (distribution.inverse(hazard) / shape).exp()
    };
    let mut lives = Vec::new();
    while lives.len() < n {
        let i = lives.len();
        let day = 20.0 + (i % 7) as f64 * 10.0;
        let days = |x: f64| (x / day).floor() * day;
        let entry = if i % 5 == 0 { days(300.0) } else { 0.0 };
        let (worn, seen) = (life(), 1.3 * life());
        let last = if i % 3 == 0 {
            days(seen)
        } else {
            f64::INFINITY
        };
        if worn <= entry || last <= entry {
            continue;
        }
        let (low, end) = (days(worn), days(worn) + day);
        let (low, end, known) = if end <= last {
            (low, end, End::Between)
        } else {
            (last, last, End::Censored)
        };
        lives.push(Observation {
            entry: vec![entry],
            low: vec![low],
            end: vec![end],
            known,
            count: 1.0,
            machine: None,
        });
    }
    lives
}

/// The same with a second product that wears twice as much; its share differs from life to life.
fn with_products(lives: &[Observation]) -> Observations {
    let split = |i: usize, use_: f64| {
        let share = (i * 7 % 10) as f64 / 10.0;
        let plain = use_ / (1.0 + share);
        vec![plain * (1.0 - share), plain * share]
    };
    let lives = lives.iter().enumerate().map(|(i, life)| Observation {
        entry: split(i, life.entry[0]),
        low: split(i, life.low[0]),
        end: split(i, life.end[0]),
        ..*life
    });
    Observations::new(2, lives.collect())
}

fn judged(distribution: Distribution, lives: &Observations) -> Goodness {
    judged_with_machines(distribution, lives, None)
}

fn judged_with_machines(
    distribution: Distribution,
    lives: &Observations,
    machine_spread: Option<f64>,
) -> Goodness {
    goodness::judge(&Judged {
        lives,
        likeliest: &fit::maximum_likelihood(distribution, lives),
        distribution,
        log_likelihood_at_mode: None,
        machine_spread,
    })
}

/// The test takes all machines as one; forecasts do not, and whoever reads of a misfit is told.
#[test]
fn a_misfit_that_machines_may_explain_is_said_to_be_one() {
    let says = |truth, spread| {
        let lives = simulated(truth, 1.5, 2_000, 11);
        let judged = judged_with_machines(Distribution::Weibull, &lives, spread);
        judged
            .verdict
            .iter()
            .any(|v| v.contains("machines that differ"))
    };
    assert!(says(Distribution::Lognormal, Some(0.3)));
    assert!(!says(Distribution::Lognormal, Some(0.02)));
    assert!(!says(Distribution::Lognormal, None));
    assert!(!says(Distribution::Weibull, Some(0.3)));
}

#[test]
fn a_true_model_is_judged_well_and_a_wrong_one_badly() {
    for (truth, wrong, shape) in [
        (Distribution::Lognormal, Distribution::Weibull, 1.5),
        (Distribution::Weibull, Distribution::Lognormal, 2.5),
        (Distribution::Weibull, Distribution::Exponential, 2.5),
    ] {
        let lives = simulated(truth, shape, 2_000, 11);
        let good = judged(truth, &lives);
        let bad = judged(wrong, &lives);
        let p = |g: &Goodness| g.agreement.as_ref().expect("enough wear-outs").p_value;
        assert!(0.01 < p(&good), "{truth:?} judged {}", p(&good));
        assert!(p(&bad) < 1e-6, "{wrong:?} judged {}", p(&bad));
        assert!(good.verdict.iter().any(|v| v.contains("agrees")));
        assert!(bad.verdict.iter().any(|v| v.contains("the fit misses")));
        assert!(
            bad.verdict
                .iter()
                .any(|v| v.contains("explains these lives better"))
        );
        assert_eq!(bad.tried[0].distribution, truth);
        let weights: f64 = bad.tried.iter().filter_map(|t| t.weight).sum();
        assert!((weights - 1.0).abs() < 1e-12);
    }
}

/// With a true fit a p-value below 0.05 comes once in 20, also with few wear-outs.
#[test]
fn a_true_fit_is_called_wrong_as_often_as_it_says() {
    for (n, products) in [(20, 1), (50, 1), (150, 1), (25, 2), (80, 2)] {
        let p_values: Vec<f64> = (0..300)
            .filter_map(|seed| {
                let lives = simulated_lives(Distribution::Weibull, 2.0, n, 1_000 + seed);
                let lives = if products == 1 {
                    Observations::new(1, lives)
                } else {
                    with_products(&lives)
                };
                let fit = fit::maximum_likelihood(Distribution::Weibull, &lives).ok()?;
                Some(agreement::agreement(&fit, &lives)?.p_value)
            })
            .collect();
        let below = |level: f64| {
            p_values.iter().filter(|p| **p < level).count() as f64 / p_values.len() as f64
        };
        let case = format!("{n} lives, {products} products");
        assert!(280 < p_values.len(), "judged {}: {case}", p_values.len());
        // Three standard errors are 0.038 and 0.087.
        assert!((below(0.05) - 0.05).abs() < 0.04, "{}: {case}", below(0.05));
        assert!((below(0.5) - 0.5).abs() < 0.09, "{}: {case}", below(0.5));
    }
}

#[test]
fn age_matters_where_it_does_and_not_where_it_does_not() {
    let says = |g: &Goodness| g.verdict[0].clone();
    let steep = judged(
        Distribution::Weibull,
        &simulated(Distribution::Weibull, 3.0, 60, 3),
    );
    assert!(steep.age_matters_p.expect("a test") < 0.001);
    assert!(says(&steep).starts_with("age matters (p < 0.001)"));
    let flat = judged(
        Distribution::Weibull,
        &simulated(Distribution::Exponential, 1.0, 200, 3),
    );
    assert!(0.05 < flat.age_matters_p.expect("a test"));
    assert!(
        says(&flat).starts_with("no sign that age matters"),
        "{}",
        says(&flat)
    );
    let few = judged(
        Distribution::Weibull,
        &simulated(Distribution::Exponential, 1.0, 3, 3),
    );
    assert!(
        says(&few).starts_with("too few wear-outs to tell"),
        "{}",
        says(&few)
    );
}

/// The slope of the log-likelihood by the scale is the wear-outs seen less those expected, and is 0 at its top;
/// whatever is censored, entered late or known within days.
#[test]
fn a_fit_expects_as_many_wear_outs_as_were_seen() {
    for distribution in [Distribution::Weibull, Distribution::Exponential] {
        let lives = simulated(distribution, 1.8, 300, 4);
        let fit = fit::maximum_likelihood(distribution, &lives).expect("a fit");
        let residuals = residuals::residuals(distribution, &fit.theta, &lives);
        let expected: f64 = residuals.iter().map(|r| r.count * r.at_risk()).sum();
        assert!((expected / lives.worn() - 1.0).abs() < 1e-6, "{expected}");
    }
}

/// A single interval has the residual -ln S at both ends.
#[test]
fn residuals_are_cumulative_hazards() {
    let lives = Observations::new(
        2,
        vec![Observation {
            entry: vec![10.0, 0.0],
            low: vec![30.0, 10.0],
            end: vec![30.0, 20.0],
            known: End::Between,
            count: 1.0,
            machine: None,
        }],
    );
    let theta = [2_f64.ln(), 100_f64.ln(), 3_f64.ln()];
    let r = residuals::residuals(Distribution::Weibull, &theta, &lives)[0];
    assert!((r.entry - 0.01).abs() < 1e-15);
    assert!((r.low - 0.36).abs() < 1e-15);
    assert!((r.rise - 0.45).abs() < 1e-15);
}

#[test]
fn no_distribution_explains_lives_better_than_none() {
    for distribution in [Distribution::Weibull, Distribution::Lognormal] {
        let lives = simulated(distribution, 2.0, 120, 5);
        let fit = fit::maximum_likelihood(distribution, &lives).expect("a maximum");
        let likelihood = Likelihood {
            distribution,
            lives: &lives,
        };
        let free = nonparametric::survival(&lives, &[1.0], 0.9);
        assert!(free.start <= 0.0 && !free.rounded);
        assert!(likelihood.value(&fit.theta) < free.log_likelihood);
    }
}

#[test]
fn many_lives_are_rounded_and_still_come_to_the_truth() {
    let lives = simulated(Distribution::Weibull, 2.0, 20_000, 7);
    let out = nonparametric::survival(&lives, &[1.0], 0.9);
    assert!(out.steps.len() <= MOST_STEPS);
    assert!(out.imbalance < 1e-8, "{}", out.imbalance);
    for x in [300.0_f64, 600.0, 900.0, 1_200.0, 1_600.0] {
        let truth = (-(x / 1_000.0).powi(2)).exp();
        assert!((out.at(x) - truth).abs() < 0.02, "{} at {x}", out.at(x));
    }
}

fn some_life() -> impl Strategy<Value = Observation> {
    let known = prop_oneof![Just(End::Censored), Just(End::Between), Just(End::At)];
    (0_u8..12, 0_u8..6, 1_u8..8, known, 1_u8..4).prop_map(|(entry, more, step, known, count)| {
        let entry = f64::from(entry.saturating_sub(6));
        let low = entry + f64::from(more);
        let end = low + f64::from(step);
        Observation {
            entry: vec![entry],
            low: vec![if known == End::Between { low } else { end }],
            end: vec![end],
            known,
            count: f64::from(count),
            machine: None,
        }
    })
}

fn laws(out: &Survival) -> Result<(), TestCaseError> {
    prop_assert!(out.imbalance < 1e-7, "imbalance {}", out.imbalance);
    let (mut left, mut high, mut mass) = (1.0, 0.0, 0.0);
    for step in &out.steps {
        prop_assert!(high <= step.low && step.low <= step.high);
        prop_assert!(step.survival < left && 0.0 <= step.survival);
        if let (Some(low), Some(up)) = (step.survival_low, step.survival_high) {
            prop_assert!(low <= step.survival && step.survival <= up && up <= 1.0);
        }
        prop_assert!(step.worn <= step.at_risk + 1e-9);
        (left, high) = (step.survival, step.high);
        mass += step.mass;
    }
    prop_assert!((mass + left - 1.0).abs() < 1e-9);
    Ok(())
}

proptest! {
    #[test]
    fn survival_falls_from_one_and_row_order_never_matters(
        lives in prop::collection::vec(some_life(), 1..60)
    ) {
        let out = nonparametric::survival(&Observations::new(1, lives.clone()), &[1.0], 0.9);
        laws(&out)?;
        let turned: Vec<Observation> = lives.into_iter().rev().collect();
        let again = nonparametric::survival(&Observations::new(1, turned), &[1.0], 0.9);
        prop_assert_eq!(out, again);
    }
}
