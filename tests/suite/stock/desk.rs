//! The whole way from records to an order list, on fleets of known truth.

use rayon::prelude::*;
use wearcast::record::{Critical, Records, StockRow};
use wearcast::report::stock::{StockLine, StockReport};
use wearcast::study::{Options, Study};

use crate::fleet::{Fleet, Played, TrueFamily, name};
use crate::read::Folder;

const PRIOR: &str = "[prior]\nshape = { median = 3.0, spread = 2.0 }\nlife50 = { median = 1500, spread = 4.0 }\nwear_factor = { spread = 3.0 }\n";

pub(super) fn fleet(seed: u64) -> Fleet {
    let family = |name, scale, price| TrueFamily {
        name,
        shape: 3.0,
        scale,
        factors: [1.0, 1.6, 1.3],
        price,
        positions: 2,
    };
    Fleet {
        machines: 5,
        seasons: 3,
        spread: 0.0,
        families: vec![
            family("chain", 2_500.0, 900.0),
            family("fin", 1_200.0, 60.0),
        ],
        seed,
        gauge: None,
    }
}

pub(super) fn asked(
    fleet: &Fleet,
    records: Records,
    played: &Played,
    options: Options,
) -> StockReport {
    let options = Options {
        as_of: Some(played.as_of),
        ..options
    };
    let study = Study::new(records, fleet.families(PRIOR), options).expect("sound records");
    study.stock().expect("enough is known")
}

pub(super) fn on_shelf(part: &str, on_hand: f64) -> StockRow {
    StockRow {
        row: 2,
        part: part.to_owned(),
        on_hand,
        on_order: None,
        due: None,
        extra: wearcast::record::Extra::new(),
    }
}

pub(super) fn line<'a>(report: &'a StockReport, part: &str) -> &'a StockLine {
    let mut lines = report.lines.iter();
    lines
        .find(|l| l.part == part)
        .expect("the part is in service")
}

/// Seasons played anew with the truth: what the advised stock serves of them is what was promised,
/// within three standard errors.
#[test]
fn over_many_seasons_the_advised_stock_serves_what_was_promised() {
    let outcomes: Vec<[f64; 4]> = (0..100_u64)
        .into_par_iter()
        .map(|seed| {
            let fleet = fleet(900 + seed);
            let played = fleet.play();
            let mut records = played.records.clone();
            records.settings.service_level = Some(0.9);
            let report = asked(&fleet, records, &played, Options::default());
            let mut sums = [0.0; 4];
            for (family, actual) in fleet.families.iter().zip(&played.worn_next) {
                let line = line(&report, family.name);
                let (demand, stock) = (
                    line.demand.expect("known"),
                    line.order_up_to.expect("known"),
                );
                assert!(0.9 <= line.fill_rate.expect("some demand"));
                sums[0] += demand.expected;
                sums[1] += demand.expected - line.shortage.expect("known");
                sums[2] += actual;
                sums[3] += actual.min(stock);
            }
            sums
        })
        .collect();
    let sum = |i: usize| outcomes.iter().map(|o| o[i]).sum::<f64>();
    let (promised, served) = (sum(1) / sum(0), sum(3) / sum(2));
    // Error of a ratio of sums, from the fleets.
    let residuals = outcomes.iter().map(|o| (o[3] - served * o[2]).powi(2));
    let error = residuals.sum::<f64>().sqrt() / sum(2);
    assert!(
        (served - promised).abs() < 3.0 * error,
        "{served} served, {promised} promised, standard error {error}"
    );
}

#[test]
fn what_is_on_the_shelf_and_on_the_way_is_not_ordered_again() {
    let fleet = fleet(1);
    let played = fleet.play();
    let empty = asked(&fleet, played.records.clone(), &played, Options::default());
    let mut records = played.records.clone();
    records.stock = vec![StockRow {
        on_order: Some(2.0),
        ..on_shelf("chain", 1.0)
    }];
    let some = asked(&fleet, records, &played, Options::default());
    let (before, after) = (line(&empty, "chain"), line(&some, "chain"));
    assert_eq!(before.order_up_to, after.order_up_to);
    assert_eq!(
        after.order_now.expect("known"),
        before.order_now.expect("known") - 3.0
    );
    assert_eq!(before.on_hand, None, "not in stock is not nothing in stock");
}

