//! Single values: moments, known shapes, bearing slopes.

use wearcast::model::anchor::Anchor;
use wearcast::model::fit;
use wearcast::model::observations::End;
use wearcast::model::{Distribution, Observation, Observations};

use super::Check;

#[test]
fn the_mean_life_is_that_of_the_handbook() {
    let check = Check::named("nist-moments");
    let k = Anchor::Mean.offset(Distribution::Weibull, check.number("shape").ln());
    check.holds("mean", check.number("scale") * k.value.exp());
}

#[test]
fn the_ratio_of_median_to_ten_percent_life_is_that_of_bearing_practice() {
    let check = Check::named("bearing-slope");
    let ratios: Vec<f64> = check
        .numbers("slope")
        .iter()
        .map(|slope| {
            let k = |p| {
                Anchor::Quantile(p)
                    .offset(Distribution::Weibull, slope.ln())
                    .value
            };
            (k(0.5) - k(0.1)).exp()
        })
        .collect();
    check.holds_all("ratio", &ratios);
}

/// ISO 281 reliability factor: life at reliability R over life at 0.9, slope 1.5.
#[test]
fn the_reliability_factor_is_that_of_iso_281() {
    let check = Check::named("iso281-a1-1990");
    let slope = check.number("slope").ln();
    let factors: Vec<f64> = check
        .numbers("R")
        .iter()
        .map(|r| {
            let k = |p| {
                Anchor::Quantile(p)
                    .offset(Distribution::Weibull, slope)
                    .value
            };
            (k(1.0 - r) - k(0.1)).exp()
        })
        .collect();
    check.holds_all("a1", &factors);
    check.holds_all("a1_printed", &factors);
}

/// Weibayes without a failure; the 63.2 % bound is the old rule of assuming one failure.
#[test]
fn the_lower_bound_without_wear_outs_is_that_of_the_reference() {
    for id in ["weibayes-zero", "weibayes-zero63"] {
        let check = Check::named(id);
        let lives = check.numbers("t").into_iter().map(|t| Observation {
            entry: vec![0.0],
            low: vec![t],
            end: vec![t],
            known: End::Censored,
            count: 1.0,
            machine: None,
        });
        let lives = Observations::new(1, lives.collect());
        let bound = fit::scale_lower_bound(&lives, check.number("shape"), check.number("conf"));
        check.holds("scale_lower", bound.expect("there is use"));
    }
}

/// Conditional Weibull life: chance to wear out within a further use, and quantiles of what is left.
#[test]
fn what_is_left_of_a_used_part_is_that_of_the_reference() {
    let check = Check::named("remaining-life");
    let (shape, scale, x) = (
        check.number("shape"),
        check.number("scale"),
        check.number("x"),
    );
    let weibull = Distribution::Weibull;
    let hazard = |age: f64| {
        if age <= 0.0 {
            return 0.0;
        }
        weibull.cumulative(shape * (age.ln() - scale.ln())).value
    };
    let ages = check.numbers("age");
    let chance: Vec<f64> = ages
        .iter()
        .map(|age| -(hazard(*age) - hazard(age + x)).exp_m1())
        .collect();
    check.holds_all("p_fail", &chance);
    let left = |age: f64, p: f64| {
        let h = hazard(age) - (-p).ln_1p();
        (scale.ln() + weibull.inverse(h) / shape).exp() - age
    };
    for (i, age) in ages.iter().enumerate() {
        let quantiles: Vec<f64> = check.numbers("p").iter().map(|p| left(*age, *p)).collect();
        check.holds_row("quantile", i, &quantiles);
    }
}
