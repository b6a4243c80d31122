//! Laws that hold for any records.

use proptest::prelude::*;
use wearcast::model::fit;
use wearcast::model::observations::End;
use wearcast::model::{Distribution, Observation, Observations};
use wearcast::record::{Amounts, Records, UsageLog, UsageRow};
use wearcast::report::json;
use wearcast::study::{Options, Study};

use crate::fleet::{Fleet, TrueFamily};

fn small_fleet(seed: u64) -> (Fleet, Records) {
    let family = |name, shape, scale| TrueFamily {
        name,
        shape,
        scale,
        factors: [1.0, 1.4, 2.2],
        price: 120.0,
        positions: 2,
    };
    let fleet = Fleet {
        machines: 3,
        seasons: 3,
        spread: 0.1,
        families: vec![family("chain", 2.5, 2_000.0), family("fin", 3.0, 3_000.0)],
        seed,
        gauge: None,
    };
    let records = fleet.play().records;
    (fleet, records)
}

const PRIOR: &str = "[prior]\nshape = { median = 2.5, spread = 2.0 }\n\
                     life50 = { median = 2500, spread = 3.0 }\nwear_factor = { spread = 2.0 }\n";

fn budget(fleet: &Fleet, records: Records) -> String {
    let study = Study::new(records, fleet.families(PRIOR), Options::default()).expect("enough");
    json::budget(&study.budget().expect("enough")).to_string()
}

/// The log with its rows in another order.
fn shuffled(log: &UsageLog, step: usize) -> UsageLog {
    let rows: Vec<UsageRow<'_>> = log.iter().collect();
    let n = rows.len();
    // Every row once: the step shares no factor with the number of rows.
    let step = (step..step + n)
        .find(|s| gcd(*s, n) == 1)
        .expect("there is one");
    (0..n).map(|i| rows[i * step % n]).collect()
}

fn gcd(a: usize, b: usize) -> usize {
    if b == 0 { a } else { gcd(b, a % b) }
}

#[test]
fn the_order_of_usage_rows_never_reaches_a_budget() {
    let (fleet, records) = small_fleet(3);
    let mut other = records.clone();
    other.usage = shuffled(&records.usage, 37);
    assert!(other.usage.iter().eq(records.usage.iter()));
    assert_eq!(budget(&fleet, records), budget(&fleet, other));
}

#[test]
fn a_day_split_into_two_rows_gives_the_same_lives() {
    let (fleet, records) = small_fleet(4);
    let mut split = records.clone();
    let halves = records.usage.iter().flat_map(|row| {
        let half = |a: Option<f64>| a.map(|a| a / 2.0);
        let amounts = Amounts {
            acres: half(row.amounts.acres),
            tons: half(row.amounts.tons),
            hours: half(row.amounts.hours),
        };
        [UsageRow { amounts, ..row }; 2]
    });
    split.usage = halves.collect();
    let lives = |records| {
        let study = Study::new(records, fleet.families(PRIOR), Options::default());
        study.expect("enough").built.lives
    };
    // Halves and sums of halves are exact in binary.
    assert_eq!(lives(records), lives(split));
}

#[test]
fn the_number_of_threads_never_changes_a_byte() {
    let (fleet, records) = small_fleet(5);
    let on = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .expect("a pool");
        pool.install(|| budget(&fleet, records.clone()))
    };
    assert_eq!(on(1), on(2));
}

fn lives(ends: &[(f64, bool)]) -> Observations {
    let row = |(end, worn): &(f64, bool)| Observation {
        entry: vec![0.0],
        low: vec![if *worn { 0.95 * end } else { *end }],
        end: vec![*end],
        known: if *worn { End::Between } else { End::Censored },
        count: 1.0,
        machine: None,
    };
    Observations::new(1, ends.iter().map(row).collect())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]

    /// A part still good can only speak for longer lives: with the shape known, more use on it
    /// never lowers the scale.
    #[test]
    fn a_longer_censored_life_never_lowers_the_scale(
        worn in prop::collection::vec(100.0..5_000.0_f64, 1..8),
        good in 50.0..5_000.0_f64,
        more in 1.0..3.0_f64,
    ) {
        let mut ends: Vec<(f64, bool)> = worn.iter().map(|w| (*w, true)).collect();
        ends.push((good, false));
        let scale = |ends: &[(f64, bool)]| {
            fit::maximum_likelihood(Distribution::Exponential, &lives(ends)).expect("worn").scale()
        };
        let before = scale(&ends);
        ends.last_mut().expect("pushed").0 = good * more;
        prop_assert!(before <= scale(&ends) * (1.0 + 1e-9));
    }

    /// Valid lives are always fitted, or it is said what they cannot tell.
    #[test]
    fn the_search_never_fails_on_valid_lives(
        ends in prop::collection::vec((1.0..10_000.0_f64, any::<bool>()), 1..40),
    ) {
        for distribution in [Distribution::Weibull, Distribution::Lognormal, Distribution::Exponential] {
            match fit::maximum_likelihood(distribution, &lives(&ends)) {
                Ok(fit) => {
                    prop_assert!(fit.log_likelihood().is_finite());
                    let steepest = fit.at.gradient.iter().zip(&fit.free).filter(|(_, f)| **f);
                    let flat = 1e-5 * ends.len() as f64;
                    prop_assert!(steepest.into_iter().all(|(g, _)| g.abs() < flat), "{:?}", fit.at.gradient);
                }
                Err(
                    fit::FitError::NoneWorn
                    | fit::FitError::UnboundedShape
                    | fit::FitError::UnboundedScale,
                ) => {}
                Err(error) => prop_assert!(false, "{error}: {ends:?}"),
            }
        }
    }
}
