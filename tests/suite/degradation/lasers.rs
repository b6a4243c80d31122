//! Fifteen lasers whose current rose while they ran: paths read up to half time, life forecast.
//!
//! # Source
//! Increase of operating current in percent every 250 hours to 4,000 hours, failed at 10 %: `GaAs`
//! lasers in Meeker & Escobar (1998), *Statistical Methods for Reliability Data*, table C.17, from
//! memory. Three of the fifteen (1, 6 and 10) reach 10 % within the test, as the text says too.

use wearcast::degradation::family_path::{FamilyPath, PartPath};
use wearcast::degradation::{Crossing, LifePrior};
use wearcast::model::Distribution;

#[rustfmt::skip]
const PERCENT: [[f64; 16]; 15] = [
    [0.47, 0.93, 2.11, 2.72, 3.51, 4.34, 4.91, 5.48, 5.99, 6.72, 7.13, 8.00, 8.92, 9.49, 9.87, 10.94],
    [0.71, 1.22, 1.90, 2.30, 2.87, 3.75, 4.42, 4.99, 5.51, 6.07, 6.64, 7.16, 7.78, 8.42, 8.91, 9.28],
    [0.71, 1.17, 1.73, 1.99, 2.53, 2.97, 3.30, 3.94, 4.16, 4.45, 4.89, 5.27, 5.69, 6.02, 6.45, 6.88],
    [0.36, 0.62, 1.36, 1.95, 2.30, 2.95, 3.39, 3.79, 4.11, 4.50, 4.72, 4.98, 5.28, 5.61, 5.95, 6.14],
    [0.27, 0.61, 1.11, 1.77, 2.06, 2.58, 2.99, 3.38, 4.05, 4.63, 5.24, 5.62, 6.04, 6.32, 7.10, 7.59],
    [0.36, 1.39, 1.95, 2.86, 3.46, 3.81, 4.53, 5.35, 5.92, 6.71, 7.70, 8.61, 9.15, 9.95, 10.49, 11.01],
    [0.36, 0.92, 1.21, 1.46, 1.93, 2.39, 2.68, 2.94, 3.42, 4.09, 4.58, 4.84, 5.11, 5.57, 6.11, 7.17],
    [0.46, 1.07, 1.42, 1.77, 2.11, 2.40, 2.78, 3.02, 3.29, 3.75, 4.16, 4.76, 5.16, 5.46, 5.81, 6.24],
    [0.51, 0.93, 1.57, 1.96, 2.59, 3.29, 3.61, 4.11, 4.60, 4.91, 5.34, 5.84, 6.40, 6.84, 7.20, 7.88],
    [0.41, 1.49, 2.38, 3.00, 3.84, 4.50, 5.25, 6.26, 7.05, 7.80, 8.32, 8.93, 9.55, 10.45, 11.28, 12.21],
    [0.44, 1.00, 1.57, 1.96, 2.51, 2.84, 3.47, 4.01, 4.51, 4.80, 5.20, 5.66, 6.20, 6.54, 6.96, 7.42],
    [0.39, 0.80, 1.35, 1.74, 2.98, 3.59, 4.03, 4.44, 4.79, 5.22, 5.48, 5.96, 6.23, 6.99, 7.37, 7.88],
    [0.30, 0.74, 1.52, 1.85, 2.39, 2.95, 3.51, 3.92, 5.03, 5.47, 5.84, 6.50, 6.94, 7.39, 7.85, 8.09],
    [0.44, 0.70, 1.05, 1.35, 1.80, 2.55, 2.83, 3.39, 3.72, 4.09, 4.83, 5.41, 5.76, 6.14, 6.51, 6.88],
    [0.51, 0.83, 1.29, 1.52, 1.91, 2.27, 2.78, 3.42, 3.78, 4.11, 4.38, 4.63, 5.38, 5.84, 6.16, 6.62],
];
const EVERY: f64 = 250.0;
const LIMIT: f64 = 10.0;
/// Hours at which the forecast is made.
const NOW: f64 = 2_000.0;

/// Hours and share of the way to the limit, up to now.
fn readings(percent: &[f64; 16]) -> Vec<(f64, f64)> {
    let at = |k: usize| EVERY * (k + 1) as f64;
    let seen = (0..16).take_while(|k| at(*k) <= NOW);
    seen.map(|k| (at(k), percent[k] / LIMIT)).collect()
}

#[test]
fn half_of_the_paths_tells_which_lasers_fail() {
    // A family of which nothing much is known: half last 5,000 hours, give or take a factor of 3.
    let prior = LifePrior {
        distribution: Distribution::Lognormal,
        shape: 1.5,
        ln_scale: 5_000_f64.ln(),
    };
    let relative = |(x, z): &(f64, f64)| (x / 5_000.0, *z);
    let parts: Vec<PartPath> = PERCENT
        .iter()
        .map(|p| PartPath {
            readings: readings(p).iter().map(relative).collect(),
            entry: 0.0,
            low: None,
            end: NOW / 5_000.0,
        })
        .collect();
    let family = FamilyPath::of(&parts, 1).expect("readings");
    // The text takes these paths as straight lines.
    let mean = |of: fn(&wearcast::degradation::PathDraw) -> f64| {
        family.draws.iter().map(of).sum::<f64>() / family.draws.len() as f64
    };
    assert!(
        (mean(|d| d.power) - 1.0).abs() < 0.12,
        "{}",
        mean(|d| d.power)
    );
    assert!(mean(|d| d.error) < 0.04, "{}", mean(|d| d.error));
    let mut expected = 0.0;
    for (i, percent) in PERCENT.iter().enumerate() {
        let chances = family.draws.iter().map(|draw| {
            let crossing = Crossing::new(&prior, draw, &readings(percent), NOW);
            crossing.expect("readings").worn_after(4_000.0 - NOW)
        });
        let chance = chances.sum::<f64>() / family.draws.len() as f64;
        let failed = LIMIT <= percent[15];
        assert_eq!(failed, [0, 5, 9].contains(&i), "laser {}", i + 1);
        // Laser 2 ends at 9.28 % and laser 6 starts slowly: neither is clear at half time.
        if failed {
            assert!(0.4 < chance, "laser {}: {chance}", i + 1);
        } else {
            assert!(chance < 0.6, "laser {}: {chance}", i + 1);
        }
        expected += chance;
    }
    assert!((2.0..5.0).contains(&expected), "{expected} of 15, 3 failed");
}
