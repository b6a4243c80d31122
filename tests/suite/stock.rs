//! The parts desk: against textbook values, against brute force, and against seasons played anew.

#![expect(
    clippy::float_cmp,
    reason = "stocks and orders are whole numbers, or halves of them"
)]

mod before;
mod desk;
mod used;

use proptest::prelude::*;
use statrs::distribution::{Discrete, Normal, Poisson};
use wearcast::stock::{
    Candidate, Costs, Demand, in_packs, newsvendor, reorder_point, rq_fill_rate, spend,
};

use crate::reference::Check;

/// Poisson demand, its tail beyond 1e-18 left out.
fn poisson(mean: f64) -> Demand {
    let law = Poisson::new(mean).expect("a positive mean");
    let most = (mean + 30.0 * mean.sqrt() + 30.0) as u64;
    Demand::of_masses((0..most).map(|k| (k as f64, law.pmf(k)))).expect("demand")
}

/// Snyder & Shen (2019), and a general-purpose supply-chain library: tests/reference/SOURCES.md.
#[test]
fn the_newsvendor_orders_what_the_textbook_orders() {
    let check = Check::named("newsvendor-poisson");
    let demand = poisson(check.number("mean"));
    let costs = Costs {
        under: check.number("under"),
        over: check.number("over"),
    };
    let stock = newsvendor(&demand, costs);
    check.holds("S", stock);
    check.holds("cost", costs.expected(&demand, stock));
}

/// Demand is discrete here; a normal demand in steps of a thousandth comes as near as the step.
#[test]
fn the_newsvendor_of_normal_demand_is_that_of_the_textbook_within_a_step() {
    use statrs::distribution::ContinuousCDF;
    let check = Check::named("newsvendor-normal");
    let law = Normal::new(check.number("mean"), check.number("sd")).expect("a normal law");
    let step = 1e-3;
    let atoms = (0..120_000).map(|k| {
        let x = f64::from(k) * step;
        (x, law.cdf(x + step / 2.0) - law.cdf(x - step / 2.0))
    });
    let demand = Demand::of_masses(atoms).expect("demand");
    let costs = Costs {
        under: check.number("under"),
        over: check.number("over"),
    };
    let expected = check.expected_numbers_of(&["S", "cost"]);
    let stock = newsvendor(&demand, costs);
    assert_eq!(stock, expected[0].ceil());
    let cost = costs.expected(&demand, expected[0]);
    assert!((cost - expected[1]).abs() < 1e-6, "{cost}");
}

/// Federgruen & Zheng (1992), the example of Snyder & Shen (2019): no other rule of its
/// neighbourhood is cheaper, and the cost is theirs.
#[test]
fn the_rule_of_reorder_point_and_quantity_costs_what_the_textbook_says() {
    let check = Check::named("rq-poisson");
    let demand = poisson(check.number("rate") * check.number("lead"));
    let costs = Costs {
        under: check.number("backorder"),
        over: check.number("holding"),
    };
    let fixed = check.number("order") * check.number("rate");
    let cost = |r: u32, q: u32| {
        let at = |k: u32| costs.expected(&demand, f64::from(r + k));
        (fixed + (1..=q).map(at).sum::<f64>()) / f64::from(q)
    };
    check.holds("cost", cost(3, 5));
    check.holds("cost_r2_q6", cost(2, 6));
    for r in 0..8 {
        for q in 1..12 {
            assert!(cost(3, 5) <= cost(r, q) + 1e-9, "r {r}, Q {q}");
        }
    }
}

/// Expected pieces owed at any moment when `quantity` is ordered each time stock on hand and on order
/// falls to `reorder`: the mean of the shortages over stock positions `r + 1 ..= r + Q`.
fn rq_backorders(lead: &Demand, reorder: f64, quantity: u32) -> f64 {
    let owed = (1..=quantity).map(|k| lead.short(reorder + f64::from(k)));
    owed.sum::<f64>() / f64::from(quantity)
}

