//! Paths that do not hold a rate at all: what a part wore before says nothing of how fast it will
//! go on. The model is of rates with wander; its intervals must hold for such parts too.
//!
//! # Source
//! `gamma-passage` and `gamma-wiener` in `tests/reference/checks.json`: when a gamma process and a
//! Wiener process with drift first reach a limit. The paths played here are held to them first.

use rand::{RngExt as _, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution as _, Gamma, StandardNormal};
use wearcast::degradation::family_path::{FamilyPath, PartPath};
use wearcast::degradation::{Crossing, LifePrior, PathDraw};
use wearcast::model::Distribution;

use crate::reference::Check;

/// Use from one point of a played path to the next.
const STEP: f64 = 1.0;
/// Measuring error, as a share of the way to the limit.
const GAUGE: f64 = 0.02;
const FLEET: usize = 1_500;

/// A path up to its limit: share of the way there after each step, and the use when it got there.
struct Path {
    shares: Vec<f64>,
    life: f64,
}

impl Path {
    fn play(limit: f64, mut step: impl FnMut() -> f64) -> Self {
        let (mut wear, mut shares) = (0.0, vec![0.0]);
        while wear < limit {
            wear += step();
            shares.push(wear / limit);
        }
        let life = (shares.len() - 1) as f64 * STEP;
        Self { shares, life }
    }

    /// Readings by a gauge, at some of the uses up to an age.
    fn read(&self, age: f64, count: usize, rng: &mut ChaCha8Rng) -> Vec<(f64, f64)> {
        let mut readings: Vec<(f64, f64)> = (0..count)
            .map(|_| {
                let at = (age * rng.random_range(0.3..1.0) / STEP).floor();
                let error: f64 = StandardNormal.sample(rng);
                (at * STEP, self.shares[at as usize] + GAUGE * error)
            })
            .collect();
        readings.sort_by(|a, b| a.0.total_cmp(&b.0));
        readings
    }

    /// The whole life, read three times, use as a multiple of the median life.
    fn worn(&self, median: f64, rng: &mut ChaCha8Rng) -> PartPath {
        let readings = self.read(self.life, 3, rng);
        PartPath {
            readings: readings.iter().map(|(x, z)| (x / median, *z)).collect(),
            entry: 0.0,
            low: Some(0.97 * self.life / median),
            end: self.life / median,
        }
    }
}

/// The share of paths over by each use of the check, within the error of so many.
fn as_the_reference(check: &Check, paths: &[Path]) {
    let expected = check.expected_numbers("p_fail");
    for (t, expected) in check.numbers("t").iter().zip(expected) {
        let over = paths.iter().filter(|p| p.life <= *t).count() as f64 / FLEET as f64;
        let error = (expected * (1.0 - expected) / FLEET as f64).sqrt();
        assert!(
            (over - expected).abs() < 4.0 * error + 0.01,
            "{t}: {over}, {expected}"
        );
    }
}

fn mean_and_sd(values: impl Iterator<Item = f64> + Clone) -> (f64, f64) {
    let n = values.clone().count() as f64;
    let mean = values.clone().sum::<f64>() / n;
    (
        mean,
        (values.map(|v| (v - mean).powi(2)).sum::<f64>() / n).sqrt(),
    )
}

/// Parts still good whose life ends inside the 80 % interval, and below its middle, are as many as
/// they should be; and readings tell more than the family alone.
fn covered(paths: &[Path], rng: &mut ChaCha8Rng) {
    let (known, asked) = paths.split_at(80);
    let (mean, sd) = mean_and_sd(known.iter().map(|p| p.life.ln()));
    let median = mean.exp();
    let worn: Vec<PartPath> = known.iter().map(|p| p.worn(median, rng)).collect();
    let family = FamilyPath::of(&worn, 1).expect("readings");
    let prior = LifePrior {
        distribution: Distribution::Lognormal,
        shape: sd.recip(),
        ln_scale: mean,
    };
    let (mut count, mut inside, mut below, mut width, mut alone) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for path in &asked[..400] {
        let age = median * rng.random_range(0.1..1.2);
        if path.life <= age {
            continue;
        }
        let readings = path.read(age, 2, rng);
        let mut left = Vec::new();
        for draw in family.draws.iter().step_by(8) {
            if let Some(crossing) = Crossing::new(&prior, draw, &readings, age) {
                left.extend((0..10).map(|k| crossing.left((f64::from(k) + 0.5) / 10.0)));
            }
        }
        left.sort_by(f64::total_cmp);
        let at = |p: f64| left[(p * left.len() as f64) as usize];
        let truth = path.life - age;
        count += 1.0;
        inside += f64::from(u8::from(at(0.1) <= truth && truth <= at(0.9)));
        below += f64::from(u8::from(truth < at(0.5)));
        width += at(0.9) - at(0.1);
        let blind = PathDraw {
            error: 50.0,
            ..super::PATH
        };
        let blind = Crossing::new(&prior, &blind, &readings, age).expect("readings");
        alone += blind.left(0.9) - blind.left(0.1);
    }
    assert!(250.0 < count, "{count} parts still good");
    let (inside, below, width) = (inside / count, below / count, width / alone);
    // Three standard errors of so many parts.
    assert!(
        (0.8 - inside).abs() < 3.0 * (0.16 / count).sqrt(),
        "{inside}"
    );
    assert!((0.5 - below).abs() < 3.0 * (0.25 / count).sqrt(), "{below}");
    assert!(width < 0.95, "{width}");
}

#[test]
fn paths_of_a_gamma_process_are_covered() {
    let check = Check::named("gamma-passage");
    let shape = check.number("a") * STEP;
    let steps = Gamma::new(shape, check.number("theta")).expect("positive");
    let mut rng = ChaCha8Rng::seed_from_u64(21);
    let paths: Vec<Path> = (0..FLEET)
        .map(|_| Path::play(check.number("L"), || steps.sample(&mut rng)))
        .collect();
    as_the_reference(&check, &paths);
    covered(&paths, &mut rng);
}

#[test]
fn paths_of_a_wiener_process_are_covered() {
    let check = Check::named("gamma-wiener");
    let (drift, sd) = (check.number("v") * STEP, check.number("s") * STEP.sqrt());
    let mut rng = ChaCha8Rng::seed_from_u64(22);
    let paths: Vec<Path> = (0..FLEET)
        .map(|_| {
            Path::play(check.number("L"), || {
                let z: f64 = StandardNormal.sample(&mut rng);
                drift + sd * z
            })
        })
        .collect();
    as_the_reference(&check, &paths);
    covered(&paths, &mut rng);
}
