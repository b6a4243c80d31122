//! Simulated paths of known truth: what made them is found again, and intervals mean what they say.

use rand::{RngExt as _, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution as _, StandardNormal};
use statrs::distribution::{ContinuousCDF as _, Normal};
use wearcast::degradation::family_path::{FamilyPath, PartPath};
use wearcast::degradation::{Crossing, LifePrior, PathDraw};
use wearcast::model::Distribution;

/// Median life of the family.
const MEDIAN: f64 = 2_000.0;

/// The truth behind the paths.
const TRUTH: PathDraw = PathDraw {
    power: 1.1,
    error: 0.04,
    habit: -0.05,
    wander: 0.1,
    ln_rate: -0.05,
    spread: 0.35,
};

struct Part {
    readings: Vec<(f64, f64)>,
    life: f64,
    age: f64,
}

/// A part that lives to be looked at a few times, up to an age that has nothing to do with its life.
fn part(rng: &mut ChaCha8Rng) -> Part {
    loop {
        let age = MEDIAN * rng.random_range(0.1..1.6);
        let part = life(|_| age, rng);
        if part.age < part.life {
            return part;
        }
    }
}

/// A part looked at up to an age that may depend on its life.
fn life(age: impl Fn(f64) -> f64, rng: &mut ChaCha8Rng) -> Part {
    let mut normal = |sd: f64| -> f64 {
        let z: f64 = StandardNormal.sample(rng);
        sd * z
    };
    let ln_rate = TRUTH.ln_rate + normal(TRUTH.spread);
    let ln_end = TRUTH.habit + normal(TRUTH.wander);
    let life = MEDIAN * ((ln_end - ln_rate) / TRUTH.power).exp();
    let age = age(life);
    let count = rng.random_range(1..=4);
    let mut readings: Vec<(f64, f64)> = (0..count)
        .map(|_| {
            let x = age * rng.random_range(0.2..1.0);
            let z: f64 = StandardNormal.sample(rng);
            let wear = ln_rate.exp() * (x / MEDIAN).powf(TRUTH.power);
            (x, wear + TRUTH.error * z)
        })
        .collect();
    readings.sort_by(|a, b| a.0.total_cmp(&b.0));
    Part {
        readings,
        life,
        age,
    }
}

fn parts(count: usize, seed: u64) -> Vec<Part> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    (0..count).map(|_| part(&mut rng)).collect()
}

/// Parts whose whole lives are on record, looked at up to nine tenths of them.
fn ended(count: usize, seed: u64) -> Vec<Part> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    (0..count)
        .map(|_| life(|life| 0.9 * life, &mut rng))
        .collect()
}

fn relative(part: &Part, worn: bool) -> PartPath {
    PartPath {
        readings: part
            .readings
            .iter()
            .map(|(x, z)| (x / MEDIAN, *z))
            .collect(),
        entry: 0.0,
        low: worn.then_some(0.98 * part.life / MEDIAN),
        end: if worn { part.life } else { part.age } / MEDIAN,
    }
}

fn middle(draws: &[PathDraw], of: impl Fn(&PathDraw) -> f64) -> (f64, f64, f64) {
    let mut values: Vec<f64> = draws.iter().map(of).collect();
    values.sort_by(f64::total_cmp);
    let at = |p: f64| values[(p * (values.len() - 1) as f64) as usize];
    (at(0.01), at(0.5), at(0.99))
}

#[test]
fn what_made_the_paths_is_found_again() {
    let paths: Vec<PartPath> = ended(150, 11).iter().map(|p| relative(p, true)).collect();
    let family = FamilyPath::of(&paths, 1).expect("readings");
    for (name, of, truth) in [
        ("power", (|d| d.power) as fn(&PathDraw) -> f64, TRUTH.power),
        ("error", |d| d.error, TRUTH.error),
        ("habit", |d| d.habit, TRUTH.habit),
        ("wander", |d| d.wander, TRUTH.wander),
        ("rate", |d| d.ln_rate, TRUTH.ln_rate),
        ("spread", |d| d.spread, TRUTH.spread),
    ] {
        let (low, half, high) = middle(&family.draws, of);
        assert!(
            low < truth && truth < high,
            "{name}: {low}..{high} misses {truth}"
        );
        assert!((half - truth).abs() < 0.1, "{name}: {half}, {truth}");
    }
    assert!(middle(&family.draws, |d| d.error).2 < 0.06);
}

#[test]
fn a_rate_is_found_again_and_few_readings_lean_on_the_family() {
    let worn = PartPath {
        readings: vec![(0.5, 1.2)],
        entry: 0.0,
        low: None,
        end: 0.5,
    };
    let often = PartPath {
        readings: (1..=8)
            .map(|k| (f64::from(k) / 16.0, f64::from(k) * 0.15))
            .collect(),
        ..worn.clone()
    };
    let draw = PathDraw {
        power: 1.0,
        error: 0.2,
        habit: 0.5,
        ..TRUTH
    };
    let own = 2.4_f64.ln();
    let (once, once_sd) = draw.ln_rate_of(&worn);
    let (many, many_sd) = draw.ln_rate_of(&often);
    assert!(
        draw.ln_rate < once && once < many && many < own,
        "{once}, {many}"
    );
    assert!(many_sd < once_sd && once_sd < draw.spread);
}

