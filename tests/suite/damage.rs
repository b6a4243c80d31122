//! What does not come from wear: parts struck, and single pieces of sets.

use wearcast::family::{Families, Family};
use wearcast::record::{Amounts, Reason, Records, UsageRow};
use wearcast::report::BudgetReport;
use wearcast::study::{Options, Study};

use crate::fleet::{Fleet, Played, TrueFamily};

const PRIOR: &str =
    "[prior]\nshape = { median = 3.0, spread = 2.0 }\nlife50 = { median = 1500, spread = 4.0 }\n";

fn fleet() -> (Fleet, Played) {
    let fleet = Fleet {
        machines: 4,
        seasons: 4,
        spread: 0.0,
        families: vec![TrueFamily {
            name: "fin",
            shape: 3.0,
            scale: 1_500.0,
            factors: [1.0, 1.0, 1.0],
            price: 60.0,
            positions: 3,
        }],
        seed: 11,
        gauge: None,
    };
    let played = fleet.play();
    (fleet, played)
}

fn budget(families: Families, records: Records, played: &Played) -> BudgetReport {
    let options = Options {
        as_of: Some(played.as_of),
        ..Options::default()
    };
    let study = Study::new(records, families, options).expect("sound records");
    study.budget(&[]).expect("enough is known")
}

/// Every third change called damage: about as many to come as there were a season, whichever
/// measure of use is on record.
#[test]
fn damage_is_forecast_by_whatever_use_is_recorded() {
    let (fleet, mut played) = fleet();
    for (i, change) in played.records.replacements.iter_mut().enumerate() {
        if i % 3 == 0 {
            change.reason = Reason::Damage;
        }
    }
    let struck = played
        .records
        .replacements
        .iter()
        .filter(|r| r.reason == Reason::Damage);
    let a_season = struck.count() as f64 / 4.0;
    let without = |keep: [bool; 3]| {
        let mut records = played.records.clone();
        let log = played.records.usage.iter().map(|row| {
            let given = row.amounts;
            let amounts = Amounts {
                acres: given.acres.filter(|_| keep[0]),
                tons: given.tons.filter(|_| keep[1]),
                hours: given.hours.filter(|_| keep[2]),
            };
            UsageRow { amounts, ..row }
        });
        records.usage = log.collect();
        records.plan.iter_mut().for_each(|p| {
            p.amounts.hours = None;
        });
        let report = budget(fleet.families(PRIOR), records, &played);
        report.lines[0].damage.expect("known").expected
    };
    // Acres, tons, hours.
    for keep in [
        [true, true, true],
        [true, true, false],
        [false, true, false],
    ] {
        let forecast = without(keep);
        assert!(
            (0.6 * a_season..1.5 * a_season).contains(&forecast),
            "{keep:?}: {forecast}, {a_season} a season"
        );
    }
}

/// Two pieces of four changed now and then: they cost in the season to come what they cost in
/// those before, and renew no set.
#[test]
fn single_pieces_of_sets_are_in_the_money_and_in_no_count() {
    let (_, mut played) = fleet();
    for position in &mut played.records.positions {
        position.quantity = 4.0;
    }
    let whole = played.records.clone();
    let mut single = played.records.replacements.clone();
    single.retain(|r| r.position == "fin 00");
    let times = single.len() as f64 / 4.0;
    for change in &mut single {
        change.position = "fin 01".to_owned();
        change.quantity = Some(2.0);
        change.date = change.date + chrono::Days::new(1);
    }
    played.records.replacements.extend(single);
    let families = || {
        let mut families = Families::default();
        let text = format!("family = \"fin\"\nmeasure = \"tons\"\ncounted = \"set\"\n{PRIOR}");
        families.insert(Family::from_toml(&text).expect("valid"));
        families
    };
    let before = budget(families(), whole, &played);
    let after = budget(families(), played.records.clone(), &played);
    let expected = |f: Option<wearcast::report::Forecast>| f.expect("known").expected;
    let more = |of: fn(&wearcast::report::PartLine) -> Option<wearcast::report::Forecast>| {
        expected(of(&after.lines[0])) - expected(of(&before.lines[0]))
    };
    assert!(more(|l| l.replacements).abs() < 0.05, "no set is renewed");
    let pieces = more(|l| l.pieces);
    assert!(
        (0.7 * 2.0 * times..1.4 * 2.0 * times).contains(&pieces),
        "{pieces} pieces more, {times} times two a season"
    );
    let money = expected(after.total) - expected(before.total);
    assert!(
        (money - 60.0 * pieces).abs() < 1e-6 * money.abs() + 1.0,
        "{money}, {pieces}"
    );
}