#[test]
fn the_order_comes_in_packs_and_its_money_adds_up() {
    let fleet = fleet(2);
    let played = fleet.play();
    let mut records = played.records.clone();
    records.settings.price_change = 0.10;
    for part in &mut records.parts {
        part.pack = 4;
    }
    let report = asked(&fleet, records, &played, Options::default());
    let mut sum = 0.0;
    for (line, price) in [("chain", 990.0), ("fin", 66.0)].map(|(p, m)| (line(&report, p), m)) {
        let order = line.order_now.expect("known");
        assert!(0.0 < order && (order % 4.0).abs() < 1e-9);
        assert!((line.order_cost.expect("priced") - order * price).abs() < 1e-6);
        sum += order * price;
    }
    assert!((report.order_total.expect("all priced") - sum).abs() < 1e-6);
}

#[test]
fn a_part_without_a_price_makes_the_order_total_unknown() {
    let fleet = fleet(2);
    let played = fleet.play();
    let mut records = played.records.clone();
    records.parts.iter_mut().for_each(|p| {
        p.price = (p.number != "fin").then_some(900.0);
    });
    let report = asked(&fleet, records, &played, Options::default());
    assert_eq!(report.order_total, None);
    assert_eq!(line(&report, "fin").order_cost, None);
    assert!(0.0 < report.known_total);
}

#[test]
fn limited_money_is_spent_and_not_more() {
    let fleet = fleet(3);
    let played = fleet.play();
    let free = asked(&fleet, played.records.clone(), &played, Options::default());
    let limit = free.order_total.expect("priced") / 2.0;
    let mut records = played.records.clone();
    records.settings.budget_limit = Some(limit);
    let held = asked(&fleet, records, &played, Options::default());
    let spent = held.order_total.expect("priced");
    assert!(
        spent <= limit && limit - 900.0 < spent,
        "{spent} of {limit}"
    );
    assert!(held.fill_rate < free.fill_rate);
    let money: Vec<f64> = held.curve.iter().map(|p| p.money).collect();
    let served: Vec<f64> = held.curve.iter().map(|p| p.fill_rate).collect();
    assert!(
        money.is_sorted() && served.is_sorted(),
        "more money serves more"
    );
}

/// Costs decide where no service level is set; the critical ratio 0.2 / (0.2 + 0.2) is the median.
#[test]
fn with_costs_alone_the_order_is_the_quantile_of_the_critical_ratio() {
    let fleet = fleet(4);
    let played = fleet.play();
    let mut records = played.records.clone();
    records.settings.rush_cost = Some(0.2);
    records.settings.holding_rate = Some(0.1);
    records.settings.return_rate = Some(0.1);
    let report = asked(&fleet, records, &played, Options::default());
    assert_eq!(report.service_level, None);
    for line in &report.lines {
        assert_eq!(
            line.order_up_to,
            line.demand.map(|d| d.p50),
            "{}",
            line.part
        );
        let (more, fewer) = (
            line.one_more.expect("priced"),
            line.one_fewer.expect("priced"),
        );
        assert!(0.0 <= more && 0.0 <= fewer, "either way is dearer");
    }
}

#[test]
fn an_older_number_on_the_shelf_serves_the_newer_one() {
    let fleet = fleet(5);
    let played = fleet.play();
    let mut records = played.records.clone();
    let mut new = records.parts[0].clone();
    new.replaces = Some("chain".to_owned());
    new.number = "chain-b".to_owned();
    records.parts.push(new);
    records.parts.sort_by(|a, b| a.number.cmp(&b.number));
    records.stock = vec![on_shelf("chain", 2.0), on_shelf("chain-b", 1.0)];
    let report = asked(&fleet, records, &played, Options::default());
    let line = line(&report, "chain-b");
    assert_eq!(line.on_hand, Some(3.0));
    assert_eq!(line.supersedes, ["chain"]);
}

#[test]
fn what_nothing_takes_is_listed_as_idle_with_its_money() {
    let fleet = fleet(6);
    let played = fleet.play();
    let mut records = played.records.clone();
    let mut odd = records.parts[0].clone();
    odd.number = "odd".to_owned();
    odd.price = Some(40.0);
    records.parts.push(odd);
    records.stock = vec![on_shelf("odd", 5.0), on_shelf("fin", 500.0)];
    let report = asked(&fleet, records, &played, Options::default());
    let idle = |part: &str| report.idle.iter().find(|l| l.part == part).expect("idle");
    assert_eq!((idle("odd").idle, idle("odd").expected), (5.0, None));
    assert_eq!(idle("odd").money, Some(200.0));
    let fins = idle("fin");
    assert!(fins.expected.is_some_and(|e| 0.0 < e) && 400.0 < fins.idle && fins.idle < 500.0);
}

