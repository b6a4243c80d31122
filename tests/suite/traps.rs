//! Lives on which general survival programs answer wrongly without a word (seen in their public
//! issue trackers and tried with scipy 1.17.1 and lifelines 0.30.3: a shape of 3e16 from one
//! wear-out in five, a shape of 170 from no wear-out, survival limits of -0.51 and 1.48 from three
//! wear-outs in 43, a shape of 0.37 for true values of shape 2 when the location is left free).

use serde_json::Value;
use wearcast::cli::ExitStatus;

use crate::cli::wearcast;
use crate::read::Folder;

/// The only family of a bare table, fitted.
fn fit(rows: &str, more: &[&str]) -> Value {
    let folder = Folder::empty();
    folder.write("t.csv", format!("life,ended\n{rows}"));
    let table = folder.path().join("t.csv").display().to_string();
    let args = [&["fit", "--lives", &table, "--format", "json"], more].concat();
    let (status, out, err) = wearcast(&args);
    assert_eq!(status, ExitStatus::Done, "{err}");
    let document: Value = serde_json::from_str(&out).expect("JSON");
    let mut family = document["families"][0].clone();
    family["notes"] = document["notes"].clone();
    family
}

fn number(value: &Value) -> f64 {
    value.as_f64().expect("a number")
}

#[test]
fn one_wear_out_in_five_sets_no_upper_limit_on_the_shape_and_says_so() {
    let rows = "1000,worn\n400,running\n500,running\n600,running\n700,running\n";
    let alone = fit(rows, &["--no-priors"]);
    assert!(alone["shape"].is_null() && alone["scale"].is_null());
    assert!(
        alone["notes"]
            .to_string()
            .contains("upper limit on the shape")
    );
    // With the weak prior on the shape there is an answer, and a wide one.
    let prior = fit(rows, &[]);
    assert!((0.5..6.0).contains(&number(&prior["shape"]["estimate"])));
    assert!(2.0 < number(&prior["life50"]["high"]) / number(&prior["life50"]["low"]));
}

#[test]
fn no_wear_out_gives_a_bound_and_no_estimate() {
    let rows = "500,running\n800,planned\n900,running\n";
    let alone = fit(rows, &["--no-priors"]);
    assert!(alone["shape"].is_null() && alone["scale"].is_null());
    // At the prior's shape of 2: scale >= sqrt(sum x^2 / -ln 0.1), and the median sqrt(ln 2) of it.
    let scale = ((500.0_f64.powi(2) + 800.0_f64.powi(2) + 900.0_f64.powi(2)) / 10_f64.ln()).sqrt();
    let bound = scale * 2_f64.ln().sqrt();
    assert!((number(&alone["life50_at_least"]) / bound - 1.0).abs() < 1e-12);
}

#[test]
fn limits_of_survival_stay_between_none_and_all() {
    use std::fmt::Write as _;
    let mut rows = "310,worn\n620,worn\n905,worn\n".to_owned();
    for i in 0..40 {
        writeln!(rows, "{},running", 300 + 20 * i).expect("text");
    }
    let family = fit(&rows, &["--no-priors"]);
    let steps = family["goodness"]["nonparametric"]
        .as_array()
        .expect("steps");
    assert!(!steps.is_empty());
    for step in steps {
        for key in ["survival", "survival_low", "survival_high"] {
            if let Some(value) = step[key].as_f64() {
                assert!((0.0..=1.0).contains(&value), "{key} {value}");
            }
        }
    }
}

#[test]
fn life_begins_at_zero_use_so_no_location_is_fitted() {
    use std::fmt::Write as _;
    // The middle of each fifteenth of a Weibull of shape 2 and scale 1,000.
    let mut rows = String::new();
    for i in 0..15 {
        let p = (f64::from(i) + 0.5) / 15.0;
        writeln!(rows, "{},worn", 1_000.0 * (-(1.0 - p).ln()).sqrt()).expect("text");
    }
    let family = fit(&rows, &["--no-priors"]);
    assert!((1.8..2.4).contains(&number(&family["shape"]["estimate"])));
    assert!((950.0..1_050.0).contains(&number(&family["scale"]["estimate"])));
}
