//! What does not come from wear: parts struck, and single pieces of sets.

use std::fmt::Write as _;

use wearcast::family::{Families, Family};
use wearcast::record::{Amounts, Reason, Records, UsageRow};
use wearcast::report::BudgetReport;
use wearcast::study::{Options, Study};

use crate::fleet::{Fleet, Played, TrueFamily};
use crate::read::Folder;

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
    study.budget().expect("enough is known")
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

/// A family that never wears out within these records.
const PAIR: &str = "family = \"pair\"\nmeasure = \"tons\"\ncounted = \"set\"\n[prior]\n\
                    shape = { median = 3.0, spread = 1.5 }\nlife50 = { median = 100000, spread = 1.5 }\n";

/// A position of one piece has no single pieces to change; how many there are of those does not make the
/// set's last longer.
#[test]
fn positions_of_one_piece_do_not_thin_out_the_single_pieces_of_sets() {
    let pieces = |more: usize| {
        let folder = Folder::empty();
        let mut usage = "date,machine,product,tons,hours\n".to_owned();
        let mut changes = "date,machine,position,quantity,reason\n".to_owned();
        for month in 0..36 {
            let (year, month) = (2021 + month / 12, month % 12 + 1);
            writeln!(usage, "{year}-{month:02}-01,M,potash,100,9").expect("text");
            writeln!(changes, "{year}-{month:02}-15,M,big,1,damage").expect("text");
        }
        let small = (0..more).map(|k| format!("M,small {k},P,1\n"));
        std::fs::create_dir(folder.path().join("models")).expect("a folder");
        folder
            .write("models/pair.toml", PAIR)
            .write("machines.csv", "machine,in_service\nM,2021-01-01\n")
            .write(
                "positions.csv",
                format!(
                    "machine,position,part,quantity\nM,big,P,4\n{}",
                    small.collect::<String>()
                ),
            )
            .write("parts.csv", "part,family,price\nP,pair,10\n")
            .write("settings.toml", "season_starts = \"01-01\"\n")
            .write("usage.csv", usage)
            .write("replacements.csv", changes);
        let path = folder.path().to_str().expect("a path");
        let args = ["budget", path, "--as-of", "2023-12-31", "--format", "json"];
        let (status, out, err) = crate::cli::wearcast(&args);
        assert_eq!(status, wearcast::cli::ExitStatus::Done, "{err}");
        let report: serde_json::Value = serde_json::from_str(&out).expect("JSON");
        report["families"][0]["pieces"]["expected"]
            .as_f64()
            .expect("a number")
    };
    // Twelve a year went on record; the prior weighs a tenth of it.
    let alone = pieces(0);
    assert!((10.0..12.5).contains(&alone), "{alone}");
    assert!((pieces(9) / alone - 1.0).abs() < 0.05, "{}", pieces(9));
}

/// Two machines alike, whose sets lose a piece a month; of one a row of its first month has no amounts, so that
/// nobody knows its use. What it lost tells nothing of how often, and is not laid on the other's use.
#[test]
fn single_pieces_of_unknown_use_make_no_rate() {
    let pieces = |gap: &str| {
        let folder = Folder::empty();
        let mut usage = format!("date,machine,product,tons,hours\n{gap}");
        let mut changes = "date,machine,position,quantity,reason\n".to_owned();
        for (month, machine) in (0..36).flat_map(|month| [(month, "M"), (month, "N")]) {
            let (year, month) = (2021 + month / 12, month % 12 + 1);
            writeln!(usage, "{year}-{month:02}-01,{machine},potash,100,9").expect("text");
            writeln!(changes, "{year}-{month:02}-15,{machine},big,1,damage").expect("text");
        }
        std::fs::create_dir(folder.path().join("models")).expect("a folder");
        folder
            .write("models/pair.toml", PAIR)
            .write(
                "machines.csv",
                "machine,in_service\nM,2021-01-01\nN,2021-01-01\n",
            )
            .write(
                "positions.csv",
                "machine,position,part,quantity\nM,big,P,4\nN,big,P,4\n",
            )
            .write("parts.csv", "part,family,price\nP,pair,10\n")
            .write("settings.toml", "season_starts = \"01-01\"\n")
            .write(
                "plan.csv",
                "month,machine,product,tons,hours\n2024-04,M,potash,1200,108\n2024-04,N,potash,1200,108\n",
            )
            .write("usage.csv", usage)
            .write("replacements.csv", changes);
        let path = folder.path().to_str().expect("a path");
        let args = ["budget", path, "--as-of", "2023-12-31", "--format", "json"];
        let (status, out, err) = crate::cli::wearcast(&args);
        assert_eq!(status, wearcast::cli::ExitStatus::Done, "{err}");
        let report: serde_json::Value = serde_json::from_str(&out).expect("JSON");
        let pieces = &report["families"][0]["pieces"]["expected"];
        pieces.as_f64().expect("a number")
    };
    let known = pieces("");
    assert!((20.0..25.0).contains(&known), "{known}");
    let in_part = pieces("2021-01-01,N,urea,,\n");
    assert!((in_part / known - 1.0).abs() < 0.1, "{in_part} {known}");
}

/// Strikes do not hang on the age of a part: nobody knows when these were fitted, and the log holds the hours.
#[test]
fn strikes_count_where_nobody_knows_the_age() {
    let damage = |installed: &str| {
        let folder = Folder::empty();
        let mut usage = "date,machine,product,tons,hours\n".to_owned();
        let mut changes = "date,machine,position,reason\n".to_owned();
        let mut positions = "machine,position,part,installed\n".to_owned();
        for k in 0..10 {
            writeln!(positions, "M,p{k},P,{installed}").expect("text");
            writeln!(changes, "2026-0{}-17,M,p{k},damage", 1 + k % 9).expect("text");
        }
        for month in 1..=10 {
            writeln!(usage, "2026-{month:02}-05,M,potash,100,70").expect("text");
        }
        folder
            .write(
                "machines.csv",
                "machine,in_service,records_from\nM,2020-11-01,2025-11-01\n",
            )
            .write("positions.csv", positions)
            .write("parts.csv", "part,family,price\nP,sensor,200\n")
            .write("settings.toml", "season_starts = \"11-01\"\n")
            .write("replacements.csv", changes)
            .write("usage.csv", usage);
        let path = folder.path().to_str().expect("a path");
        let args = ["budget", path, "--as-of", "2026-10-31", "--format", "json"];
        let (status, out, err) = crate::cli::wearcast(&args);
        assert_eq!(status, wearcast::cli::ExitStatus::Done, "{err}");
        let report: serde_json::Value = serde_json::from_str(&out).expect("JSON");
        report["families"][0]["damage"]["expected"]
            .as_f64()
            .expect("a number")
    };
    // Ten in 7,000 hours of ten parts, and as many to come; the prior weighs a tenth of it.
    for installed in ["unknown", "2023-11-01"] {
        let damage = damage(installed);
        assert!((8.0..10.5).contains(&damage), "{installed}: {damage}");
    }
}
