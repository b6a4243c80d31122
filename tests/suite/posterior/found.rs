//! Parts of unknown age: a fit leaves them out, a forecast counts what they do.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use wearcast::family::Family;
use wearcast::forecast::summary::quantile;
use wearcast::model::Observations;
use wearcast::model::assess::{Assessment, Counts, FamilyLives, Wanted, assess_lives};
use wearcast::model::found::{Found, FoundPart};
use wearcast::model::observations::{End, Observation};
use wearcast::units::Measure;

const MACHINES: u32 = 120;
const SHAPE: f64 = 2.5;
const SCALE: f64 = 1_000.0;
/// Use on record, and of a day.
const SEEN: f64 = 400.0;
const DAY: f64 = 10.0;

fn life(rng: &mut ChaCha8Rng) -> f64 {
    let uniform: f64 = rng.random();
    SCALE * (-(-uniform).ln_1p()).powf(1.0 / SHAPE)
}

/// Machines of any age up to five lives, each with one part that was changed as it wore out, of which
/// the last 40 days are on record.
fn machines(seed: u64) -> FamilyLives {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let (mut known, mut found) = (Vec::new(), Vec::new());
    let names: Vec<String> = (0..MACHINES).map(|m| format!("{m:03}")).collect();
    // Places are among the machines of which a part was fitted on record.
    let mut with_lives: Vec<String> = Vec::new();
    for name in &names {
        let before = 5.0 * SCALE * rng.random::<f64>();
        let mut until = life(&mut rng);
        while until <= before {
            until += life(&mut rng);
        }
        // Days on which the part of that machine wore out, from the first on record.
        let mut fitted: Option<f64> = None;
        let worn_on_record = until - before <= SEEN - DAY;
        let place = worn_on_record.then_some(with_lives.len());
        let place = place.and_then(|place| u32::try_from(place).ok());
        if worn_on_record {
            with_lives.push(name.clone());
        }
        loop {
            let end = (((until - before) / DAY).ceil() * DAY).min(SEEN);
            let worn = until - before <= SEEN;
            let low = if worn { end - DAY } else { end };
            match fitted {
                None => found.push((
                    place,
                    name.as_str(),
                    FoundPart {
                        before: Some(vec![before]),
                        low: vec![low],
                        worn: worn.then(|| vec![end]),
                        count: 1.0,
                    },
                )),
                Some(day) => known.push(Observation {
                    entry: vec![0.0],
                    low: vec![low - day],
                    end: vec![end - day],
                    known: if worn { End::Between } else { End::Censored },
                    count: 1.0,
                    machine: place,
                }),
            }
            if SEEN <= end {
                break;
            }
            fitted = Some(end);
            until = before + end + life(&mut rng);
        }
    }
    let observations = Observations::new(1, known);
    FamilyLives {
        measure: Measure::Tons,
        groups: vec!["dry".to_owned()],
        found: Found::new(found),
        n_machines: names.len(),
        machines: with_lives,
        counts: Counts {
            lives: observations.lives(),
            worn: observations.worn(),
            ..Counts::default()
        },
        observations,
    }
}

fn assessed(lives: FamilyLives, found: bool, machine_effect: bool) -> Assessment {
    let text = "family = \"fin\"\nmeasure = \"tons\"\ncounted = \"each\"\n[prior]\nshape = { median = 2.0, spread = 2.0 }\nlife50 = { median = 2000, spread = 5.0 }\n";
    let wanted = Wanted {
        priors: true,
        machine_effect,
        found,
        draws: 1_000,
        seed: 1,
    };
    let family = Family::from_toml(text).expect("valid");
    assess_lives(&family, lives, wanted, Vec::new())
}

/// Median lives, sorted.
fn lives50(assessment: &Assessment) -> Vec<f64> {
    let draws = assessment.draws.as_ref().expect("draws");
    assert_eq!(draws.health.trouble(), None, "{:?}", draws.health);
    draws.sorted(|theta| (theta[1] + 2_f64.ln().ln() / theta[0].exp()).exp())
}

/// In 40 days of a life of a hundred hardly any part that was fitted on record wears out, so that the
/// known lives leave the median to the prior, which says twice the truth; the parts that were there do
/// not.
#[test]
fn parts_of_unknown_age_tell_how_long_parts_last() {
    let truth = SCALE * 2_f64.ln().powf(1.0 / SHAPE);
    let width = |sorted: &[f64]| (quantile(sorted, 0.95) / quantile(sorted, 0.05)).ln();
    let (mut covered, mut misses) = (0, 0.0);
    for seed in 0..8 {
        let lives = machines(seed);
        let counted = assessed(lives.clone(), true, seed % 2 == 0);
        let with = lives50(&counted);
        let without = lives50(&assessed(lives, false, false));
        let inside = quantile(&with, 0.05) < truth && truth < quantile(&with, 0.95);
        covered += usize::from(inside);
        assert!(
            width(&with) < 0.5 * width(&without),
            "{} of {}",
            width(&with),
            width(&without)
        );
        let miss = (quantile(&with, 0.5) / truth).ln();
        // About fifty of them wear out, which tells a life to a seventh.
        assert!(miss.abs() < 3.0 / 7.0, "{miss}");
        misses += miss / 8.0;
        let said = "parts of unknown age that the forecast counts all the same";
        assert!(counted.notes.iter().any(|note| note.contains(said)));
    }
    // 7.2 expected of a 90 % interval.
    assert!(5 <= covered, "{covered} of 8");
    assert!(misses.abs() < 0.15, "{misses}");
}

/// Of a part installed nobody knows when, the first life is kept out of the fit.
#[test]
fn a_fit_takes_nothing_from_them() {
    let lives = machines(3);
    let none = FamilyLives {
        found: Found::default(),
        ..lives.clone()
    };
    let with = assessed(lives, false, true);
    let without = assessed(none, false, true);
    assert_eq!(with.likeliest, without.likeliest);
    assert_eq!(with.draws, without.draws);
    assert_eq!(with.notes, without.notes);
}

/// Alike ones are joined, in whatever order they come.
#[test]
fn the_order_of_found_parts_is_of_no_account() {
    let part = |low: f64| FoundPart {
        before: None,
        low: vec![low],
        worn: None,
        count: 1.0,
    };
    let parts = vec![
        (Some(1), "b", part(30.0)),
        (None, "a", part(20.0)),
        (Some(1), "b", part(10.0)),
        (Some(1), "b", part(30.0)),
        (None, "c", part(20.0)),
    ];
    let mut turned = parts.clone();
    turned.reverse();
    let found = Found::new(parts);
    assert_eq!(found, Found::new(turned));
    assert_eq!((found.count(), found.worn()), (5.0, 0.0));
}
