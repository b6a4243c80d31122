//! Kits: parts done together share labor and are decided together.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use chrono::NaiveDate;
use wearcast::cost::PartCost;
use wearcast::decide::Advice;
use wearcast::family::{Families, Family};
use wearcast::forecast::unit::{Due, InService, Line};
use wearcast::record::Records;
use wearcast::report::remaining::RemainingReport;
use wearcast::study::{Options, Policy, Study};

use crate::fleet::{Fleet, Played, TrueFamily};
use crate::read::Folder;

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
    let due = |machine, line: usize, date| Due {
        machine,
        position: format!("position {line}"),
        line,
        date,
        pieces: 1.0,
        labor: true,
        worn_on: None,
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
        let apart = sum(&of_machine(&alone, machine));
        assert!(apart < sum(&parts), "{machine}: shared labor saves");
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

/// Where nothing is known of its mate a part is decided alone, and so with all of its own labor.
#[test]
fn a_mate_without_a_price_takes_no_share_of_the_labor() {
    let (fleet, mut played) = fleet();
    for part in &mut played.records.parts {
        part.price = part.price.filter(|_| part.number == "chain");
    }
    let savings = |records: Records| -> Vec<Option<f64>> {
        let report = study(&fleet, records, &played).remaining().expect("known");
        let chains = report.parts.iter().filter(|p| p.part == "chain");
        chains.map(|p| p.saving).collect()
    };
    let alone = savings(played.records.clone());
    assert!(alone.iter().all(Option::is_some));
    assert_eq!(savings(with_kit(played.records.clone())), alone);
}

/// The least cost of a kit of two parts as one programme over both ages, all of the kit changed before
/// a season or none: written for this test on a grid of its own.
struct Joint {
    saving: Vec<Vec<f64>>,
}

const GRID: f64 = 40.0;
const STEPS: usize = 10;
const AGES: usize = 60;

impl Joint {
    /// Weibull lives of shape 3 with half worn out by 1,000 tons; 400 tons a season.
    fn new(planned: f64, in_season: [f64; 2], discount: f64) -> Self {
        let scale = 1_000.0 / std::f64::consts::LN_2.powf(1.0 / 3.0);
        let hazard = |k: usize| (k as f64 * GRID / scale).powi(3);
        let wears = |k: usize| -(hazard(k) - hazard(k + 1)).exp_m1();
        // Ages at a season's end and changes in it, by the age at its start.
        let season = |from: usize| {
            let (mut ages, mut changes) = (vec![0.0; AGES], 0.0);
            ages[from] = 1.0;
            for _ in 0..STEPS {
                let mut next = vec![0.0; AGES];
                for (age, p) in ages.iter().enumerate().filter(|(_, p)| 0.0 < **p) {
                    let worn = p * wears(age);
                    changes += worn;
                    next[0] += worn;
                    next[(age + 1).min(AGES - 1)] += p - worn;
                }
                ages = next;
            }
            (ages, changes)
        };
        let (ends, changes): (Vec<Vec<f64>>, Vec<f64>) = (0..AGES).map(season).unzip();
        let mut run = vec![vec![0.0; AGES]; AGES];
        for _ in 0..120 {
            let replaced = planned + run[0][0];
            let value = |a: usize, b: usize, run: &[Vec<f64>]| f64::min(run[a][b], replaced);
            // First over the second part's end, then over the first one's.
            let half: Vec<Vec<f64>> = (0..AGES)
                .map(|a| {
                    let of = |b: usize| (0..AGES).map(|e| ends[b][e] * value(a, e, &run)).sum();
                    (0..AGES).map(of).collect()
                })
                .collect();
            run = (0..AGES)
                .map(|a| {
                    let of = |b: usize| {
                        let later: f64 = (0..AGES).map(|e| ends[a][e] * half[e][b]).sum();
                        in_season[0] * changes[a] + in_season[1] * changes[b] + discount * later
                    };
                    (0..AGES).map(of).collect()
                })
                .collect();
        }
        let replaced = planned + run[0][0];
        let saving = run
            .into_iter()
            .map(|of| of.into_iter().map(|r| r - replaced).collect());
        Self {
            saving: saving.collect(),
        }
    }

    fn saving(&self, [a, b]: [u32; 2]) -> f64 {
        self.saving[a as usize / GRID as usize][b as usize / GRID as usize]
    }
}

/// What single programmes that share the longest job add up to is near what one over both ages says.
#[test]
fn the_saving_of_a_kit_is_near_that_of_one_programme_over_both_ages() {
    let folder = Folder::empty();
    let ages = [
        [400, 600],
        [440, 440],
        [480, 480],
        [600, 200],
        [680, 0],
        [920, 920],
        [1000, 200],
    ];
    let (mut machines, mut positions) = (String::new(), String::new());
    let mut plan = String::new();
    for (m, [a, b]) in ages.iter().enumerate() {
        let _ = writeln!(machines, "m{m},2021-01-01,2025-10-01");
        let _ = writeln!(positions, "m{m},A,A-1,{a}\nm{m},B,B-1,{b}");
        let _ = writeln!(plan, "2026-04,m{m},lime,400");
    }
    let models = folder.path().join("models");
    std::fs::create_dir(&models).expect("a folder");
    for family in ["ka", "kb"] {
        let text = format!(
            "family = \"{family}\"\nmeasure = \"tons\"\ncounted = \"each\"\n[prior]\nshape = {{ median = 3.0, spread = 1.001 }}\nlife50 = {{ median = 1000, spread = 1.001 }}\n"
        );
        std::fs::write(models.join(format!("{family}.toml")), text).expect("a file");
    }
    folder
        .write(
            "machines.csv",
            format!("machine,in_service,records_from\nother,2021-01-01,2025-10-01\n{machines}"),
        )
        .write(
            "positions.csv",
            format!("machine,position,part,tons_before\n{positions}"),
        )
        .write(
            "parts.csv",
            "part,family,price,labor_hours,kit\nA-1,ka,300,8,K\nB-1,kb,60,6,K\n",
        )
        .write(
            "usage.csv",
            // Days of work are short against a life; another machine's log shows how short.
            "date,machine,product,tons\n2025-10-20,m0,lime,0\n2025-10-20,other,lime,13\n",
        )
        .write("plan.csv", format!("month,machine,product,tons\n{plan}"))
        .write(
            "settings.toml",
            "labor_rate = 100\nrush_cost = 5\nholding_rate = 0.08\n",
        );
    let (families, wrong) = wearcast::read::families(Some(folder.path()), None).expect("readable");
    assert_eq!(wrong, []);
    let records = wearcast::read::folder(folder.path(), None, &families)
        .expect("readable")
        .records;
    let options = Options {
        as_of: NaiveDate::from_ymd_opt(2025, 10, 31),
        machine_effect: false,
        ..Options::default()
    };
    let study = Study::new(records, families, options).expect("sound records");
    let report = study.remaining().expect("known");
    // The longest job before a season; alone in it, dearer by five times the price.
    let planned = 300.0 + 60.0 + 8.0 * LABOR_RATE;
    let in_season = [
        300.0 * 6.0 + 8.0 * LABOR_RATE,
        60.0 * 6.0 + 6.0 * LABOR_RATE,
    ];
    let joint = Joint::new(planned, in_season, 1.0 / 1.08);
    for (m, of) in ages.into_iter().enumerate() {
        let parts = of_machine(&report, &format!("m{m}"));
        let found: f64 = parts.iter().map(|p| p.saving.expect("priced")).sum();
        let wanted = joint.saving(of);
        assert!((found - wanted).abs() < 90.0, "{of:?}: {found}, {wanted}");
        let pays = parts[0].advice == Some(Advice::ReplaceNow);
        assert_eq!(pays, 0.0 < wanted, "{of:?}: {found}, {wanted}");
    }
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
    .budget()
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
        let report = study.budget().expect("a forecast");
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

/// Two positions of one part number and age, of ten pieces and of one: each is judged by its own costs.
#[test]
fn sets_of_different_size_are_judged_apart() {
    let savings = |quantities: [u32; 2]| {
        let folder = Folder::empty();
        let mut usage = "date,machine,product,tons\n".to_owned();
        for month in 1..=10 {
            writeln!(usage, "2026-{month:02}-05,M,potash,100").expect("text");
        }
        std::fs::create_dir(folder.path().join("models")).expect("a folder");
        let text = "family = \"pad\"\nmeasure = \"tons\"\ncounted = \"set\"\n[prior]\n\
                    shape = { median = 4.0, spread = 1.05 }\nlife50 = { median = 1100, spread = 1.05 }\n";
        let [a, b] = quantities;
        folder
            .write("models/pad.toml", text)
            .write("machines.csv", "machine,in_service\nM,2025-11-01\n")
            .write(
                "positions.csv",
                format!("machine,position,part,quantity\nM,a,P,{a}\nM,b,P,{b}\n"),
            )
            .write("parts.csv", "part,family,price,labor_hours\nP,pad,200,1\n")
            .write(
                "settings.toml",
                "season_starts = \"11-01\"\nlabor_rate = 100\nrush_cost = 0.9\n",
            )
            .write("usage.csv", usage);
        let path = folder.path().to_str().expect("a path");
        let args = [
            "remaining",
            path,
            "--as-of",
            "2026-10-31",
            "--format",
            "json",
        ];
        let (status, out, err) = crate::cli::wearcast(&args);
        assert_eq!(status, wearcast::cli::ExitStatus::Done, "{err}");
        let report: serde_json::Value = serde_json::from_str(&out).expect("JSON");
        [0, 1].map(|k| report["parts"][k]["saving"].as_f64().expect("a number"))
    };
    let [ten, one] = savings([10, 1]);
    let [first, second] = savings([1, 10]);
    assert!((ten - second).abs() < 1e-9 && (one - first).abs() < 1e-9);
    assert!(5.0 < (ten / one).abs(), "{ten} {one}");
}

/// Filters that are counted each are changed one by one, three jobs of labor; as a set they are one.
#[test]
fn scheduled_pieces_that_are_counted_each_are_changed_each() {
    let line = |counted: &str| {
        let folder = Folder::empty();
        std::fs::create_dir(folder.path().join("models")).expect("a folder");
        folder
            .write(
                "models/filter.toml",
                format!("family = \"filter\"\n{counted}[service]\nevery = {{ days = 365 }}\n"),
            )
            .write("machines.csv", "machine,in_service\nM,2025-11-01\n")
            .write("positions.csv", "machine,position,part,quantity\nM,a,P,3\n")
            .write(
                "parts.csv",
                "part,family,price,labor_hours\nP,filter,20,2\n",
            )
            .write(
                "settings.toml",
                "season_starts = \"11-01\"\nlabor_rate = 100\n",
            )
            .write(
                "usage.csv",
                "date,machine,product,tons\n2026-04-05,M,potash,100\n",
            );
        let path = folder.path().to_str().expect("a path");
        let args = ["budget", path, "--as-of", "2026-10-31", "--format", "json"];
        let (status, out, err) = crate::cli::wearcast(&args);
        assert_eq!(status, wearcast::cli::ExitStatus::Done, "{err}");
        let report: serde_json::Value = serde_json::from_str(&out).expect("JSON");
        let family = &report["families"][0];
        ["replacements", "pieces", "labor_cost"].map(|key| family[key]["expected"].to_string())
    };
    assert_eq!(line("counted = \"each\"\n"), ["3.0", "3.0", "600.0"]);
    assert_eq!(line("counted = \"set\"\n"), ["1.0", "3.0", "200.0"]);
    assert_eq!(line(""), ["1.0", "3.0", "200.0"]);
}

/// Two scheduled filters of one kit fall due on one day, and a wear part beside them is of the kit where `kit` says so.
/// The longest of the jobs takes five hours.
fn filters(kit: &str, as_advised: bool) -> Folder {
    let folder = Folder::empty();
    let mut usage = "date,machine,product,tons\n".to_owned();
    for year in 2021..2027 {
        for month in 4..10 {
            writeln!(usage, "{year}-{month:02}-05,A,lime,100").expect("text");
        }
    }
    let life50 = if as_advised { 1_250 } else { 12_500 };
    std::fs::create_dir(folder.path().join("models")).expect("a folder");
    let filter = |name: &str| format!("family = \"{name}\"\n[service]\nevery = {{ days = 365 }}\n");
    folder
        .write("models/one.toml", filter("one"))
        .write("models/two.toml", filter("two"))
        .write(
            "models/pad.toml",
            format!(
                "family = \"pad\"\nmeasure = \"tons\"\ncounted = \"set\"\n[prior]\n\
                 shape = {{ median = 6, spread = 1.2 }}\nlife50 = {{ median = {life50}, spread = 1.2 }}\n"
            ),
        )
        .write("machines.csv", "machine,in_service\nA,2020-11-01\n")
        .write(
            "positions.csv",
            "machine,position,part,installed\nA,wear,P,\nA,s1,S1,2025-11-01\nA,s2,S2,2025-11-01\n",
        )
        .write(
            "parts.csv",
            format!(
                "part,family,price,labor_hours,kit\nP,pad,1000,4,{kit}\nS1,one,20,5,k\nS2,two,20,3,k\n"
            ),
        )
        .write(
            "replacements.csv",
            "date,machine,position,reason\n2022-08-05,A,wear,worn\n2024-08-05,A,wear,worn\n",
        )
        .write(
            "settings.toml",
            "labor_rate = 100.0\nseason_starts = \"11-01\"\ndown_cost_per_hour = 2000\n",
        )
        .write("usage.csv", usage);
    folder
}

fn of_filters(folder: &Folder, policy: Policy, families: &[&str]) -> Study {
    let options = Options {
        as_of: NaiveDate::from_ymd_opt(2026, 10, 31),
        policy,
        families: families.iter().map(|f| (*f).to_owned()).collect(),
        ..Options::default()
    };
    let mut own = Families::default();
    for name in ["one", "two", "pad"] {
        let path = folder.path().join(format!("models/{name}.toml"));
        let text = std::fs::read_to_string(path).expect("a model file");
        own.insert(Family::from_toml(&text).expect("valid"));
    }
    Study::new(folder.read().records, own, options).expect("sound records")
}

/// The second filter is changed in the five hours of the first, also where it alone is asked for.
#[test]
fn scheduled_work_shares_labor_with_what_is_not_asked_for() {
    let folder = filters("", false);
    for policy in [Policy::Run, Policy::Advised] {
        let report = of_filters(&folder, policy, &["two"]).budget_to_change();
        let report = report.expect("a forecast");
        let total = report.total.expect("known").expected;
        assert!((total - 20.0).abs() < 1e-6, "{policy:?}: {total}");
        let live = report.live.expect("a workbook that follows");
        assert_eq!(live.places.len(), 1);
        assert!(live.places[0].jobs_each.abs() < 1e-12, "{policy:?}");
    }
}

/// A part that is changed before the season takes four hours of the five that a filter takes on that day.
#[test]
fn scheduled_work_shares_labor_with_what_is_advised() {
    let study = of_filters(&filters("k", true), Policy::Advised, &[]);
    let report = study.budget_to_change().expect("a forecast");
    let live = report.live.as_ref().expect("a workbook that follows");
    let jobs: f64 = live
        .places
        .iter()
        .map(|p| p.jobs_each * f64::from(u8::from(p.family.is_none())))
        .sum();
    let with_labor = report
        .lines
        .iter()
        .filter(|l| ["one", "two"].contains(&l.family.as_str()));
    let billed: f64 = with_labor
        .map(|l| l.labor_cost.expect("known").expected / 100.0)
        .sum();
    let hours: f64 = live
        .places
        .iter()
        .filter(|p| p.family.is_none())
        .map(|p| {
            p.jobs_each
                * if report.lines[p.line].family == "one" {
                    5.0
                } else {
                    3.0
                }
        })
        .sum();
    assert!(
        (billed - hours).abs() < 1e-9,
        "{billed} hours billed, {hours} in the workbook, {jobs} jobs"
    );
}