/// A machine of which nothing is recorded is forecast from the others: its parts at any age, its
/// use the average of theirs, and it tells the life models nothing.
#[test]
fn a_customer_without_records_is_forecast_from_the_others() {
    let fleet = fleet(7);
    let played = fleet.play();
    let silent = name(0);
    let mut records = played.records.clone();
    records.usage = records.usage.of_machines(|machine| machine != silent);
    records.replacements.retain(|r| r.machine != silent);
    records.plan.retain(|p| p.machine != silent);
    for machine in &mut records.machines {
        machine.customer = Some(format!("farm of {}", machine.name));
    }
    let report = asked(&fleet, records.clone(), &played, Options::default());
    let needs = |customer: &str, part: &str| {
        let of = |n: &&wearcast::report::stock::CustomerNeed| {
            n.customer.as_deref() == Some(customer) && n.part == part
        };
        report.customers.iter().find(of).map_or(0.0, |n| n.expected)
    };
    let farm = format!("farm of {silent}");
    let others: f64 = (1..5)
        .map(|m| needs(&format!("farm of {}", name(m)), "fin"))
        .sum();
    let share = needs(&farm, "fin") / (others / 4.0);
    assert!(
        (0.5..2.0).contains(&share),
        "{share} of what the others need"
    );
    let notes = report.header.notes.join("\n");
    assert!(
        notes.contains("what the other machines did on average"),
        "{notes}"
    );
    assert!(notes.contains("nothing is recorded of M0000"), "{notes}");
    let expected: f64 = report
        .customers
        .iter()
        .filter(|n| n.part == "fin")
        .map(|n| n.expected)
        .sum();
    let demand = line(&report, "fin").demand.expect("known").expected;
    assert!(
        (expected - demand).abs() < 1e-6 * demand,
        "customers add up to the demand"
    );
}

#[test]
fn a_part_for_looks_only_is_not_held_for_a_promise() {
    let fleet = fleet(8);
    let played = fleet.play();
    let mut records = played.records.clone();
    records.settings.service_level = Some(0.99);
    records.settings.rush_cost = Some(0.05);
    records.settings.return_rate = Some(0.4);
    records
        .parts
        .iter_mut()
        .for_each(|p| p.critical = Some(Critical::Cosmetic));
    let looks = asked(&fleet, records.clone(), &played, Options::default());
    records
        .parts
        .iter_mut()
        .for_each(|p| p.critical = Some(Critical::Stops));
    let stops = asked(&fleet, records, &played, Options::default());
    assert!(line(&looks, "fin").order_up_to < line(&stops, "fin").order_up_to);
}

/// The lead time's demand is part of the season's, and longer lead times ask for more.
#[test]
fn a_longer_lead_time_asks_for_an_earlier_order() {
    let fleet = fleet(9);
    let played = fleet.play();
    let at = |days: f64, spread: Option<f64>| {
        let mut records = played.records.clone();
        records.parts.iter_mut().for_each(|p| {
            p.lead_days = Some(days);
            p.lead_days_spread = spread;
        });
        let report = asked(&fleet, records, &played, Options::default());
        let line = line(&report, "fin").clone();
        (
            line.lead_demand.expect("known").expected,
            line.reorder_point.expect("known"),
            line.demand.expect("known").expected,
        )
    };
    let (short, long, all) = (at(10.0, None), at(60.0, None), at(400.0, None));
    assert!(short.0 < long.0 && long.0 < long.2);
    assert!(short.1 < long.1);
    assert!(
        (all.0 - all.2).abs() < 1e-9,
        "a lead time of the whole season"
    );
    let spread = at(10.0, Some(3.0));
    assert!(short.1 <= spread.1, "late deliveries are covered too");
}

