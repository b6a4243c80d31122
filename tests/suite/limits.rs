//! What lives set a limit to and what not: factors at nothing, shapes without a peak, no wear-out at
//! all, and measures that some lives lack.

use std::fmt::Write as _;

use wearcast::family::Families;
use wearcast::model::fit::{self, FitError};
use wearcast::model::observations::End;
use wearcast::model::profile::{self, Quantity};
use wearcast::model::{Distribution, Observation, Observations};
use wearcast::study::{Options, Study};
use wearcast::units::Measure;

use crate::read::Folder;

fn worn(low: &[f64], end: &[f64]) -> Observation {
    Observation {
        entry: vec![0.0; end.len()],
        low: low.to_vec(),
        end: end.to_vec(),
        known: End::Between,
        count: 1.0,
        machine: None,
    }
}

fn running(end: &[f64]) -> Observation {
    Observation {
        known: End::Censored,
        ..worn(end, end)
    }
}

/// Half of the chi-square quantile of 90 % with one degree of freedom, as tables have it.
const DROP: f64 = 2.705_543_454_095_404 / 2.0;

/// Wear by the first product alone: the second wears nothing as far as these lives tell.
fn one_product_wears() -> Vec<Observation> {
    let used = [
        [1000.0, 50.0],
        [1010.0, 500.0],
        [1060.0, 1000.0],
        [1120.0, 2000.0],
        [1005.0, 100.0],
        [1080.0, 1500.0],
    ];
    let mut lives: Vec<Observation> = used
        .iter()
        .map(|[a, b]| worn(&[a - 20.0, *b], &[*a, *b]))
        .collect();
    lives.push(running(&[700.0, 4000.0]));
    lives
}

/// Held against the likelihood itself: with the factor at its limit, lives in effective exposure of one
/// kind have a maximum lower by just the drop.
#[test]
fn a_factor_at_nothing_has_the_upper_limit_that_the_likelihood_gives_it() {
    let lives = one_product_wears();
    let two = Observations::new(2, lives.clone());
    let fit = fit::maximum_likelihood(Distribution::Weibull, &two).expect("a maximum");
    let interval = profile::interval(&fit, &two, Quantity::Factor(1), 0.9).expect("an interval");
    assert_eq!((interval.estimate, interval.low), (0.0, Some(0.0)));
    let factor = interval.high.expect("an upper limit");
    let effective = |amounts: &[f64]| vec![amounts[0] + factor * amounts[1]];
    let one = lives.iter().map(|life| Observation {
        entry: vec![0.0],
        low: effective(&life.low),
        end: effective(&life.end),
        ..life.clone()
    });
    let one = Observations::new(1, one.collect());
    let held = fit::maximum_likelihood(Distribution::Weibull, &one).expect("a maximum");
    let drop = fit.log_likelihood() - held.log_likelihood();
    assert!((drop - DROP).abs() < 1e-6, "{drop}");
}

/// The same lives with the reference that wears nothing: likelihood and shape are no others.
#[test]
fn log_likelihood_and_shape_are_the_same_whichever_product_is_the_reference() {
    let lives = Observations::new(2, one_product_wears());
    let turned = lives.with_reference(1);
    assert_eq!(
        fit::maximum_likelihood(Distribution::Weibull, &turned),
        Err(FitError::UnboundedFactor(1))
    );
    let [a, b] = [&lives, &turned]
        .map(|of| fit::whichever_reference(Distribution::Weibull, of).expect("a maximum"));
    assert!((a.log_likelihood() - b.log_likelihood()).abs() < 1e-9);
    assert!((a.shape() / b.shape() - 1.0).abs() < 1e-6);
}

/// Any steep enough life between 3,500 and 4,800 explains these finds for certain.
#[test]
fn finds_that_any_steep_life_explains_have_no_likeliest_shape() {
    let lives = vec![
        worn(&[3000.0], &[5200.0]),
        worn(&[2500.0], &[4800.0]),
        worn(&[3500.0], &[5000.0]),
        running(&[2000.0]),
    ];
    let lives = Observations::new(1, lives);
    for distribution in [Distribution::Weibull, Distribution::Lognormal] {
        let fit = fit::maximum_likelihood(distribution, &lives);
        assert!(matches!(fit, Err(FitError::UnboundedShape)), "{fit:?}");
    }
}

/// One worn at the very use that another survived: the likelihood rises to a limit that no shape reaches. Found worn
/// between 200 and 240, two of them, and one between 160 and 200: the steeper, the likelier, with the step at 200.
#[test]
fn the_steeper_the_likelier_is_said_and_no_shape_invented() {
    let tie = |worn_out: usize| {
        let worn_out = std::iter::repeat_n(worn(&[90.0], &[100.0]), worn_out);
        worn_out.chain([running(&[100.0])]).collect::<Vec<_>>()
    };
    let step = vec![
        worn(&[200.0], &[240.0]),
        worn(&[200.0], &[240.0]),
        worn(&[160.0], &[200.0]),
    ];
    for (i, lives) in [tie(1), tie(2), tie(3), tie(20), step]
        .into_iter()
        .enumerate()
    {
        let fit = fit::maximum_likelihood(Distribution::Weibull, &Observations::new(1, lives));
        assert!(matches!(fit, Err(FitError::UnboundedShape)), "{i}: {fit:?}");
    }
}

