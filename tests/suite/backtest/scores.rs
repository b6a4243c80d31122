//! Laws of scores.

use proptest::prelude::*;
use wearcast::score::{self, Calibration, Placing};

fn samples() -> impl Strategy<Value = Vec<f64>> {
    prop::collection::vec(-50.0..50.0_f64, 1..40).prop_map(|mut values| {
        values.sort_by(f64::total_cmp);
        values
    })
}

/// `E|X - y| - E|X - X'| / 2`, pair by pair.
fn by_pairs(samples: &[f64], actual: f64) -> f64 {
    let n = samples.len() as f64;
    let distance: f64 = samples.iter().map(|x| (x - actual).abs()).sum();
    let pairs = samples
        .iter()
        .flat_map(|x| samples.iter().map(move |y| (x - y).abs()));
    distance / n - pairs.sum::<f64>() / (2.0 * n * n)
}

proptest! {
    #[test]
    fn a_score_is_never_negative_and_is_that_of_its_pairs(samples in samples(), actual in -80.0..80.0_f64) {
        let crps = score::crps(&samples, actual);
        prop_assert!(0.0 <= crps);
        prop_assert!((crps - by_pairs(&samples, actual)).abs() < 1e-9);
        let error: f64 = samples.iter().map(|x| (x - actual).abs()).sum();
        prop_assert!(crps <= error / samples.len() as f64 + 1e-9);
    }

    #[test]
    fn the_score_of_a_point_is_its_error(point in -50.0..50.0_f64, n in 1..5_usize, actual in -80.0..80.0_f64) {
        let error = score::of_point(point, actual);
        prop_assert!((score::crps(&vec![point; n], actual) - error).abs() < 1e-12);
    }

    #[test]
    fn every_outcome_lies_somewhere_in_its_forecast(samples in samples(), outcomes in prop::collection::vec(-80.0..80.0_f64, 1..20)) {
        // Rounded, so that outcomes and samples meet as counts do.
        let samples: Vec<f64> = samples.iter().map(|x| (x / 10.0).round()).collect();
        let placings: Vec<Placing> = outcomes
            .iter()
            .map(|y| Placing::of(&samples, (y / 10.0).round()))
            .collect();
        let calibration = Calibration::of(&placings);
        let sum: f64 = calibration.tenths.iter().sum();
        prop_assert!((sum - outcomes.len() as f64).abs() < 1e-9);
        for held in &calibration.quantiles {
            prop_assert!(held.quantile <= held.said + 1e-12);
        }
    }
}

#[test]
fn a_forecast_that_means_what_it_says_spreads_its_outcomes_evenly() {
    // Outcomes 0, 1, 2 as often as forecast: half, a quarter, a quarter.
    let forecast = [0.0, 0.0, 1.0, 2.0];
    let placings = forecast.map(|actual| Placing::of(&forecast, actual));
    let calibration = Calibration::of(&placings);
    for tenth in calibration.tenths {
        assert!((tenth - 0.4).abs() < 1e-12, "{tenth}");
    }
    for held in calibration.quantiles {
        assert!((held.said - held.happened).abs() < 1e-12);
    }
}