/// Of two alike parts the one that stops the machine comes first, whatever a piece too few costs.
#[test]
fn limited_money_goes_first_to_what_stops_a_machine() {
    let fleet = fleet(3);
    let played = fleet.play();
    let mut records = played.records.clone();
    let settings = &mut records.settings;
    (settings.rush_cost, settings.holding_rate) = (Some(0.2), Some(0.1));
    for part in &mut records.parts {
        part.price = Some(100.0);
    }
    let order = |chain, fin| {
        let mut records = records.clone();
        records.settings.budget_limit = Some(300.0);
        for part in &mut records.parts {
            part.critical = Some(if part.number == "chain" { chain } else { fin });
        }
        let report = asked(&fleet, records, &played, Options::default());
        line(&report, "chain").order_now.expect("known")
    };
    let first = order(Critical::Stops, Critical::Cosmetic);
    let last = order(Critical::Cosmetic, Critical::Stops);
    assert!(last < first, "{last} and {first}");
}

/// What is due after the season serves none of it.
#[test]
fn a_delivery_after_the_season_is_not_counted_for_it() {
    let fleet = fleet(1);
    let played = fleet.play();
    let with = |due: &str| {
        let mut records = played.records.clone();
        records.stock = vec![StockRow {
            on_order: Some(2.0),
            due: Some(due.parse().expect("a day")),
            ..on_shelf("chain", 1.0)
        }];
        asked(&fleet, records, &played, Options::default())
    };
    let end = with("2000-01-01").until;
    let (last, after) = (
        with(&end.to_string()),
        with(&(end + chrono::Days::new(1)).to_string()),
    );
    let order = |report: &StockReport| line(report, "chain").order_now.expect("known");
    assert_eq!(order(&after), order(&last) + 2.0);
    assert_eq!(line(&after, "chain").late, Some(2.0));
    let note = "on order, due after the season and not counted for it: chain";
    assert!(after.header.notes.iter().any(|n| n == note));
}

/// Deliveries of one part: each serves what is asked for after its own day, and none before it.
#[test]
fn every_delivery_counts_from_its_own_day() {
    let fleet = fleet(1);
    let played = fleet.play();
    let first = asked(&fleet, played.records.clone(), &played, Options::default());
    let (from, until) = (first.from, first.until);
    let with = |deliveries: &[(u64, f64)]| {
        let mut records = played.records.clone();
        let row = |(days, pieces): &(u64, f64)| StockRow {
            on_order: Some(*pieces),
            due: Some(from + chrono::Days::new(*days)),
            ..on_shelf("fin", 0.0)
        };
        records.stock = deliveries.iter().map(row).collect();
        line(&asked(&fleet, records, &played, Options::default()), "fin").clone()
    };
    let after = (until - from).num_days() as u64 + 14;
    let three = with(&[(20, 4.0), (200, 10.0), (after, 20.0)]);
    let two = with(&[(20, 4.0), (200, 10.0)]);
    assert_eq!(three.due, Some(from + chrono::Days::new(200)));
    assert_eq!(three.short_before_due, two.short_before_due);
    assert_eq!(three.late, Some(20.0));
    let days = three.deliveries.iter().map(|d| d.in_season);
    assert_eq!(days.collect::<Vec<_>>(), [true, true, false]);
    // What comes early is there before the later day.
    let late = with(&[(200, 14.0)]);
    let (early, late) = (
        three.short_before_due.expect("due in the season"),
        late.short_before_due.expect("due in the season"),
    );
    assert!(early <= late, "{early} and {late}");
    let only_after = with(&[(after, 20.0)]);
    assert_eq!(only_after.short_before_due, None);
    assert_eq!(only_after.due, Some(from + chrono::Days::new(after)));
}

/// The order's total is what its reader gets who multiplies pieces by the price that is shown.
#[test]
fn an_order_is_priced_in_whole_cents() {
    let fleet = fleet(2);
    let played = fleet.play();
    let mut records = played.records.clone();
    records.settings.price_change = 0.037;
    for part in &mut records.parts {
        part.price = Some(1_487.35);
    }
    let report = asked(&fleet, records, &played, Options::default());
    let cents = |money: f64| (money * 100.0).round();
    let mut sum = 0.0;
    for line in &report.lines {
        assert_eq!(line.price, Some(1_542.38));
        let pieces = line.order_now.expect("known");
        assert_eq!(cents(line.order_cost.expect("priced")), pieces * 154_238.0);
        sum += pieces * 154_238.0;
    }
    assert!(0.0 < sum);
    assert_eq!(cents(report.order_total.expect("priced")), sum);
    let note = "prices are those of season 2025, 3.7 % higher than in `parts` (`price_change`), each in whole cents";
    let note = note.replace("2025", &report.season.to_string());
    assert!(report.header.notes.contains(&note), "{note}");
}

