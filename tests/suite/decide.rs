//! Run or replace, against the age-replacement optimum and common sense.

use proptest::prelude::*;
use wearcast::decide::{Advice, Costs, Programme, Season};

use crate::reference::Check;

/// A season of many small days.
fn season(exposure: f64) -> Season {
    Season {
        exposure,
        days: None,
    }
}

fn weibull(shape: f64) -> impl Fn(f64) -> f64 {
    move |x: f64| x.powf(shape)
}

/// Opportunities fifty to a life, money hardly discounted: the threshold nears the optimum of
/// Barlow & Proschan (1965), recomputed with scipy in tests/reference.
#[test]
fn with_frequent_opportunities_the_threshold_is_the_age_replacement_optimum() {
    for id in ["age-1.5", "age-2", "age-2.5", "age-3.5"] {
        let check = Check::named(id);
        let shape = check.number("shape");
        let optimum = check.expected_numbers("t");
        for (ratio, t) in check.numbers("cost_ratio").iter().zip(optimum) {
            let costs = Costs {
                planned: 1.0,
                in_season: *ratio,
            };
            let programme = Programme::solve(weibull(shape), season(0.02), costs, 0.999);
            let threshold = programme.threshold().expect("it pays at some age");
            // Within one opportunity, and the discount's small delay.
            assert!(
                (threshold - t).abs() < 0.03 + 0.03 * t,
                "{id}, {ratio}: {threshold}, {t}"
            );
        }
    }
}

#[test]
fn it_never_pays_without_wear_or_without_a_dearer_stop() {
    let check = Check::named("age-never");
    for case in check.input("cases").as_array().expect("cases") {
        let (shape, ratio) = (
            case[0].as_f64().expect("shape"),
            case[1].as_f64().expect("ratio"),
        );
        let costs = Costs {
            planned: 1.0,
            in_season: ratio,
        };
        let programme = Programme::solve(weibull(shape), season(0.3), costs, 0.93);
        assert_eq!(programme.threshold(), None, "{case}");
    }
}

/// A life uniform on 0 to 40,000 km: the book's list of ages is cheapest at 30,000; between them
/// `(1 + u) / (u - u^2 / 2)` is least at `u = sqrt(3) - 1`, 29,282 km.
#[test]
fn a_uniform_life_is_replaced_at_the_age_of_the_textbook() {
    let check = Check::named("age-uniform");
    let upper = check.number("upper");
    let costs = Costs {
        planned: check.number("cp"),
        in_season: check.number("cf"),
    };
    let hazard = move |x: f64| -(-(x / upper).min(1.0 - 1e-12)).ln_1p();
    let programme = Programme::solve(hazard, season(0.01 * upper), costs, 0.9995);
    let threshold = programme.threshold().expect("it pays at some age");
    let optimum = (3.0_f64.sqrt() - 1.0) * upper;
    assert!((threshold / optimum - 1.0).abs() < 0.03, "{threshold}");
    let ages = check.numbers("t");
    let rates = check.expected_numbers("rate");
    let cheapest = (0..ages.len()).min_by(|a, b| rates[*a].total_cmp(&rates[*b]));
    let nearest = ages.iter().map(|t| (t - threshold).abs());
    let nearest: Vec<f64> = nearest.collect();
    let nearest = (0..ages.len()).min_by(|a, b| nearest[*a].total_cmp(&nearest[*b]));
    assert_eq!(cheapest, nearest);
}

/// A part that surely wears out this season, nothing after it mattering: the saving is the
/// difference of the costs, less what an early change gives away.
#[test]
fn a_part_at_its_end_saves_about_the_price_of_the_stop() {
    let costs = Costs {
        planned: 100.0,
        in_season: 600.0,
    };
    let programme = Programme::solve(weibull(8.0), season(0.2), costs, 0.93);
    let saving = programme.saving(1.5);
    assert!((350.0..=500.0).contains(&saving), "{saving}");
    assert!(programme.saving(0.0) < 0.0);
}

/// Parts that last 1.0 to the dot, a season of 1.2: of small days, a part of age 0.9 is changed at 0.1
/// and its successor at 1.1. In three days of 0.4 it is changed at the end of the first, 0.4, and its
/// successor sees the season out.
#[test]
fn a_part_changed_at_the_end_of_a_long_day_has_done_more() {
    let costs = Costs {
        planned: 100.0,
        in_season: 600.0,
    };
    let to_the_dot = |x: f64| if x < 1.0 - 1e-9 { 0.0 } else { 1_000.0 };
    let saving = |days| {
        let season = Season {
            exposure: 1.2,
            days,
        };
        Programme::solve(to_the_dot, season, costs, 1e-6).saving(0.9)
    };
    assert!((saving(None) - (2.0 * 600.0 - 600.0 - 100.0)).abs() < 1.0);
    assert!((saving(Some(3)) - (600.0 - 600.0 - 100.0)).abs() < 1.0);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 40, failure_persistence: None, ..ProptestConfig::default() })]

    /// A dearer stop never raises the age at which it pays to replace.
    #[test]
    fn a_dearer_stop_never_waits_longer(
        shape in 1.2..5.0_f64, exposure in 0.1..0.8_f64, stop in 1.5..6.0_f64, more in 1.0..3.0_f64,
    ) {
        let age = |in_season| {
            let costs = Costs { planned: 1.0, in_season };
            Programme::solve(weibull(shape), season(exposure), costs, 0.93).threshold().unwrap_or(f64::INFINITY)
        };
        prop_assert!(age(stop * more) <= age(stop));
    }
}

