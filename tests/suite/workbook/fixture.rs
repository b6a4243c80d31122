//! Budgets written by hand: one where all is known, one where little is, one without a line.

use chrono::NaiveDate;
use wearcast::record::{Account, Amounts, Table};
use wearcast::report::{
    BudgetReport, Forecast, Header, MachineLine, MonthLine, PartLine, PlanLine, PlanSource,
    ProductLine,
};
use wearcast::units::Units;

/// Part number, description, family, pieces expected, pieces at 80 %, price, pack, lead days, labor of all.
type Part = (
    &'static str,
    &'static str,
    &'static str,
    f64,
    f64,
    Option<f64>,
    u32,
    f64,
    f64,
);

const PARTS: [Part; 10] = [
    (
        "FN-4102-L",
        "Fin, left hand, hard faced",
        "spinner-fin",
        18.62,
        24.0,
        Some(21.85),
        4,
        9.0,
        310.4,
    ),
    (
        "FN-4102-R",
        "Fin, right hand, hard faced",
        "spinner-fin",
        18.62,
        24.0,
        Some(21.85),
        4,
        9.0,
        310.4,
    ),
    (
        "DC-2600",
        "Spinner disc 26 in, stainless",
        "spinner-disc",
        3.2,
        5.0,
        Some(188.0),
        1,
        14.0,
        226.1,
    ),
    (
        "CH-88-216",
        "Conveyor chain 88 pitch, 18 ft strand",
        "conveyor-chain",
        2.37,
        4.0,
        Some(1_264.5),
        2,
        21.0,
        1_023.8,
    ),
    (
        "SP-88-8T",
        "Drive sprocket, 8 teeth",
        "sprocket",
        2.9,
        4.0,
        Some(96.4),
        2,
        21.0,
        287.1,
    ),
    (
        "BG-207-HD",
        "Flange bearing 1 7/16 in",
        "bearing",
        9.48,
        12.0,
        Some(38.75),
        1,
        3.0,
        597.2,
    ),
    (
        "BU-1250",
        "Pivot bushing, bronze",
        "bushing",
        11.05,
        14.0,
        Some(6.9),
        10,
        5.0,
        348.1,
    ),
    (
        "MD-330",
        "Material divider, stainless",
        "divider",
        0.61,
        1.0,
        Some(442.0),
        1,
        30.0,
        61.0,
    ),
    (
        "HM-16",
        "Spinner motor, 16 cc",
        "hydraulic-motor",
        0.87,
        1.0,
        Some(615.0),
        1,
        45.0,
        130.5,
    ),
    (
        "FL-10M",
        "Return filter, 10 micron",
        "filter",
        12.0,
        12.0,
        Some(31.2),
        6,
        2.0,
        180.0,
    ),
];

const MACHINES: [(&str, &str, f64, f64, f64, f64); 4] = [
    ("Truck 7", "North elevator", 14_200.0, 2_840.0, 402.0, 0.34),
    ("Truck 9", "North elevator", 12_650.0, 2_610.0, 371.0, 0.3),
    ("Pull box A", "River branch", 6_480.0, 4_950.0, 268.0, 0.25),
    ("Pull box B", "River branch", 4_100.0, 820.0, 133.0, 0.11),
];

const PRODUCTS: [(&str, f64, f64, f64); 4] = [
    ("lime", 4_950.0, 6_700.0, 0.47),
    ("potash", 13_400.0, 1_675.0, 0.21),
    ("urea blend", 12_080.0, 1_845.0, 0.18),
    ("phosphate", 7_000.0, 1_000.0, 0.14),
];

const MONTHS: [f64; 12] = [
    0.11, 0.02, 0.01, 0.04, 0.13, 0.19, 0.14, 0.05, 0.02, 0.05, 0.1, 0.14,
];

/// Everything known: money in dollars, acres and tons.
pub fn usual() -> BudgetReport {
    let lines: Vec<PartLine> = PARTS.iter().map(line).collect();
    let total = total(&lines);
    BudgetReport {
        policy: "run",
        header: header(),
        season: 2027,
        from: day(2026, 11, 1),
        until: day(2027, 10, 31),
        currency: "$".to_owned(),
        units: Units::Us,
        plan_source: PlanSource::Plan,
        total: Some(total),
        known_total: total,
        down_total: Some(spread(2_914.6)),
        known_down: Some(spread(2_914.6)),
        planned: amounts(37_430.0, 11_220.0, 1_174.0),
        per_acre: Some(scaled(total, 1.0 / 37_430.0)),
        machines: machines(total),
        products: products(total.expected),
        money: wearcast::report::money::Money::default(),
        months: months(total),
        plan: plan(),
        policies: Vec::new(),
        live: None,
        assumptions: assumptions(),
        account: account(),
        lines,
    }
}

