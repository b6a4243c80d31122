//! Measured wear: paths toward a limit, and what is left of parts that were measured.

mod fatigue;
mod lasers;
mod recovery;
mod rows;
mod wandering;

use serde_json::Value;
use wearcast::degradation::family_path::{FamilyPath, PartPath};
use wearcast::degradation::{Crossing, LifePrior, PathDraw, scale, swap};
use wearcast::model::Distribution;

use crate::reference::list;

const PATH: PathDraw = PathDraw {
    power: 1.0,
    error: 0.05,
    habit: 0.0,
    wander: 0.1,
    ln_rate: 0.0,
    spread: 0.4,
};

/// `tests/reference/degradation.json`, made by `degradation.py` with scipy's quadrature.
fn reference(key: &str) -> Vec<Value> {
    let text = include_str!("../reference/degradation.json");
    let all: Value = serde_json::from_str(text).expect("JSON");
    all[key].as_array().expect("a list").clone()
}

fn path_of(value: &Value) -> PathDraw {
    let number = |key: &str| value[key].as_f64().expect("a number");
    PathDraw {
        power: number("power"),
        error: number("error"),
        habit: number("habit"),
        wander: number("wander"),
        ln_rate: number("ln_rate"),
        spread: number("spread"),
    }
}

fn readings_of(value: &Value) -> Vec<(f64, f64)> {
    let rows = value.as_array().expect("a list").iter();
    rows.map(list).map(|pair| (pair[0], pair[1])).collect()
}

fn weibull(shape: f64, scale: f64) -> LifePrior {
    LifePrior {
        distribution: Distribution::Weibull,
        shape,
        ln_scale: scale.ln(),
    }
}

#[test]
fn a_rate_is_integrated_out_as_scipy_does_it() {
    let cases = reference("likelihood");
    assert!(6 <= cases.len());
    for case in cases {
        let part = PartPath {
            readings: readings_of(&case["readings"]),
            entry: 0.0,
            low: case["low"].as_f64(),
            end: case["end"].as_f64().expect("a number"),
        };
        let computed = path_of(&case["draw"]).log_likelihood(&part);
        let expected = case["value"].as_f64().expect("a number");
        // Nine nodes: a step or a bump within the bell costs a little.
        assert!(
            (computed - expected).abs() < 0.03,
            "{}: {computed}, scipy {expected}",
            case["name"]
        );
    }
}

#[test]
fn what_is_left_agrees_with_scipy() {
    let cases = reference("left");
    assert!(6 <= cases.len());
    for case in cases {
        let prior = LifePrior {
            distribution: match case["prior"]["distribution"].as_str() {
                Some("weibull") => Distribution::Weibull,
                _ => Distribution::Lognormal,
            },
            shape: case["prior"]["shape"].as_f64().expect("a number"),
            ln_scale: case["prior"]["ln_scale"].as_f64().expect("a number"),
        };
        let age = case["age"].as_f64().expect("a number");
        let readings = readings_of(&case["readings"]);
        let crossing =
            Crossing::new(&prior, &path_of(&case["draw"]), &readings, age).expect("readings");
        for (share, expected) in list(&case["shares"]).iter().zip(list(&case["left"])) {
            let life = age + crossing.left(*share);
            // Wander is nearly normal in the logarithm of the rate here, and exactly so there.
            assert!(
                (life / (age + expected) - 1.0).abs() < 0.008,
                "{}, {share}: {life}, scipy {}",
                case["name"],
                age + expected
            );
            let back = crossing.worn_after(crossing.left(*share));
            assert!((back - share).abs() < 0.01, "{share} comes back as {back}");
        }
    }
}

#[test]
fn two_readings_on_a_line_cross_the_limit_where_the_line_does() {
    // By hand: a quarter of the way after 500 tons, half after 1,000; the line is at the limit
    // after 2,000, 1,000 from now. With a wander of 0.02 nine in ten lie within 3.3 % of 2,000.
    let path = PathDraw {
        error: 0.002,
        wander: 0.02,
        ..PATH
    };
    let readings = [(500.0, 0.25), (1_000.0, 0.5)];
    let crossing = Crossing::new(&weibull(2.5, 3_000.0), &path, &readings, 1_000.0);
    let crossing = crossing.expect("readings");
    assert!((crossing.left(0.5) - 1_000.0).abs() < 10.0);
    assert!((crossing.left(0.05) - 934.0).abs() < 12.0);
    assert!((crossing.left(0.95) - 1_066.0).abs() < 12.0);
    assert!((1_000.0 * crossing.wear_rate(0.5) - 0.5).abs() < 0.002);
}

