//! Kits: parts done together share labor and are decided together.

use std::collections::BTreeSet;

use chrono::NaiveDate;
use wearcast::cost::PartCost;
use wearcast::decide::Advice;
use wearcast::forecast::unit::{Due, InService, Line};
use wearcast::record::Records;
use wearcast::report::remaining::RemainingReport;
use wearcast::study::{Options, Policy, Study};

use crate::fleet::{Fleet, Played, TrueFamily};

const PRIOR: &str =
    "[prior]\nshape = { median = 3.0, spread = 2.0 }\nlife50 = { median = 1500, spread = 4.0 }\n";
const LABOR_RATE: f64 = 100.0;

fn line(part: &str, hours: Option<f64>, kit: Option<&str>) -> Line {
    Line {
        family: "f".to_owned(),
        part: part.to_owned(),
        scheduled: true,
        cost: PartCost {
            price: Some(10.0),
            labor_hours: hours,
            ..PartCost::default()
        },
        down_hours: None,
        kit: kit.map(str::to_owned),
    }
}

/// Worked by hand: chain (4 h) and sprocket (1 h) of a kit, a filter of none, all on one day of one
/// machine; the sprocket of another machine; the sprocket again on another day.
#[test]
fn the_longest_job_of_a_kit_holds_the_others_of_its_machine_and_day() {
    let day = |d| NaiveDate::from_ymd_opt(2027, 3, d).expect("a date");
    let due = |machine, line, date| Due {
        machine,
        position: "p".to_owned(),
        line,
        date,
        pieces: 1.0,
        labor: true,
    };
    let mut service = InService {
        lines: vec![
            line("sprocket", Some(1.0), Some("drive")),
            line("chain", Some(4.0), Some("drive")),
            line("filter", Some(0.5), None),
        ],
        due: vec![
            due(0, 0, day(1)),
            due(0, 1, day(1)),
            due(0, 2, day(1)),
            due(1, 0, day(1)),
            due(0, 0, day(2)),
        ],
        ..InService::default()
    };
    service.share_labor();
    let counted: Vec<bool> = service.due.iter().map(|d| d.labor).collect();
    assert_eq!(counted, [false, true, true, true, true]);
}

fn fleet() -> (Fleet, Played) {
    let family = |name, scale, price| TrueFamily {
        name,
        shape: 4.0,
        scale,
        factors: [1.0, 1.6, 1.3],
        price,
        positions: 1,
    };
    let fleet = Fleet {
        machines: 12,
        seasons: 4,
        spread: 0.0,
        families: vec![
            family("chain", 4_500.0, 900.0),
            family("sprocket", 4_500.0, 150.0),
        ],
        seed: 5,
        gauge: None,
    };
    let mut played = fleet.play();
    played.records.settings.labor_rate = Some(LABOR_RATE);
    played.records.settings.down_cost_per_hour = Some(400.0);
    for change in &mut played.records.replacements {
        change.down_hours = Some(4.0);
    }
    for part in &mut played.records.parts {
        part.labor_hours = Some(if part.number == "chain" { 4.0 } else { 3.0 });
    }
    (fleet, played)
}

fn with_kit(mut records: Records) -> Records {
    for part in &mut records.parts {
        part.kit = Some("drive".to_owned());
    }
    records
}

fn study(fleet: &Fleet, records: Records, played: &Played) -> Study {
    let options = Options {
        as_of: Some(played.as_of),
        ..Options::default()
    };
    Study::new(records, fleet.families(PRIOR), options).expect("sound records")
}

fn of_machine<'a>(
    report: &'a RemainingReport,
    machine: &str,
) -> Vec<&'a wearcast::report::remaining::RemainingLine> {
    report
        .parts
        .iter()
        .filter(|p| p.machine == machine)
        .collect()
}

#[test]
fn parts_of_a_kit_are_changed_together_or_not_at_all() {
    let (fleet, played) = fleet();
    let alone = study(&fleet, played.records.clone(), &played);
    let kit = study(&fleet, with_kit(played.records.clone()), &played);
    let (alone, kit) = (
        alone.remaining().expect("known"),
        kit.remaining().expect("known"),
    );
    let machines: BTreeSet<&str> = kit.parts.iter().map(|p| p.machine.as_str()).collect();
    let mut replaced = 0;
    for machine in &machines {
        let parts = of_machine(&kit, machine);
        assert_eq!(parts.len(), 2);
        assert_eq!(parts[0].advice, parts[1].advice, "{machine}");
        let sum = |parts: &[&wearcast::report::remaining::RemainingLine]| -> f64 {
            parts.iter().map(|p| p.saving.expect("priced")).sum()
        };
        // Three hours of the sprocket are done in the four of the chain.
        let shared = sum(&parts) - sum(&of_machine(&alone, machine));
        assert!(
            (shared - 3.0 * LABOR_RATE).abs() < 1e-6,
            "{machine}: {shared}"
        );
        let pays = 0.0 < sum(&parts);
        assert_eq!(
            parts[0].advice == Some(Advice::ReplaceNow),
            pays,
            "{machine}"
        );
        replaced += usize::from(pays);
    }
    assert!(
        0 < replaced && replaced < machines.len(),
        "both answers occur: {replaced}"
    );
}