/// Prices, labor and hours that nobody knows, names that look like formulas, euros and hectares.
pub fn thin() -> BudgetReport {
    let mut report = usual();
    "EUR".clone_into(&mut report.currency);
    report.units = Units::Metric;
    report.plan_source = PlanSource::LastSeason;
    for (line, name) in
        report
            .lines
            .iter_mut()
            .zip(["=1+1", "+A1", "-7", "@SUM(A1)", "Streuscheibe Ø 65"])
    {
        name.clone_into(&mut line.part);
        line.description = Some(format!("{name} für Kalk, 石灰\u{7}"));
    }
    let unpriced = &mut report.lines[3];
    (
        unpriced.price,
        unpriced.parts_cost,
        unpriced.labor_cost,
        unpriced.down_cost,
    ) = (None, None, None, None);
    unpriced.lead_days = None;
    report.lines[4].price_from_records = true;
    let known = total(&report.lines);
    report.total = None;
    report.per_acre = None;
    report.down_total = None;
    report.known_down = None;
    report.known_total = known;
    report.planned.hours = None;
    report.machines[2].total = None;
    report.machines[2].planned.hours = None;
    "https://example.org/?a=1".clone_into(&mut report.machines[1].machine);
    report.products = products(known.expected);
    report.products[3].tons = None;
    report.products[3].cost_per_ton = None;
    report.months[4].total = None;
    report.plan[1].amounts.hours = None;
    report
        .header
        .notes
        .insert(0, "=HYPERLINK(\"https://example.org\")".to_owned());
    report.header.notes.push("x".repeat(40_000));
    report
}

/// Records without a single part: every list is empty.
pub fn bare() -> BudgetReport {
    let nothing = scaled(spread(1.0), 0.0);
    BudgetReport {
        header: Header {
            as_of: None,
            notes: Vec::new(),
            cautions: Vec::new(),
            ..header()
        },
        total: None,
        known_total: nothing,
        down_total: None,
        known_down: None,
        planned: Amounts::default(),
        per_acre: None,
        lines: Vec::new(),
        machines: Vec::new(),
        products: Vec::new(),
        money: wearcast::report::money::Money::default(),
        months: Vec::new(),
        plan: Vec::new(),
        policies: Vec::new(),
        live: None,
        assumptions: Vec::new(),
        account: Vec::new(),
        ..usual()
    }
}

/// A large fleet: more than a page holds, with long names and long notes.
pub fn large() -> BudgetReport {
    let mut report = usual();
    let lines = report.lines.clone();
    let machines = report.machines.clone();
    for again in 1..6 {
        report.lines.extend(lines.iter().cloned().map(|mut line| {
            line.part = format!("{}-{again}00-SUPERSEDED-BY-NEWER", line.part);
            line.description = line
                .description
                .map(|d| format!("{d}, for boxes built before series {again}"));
            line
        }));
        report
            .machines
            .extend(machines.iter().cloned().map(|mut machine| {
                machine.machine = format!("{} of crew {again}", machine.machine);
                machine
            }));
    }
    let grown = total(&report.lines);
    (report.total, report.known_total) = (Some(grown), grown);
    report.months = months(grown);
    report.products = products(grown.expected);
    report
}

pub fn day(year: i32, month: u32, day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(year, month, day).expect("a date of the fixture")
}

fn header() -> Header {
    Header {
        as_of: Some(day(2026, 10, 31)),
        seed: 1,
        level: 0.9,
        machines: Vec::new(),
        families: Vec::new(),
        notes: vec![
            "The lives of family divider rest on 3 wear-outs; its interval is wide and the range of plausible lives \
             comes mostly from the model file."
                .to_owned(),
            "Planned hours of Pull box A were filled in from its past acres an hour.".to_owned(),
        ],
        cautions: vec![
            "Before measuring or fitting: engine off, key out, conveyor and spinners at rest, pressure released, \
             raised and tensioned parts secured."
                .to_owned(),
            "Measured limits come first: a chain at its limit is changed whatever the forecast says.".to_owned(),
        ],
    }
}

fn spread(expected: f64) -> Forecast {
    Forecast {
        expected,
        p10: expected * 0.55,
        p50: expected * 0.95,
        p80: expected * 1.28,
        p90: expected * 1.49,
        p95: expected * 1.7,
    }
}

fn scaled(forecast: Forecast, by: f64) -> Forecast {
    Forecast {
        expected: forecast.expected * by,
        p10: forecast.p10 * by,
        p50: forecast.p50 * by,
        p80: forecast.p80 * by,
        p90: forecast.p90 * by,
        p95: forecast.p95 * by,
    }
}