#[test]
fn a_part_that_is_still_good_has_not_crossed_yet() {
    // By hand: read 0.95 after 1,900 tons by a perfect gauge, so ln life is normal about
    // ln 2,000 with 0.1, above ln 1,900 (0.513 deviations below, 30.4 % of it). Its median lies
    // where 65.2 % are below: 0.391 deviations above, 2,080 tons.
    let path = PathDraw {
        error: 1e-4,
        ..PATH
    };
    let prior = LifePrior {
        distribution: Distribution::Lognormal,
        shape: 1.5,
        ln_scale: 2_500_f64.ln(),
    };
    let crossing = Crossing::new(&prior, &path, &[(1_900.0, 0.95)], 1_900.0).expect("a reading");
    let median = crossing.left(0.5);
    assert!((median - 180.0).abs() < 10.0, "{median}");
    assert!(0.0 < crossing.left(0.001));
}

#[test]
fn readings_that_say_nothing_leave_the_family_alone() {
    let prior = weibull(3.0, 2_000.0);
    assert!(Crossing::new(&prior, &PATH, &[], 500.0).is_none());
    assert!(Crossing::new(&prior, &PATH, &[(0.0, 0.01)], 500.0).is_none());
    let useless = PathDraw {
        error: 30.0,
        ..PATH
    };
    let crossing = Crossing::new(&prior, &useless, &[(400.0, 0.3)], 500.0).expect("a reading");
    for share in [0.1, 0.5, 0.9] {
        // What the family says: S(x) / S(500) = 1 - share.
        let age = (500_f64 / 2_000.0).powi(3);
        let life = 2_000.0 * (age - (1.0_f64 - share).ln()).cbrt();
        let left = crossing.left(share);
        assert!(
            (left / (life - 500.0) - 1.0).abs() < 0.02,
            "{share}: {left}"
        );
    }
}

#[test]
fn a_part_far_past_its_family_or_its_limit_is_worn_at_once() {
    let prior = weibull(8.0, 1_000.0);
    let crossing = Crossing::new(&prior, &PATH, &[(9_000.0, 4.0)], 9_000.0).expect("a reading");
    assert!(crossing.left(0.95) < 1.0);
    assert!(0.99 < crossing.worn_after(10.0));
    assert!(crossing.left(0.5).is_finite());
}

#[test]
fn a_fall_within_the_gauge_is_no_swap_and_a_return_to_near_new_is_one() {
    assert_eq!(swap::last(&[0.2, 0.5, 0.4, 0.7]), None);
    assert_eq!(swap::last(&[0.2, 0.6, 0.1, 0.3]), Some(2));
    assert_eq!(swap::last(&[0.9, 0.0, 0.8, 0.1]), Some(3));
    assert_eq!(swap::last(&[0.1, 0.0]), None);
    assert_eq!(swap::last(&[]), None);
}

#[test]
fn units_of_length_and_percent_are_turned_and_nothing_else() {
    // An inch is 25.4 mm by definition (international yard and pound agreement, 1959).
    assert_eq!(scale::factor("in", "mm"), Some(25.4));
    assert_eq!(scale::factor("CM", "mm"), Some(10.0));
    assert_eq!(scale::factor("percent", "%"), Some(1.0));
    assert_eq!(scale::factor("Shore A", "shore a"), Some(1.0));
    assert_eq!(scale::factor("%", "mm"), None);
    assert_eq!(scale::factor("links", "mm"), None);
}

#[test]
fn no_reading_with_use_behind_it_gives_no_path() {
    assert_eq!(FamilyPath::of(&[], 1), None);
    let unused = PartPath {
        readings: vec![(0.0, 0.1)],
        entry: 0.0,
        low: None,
        end: 0.2,
    };
    assert_eq!(FamilyPath::of(&[unused], 1), None);
}