#[test]
fn under_the_advised_policy_a_kit_is_billed_for_its_longest_job() {
    let (fleet, played) = fleet();
    let study = study(&fleet, with_kit(played.records.clone()), &played);
    let policies = study.policies().expect("known");
    let budget = Study {
        options: Options {
            policy: Policy::Advised,
            ..study.options.clone()
        },
        ..study
    }
    .budget(&[])
    .expect("known");
    let line = |part: &str| {
        budget
            .lines
            .iter()
            .find(|l| l.part == part)
            .expect("in service")
    };
    let (chain, sprocket) = (line("chain"), line("sprocket"));
    let expected = |f: Option<wearcast::report::Forecast>| f.expect("known").expected;
    // Worn in season, each is a job of its own; changed before, only the chain's hours count.
    let changed = policies[1].changed_before as f64 / 2.0;
    assert!((expected(chain.planned) - changed).abs() < 1e-9);
    assert!((expected(sprocket.planned) - changed).abs() < 1e-9);
    let worn = |l: &wearcast::report::PartLine| expected(l.worn) + expected(l.damage);
    let bill = |hours: f64, jobs: f64| LABOR_RATE * hours * jobs;
    let chains = bill(4.0, worn(chain) + changed);
    assert!((expected(chain.labor_cost) - chains).abs() < 1e-6 * chains);
    let sprockets = bill(3.0, worn(sprocket));
    assert!((expected(sprocket.labor_cost) - sprockets).abs() < 1e-6 * sprockets);
    // The total is what its lines add up to.
    let lines = [chain, sprocket];
    let sum: f64 = lines
        .iter()
        .map(|l| expected(l.parts_cost) + expected(l.labor_cost))
        .sum();
    let total = expected(budget.total);
    assert!((sum - total).abs() < 1e-6 * total, "{sum}, {total}");
    assert_eq!(
        policies[1].total, budget.total,
        "the same season side by side"
    );
}

/// Parts of a family that is asked for alone are decided as they are beside all others.
#[test]
fn a_kit_is_decided_whole_where_only_one_of_its_families_is_asked_for() {
    let (fleet, played) = fleet();
    let records = with_kit(played.records.clone());
    let whole = study(&fleet, records.clone(), &played).remaining();
    let whole = whole.expect("a forecast").parts;
    for family in ["chain", "sprocket"] {
        let mut one = study(&fleet, records.clone(), &played);
        one.options.families = vec![family.to_owned()];
        let one = one.remaining().expect("a forecast").parts;
        let of_family: Vec<_> = whole.iter().filter(|p| p.family == family).collect();
        assert_eq!(one.len(), of_family.len());
        for (one, whole) in one.iter().zip(of_family) {
            assert_eq!(
                (&one.machine, one.advice, one.saving),
                (&whole.machine, whole.advice, whole.saving)
            );
        }
    }
}

/// Nor is one of them billed for hours that another of its kit holds, to within what plays scatter.
#[test]
fn work_of_a_kit_is_billed_alike_where_only_one_of_its_families_is_asked_for() {
    let (fleet, played) = fleet();
    let records = with_kit(played.records.clone());
    let labor = |families: &[&str]| {
        let mut study = study(&fleet, records.clone(), &played);
        study.options.policy = Policy::Advised;
        study.options.families = families.iter().map(|f| (*f).to_owned()).collect();
        let report = study.budget(&[]).expect("a forecast");
        let of = |family: &str| {
            let line = report.lines.iter().find(|l| l.family == family);
            line.and_then(|l| l.labor_cost).map(|f| f.expected)
        };
        [of("chain"), of("sprocket")]
    };
    let whole = labor(&[]);
    let apart = [labor(&["chain"])[0], labor(&["sprocket"])[1]];
    for (whole, apart) in whole.into_iter().zip(apart) {
        let (whole, apart) = (whole.expect("known"), apart.expect("known"));
        assert!((whole / apart - 1.0).abs() < 0.02, "{whole} {apart}");
    }
}