fn line(part: &Part) -> PartLine {
    let &(number, description, family, expected, p80, price, pack, lead, labor) = part;
    let pieces = Forecast {
        p80,
        ..spread(expected)
    };
    let scheduled = family == "filter";
    let (worn, damage, planned) = if scheduled {
        (0.0, 0.0, 1.0)
    } else {
        (0.85, 0.15, 0.0)
    };
    PartLine {
        family: family.to_owned(),
        part: number.to_owned(),
        description: Some(description.to_owned()),
        scheduled,
        replacements: Some(pieces),
        worn: Some(scaled(pieces, worn)),
        damage: Some(scaled(pieces, damage)),
        planned: Some(scaled(pieces, planned)),
        pieces: Some(pieces),
        price,
        price_from_records: false,
        pack,
        lead_days: Some(lead),
        parts_cost: price.map(|price| scaled(pieces, price)),
        labor_cost: Some(spread(labor)),
        down_cost: Some(spread(labor * 0.8)),
    }
}

/// The whole runs less high than its lines together.
fn total(lines: &[PartLine]) -> Forecast {
    let known = lines.iter().filter(|line| line.parts_cost.is_some());
    let costs = known
        .flat_map(|line| [line.parts_cost, line.labor_cost])
        .flatten();
    let expected = costs.map(|cost| cost.expected).sum();
    Forecast {
        p10: expected * 0.79,
        p80: expected * 1.13,
        p90: expected * 1.22,
        p95: expected * 1.3,
        ..spread(expected)
    }
}

fn machines(total: Forecast) -> Vec<MachineLine> {
    MACHINES
        .iter()
        .map(|&(machine, site, acres, tons, hours, share)| MachineLine {
            machine: machine.to_owned(),
            site: Some(site.to_owned()),
            planned: amounts(acres, tons, hours),
            total: Some(spread(total.expected * share)),
            known_total: spread(total.expected * share),
        })
        .collect()
}

fn products(expected: f64) -> Vec<ProductLine> {
    PRODUCTS
        .iter()
        .map(|&(group, acres, tons, share)| ProductLine {
            group: group.to_owned(),
            acres: Some(acres),
            tons: Some(tons),
            cost: Some(expected * share),
            known_cost: expected * share,
            cost_per_acre: Some(expected * share / acres),
            cost_per_ton: Some(expected * share / tons),
        })
        .collect()
}

fn months(total: Forecast) -> Vec<MonthLine> {
    let month = |i: u32| {
        if i < 2 {
            day(2026, 11 + i, 1)
        } else {
            day(2027, i - 1, 1)
        }
    };
    let money = |share| spread(total.expected * share);
    (0..)
        .zip(MONTHS)
        .map(|(i, share)| MonthLine {
            month: month(i),
            total: Some(money(share)),
            known_total: money(share),
        })
        .collect()
}

fn plan() -> Vec<PlanLine> {
    let mut plan = Vec::new();
    for month in 2..6 {
        for (machine, _, acres, tons, hours, _) in MACHINES {
            plan.push(PlanLine {
                month: day(2027, month, 1),
                machine: machine.to_owned(),
                product: "0-0-60 granular".to_owned(),
                group: "potash".to_owned(),
                bin: (month == 2).then(|| "front".to_owned()),
                amounts: amounts(acres / 4.0, tons / 4.0, hours / 4.0),
            });
        }
    }
    plan
}

fn assumptions() -> Vec<(String, String)> {
    [
        (
            "Prices",
            "parts list of the records, 4 % dearer next season",
        ),
        ("Labor", "$95.00 an hour, as the settings say"),
        (
            "Down time",
            "$310.00 an hour of lost field time, as the settings say",
        ),
        (
            "Policy",
            "run: nothing is changed before the season that still serves",
        ),
        ("Reference group for wear", "potash"),
        (
            "Life models",
            "Weibull, all families; the range of plausible shapes comes from the model files",
        ),
    ]
    .map(|(thing, value)| (thing.to_owned(), value.to_owned()))
    .to_vec()
}

fn account() -> Vec<Account> {
    Table::ALL
        .into_iter()
        .map(|table| {
            let read = if table == Table::Usage { 18_412 } else { 40 };
            let there = table != Table::Stock;
            Account {
                table,
                source: there.then(|| format!("{}.csv", table.name())),
                read: if there { read } else { 0 },
                used: if there { read - 2 } else { 0 },
                set_aside: if there { 2 } else { 0 },
                later: 0,
                own_columns: Vec::new(),
            }
        })
        .collect()
}

fn amounts(acres: f64, tons: f64, hours: f64) -> Amounts {
    Amounts {
        acres: Some(acres),
        tons: Some(tons),
        hours: Some(hours),
    }
}