#[test]
fn measured_parts_have_narrower_intervals_that_still_hold() {
    let lives = ended(60, 12);
    let paths: Vec<PartPath> = lives.iter().map(|p| relative(p, true)).collect();
    let family = FamilyPath::of(&paths, 1).expect("readings");
    // What a fit of many lives would say of the family: a normal log life.
    let sd = TRUTH.spread.hypot(TRUTH.wander) / TRUTH.power;
    let prior = LifePrior {
        distribution: Distribution::Lognormal,
        shape: 1.0 / sd,
        ln_scale: MEDIAN.ln() + (TRUTH.habit - TRUTH.ln_rate) / TRUTH.power,
    };
    let blind = PathDraw {
        error: 50.0,
        ..TRUTH
    };
    let (mut inside, mut below, mut width, mut blind_width) = (0.0, 0.0, 0.0, 0.0);
    let measured = parts(400, 13);
    for part in &measured {
        let of = |draw: &PathDraw| Crossing::new(&prior, draw, &part.readings, part.age);
        let mut left = Vec::new();
        for draw in family.draws.iter().step_by(4) {
            let crossing = of(draw).expect("readings");
            left.extend((0..10).map(|k| crossing.left((f64::from(k) + 0.5) / 10.0)));
        }
        left.sort_by(f64::total_cmp);
        let at = |p: f64| left[(p * left.len() as f64) as usize];
        let truth = part.life - part.age;
        inside += f64::from(u8::from(at(0.1) <= truth && truth <= at(0.9)));
        below += f64::from(u8::from(truth < at(0.5)));
        width += at(0.9) - at(0.1);
        let alone = of(&blind).expect("readings");
        blind_width += alone.left(0.9) - alone.left(0.1);
    }
    let count = measured.len() as f64;
    assert!(
        (0.72..0.88).contains(&(inside / count)),
        "{}",
        inside / count
    );
    assert!((0.42..0.58).contains(&(below / count)), "{}", below / count);
    assert!(width < 0.65 * blind_width, "{}", width / blind_width);
}

/// Machines that wear out part after part, of which only those in service at the end were measured:
/// the slower ones, as a day at random finds long lives more often than short ones.
#[test]
fn parts_in_service_are_the_slower_ones_of_their_family() {
    let (of_all, of_read) = off_by(60);
    assert!(of_all.abs() < 0.06, "{of_all}");
    // The same without the lives that nobody measured, which is what the test is there for.
    assert!(0.12 < of_read, "{of_read}");
}

/// More lives than are looked at keep the proportion of those with readings and those without.
#[test]
fn a_large_fleet_has_the_paths_of_a_small_one() {
    let (of_all, _) = off_by(1_500);
    assert!(of_all.abs() < 0.03, "{of_all}");
}

/// By how much the log life is off, of all lives and of those in service alone.
fn off_by(machines: usize) -> (f64, f64) {
    let mut rng = ChaCha8Rng::seed_from_u64(15);
    let (mut in_service, mut worn) = (Vec::new(), Vec::new());
    for _ in 0..machines {
        let mut left = MEDIAN * rng.random_range(1.5..4.0);
        loop {
            let part = life(|life| life.min(left), &mut rng);
            if left <= part.life {
                in_service.push(relative(&part, false));
                break;
            }
            left -= part.life;
            worn.push(PartPath {
                readings: Vec::new(),
                ..relative(&part, true)
            });
        }
    }
    let off = |paths: &[PartPath]| {
        let family = FamilyPath::of(paths, 1).expect("readings");
        assert_eq!(family.lives, in_service.len());
        let ln_life = |d: &PathDraw| (d.habit - d.ln_rate) / d.power;
        middle(&family.draws, ln_life).1 - ln_life(&TRUTH)
    };
    (off(&[in_service.clone(), worn].concat()), off(&in_service))
}

/// A life that nobody measured is normal in its logarithm; its tails by statrs.
#[test]
fn a_life_without_readings_counts_by_its_ending() {
    let normal = Normal::new(
        (TRUTH.habit - TRUTH.ln_rate) / TRUTH.power,
        TRUTH.spread.hypot(TRUTH.wander) / TRUTH.power,
    )
    .expect("a distribution");
    let at = |x: f64| normal.cdf(x.ln());
    let (entry, low, end): (f64, f64, f64) = (0.4, 0.8, 1.1);
    let seen = |low, end| {
        TRUTH.log_likelihood(&PartPath {
            readings: Vec::new(),
            entry,
            low,
            end,
        })
    };
    let worn = ((at(end) - at(low)) / (1.0 - at(entry))).ln();
    let good = ((1.0 - at(end)) / (1.0 - at(entry))).ln();
    assert!((seen(Some(low), end) - worn).abs() < 1e-9);
    assert!((seen(None, end) - good).abs() < 1e-9);
}

#[test]
fn the_same_seed_gives_the_same_draws() {
    let paths: Vec<PartPath> = parts(20, 14).iter().map(|p| relative(p, false)).collect();
    assert_eq!(FamilyPath::of(&paths, 3), FamilyPath::of(&paths, 3));
}
