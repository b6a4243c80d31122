//! Fits of published lives, by distribution and by kind of censoring.

use serde_json::Value;
use wearcast::model::anchor::Anchor;
use wearcast::model::fit::{self, Fit};
use wearcast::model::likelihood::Likelihood;
use wearcast::model::observations::End;
use wearcast::model::profile::{self, Quantity};
use wearcast::model::{Distribution, Observation, Observations};

use super::{Check, list};

/// Rows `[entry, low, high, weight]`: equal ends are exact, no high is right-censored, no low
/// is left-censored.
pub(super) fn lives_of_rows(rows: &Value) -> Observations {
    let lives = rows.as_array().expect("rows").iter().map(|row| {
        let cell = |i: usize| row[i].as_f64();
        let (entry, low, high) = (cell(0).unwrap_or(0.0), cell(1), cell(2));
        let known = match (low, high) {
            (Some(_), None) => End::Censored,
            (Some(low), Some(high)) if low >= high => End::At,
            _ => End::Between,
        };
        Observation {
            entry: vec![entry],
            low: vec![low.unwrap_or(0.0)],
            end: vec![high.or(low).expect("one end")],
            known,
            count: cell(3).expect("a weight"),
            machine: None,
        }
    });
    Observations::new(1, lives.collect())
}

fn fitted(id: &str, distribution: Distribution) -> (Check, Observations, Fit) {
    let check = Check::named(id);
    let lives = lives_of_rows(check.input("rows"));
    let fit = fit::maximum_likelihood(distribution, &lives).expect("a maximum");
    (check, lives, fit)
}

fn quantiles(fit: &Fit, shares: &[f64]) -> Vec<f64> {
    shares
        .iter()
        .map(|p| {
            let k = Anchor::Quantile(*p)
                .offset(fit.distribution, fit.theta[0])
                .value;
            (fit.theta[1] + k).exp()
        })
        .collect()
}

const SHARES: [f64; 5] = [0.01, 0.05, 0.1, 0.5, 0.9];

fn weibull_holds(id: &str) {
    let (check, _, fit) = fitted(id, Distribution::Weibull);
    check.holds("loglik", fit.log_likelihood());
    check.holds("shape", fit.shape());
    check.holds("scale", fit.scale());
    check.holds_all("quantile", &quantiles(&fit, &SHARES));
    let covariance = fit.covariance().expect("regular");
    check.holds("se_log_shape", covariance[(0, 0)].sqrt());
    check.holds("se_log_scale", covariance[(1, 1)].sqrt());
    check.holds("cov_log_shape_log_scale", covariance[(0, 1)]);
}

#[test]
fn weibull_fits_of_published_lives_are_those_of_the_reference_programs() {
    for id in [
        "nist-weibull",
        "bearing-weibull",
        "genfan-weibull",
        "ifluid34-weibull",
        "cracks-weibull",
        "turbine-weibull",
        "retraction-rt-weibull",
        "channing-weibull",
    ] {
        weibull_holds(id);
    }
}

#[test]
fn lognormal_fits_of_published_lives_are_those_of_the_reference_programs() {
    for id in [
        "nist-lognormal",
        "bearing-lognormal",
        "genfan-lognormal",
        "ifluid34-lognormal",
        "cracks-lognormal",
        "turbine-lognormal",
    ] {
        let (check, _, fit) = fitted(id, Distribution::Lognormal);
        check.holds("loglik", fit.log_likelihood());
        check.holds("mu", fit.theta[1]);
        check.holds("sigma", (-fit.theta[0]).exp());
        check.holds_all("quantile", &quantiles(&fit, &SHARES));
        let covariance = fit.covariance().expect("regular");
        check.holds("se_mu", covariance[(1, 1)].sqrt());
        check.holds("se_log_sigma", covariance[(0, 0)].sqrt());
    }
}

#[test]
fn exponential_fits_of_published_lives_are_those_of_the_reference_programs() {
    for id in [
        "nist-exponential",
        "bearing-exponential",
        "genfan-exponential",
    ] {
        let (check, _, fit) = fitted(id, Distribution::Exponential);
        check.holds("loglik", fit.log_likelihood());
        check.holds("scale", fit.scale());
        check.holds_all("quantile", &quantiles(&fit, &SHARES));
    }
}

#[test]
fn profile_likelihood_intervals_are_those_of_the_reference() {
    for (id, data) in [
        ("nist-profile", "nist-weibull"),
        ("bearing-profile", "bearing-weibull"),
        ("genfan-profile", "genfan-weibull"),
    ] {
        let check = Check::named(id);
        let (_, lives, fit) = fitted(data, Distribution::Weibull);
        for (quantity, low, high) in [
            (Quantity::Shape, "shape_lo95", "shape_hi95"),
            (Quantity::Life(Anchor::Scale), "scale_lo95", "scale_hi95"),
            (
                Quantity::Life(Anchor::Quantile(0.1)),
                "t10_lo95",
                "t10_hi95",
            ),
        ] {
            let interval = profile::interval(&fit, &lives, quantity, 0.95).expect("estimated");
            check.holds(low, interval.low.expect("a lower limit"));
            check.holds(high, interval.high.expect("an upper limit"));
        }
    }
}

/// Rows `[entry], [low], [high] or null`, each the use by condition since new.
fn lives_of_exposures(rows: &Value) -> Observations {
    let lives = rows.as_array().expect("rows").iter().map(|row| {
        let (entry, low) = (list(&row[0]), list(&row[1]));
        let worn = !row[2].is_null();
        let end = if worn { list(&row[2]) } else { low.clone() };
        let known = if worn { End::Between } else { End::Censored };
        Observation {
            entry,
            low,
            end,
            known,
            count: 1.0,
            machine: None,
        }
    });
    Observations::new(3, lives.collect())
}

#[test]
fn wear_factors_of_the_cumulative_exposure_model_are_those_of_the_reference() {
    for id in ["exposure-onecondition", "exposure-3"] {
        let check = Check::named(id);
        let lives = lives_of_exposures(check.input("rows"));
        let fit = fit::maximum_likelihood(Distribution::Weibull, &lives).expect("a maximum");
        check.holds("loglik", fit.log_likelihood());
        check.holds("shape", fit.shape());
        check.holds("scale", fit.scale());
        let factors = [1.0, fit.theta[2].exp(), fit.theta[3].exp()];
        check.holds_all("w", &factors);
        let covariance = fit.covariance().expect("regular");
        check.holds("se_log_shape", covariance[(0, 0)].sqrt());
        check.holds("se_log_scale", covariance[(1, 1)].sqrt());
        let errors = [covariance[(2, 2)].sqrt(), covariance[(3, 3)].sqrt()];
        check.holds_all("se_log_w", &errors);
    }
}

/// simulated, truth shape 2.2, scale 900, factors 1, 1.8, 3; exact to 1e-9 by two programs
#[test]
fn the_likelihood_at_the_truth_is_that_of_the_reference() {
    let check = Check::named("exposure-3");
    let lives = lives_of_exposures(check.input("rows"));
    let likelihood = Likelihood {
        distribution: Distribution::Weibull,
        lives: &lives,
    };
    let theta = [2.2_f64.ln(), 900_f64.ln(), 1.8_f64.ln(), 3_f64.ln()];
    check.holds("loglik_at", likelihood.value(&theta));
}
