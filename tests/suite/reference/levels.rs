//! Levels of life against a published regression and an independent maximum likelihood.

use serde_json::Value;
use wearcast::model::fit::{self, Fit};
use wearcast::model::levels;
use wearcast::model::likelihood::{Derivatives, Likelihood};
use wearcast::model::multiple::holm;
use wearcast::model::observations::End;
use wearcast::model::profile::{self, Quantity};
use wearcast::model::{Distribution, Observation, Observations};

use super::{Check, list};

/// `tests/reference/compare.json`, made by `make_compare.py` under scipy 1.17.1.
fn reference(key: &str) -> Value {
    let text = include_str!("../../reference/compare.json");
    let mut all: Value = serde_json::from_str(text).expect("compare.json is JSON");
    all[key].take()
}

fn lives(of: &Value) -> Observations {
    let count = |key: &str| usize::try_from(of[key].as_u64().expect("a count")).expect("small");
    let rows = of["lives"].as_array().expect("lives").iter();
    let rows = rows.map(|row| {
        let life = Observation {
            entry: list(&row["entry"]),
            low: list(&row["low"]),
            end: list(&row["end"]),
            known: match row["known"].as_str() {
                Some("at") => End::At,
                Some("between") => End::Between,
                _ => End::Censored,
            },
            count: 1.0,
            machine: None,
        };
        let level = row["level"].as_u64().expect("a level");
        (life, usize::try_from(level).expect("small"))
    });
    Observations::leveled(count("n_groups"), count("n_levels"), rows.collect())
}

fn close(got: f64, wanted: f64, relative: f64) {
    assert!(
        (got - wanted).abs() <= relative * wanted.abs(),
        "{got} is not {wanted}"
    );
}

fn fitted(key: &str) -> (Value, Observations, Fit) {
    let of = reference(key);
    let lives = lives(&of);
    let fit = fit::maximum_likelihood(Distribution::Weibull, &lives).expect("a maximum");
    (of, lives, fit)
}

/// Interval-censored, entered late, two product groups and three materials; and 42 remissions, seen
/// exactly or censored. Own likelihood in Python, `make_compare.py`.
#[test]
fn ratios_intervals_and_p_values_are_those_of_another_program() {
    for key in ["mixed", "remission"] {
        let (of, lives, fit) = fitted(key);
        close(
            fit.log_likelihood(),
            of["log_likelihood"].as_f64().expect("one"),
            1e-8,
        );
        for (got, wanted) in fit.theta.iter().zip(list(&of["theta"])) {
            assert!((got - wanted).abs() < 2e-5, "{key}: {got} is not {wanted}");
        }
        for level in 1..lives.n_levels() {
            let told = profile::interval(&fit, &lives, Quantity::Level(level), 0.9);
            let told = told.expect("estimated");
            let wanted = list(&of["intervals"][level - 1]);
            close(told.low.expect("bounded"), wanted[0], 1e-5);
            close(told.high.expect("bounded"), wanted[1], 1e-5);
            let p = levels::p_value(&fit, &lives, level, false).expect("a maximum");
            close(p, list(&of["p_values"])[level - 1], 1e-4);
        }
    }
}

/// Weibull regression of the remissions as printed in Kleinbaum & Klein, *Survival Analysis*, chapter
/// 7: 1.267 on log life, 2.248, shape 1.366, log-likelihood -106.579 (printed figures from memory).
#[test]
fn remissions_last_as_much_longer_as_a_text_book_prints() {
    let (of, _, fit) = fitted("remission");
    let printed = |key: &str| of["printed"][key].as_f64().expect("printed");
    let within = |got: f64, wanted: f64| assert!((got - wanted).abs() < 6e-4, "{got}, {wanted}");
    within(fit.theta[2], printed("ratio"));
    within(fit.theta[1], printed("intercept"));
    within(fit.shape(), printed("shape"));
    within(fit.log_likelihood(), printed("log_likelihood"));
}

/// Units that saw one condition each: a factor on wear is one over a ratio of lives. R 4.2.2, survreg
/// with interval2, by `exposure-onecondition` of `checks.json`.
#[test]
fn conditions_as_levels_are_the_factor_of_survreg() {
    let check = Check::named("exposure-onecondition");
    let rows = check.input("rows").as_array().expect("rows").iter();
    let rows = rows.map(|row| {
        let (low, high) = (list(&row[1]), row[2].as_array().map(|_| list(&row[2])));
        let end = high.clone().unwrap_or_else(|| low.clone());
        let level = end.iter().position(|u| 0.0 < *u).expect("some use");
        let life = Observation {
            entry: vec![row[0][level].as_f64().expect("an entry")],
            low: vec![low[level]],
            end: vec![end[level]],
            known: if high.is_some() {
                End::Between
            } else {
                End::Censored
            },
            count: 1.0,
            machine: None,
        };
        (life, level)
    });
    let lives = Observations::leveled(1, 3, rows.collect());
    let fit = fit::maximum_likelihood(Distribution::Weibull, &lives).expect("a maximum");
    check.holds("loglik", fit.log_likelihood());
    check.holds("shape", fit.shape());
    check.holds("scale", fit.scale());
    check.holds_all("w", &[1.0, (-fit.theta[2]).exp(), (-fit.theta[3]).exp()]);
    let covariance = fit.covariance().expect("regular");
    let errors = [covariance[(2, 2)].sqrt(), covariance[(3, 3)].sqrt()];
    check.holds_all("se_log_w", &errors);
}

/// Central differences of the value.
#[test]
fn derivatives_by_level_are_those_of_differences() {
    let lives = lives(&reference("mixed"));
    for distribution in [Distribution::Weibull, Distribution::Lognormal] {
        let likelihood = Likelihood {
            distribution,
            lives: &lives,
        };
        let theta = [0.7, 7.1, 0.6, 0.2, -0.4];
        let n = theta.len();
        let at = |theta: &[f64]| {
            let mut out = Derivatives::zero(n);
            likelihood.evaluate(theta, &mut out);
            out
        };
        let here = at(&theta);
        close(likelihood.value(&theta), here.value, 1e-12);
        for i in 0..n {
            let (mut up, mut down) = (theta, theta);
            up[i] += 1e-5;
            down[i] -= 1e-5;
            let (up, down) = (at(&up), at(&down));
            let slope = (up.value - down.value) / 2e-5;
            assert!((slope - here.gradient[i]).abs() < 1e-6 * (1.0 + slope.abs()));
            for j in 0..n {
                let curve = (up.gradient[j] - down.gradient[j]) / 2e-5;
                let own = here.hessian[i * n + j];
                assert!((curve - own).abs() < 1e-5 * (1.0 + curve.abs()), "{i} {j}");
            }
        }
    }
}

/// Holm (1979) by its definition, in `make_compare.py`.
#[test]
fn corrected_p_values_are_those_of_the_definition() {
    let of = reference("holm");
    let plain: Vec<Option<f64>> = list(&of["p"]).into_iter().map(Some).collect();
    for (got, wanted) in holm(&plain).into_iter().zip(list(&of["corrected"])) {
        close(got.expect("known"), wanted, 1e-14);
    }
}
