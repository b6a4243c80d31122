//! Scores of forecasts.

use statrs::distribution::{ContinuousCDF, Discrete, Normal, Poisson, Weibull};
use wearcast::score;

use super::Check;

/// Samples at the middle of `n` equal shares of a distribution.
fn spread(n: usize, quantile: impl Fn(f64) -> f64) -> Vec<f64> {
    (0..n)
        .map(|i| quantile((i as f64 + 0.5) / n as f64))
        .collect()
}

/// Ensembles stand for a distribution as closely as their size allows.
fn near(check: &Check, key: &str, computed: f64) {
    let expected = check.value["expected"][key].as_f64().expect("a number");
    assert!(
        (computed / expected - 1.0).abs() < 1e-5,
        "`{key}` is {computed}, expected {expected}"
    );
}

#[test]
fn the_ranked_probability_score_is_that_of_the_closed_forms() {
    let check = Check::named("crps");
    let ensemble = check.numbers("ensemble");
    let actual = check.number("ensemble_y");
    check.holds("ensemble", score::crps(&ensemble, actual));

    let n = 100_000;
    let [mean, sd, actual] = three(&check.numbers("normal"));
    let normal = Normal::new(mean, sd).expect("valid");
    near(
        &check,
        "normal",
        score::crps(&spread(n, |p| normal.inverse_cdf(p)), actual),
    );
    let [shape, scale, actual] = three(&check.numbers("weibull"));
    let weibull = Weibull::new(shape, scale).expect("valid");
    near(
        &check,
        "weibull",
        score::crps(&spread(n, |p| weibull.inverse_cdf(p)), actual),
    );
}

#[test]
fn counts_are_scored_as_their_probabilities_say() {
    let check = Check::named("crps");
    let [mean, actual] = check.numbers("poisson")[..] else {
        panic!("mean and outcome");
    };
    let poisson = Poisson::new(mean).expect("valid");
    let n = 1_000_000.0;
    let counts: Vec<f64> = (0..40_u64)
        .flat_map(|k| {
            let times = (poisson.pmf(k) * n).round() as usize;
            std::iter::repeat_n(k as f64, times)
        })
        .collect();
    near(&check, "poisson", score::crps(&counts, actual));
}

#[test]
fn coverage_is_that_worked_by_hand() {
    let check = Check::named("coverage");
    let (low, high) = (check.numbers("lo"), check.numbers("hi"));
    let actual = check.numbers("y");
    let rows = low.iter().zip(&high).zip(&actual);
    let inside = rows.map(|((l, h), y)| l <= y && y <= h);
    check.holds("coverage", score::coverage(inside).expect("outcomes"));
}

fn three(values: &[f64]) -> [f64; 3] {
    values.try_into().expect("three numbers")
}