/// Hadley & Whitin: stock positions uniform on r + 1 ..= r + Q; recomputed with scipy.
#[test]
fn fill_rate_and_backorders_of_reorder_rules_are_those_of_the_reference() {
    let check = Check::named("stock-rq-fill");
    let demand = poisson(check.number("mean"));
    let rules = check.input("r_Q").as_array().expect("rules").clone();
    let fills = check.expected_numbers("fill_rate");
    let owed = check.expected_numbers("backorders");
    for ((rule, fill), owed) in rules.iter().zip(fills).zip(owed) {
        let (r, q) = (rule[0].as_f64().expect("r"), rule[1].as_u64().expect("Q"));
        let found = rq_fill_rate(&demand, r, q as f64);
        assert!((found - fill).abs() < 1e-8, "{rule}: {found}, {fill}");
        let found = rq_backorders(&demand, r, q as u32);
        assert!((found - owed).abs() < 1e-8, "{rule}: {found}, {owed}");
    }
}

/// One-for-one replenishment under Poisson demand; recomputed with scipy.
#[test]
fn base_stock_levels_are_those_of_the_reference() {
    let check = Check::named("stock-base");
    let service = check.number("service");
    let stocks = check.expected_numbers("S");
    let fills = check.expected_numbers("fill_rate");
    let owed = check.expected_numbers("backorders");
    for (i, mean) in check.numbers("mean").iter().enumerate() {
        let demand = poisson(*mean);
        let stock = demand.least_for_chance(service);
        assert_eq!(stock, stocks[i], "mean {mean}");
        assert!((demand.short(stock) - owed[i]).abs() < 1e-9, "mean {mean}");
        // A unit is served at once when fewer than S are asked for over the lead time.
        let served = rq_fill_rate(&demand, stock - 1.0, 1.0);
        assert!((served - fills[i]).abs() < 1e-8, "mean {mean}: {served}");
    }
}

#[test]
fn orders_come_in_whole_packs_and_no_fewer_than_the_supplier_sells() {
    let cases = [
        (0.0, 4, None, 0.0),
        (-3.0, 4, Some(8.0), 0.0),
        (1.0, 4, None, 4.0),
        (4.0, 4, None, 4.0),
        (4.000_000_000_1, 4, None, 4.0),
        (5.0, 4, Some(10.0), 12.0),
        (5.0, 1, None, 5.0),
    ];
    for (wanted, pack, least, order) in cases {
        assert_eq!(in_packs(wanted, pack, least), order, "{wanted} in {pack}");
    }
}

/// Every way to spend on three parts tried out: with single pieces at one price the pack-by-pack
/// way leaves the least shortage for every amount of money.
#[test]
fn spending_piece_by_piece_is_the_best_of_all_ways() {
    let demands = [poisson(0.7), poisson(2.0), poisson(4.5)];
    let weights = [1.0, 0.5, 1.0];
    let candidates: Vec<Candidate<'_>> = demands
        .iter()
        .zip(weights)
        .map(|(demand, weight)| Candidate {
            demand,
            available: 1.0,
            wanted: 9.0,
            pack: 1,
            least: None,
            price: 10.0,
            weight,
        })
        .collect();
    let short = |orders: &[f64]| -> f64 {
        let parts = demands.iter().zip(orders).zip(weights);
        parts.map(|((d, o), w)| w * d.short(1.0 + o)).sum()
    };
    for pieces in 0..12_u32 {
        let limit = f64::from(pieces) * 10.0;
        let spending = spend(&candidates, Some(limit));
        let spent: f64 = spending.orders.iter().sum::<f64>() * 10.0;
        assert!(spent <= limit);
        let mut best = f64::INFINITY;
        for a in 0..=pieces.min(8) {
            for b in 0..=(pieces - a).min(8) {
                let c = (pieces - a - b).min(8);
                best = best.min(short(&[a, b, c].map(f64::from)));
            }
        }
        let found = short(&spending.orders);
        assert!((found - best).abs() < 1e-12, "{limit}: {found}, {best}");
    }
}

/// From a thousand pieces a pack on a step of money once was no step at all, and there was no end.
#[test]
fn large_packs_are_bought_pack_by_pack() {
    let demand = poisson(2.0);
    for (pack, least, wanted, orders) in [
        (1_000, None, 2_500.0, vec![1_000.0, 2_000.0, 3_000.0]),
        (4_000, Some(5_000.0), 9_000.0, vec![8_000.0, 12_000.0]),
        (1, None, 2.0, vec![1.0, 2.0]),
    ] {
        let candidate = Candidate {
            demand: &demand,
            available: 0.0,
            wanted,
            pack,
            least,
            price: 1.0,
            weight: 1.0,
        };
        let steps = spend(&[candidate], None).steps;
        let found: Vec<f64> = steps.iter().map(|step| step.order).collect();
        assert_eq!(found, orders, "packs of {pack}");
    }
}