/// An order of today serves nothing before it is there, and what is overdue is said to be counted.
#[test]
fn what_is_needed_before_the_order_can_come_is_told() {
    let fleet = fleet(1);
    let played = fleet.play();
    let with = |lead: Option<f64>, on_hand: f64| {
        let mut records = played.records.clone();
        for part in &mut records.parts {
            part.lead_days = lead;
        }
        records.stock = vec![StockRow {
            on_order: Some(1.0),
            due: Some("2000-01-01".parse().expect("a day")),
            ..on_shelf("fin", on_hand)
        }];
        asked(&fleet, records, &played, Options::default())
    };
    let needed = |report: &StockReport| line(report, "fin").short_before_order;
    assert_eq!(needed(&with(None, 0.0)), None);
    assert_eq!(needed(&with(Some(0.0), 0.0)), Some(0.0));
    let long = with(Some(500.0), 0.0);
    let demand = line(&long, "fin").demand.expect("known").expected;
    let all = needed(&long).expect("a lead time");
    assert!(demand - 1.0 <= all && all < demand, "{all} of {demand}");
    assert_eq!(needed(&with(Some(500.0), 1_000.0)), Some(0.0));
    let half = needed(&with(Some(180.0), 0.0)).expect("a lead time");
    assert!(0.0 < half && half < all, "{half} of {all}");
    let notes = &long.header.notes;
    let said = |words: &str| notes.iter().any(|n| n.contains(words));
    assert!(said("before it can come"), "{notes:#?}");
    assert!(said("fin (1 of them due 2000-01-01)"), "{notes:#?}");
}

/// Shelf, what is due and what is ordered are what there is to begin with.
#[test]
fn what_is_due_in_the_season_stands_apart_from_what_is_due_later() {
    let fleet = fleet(1);
    let played = fleet.play();
    let first = asked(&fleet, played.records.clone(), &played, Options::default());
    let mut records = played.records.clone();
    let row = |due, pieces| StockRow {
        on_order: Some(pieces),
        due: Some(due),
        ..on_shelf("fin", 1.0)
    };
    records.stock = vec![
        row(first.from, 2.0),
        row(first.until + chrono::Days::new(1), 20.0),
    ];
    let report = asked(&fleet, records, &played, Options::default());
    let fin = line(&report, "fin");
    assert_eq!(fin.due_in_season(), Some(2.0));
    let sum = fin.on_hand.zip(fin.due_in_season()).map(|(a, b)| a + b);
    let sum = sum.zip(fin.order_now).map(|(a, b)| a + b);
    assert_eq!(sum, fin.order_up_to);
    let told = wearcast::report::terminal::stock(&report, 100);
    assert!(told.contains("Later"), "{told}");
}

/// Where keeping a piece costs nothing there are as many as can be asked for.
#[test]
fn a_piece_too_many_that_costs_nothing_never_lowers_the_order() {
    let fleet = fleet(4);
    let played = fleet.play();
    let order = |holding| {
        let mut records = played.records.clone();
        records.settings.rush_cost = Some(0.2);
        records.settings.holding_rate = Some(holding);
        let report = asked(&fleet, records, &played, Options::default());
        line(&report, "fin").order_up_to.expect("known")
    };
    let orders = [0.5, 0.1, 0.01, 0.0001, 0.0].map(order);
    assert!(orders.is_sorted(), "{orders:?}");
}

/// The share served is by price: by hand from the lines.
#[test]
fn what_is_served_of_all_counts_by_its_price() {
    let fleet = fleet(3);
    let played = fleet.play();
    let mut records = played.records.clone();
    records.settings.budget_limit = Some(200.0);
    let report = asked(&fleet, records, &played, Options::default());
    let sum = |of: &dyn Fn(&StockLine) -> f64| report.lines.iter().map(of).sum::<f64>();
    let price = |l: &StockLine| l.price.expect("priced");
    let all = sum(&|l| price(l) * l.demand.expect("known").expected);
    let short = sum(&|l| price(l) * l.shortage.expect("known"));
    let served = report.fill_rate.expect("known");
    assert!((served - (1.0 - short / all)).abs() < 1e-12);
    assert!(
        report
            .curve
            .iter()
            .any(|point| (point.fill_rate - served).abs() < 1e-9)
    );
}

