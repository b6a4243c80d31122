//! What a family's notes say of its posterior, and how many wear-outs are still wanted.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use wearcast::family::Family;
use wearcast::model::Observations;
use wearcast::model::assess::{Assessment, Counts, FamilyLives, Wanted, assess_lives};
use wearcast::model::found::Found;
use wearcast::model::observations::{End, Observation};
use wearcast::report::fits::FitsReport;
use wearcast::report::{Header, json, terminal};
use wearcast::study::fits;
use wearcast::units::{Measure, Units};

/// `worn` lives of a Weibull shape 2.5 and scale `scale`, and `good` still in service at half of it.
fn lives(worn: usize, good: usize, scale: f64) -> FamilyLives {
    let mut rng = ChaCha8Rng::seed_from_u64(3);
    let mut rows = Vec::new();
    for k in 0..worn + good {
        // Evenly laid quantiles with a little noise: an ordinary sample, every time.
        let p = ((k % worn.max(1)) as f64 + rng.random_range(0.4..0.6)) / worn.max(1) as f64;
        let life = scale * (-(-p).ln_1p()).powf(1.0 / 2.5);
        let known = if k < worn {
            End::Between
        } else {
            End::Censored
        };
        let end = if k < worn { life } else { 0.5 * scale };
        rows.push(Observation {
            entry: vec![0.0],
            low: vec![if k < worn { end * 0.98 } else { end }],
            end: vec![end],
            known,
            count: 1.0,
            machine: None,
        });
    }
    let observations = Observations::new(1, rows);
    FamilyLives {
        measure: Measure::Tons,
        groups: vec!["dry".to_owned()],
        machines: Vec::new(),
        found: Found::default(),
        n_machines: 0,
        counts: Counts {
            lives: observations.lives(),
            worn: worn as f64,
            ..Counts::default()
        },
        observations,
    }
}

fn assessed(lives: FamilyLives, prior: &str) -> Assessment {
    let text =
        format!("family = \"chain\"\nmeasure = \"tons\"\ncounted = \"each\"\n[prior]\n{prior}\n");
    let family = Family::from_toml(&text).expect("valid");
    let wanted = Wanted {
        priors: true,
        machine_effect: false,
        found: false,
        draws: 4_000,
        seed: 1,
    };
    assess_lives(&family, lives, wanted, Vec::new())
}

#[test]
fn records_that_contradict_the_prior_are_said_in_words() {
    let shape = "shape = { median = 2.5, spread = 2.0 }\n";
    let notes = |worn, good, scale, median: u32| {
        let prior = format!("{shape}life50 = {{ median = {median}, spread = 1.5 }}");
        assessed(lives(worn, good, scale), &prior).notes.join("\n")
    };
    let shorter = "chain: the records speak for much shorter lives than the model file expects";
    let longer = "chain: the records speak for much longer lives than the model file expects";
    assert!(notes(6, 2, 2_000.0, 6_000).contains(shorter));
    assert!(notes(6, 2, 2_000.0, 600).contains(longer));
    assert_eq!(notes(6, 2, 2_000.0, 1_800), "");
    // Without a wear-out the records can still speak: for longer lives only.
    assert!(notes(0, 20, 8_000.0, 800).contains(longer));
    assert!(!notes(0, 20, 2_000.0, 80_000).contains("the records speak"));
}

#[test]
fn records_that_scatter_otherwise_than_the_prior_says_are_told() {
    let notes = |median: f64| {
        let prior = format!("shape = {{ median = {median}, spread = 1.3 }}");
        assessed(lives(20, 0, 2_000.0), &prior).notes.join("\n")
    };
    assert!(notes(7.0).contains("scatter much more than the model file expects"));
    assert!(notes(0.8).contains("scatter much less than the model file expects"));
    assert!(!notes(2.4).contains("scatter"));
}

fn reported(worn: usize, good: usize, prior: &str) -> FitsReport {
    let header = Header {
        as_of: None,
        seed: 1,
        level: 0.9,
        machines: Vec::new(),
        families: Vec::new(),
        notes: Vec::new(),
        cautions: Vec::new(),
    };
    let assessment = assessed(lives(worn, good, 2_000.0), prior);
    fits::report(&[assessment], true, Units::Us, header)
}

#[test]
fn three_times_more_wear_outs_halve_an_interval() {
    let shape = "shape = { median = 2.5, spread = 1.1 }";
    let half = |report: &FitsReport| {
        let life50 = report.families[0].life50.expect("a life");
        (life50.high.expect("high") / life50.low.expect("low")).ln()
    };
    let first = reported(20, 0, shape);
    let more = first.families[0].wear_outs_to_halve.expect("a number");
    assert!((52.0..=68.0).contains(&more), "{more}");
    let then = reported(20 + more as usize, 0, shape);
    let ratio = half(&then) / half(&first);
    assert!((0.46..0.54).contains(&ratio), "{ratio}");
}

#[test]
fn a_family_without_wear_outs_says_how_many_it_takes() {
    let prior = "shape = { median = 2.5, spread = 1.5 }\nlife50 = { median = 3000, spread = 3 }";
    let report = reported(0, 9, prior);
    let told = terminal::fits(&report, 80);
    assert!(
        told.contains("no wear-out in the fit: half of them last at least"),
        "{told}"
    );
    assert!(
        told.contains("about 2 more wear-outs would halve"),
        "{told}"
    );
    let json = json::fits(&report);
    let family = &json["families"][0];
    assert_eq!(family["wear_outs_to_halve"], 2);
    assert_eq!(family["sampler"], "importance");
    assert!(family["effective_share"].as_f64().is_some_and(|s| 0.1 < s));
}

/// Ten parts that saw one product alone, and ten that saw lime alone and lasted `factor` times less.
fn beside_lime(factor: f64) -> FamilyLives {
    let mut rows = Vec::new();
    for k in 0..20 {
        let p = (f64::from(k % 10) + 0.5) / 10.0;
        let life = 2_000.0 * (-(-p).ln_1p()).powf(1.0 / 2.5);
        let used = |x: f64| match k {
            0..10 => vec![x, 0.0],
            _ => vec![0.0, x / factor],
        };
        rows.push(Observation {
            entry: used(0.0),
            low: used(0.98 * life),
            end: used(life),
            known: End::Between,
            count: 1.0,
            machine: None,
        });
    }
    FamilyLives {
        groups: vec!["dry".to_owned(), "lime".to_owned()],
        observations: Observations::new(2, rows),
        ..lives(20, 0, 2_000.0)
    }
}

#[test]
fn records_that_contradict_the_prior_of_a_wear_factor_are_told() {
    let notes = |factor: f64| {
        let prior = "shape = { median = 2.5, spread = 2.0 }\nwear_factor = { spread = 1.5 }";
        assessed(beside_lime(factor), prior).notes.join("\n")
    };
    let of = |kind: &str| format!("the records speak for lime wearing much {kind} than");
    assert!(notes(8.0).contains(&of("more")), "{}", notes(8.0));
    assert!(notes(0.125).contains(&of("less")), "{}", notes(0.125));
    assert!(!notes(1.4).contains("wearing much"), "{}", notes(1.4));
}