/// Three plays of four ask for a pair, one for a single piece of another part: the money for two pieces goes into the
/// pair, though the first piece of it serves nobody.
#[test]
fn limited_money_buys_whole_pairs() {
    let pairs = Demand::of_samples(&[0.0, 2.0, 2.0, 2.0]).expect("samples");
    let pairs = pairs.in_lots(2.0);
    let singles = Demand::of_samples(&[0.0, 0.0, 0.0, 1.0]).expect("samples");
    let part = |demand, wanted| Candidate {
        demand,
        available: 0.0,
        wanted,
        pack: 1,
        least: None,
        price: 50.0,
        weight: 1.0,
    };
    let bought = spend(&[part(&pairs, 2.0), part(&singles, 1.0)], Some(100.0));
    assert_eq!(bought.orders, [2.0, 0.0]);
    // One of a pair lies there: it takes one more.
    let half = Candidate {
        available: 1.0,
        ..part(&pairs, 2.0)
    };
    assert_eq!(spend(&[half], None).orders, [1.0]);
}

/// An order of one piece of a pair would serve nobody; ordered in pairs, one pair is left where as many are asked for.
#[test]
fn pairs_are_ordered_again_before_none_is_left() {
    let lead = Demand::of_samples(&[0.0, 0.0, 2.0, 4.0])
        .expect("samples")
        .in_lots(2.0);
    let [one, two] = [1.0, 2.0].map(|quantity| reorder_point(&lead, 0.9, quantity));
    assert!(0.0 < one && one == two, "{one} {two}");
}

proptest! {
    /// What a stock leaves short and left over differ by what it exceeds the mean by.
    #[test]
    fn short_and_left_over_balance(samples in prop::collection::vec(0_u32..40, 1..60), stock in 0_u32..50) {
        let samples: Vec<f64> = samples.into_iter().map(f64::from).collect();
        let demand = Demand::of_samples(&samples).expect("samples");
        let stock = f64::from(stock);
        let n = samples.len() as f64;
        let short = samples.iter().map(|s| (s - stock).max(0.0)).sum::<f64>() / n;
        let over = samples.iter().map(|s| (stock - s).max(0.0)).sum::<f64>() / n;
        prop_assert!((demand.short(stock) - short).abs() < 1e-9);
        prop_assert!((demand.left_over(stock) - over).abs() < 1e-9);
    }

    /// Pieces that are asked for in pairs are of use in pairs alone.
    #[test]
    fn half_a_pair_serves_nobody(pairs in prop::collection::vec(0_u32..12, 2..40), rate in 0.05..0.99) {
        let doubled: Vec<f64> = pairs.iter().map(|p| f64::from(2 * p)).collect();
        let single: Vec<f64> = pairs.iter().map(|p| f64::from(*p)).collect();
        let of = |samples: &[f64]| Demand::of_samples(samples).expect("samples");
        let (pairs, singles) = (of(&doubled).in_lots(2.0), of(&single));
        prop_assert_eq!(pairs.least_for_fill(rate), 2.0 * singles.least_for_fill(rate));
        prop_assert_eq!(pairs.least_for_chance(rate), 2.0 * singles.least_for_chance(rate));
        prop_assert_eq!(pairs.short(5.0), pairs.short(4.0));
        prop_assert!((pairs.left_over(5.0) - pairs.left_over(4.0) - 1.0).abs() < 1e-9);
        let (even, odd) = (pairs.fill_rate(4.0), pairs.fill_rate(5.0));
        prop_assert!(odd == even, "{odd:?} for {even:?}");
    }

    /// The least stock that keeps a promise keeps it, and one piece fewer does not.
    #[test]
    fn the_least_stock_for_a_promise_is_the_least(samples in prop::collection::vec(0_u32..30, 1..60), rate in 0.01..0.999) {
        let samples: Vec<f64> = samples.into_iter().map(f64::from).collect();
        let demand = Demand::of_samples(&samples).expect("samples");
        let stock = demand.least_for_fill(rate);
        prop_assert!(demand.fill_rate(stock).is_none_or(|f| rate - 1e-9 <= f));
        if 0.0 < stock {
            prop_assert!(demand.fill_rate(stock - 1.0).is_some_and(|f| f < rate));
        }
        let point = reorder_point(&demand, rate, 1.0);
        prop_assert!(rate - 1e-9 <= rq_fill_rate(&demand, point, 1.0));
    }
}
