//! An order for a season that is yet to begin: what is needed until then comes off the shelf.

use proptest::prelude::*;
use wearcast::stock::Demand;
use wearcast::study::Options;

use super::desk::{asked, fleet, line, on_shelf};

/// What is needed before season N + 1 is what season N needs.
#[test]
fn needed_before_a_season_is_what_the_one_before_it_needs() {
    let fleet = fleet(11);
    let played = fleet.play();
    let of = |years: i32, on_hand: f64| {
        let mut records = played.records.clone();
        records.stock = vec![on_shelf("chain", on_hand), on_shelf("fin", on_hand)];
        let season = chrono::Datelike::year(&played.as_of) + years;
        let options = Options {
            season: Some(season),
            ..Options::default()
        };
        asked(&fleet, records, &played, options)
    };
    let (now, next, empty) = (of(1, 3.0), of(2, 3.0), of(2, 0.0));
    for part in ["chain", "fin"] {
        let (now, next, empty) = (line(&now, part), line(&next, part), line(&empty, part));
        assert_eq!((now.needed_before, now.taken_before), (None, None));
        let needed = next.needed_before.expect("known");
        let asked = now.demand.expect("known").expected;
        // Both are means of some thirty thousand plays, which are not the same.
        assert!(
            (needed - asked).abs() < 0.01 * asked,
            "{part}: {needed} for {asked}"
        );
        let taken = next.taken_before.expect("known");
        assert!(0.0 < taken && taken <= needed.min(3.0), "{part}: {taken}");
        assert_eq!(empty.taken_before, Some(0.0));
        // The season's own need is the same; what is gone by then has to be bought in addition.
        assert_eq!(empty.demand, next.demand);
        let more = next.order_up_to.expect("known") - empty.order_up_to.expect("known");
        assert!((0.0..=3.0).contains(&more), "{part}: {more}");
        assert!(next.order_now.expect("known") <= empty.order_now.expect("known"));
        // Three pieces are less than the fins of a season, so none of them is left.
        if part == "fin" {
            assert_eq!(next.order_now, empty.order_now);
        }
    }
    let notes = |report: &wearcast::report::stock::StockReport| report.header.notes.join("\n");
    assert!(!notes(&now).contains("taken off the shelf first"));
    assert!(notes(&next).contains("taken off the shelf first"));
    assert!(notes(&next).contains("fin ("), "{}", notes(&next));
}

/// What is left short and over, play by play, when `before` is asked for first.
fn by_hand(samples: &[f64], before: &[f64], (shelf, order): (f64, f64)) -> [f64; 2] {
    let n = samples.len() as f64;
    let plays = samples.iter().zip(before).map(|(asked, before)| {
        let held = (shelf - before).max(0.0) + order;
        [(asked - held).max(0.0), (held - asked).max(0.0)]
    });
    plays.fold([0.0; 2], |sum, [short, over]| {
        [sum[0] + short / n, sum[1] + over / n]
    })
}

proptest! {
    /// Against a shelf that is emptied play by play.
    #[test]
    fn a_shelf_that_is_needed_first_serves_less(
        plays in prop::collection::vec((0_u32..30, 0_u32..12), 1..60),
        shelf in 0_u32..15,
        order in 0_u32..40,
        rate in 0.05..0.99,
    ) {
        let samples: Vec<f64> = plays.iter().map(|p| f64::from(p.0)).collect();
        let before: Vec<f64> = plays.iter().map(|p| f64::from(p.1)).collect();
        let (shelf, order) = (f64::from(shelf), f64::from(order));
        let demand = Demand::with_before(&samples, &before, shelf, 1.0).expect("samples");
        let [short, over] = by_hand(&samples, &before, (shelf, order));
        prop_assert!((demand.short(shelf + order) - short).abs() < 1e-9);
        prop_assert!((demand.left_over(shelf + order) - over).abs() < 1e-9);
        let mean = samples.iter().sum::<f64>() / samples.len() as f64;
        prop_assert!((demand.expected() - mean).abs() < 1e-9);
        let least = demand.least_for_fill(rate);
        if 0.0 < mean && shelf <= least {
            let short = |stock: f64| by_hand(&samples, &before, (shelf, stock - shelf))[0];
            prop_assert!(rate - 1e-9 <= 1.0 - short(least) / mean);
            if shelf < least {
                prop_assert!(1.0 - short(least - 1.0) / mean < rate);
            }
        }
    }

    /// With nothing needed before, nothing changes.
    #[test]
    fn nothing_needed_before_changes_nothing(samples in prop::collection::vec(0_u32..30, 1..40), shelf in 0_u32..9) {
        let samples: Vec<f64> = samples.into_iter().map(f64::from).collect();
        let without = Demand::of_samples(&samples);
        let with = Demand::with_before(&samples, &vec![0.0; samples.len()], shelf.into(), 1.0);
        let (with, without) = (with.expect("samples"), without.expect("samples"));
        for stock in (0..32).map(f64::from) {
            prop_assert_eq!(with.short(stock), without.short(stock));
            prop_assert_eq!(with.left_over(stock), without.left_over(stock));
        }
        prop_assert_eq!(with.least_for_fill(0.9), without.least_for_fill(0.9));
    }
}

/// Pairs leave a shelf as pairs.
#[test]
fn half_a_pair_stays_on_the_shelf() {
    let demand = Demand::with_before(&[4.0, 0.0], &[2.0, 6.0], 5.0, 2.0).expect("samples");
    assert!((demand.gone() - 3.0).abs() < 1e-12);
    assert!((demand.expected() - 2.0).abs() < 1e-12);
    assert!((demand.least_for_fill(0.9) - 6.0).abs() < 1e-12);
}

/// Work by schedule takes ten pieces in every play, five of them before: they are no lot of ten. By hand: the three
/// that lie there are gone, and nine of ten are wanted.
#[test]
fn the_same_in_every_play_is_no_lot() {
    let demand = Demand::with_before(&[10.0; 8], &[5.0; 8], 3.0, 1.0).expect("samples");
    assert!((demand.gone() - 3.0).abs() < 1e-12);
    assert!((demand.least_for_fill(0.9) - 12.0).abs() < 1e-12);
    assert!((demand.short(12.0) - 1.0).abs() < 1e-12);
}