/// One part good at 1,000 and a certainty of 90 %: where it survives with one chance in ten. By hand
/// from the survival functions; 1.2815515655 is the normal quantile of 0.9 of any table.
#[test]
fn without_a_wear_out_each_distribution_bounds_the_median_by_its_own_survival() {
    let lives = Observations::new(1, vec![running(&[1000.0])]);
    let bound = |of: Distribution| fit::median_lower_bound(of, &lives, 3.0, 0.9).expect("use");
    let tenth = 10.0_f64.ln();
    let half = 2.0_f64.ln();
    let weibull = 1000.0 * (half / tenth).powf(1.0 / 3.0);
    let exponential = 1000.0 * half / tenth;
    let lognormal = 1000.0 * (-1.281_551_565_544_6_f64 / 3.0).exp();
    for (of, wanted) in [
        (Distribution::Weibull, weibull),
        (Distribution::Exponential, exponential),
        (Distribution::Lognormal, lognormal),
    ] {
        let bound = bound(of);
        assert!((bound / wanted - 1.0).abs() < 1e-9, "{of:?}: {bound}");
    }
}

/// Six machines that spread from 20 to 120 tons a day and whose parts last some 2,000 tons; an old
/// one whose tons before its records nobody knows.
#[test]
fn one_life_without_tons_does_not_make_days_the_measure() {
    let folder = Folder::empty();
    let (mut machines, mut positions) = (String::new(), String::new());
    let (mut usage, mut changes) = (String::new(), String::new());
    let day = |n: u32| {
        let first = chrono::NaiveDate::from_ymd_opt(2020, 1, 1).expect("a day");
        first + chrono::Days::new(u64::from(n))
    };
    for k in 1..=6_u32 {
        let _ = writeln!(machines, "M{k},2020-01-01,");
        let _ = writeln!(positions, "M{k},p,P,");
        let tons = 20 * k;
        let mut date = 0;
        for life in [1_600, 2_000, 2_400] {
            for _ in 0..life / tons {
                let _ = writeln!(usage, "{},M{k},lime,{tons}", day(date));
                date += 1;
            }
            let _ = writeln!(changes, "{},M{k},p,worn", day(date - 1));
        }
    }
    let used = "2020-01-02,old,lime,10\n";
    folder
        .write(
            "machines.csv",
            format!("machine,in_service,records_from\n{machines}old,2019-01-01,2020-01-01\n"),
        )
        .write(
            "positions.csv",
            format!("machine,position,part,tons_before\n{positions}old,p,P,\n"),
        )
        .write("parts.csv", "part,family\nP,deflector\n")
        .write(
            "usage.csv",
            format!("date,machine,product,tons\n{usage}{used}"),
        )
        .write(
            "replacements.csv",
            format!("date,machine,position,reason\n{changes}"),
        );
    let records = folder.read().records;
    let study = Study::new(records, Families::built_in(), Options::default()).expect("a study");
    let fits = study.fits().expect("lives");
    assert_eq!(fits.families[0].measure, Some(Measure::Tons));
    let told = &fits.header.notes;
    let left_out = "some of their tons are not recorded: 1";
    assert!(told.iter().any(|n| n.contains(left_out)), "{told:#?}");
}

/// `tests/reference/three_groups.csv`; limits by `three_groups.py` with scipy. Below the estimate of the shape the likeliest
/// factors are nothing.
#[test]
fn a_limit_is_found_where_other_factors_become_nothing_on_the_way() {
    let folder = Folder::empty();
    folder
        .write("lives.csv", include_str!("../reference/three_groups.csv"))
        .write(
            "weibull.toml",
            "family = \"weibull\"\nmeasure = \"tons\"\ncounted = \"each\"\n",
        );
    let path = folder.path().join("lives.csv").display().to_string();
    let models = folder.path().display().to_string();
    let args = [
        "fit",
        "--lives",
        &path,
        "--models",
        &models,
        "--no-priors",
        "--reference",
        "ref",
        "--format",
        "json",
    ];
    let (status, out, err) = crate::cli::wearcast(&args);
    assert_eq!(status, wearcast::cli::ExitStatus::Done, "{err}");
    let told: serde_json::Value = serde_json::from_str(&out).expect("JSON");
    let fit = &told["families"][0];
    for (key, limit) in [("shape", 0.608_95), ("scale", 67.439), ("life50", 39.964)] {
        let low = fit[key]["low"].as_f64().expect("a limit");
        assert!((low / limit - 1.0).abs() < 1e-3, "{key}: {low}");
    }
}