#[test]
fn advice_says_when_to_look() {
    assert_eq!(Advice::of(&[5.0, 3.0, -1.0], true), Advice::ReplaceNow);
    assert_eq!(Advice::of(&[5.0, 3.0, -1.0], false), Advice::Inspect);
    assert_eq!(Advice::of(&[-9.0, -9.0, 1.0], true), Advice::Inspect);
    assert_eq!(
        Advice::of(&[-9.0, -9.0, -9.0, -9.0, 1.0], true),
        Advice::Run
    );
}

/// Half of a season is left, and whole ones follow: savings of a programme written apart from the crate,
/// `tests/reference/within_season.py`, whose first column is of a whole season.
#[test]
fn within_a_season_the_years_to_come_are_whole() {
    let scale = 700.0 / std::f64::consts::LN_2.powf(1.0 / 6.0);
    let hazard = |x: f64| (x / scale).powi(6);
    let costs = Costs {
        planned: 100.0,
        in_season: 400.0,
    };
    let work = |days: usize| Season {
        exposure: 10.0 * days as f64,
        days: Some(days),
    };
    let whole = Programme::solve(hazard, work(52), costs, 1.0 / 1.08);
    let days = [10.0; 52];
    let half = whole.after(hazard, &days[26..], 1.0 / 1.08, 520.0);
    let again = whole.after(hazard, &days, 1.0 / 1.08, 520.0);
    for (age, of_whole, of_half) in [
        (260.0, 133.322, -63.407),
        (360.0, 221.256, -4.355),
        (460.0, 258.171, 90.524),
        (520.0, 265.743, 154.444),
    ] {
        for (programme, wanted) in [(&whole, of_whole), (&half, of_half), (&again, of_whole)] {
            let saving = programme.saving(age);
            assert!(
                (saving - wanted).abs() < 0.5,
                "{age}: {saving} for {wanted}"
            );
        }
    }
    // Nothing is left: it can as well be done when the season is over.
    let end = whole.after(hazard, &[], 1.0, 360.0);
    assert!(end.saving(360.0).abs() < 1e-9, "{}", end.saving(360.0));
}

/// Lives of which the longest are six hundred seasons, so that a first season in even steps of age would have
/// less than one: savings of `tests/reference/within_season.py`.
#[test]
fn a_season_counts_however_long_lives_may_be() {
    use statrs::distribution::{ContinuousCDF, Normal};
    let law = Normal::standard();
    let hazard = |x: f64| -law.sf((x.max(1e-300) / 1_000.0).ln() / 0.625).ln();
    let costs = Costs {
        planned: 100.0,
        in_season: 1_100.0,
    };
    let season = Season {
        exposure: 100.0,
        days: Some(20),
    };
    let programme = Programme::solve(hazard, season, costs, 1.0 / 1.08);
    let first = programme.after(hazard, &[5.0; 20], 1.0 / 1.08, 1_500.0);
    for (age, wanted) in [
        (200.0, -22.030),
        (500.0, 41.839),
        (900.0, 76.314),
        (1_500.0, 83.224),
    ] {
        let saving = first.saving(age);
        assert!(
            (saving - wanted).abs() < 5.0,
            "{age}: {saving} for {wanted}"
        );
    }
}

/// Short days in spring, long ones in autumn, and a part that is seven lives old: it is worn on the first day, after a
/// tenth of a long one, and the next has all the rest to wear. A season of days as long as the long ones would give
/// the part a whole one more. By hand for the first season, of a life of one exposure alone: run on, and a part is
/// changed after 10 and after 1,010; replace now, and one is after 1,000.
#[test]
fn a_part_that_is_as_good_as_worn_has_its_next_day_left_and_no_more() {
    let hazard = |x: f64| (x / 990.0).powi(400);
    let costs = Costs {
        planned: 1_000.0,
        in_season: 1_100.0,
    };
    let days = [[10.0; 20], [100.0; 20]].concat();
    let season = Season {
        exposure: 2_200.0,
        days: Some(24),
    };
    let programme = Programme::solve(hazard, season, costs, 0.5).after(hazard, &days, 0.5, 6_600.0);
    // Both have changed two parts by the season's end, the one who ran on one of them at once.
    let saving = programme.saving(6_600.0);
    assert!((85.0..115.0).contains(&saving), "{saving}");
}

/// The machine leaves when the season is over. By hand: a part that is sure to wear out, with a new one that will not,
/// costs a stop; a new one costs nothing by running on.
#[test]
fn in_its_last_season_a_machine_needs_no_part_for_the_years_after() {
    let hazard = |x: f64| (x / 1_000.0).powi(20);
    let costs = Costs {
        planned: 100.0,
        in_season: 400.0,
    };
    let programme = Programme::of_the_last_season(hazard, &[10.0; 10], costs, 1_160.0);
    assert!(
        (programme.saving(1_160.0) - 300.0).abs() < 5.0,
        "{}",
        programme.saving(1_160.0)
    );
    assert!(
        (programme.saving(0.0) + 100.0).abs() < 1e-6,
        "{}",
        programme.saving(0.0)
    );
}

/// A few tons planned for the year after make no old part a young one: with a season of a hundredth the part still
/// goes for certain in the one under way, and changing it saves about the price of the stop.
#[test]
fn a_tiny_season_after_it_does_not_hide_an_old_part() {
    let hazard = weibull(6.0);
    let costs = Costs {
        planned: 1.0,
        in_season: 5.0,
    };
    for exposure in [0.000_2, 0.002, 0.02, 0.2] {
        let years = Programme::solve(&hazard, season(exposure), costs, 0.93);
        let saving = years.after(&hazard, &[0.1; 5], 0.93, 1.4).saving(1.4);
        assert!((3.0..4.2).contains(&saving), "{exposure}: {saving}");
    }
}
