//! Twenty-one fatigue cracks read every 0.01 million cycles until they reach 1.6 in or 0.12
//! million cycles are over: when each crossed, what those lives come to, and what half of a path
//! tells of its end.
//!
//! # Source
//! `fatigue-crossing` in `tests/reference/checks.json`: paths of Bogdanoff & Kozin, as in Meeker &
//! Escobar (1998) and in R's nlme. A crack grows faster the longer it is, more than any power of
//! use: seen at two thirds of the time, the cracks are told apart well, and too few of them are
//! expected to reach the limit. Wear of chains and liners does not speed up so.

use wearcast::degradation::family_path::{FamilyPath, PartPath};
use wearcast::degradation::{Crossing, LifePrior};
use wearcast::model::observations::End;
use wearcast::model::{Distribution, Observation, Observations, fit};

use crate::reference::{Check, list};

/// Million cycles after which no crack was read.
const LAST: f64 = 0.12;
/// Million cycles at which the forecast is made.
const NOW: f64 = 0.08;

/// Readings of each path: million cycles, and share of the way from new to the limit.
fn paths(check: &Check) -> Vec<Vec<(f64, f64)>> {
    let (every, limit) = (check.number("step"), check.number("threshold"));
    let rows = check.input("paths").as_array().expect("paths").iter();
    rows.map(|row| {
        let lengths = list(&row[1]);
        let new = lengths[0];
        let share = |(k, length): (usize, &f64)| (k as f64 * every, (length - new) / (limit - new));
        lengths.iter().enumerate().map(share).collect()
    })
    .collect()
}

/// Where a straight line between two readings reaches the limit; `None` if none does.
fn crossing(path: &[(f64, f64)]) -> Option<f64> {
    let pair = path.windows(2).find(|pair| 1.0 <= pair[1].1)?;
    let ((x0, z0), (x1, z1)) = (pair[0], pair[1]);
    Some(x0 + (1.0 - z0) / (z1 - z0) * (x1 - x0))
}

#[test]
fn lives_to_the_limit_are_those_of_the_reference() {
    let check = Check::named("fatigue-crossing");
    let crossed: Vec<Option<f64>> = paths(&check).iter().map(|p| crossing(p)).collect();
    let times: Vec<f64> = crossed.iter().map(|c| c.unwrap_or(LAST)).collect();
    check.holds_all("time", &times);
    let reached: Vec<f64> = crossed.iter().map(|c| f64::from(c.is_some())).collect();
    assert_eq!(reached, check.expected_numbers("crossed"));

    let life = |c: &Option<f64>| Observation {
        entry: vec![0.0],
        low: vec![c.unwrap_or(LAST)],
        end: vec![c.unwrap_or(LAST)],
        known: c.map_or(End::Censored, |_| End::At),
        count: 1.0,
        machine: None,
    };
    let lives = Observations::new(1, crossed.iter().map(life).collect());
    let lognormal = fit::maximum_likelihood(Distribution::Lognormal, &lives).expect("a maximum");
    let expected = check.within("lognormal");
    expected.holds("mu", lognormal.theta[1]);
    expected.holds("sigma", (-lognormal.theta[0]).exp());
    expected.holds("loglik", lognormal.log_likelihood());
    let weibull = fit::maximum_likelihood(Distribution::Weibull, &lives).expect("a maximum");
    let expected = check.within("weibull");
    expected.holds("shape", weibull.shape());
    expected.holds("scale", weibull.scale());
    expected.holds("loglik", weibull.log_likelihood());
}

#[test]
fn two_thirds_of_a_path_tell_which_cracks_reach_the_limit() {
    // A family of which nothing much is known: half reach 0.12, give or take a factor of 3.
    let prior = LifePrior {
        distribution: Distribution::Lognormal,
        shape: 1.5,
        ln_scale: LAST.ln(),
    };
    let check = Check::named("fatigue-crossing");
    let all = paths(&check);
    let seen = |path: &Vec<(f64, f64)>| -> Vec<(f64, f64)> {
        let early = |r: &&(f64, f64)| 0.0 < r.0 && r.0 <= NOW + 1e-9;
        path.iter().filter(early).copied().collect()
    };
    let parts: Vec<PartPath> = all
        .iter()
        .map(|path| PartPath {
            readings: seen(path).iter().map(|(x, z)| (x / LAST, *z)).collect(),
            entry: 0.0,
            low: None,
            end: NOW / LAST,
        })
        .collect();
    let family = FamilyPath::of(&parts, 1).expect("readings");
    let chance_of = |path: &Vec<(f64, f64)>| {
        let chances = family.draws.iter().map(|draw| {
            let crossing = Crossing::new(&prior, draw, &seen(path), NOW);
            crossing.expect("readings").worn_after(LAST - NOW)
        });
        chances.sum::<f64>() / family.draws.len() as f64
    };
    let chances: Vec<f64> = all.iter().map(chance_of).collect();
    // Paths stand in the order of their crossing: the first twelve reach the limit.
    assert!(chances[..3].iter().all(|c| 0.5 < *c), "{chances:?}");
    assert!(chances[12..].iter().all(|c| *c < 0.1), "{chances:?}");
    for (i, earlier) in chances.iter().enumerate() {
        for later in &chances[i + 1..] {
            assert!(later - earlier < 0.02, "out of order: {chances:?}");
        }
    }
    let expected: f64 = chances.iter().sum();
    assert!((3.0..12.0).contains(&expected), "{expected} of 21, 12 did");
}

/// `gamma-rate`: straight wear at a lognormal rate reaches its limit at a lognormal time.
#[test]
fn a_lognormal_rate_makes_a_lognormal_life() {
    let check = Check::named("gamma-rate");
    let (mean, sd) = (check.number("log_rate_mean"), check.number("log_rate_sd"));
    let prior = LifePrior {
        distribution: Distribution::Lognormal,
        shape: sd.recip(),
        ln_scale: check.number("L").ln() - mean,
    };
    // A gauge that tells nothing leaves the rate as it is in the family.
    let path = wearcast::degradation::PathDraw {
        error: 1e6,
        ..super::PATH
    };
    let crossing = Crossing::new(&prior, &path, &[(1.0, 0.0)], 0.0).expect("a reading");
    // Probabilities are read off a grid of log life.
    let expected = check.expected_numbers("p_fail");
    for (t, expected) in check.numbers("t").iter().zip(expected) {
        let failed = crossing.worn_after(*t);
        assert!(
            (failed - expected).abs() < 0.006,
            "{t}: {failed}, {expected}"
        );
    }
}