/// Tenths of a gallon on three numbers of one fluid are a gallon, in whatever order they are added.
#[test]
fn a_rounding_orders_no_pack() {
    for limit in ["", "budget_limit = 100000\n"] {
        for on_hand in [["0.1", "0.7", "0.2"], ["0.2", "0.7", "0.1"]] {
            let folder = Folder::empty();
            let shelf = ["A1", "A2", "A3"].iter().zip(on_hand);
            let shelf = shelf.map(|(part, on_hand)| format!("{part},{on_hand}\n"));
            std::fs::create_dir(folder.path().join("models")).expect("a folder");
            folder
                .write("models/oil.toml", "family = \"oil\"\n[service]\nevery = { days = 365 }\n")
                .write("machines.csv", "machine,in_service\nM,2025-11-01\n")
                .write("positions.csv", "machine,position,part\nM,tank,A3\n")
                .write(
                    "parts.csv",
                    "part,family,price,replaces,pack\nA1,oil,10,,5\nA2,oil,10,A1,5\nA3,oil,10,A2,5\n",
                )
                .write("stock.csv", format!("part,on_hand\n{}", shelf.collect::<String>()))
                .write("settings.toml", format!("season_starts = \"11-01\"\n{limit}"))
                .write("usage.csv", "date,machine,product,hours\n2026-04-07,M,lime,9\n");
            let path = folder.path().to_str().expect("a path");
            let args = ["stock", path, "--as-of", "2026-10-31", "--format", "json"];
            let (status, out, err) = crate::cli::wearcast(&args);
            assert_eq!(status, wearcast::cli::ExitStatus::Done, "{err}");
            let report: serde_json::Value = serde_json::from_str(&out).expect("JSON");
            assert_eq!(
                report["parts"][0]["order_now"].to_string(),
                "0.0",
                "{on_hand:?}"
            );
            assert_eq!(report["order_total"].to_string(), "0.0", "{on_hand:?}");
        }
    }
}

/// Shelf without a price is not worth nothing.
#[test]
fn dead_stock_without_a_price_is_of_unknown_money() {
    let folder = Folder::empty();
    folder
        .write("machines.csv", "machine,in_service\nM,2025-11-01\n")
        .write("positions.csv", "machine,position,part\nM,fin,F\n")
        .write("parts.csv", "part,family\nF,spinner-fin\n")
        .write("stock.csv", "part,on_hand\nF,50\n")
        .write(
            "usage.csv",
            "date,machine,product,tons\n2026-04-07,M,lime,40\n",
        );
    let path = folder.path().to_str().expect("a path");
    let (status, out, err) = crate::cli::wearcast(&["stock", path, "--as-of", "2026-10-31"]);
    assert_eq!(status, wearcast::cli::ExitStatus::Done, "{err}");
    assert!(out.contains("Dead and slow stock: unknown money"), "{out}");
}

/// A part whose order cannot be worked out leaves the order's money unknown, as one without a price does.
#[test]
fn an_order_that_is_not_known_is_not_0_in_the_total() {
    let folder = Folder::empty();
    folder
        .write("machines.csv", "machine,in_service\nM,2025-11-01\n")
        .write(
            "positions.csv",
            "machine,position,part\nM,fin,F\nM,seal,S\n",
        )
        .write(
            "parts.csv",
            "part,family,price\nF,spinner-fin,60\nS,gearcase-seal,20\n",
        )
        .write(
            "usage.csv",
            "date,machine,product,tons\n2026-04-07,M,lime,4000\n",
        );
    let path = folder.path().to_str().expect("a path");
    let args = ["stock", path, "--as-of", "2026-10-31", "--format", "json"];
    let (status, out, err) = crate::cli::wearcast(&args);
    assert_eq!(status, wearcast::cli::ExitStatus::Done, "{err}");
    let report: serde_json::Value = serde_json::from_str(&out).expect("JSON");
    assert_eq!(report["order_total"], serde_json::Value::Null);
    let (_, out, _) = crate::cli::wearcast(&["stock", path, "--as-of", "2026-10-31"]);
    assert!(out.contains("as if the shelf were empty\n"), "{out}");
}
