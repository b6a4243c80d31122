//! The season's money: as a whole, by part, by machine, by month.

use std::fmt::Write as _;

use maud::{Markup, html};

use super::table::Table;
use super::words::{
    UNKNOWN, a, amount, cents, count, day, known, money, or_more, pieces, price, range, whole,
};
use super::{MOST_IN_PICTURE, figure};
use crate::plot::{
    Caption, Column, ColumnsFigure, Fill, Group, Mark, Picture, Row, RowsFigure, Sample, Scale,
};
use crate::report::{BudgetReport, Forecast, MachineLine, MonthLine, PartLine, PlanSource};
use crate::units::Measure;

/// What the page is of, in a sentence.
pub(super) fn standing(report: &BudgetReport) -> String {
    let as_of = report.header.as_of.map(day);
    let as_of = as_of.map_or_else(String::new, |d| format!(", from the records up to {d}"));
    let only = report.header.only();
    let only = only.map_or_else(String::new, |only| {
        format!(" This page is of a part: {only}.")
    });
    format!(
        "{} to {}{as_of}.{only} {}",
        day(report.from),
        day(report.until),
        if report.policy == "advised" {
            "Every change that is advised below is made before the season, and its cost is counted."
        } else {
            "Nothing is changed that is not worn or due."
        }
    )
}

pub(super) fn section(report: &BudgetReport) -> Markup {
    let [by_part, by_machine, by_month] = [parts(report), machines(report), months(report)];
    let content = html! {
        (sum(report))
        (whole_table(report))
        p {
            "Down time is what stops in season would cost beside; the total does not hold it. "
            "'Enough in 8 of 10' covers eight seasons of ten. One season in ten ends below the range, and "
            "one in ten above it."
        }
        h3 { "What it rests on" }
        (rests_on(report))
        h3 { "By part" }
        div.pair {
            @if let Some(picture) = &by_part {
                (figure(picture, &parts_words(report)))
            }
            (parts_table(report))
        }
        h3 { "By machine" }
        div.pair {
            @if let Some(picture) = &by_machine {
                (figure(picture, &machines_words(report)))
            }
            (machines_table(report))
        }
        h3 { "By month" }
        div.pair {
            @if let Some(picture) = &by_month { (figure(picture, &format!("{MONTHS}{}", in_part(report)))) }
            (months_table(report))
        }
    };
    super::section("money", false, &content)
}

const MONTHS: &str = "Money falls due when a part is changed. The ranges of single months do not add up to the season's: not every \
                      month is a bad one.";

pub(super) fn pictures(report: &BudgetReport) -> Vec<Picture> {
    [parts(report), machines(report), months(report)]
        .into_iter()
        .flatten()
        .collect()
}

/// The total, or what is known of it.
fn total(report: &BudgetReport) -> Option<Forecast> {
    // Without a line whose cost is known nothing is known, which is not 0.
    let mut lines = report.lines.iter();
    let any = lines.any(|line| line.parts_cost.is_some() || line.labor_cost.is_some());
    report.total.or(any.then_some(report.known_total))
}

fn sum(report: &BudgetReport) -> Markup {
    let told = |v: f64| money(v, &report.currency);
    html! {
        p.sum {
            @match total(report) {
                None => { "The season's money is " strong { (UNKNOWN) } "." }
                Some(known) => {
                    @if report.total.is_none() {
                        "The season's total is " strong { (UNKNOWN) } ", since a price, labor hours, a life or the use to "
                        "come is missing (see the notes). Of what is known: "
                    }
                    "Parts and labor of season " (report.season) " are expected to cost "
                    strong { (told(known.expected)) } ". Put aside " strong { (told(known.p80)) }
                    ", and it is enough in eight seasons of ten."
                    @if report.total.is_none() {
                        " A figure with + is what is known of it, and the whole is more."
                    }
                }
            }
        }
    }
}

fn whole_table(report: &BudgetReport) -> Markup {
    let told = |v: f64| money(v, &report.currency);
    let row = |name: &str, forecast: Option<Forecast>, form: &dyn Fn(f64) -> String| {
        vec![
            name.to_owned(),
            known(forecast, |f| form(f.expected)),
            known(forecast, |f| form(f.p80)),
            known(forecast, |f| range(&f, form)),
        ]
    };
    let each = Measure::Acres.shown(1.0, report.units);
    let per = |f: Forecast| f.times(1.0 / each);
    let mut rows = vec![row("Parts and labor", report.total, &told)];
    if report.total.is_none() {
        rows.push(row("Of it known", total(report), &told));
    }
    rows.push(row("Down time, beside", report.down_total, &told));
    if report.down_total.is_none() && report.known_down.is_some() {
        rows.push(row("Of it known", report.known_down, &told));
    }
    let name = format!("For {}", a(Measure::Acres, report.units));
    let in_cents = |v: f64| cents(v, &report.currency);
    rows.push(row(&name, report.per_acre.map(per), &in_cents));
    let acres = report.planned.acres.filter(|acres| 0.0 < *acres);
    if let (None, Some(known), Some(acres)) = (report.per_acre, total(report), acres) {
        rows.push(row(
            "Of it known",
            Some(per(known.times(1.0 / acres))),
            &in_cents,
        ));
    }
    Table {
        caption: "The season as a whole",
        heads: &["What", "Expected", "Enough in 8 of 10", "Range"],
        figures: 1,
        rows,
        thing: "row",
        command: "wearcast budget",
    }
    .markup()
}

fn rests_on(report: &BudgetReport) -> Markup {
    let planned: Vec<String> = Measure::OF_USE
        .iter()
        .map(|m| {
            let unit = m.label(report.units);
            let told = |v| format!("{} {unit}", whole(m.shown(v, report.units)));
            (report.planned.get(*m)).map_or_else(|| format!("{unit} {UNKNOWN}"), told)
        })
        .collect();
    let source = match report.plan_source {
        PlanSource::Plan => "the plan",
        PlanSource::LastSeason => "last season's use once more",
    };
    html! {
        dl.ledger {
            dt { "Use to come" } dd { (source) ": " (planned.join(", ")) }
            @for (thing, value) in &report.assumptions { dt { (thing) } dd { (value) } }
        }
    }
}

/// What a line is expected to cost, as far as that is known.
fn expected(line: &PartLine) -> Option<f64> {
    let known = [line.parts_cost, line.labor_cost];
    let known: Vec<f64> = known.into_iter().flatten().map(|f| f.expected).collect();
    (!known.is_empty()).then(|| known.iter().sum())
}

/// The dearest first; what is not known last.
fn by_money(report: &BudgetReport) -> Vec<&PartLine> {
    let mut lines: Vec<&PartLine> = report.lines.iter().collect();
    lines.sort_by(|a, b| {
        let cost = |l: &PartLine| expected(l).unwrap_or(-1.0);
        cost(b).total_cmp(&cost(a))
    });
    lines
}

fn label(line: &PartLine) -> String {
    match &line.description {
        Some(words) => format!("{}, {words}", line.part),
        None => format!("{}, {}", line.part, line.family),
    }
}

fn parts(report: &BudgetReport) -> Option<Picture> {
    let lines = by_money(report);
    let shown: Vec<&&PartLine> = lines.iter().filter(|l| expected(l).is_some()).collect();
    let rows = shown.iter().take(MOST_IN_PICTURE).map(|line| Row {
        label: label(line),
        told: known(expected(line), |v| money(v, &report.currency)),
        bars: vec![
            (Fill::Full, line.parts_cost.map_or(0.0, |f| f.expected)),
            (Fill::Open, line.labor_cost.map_or(0.0, |f| f.expected)),
        ],
        ..Row::default()
    });
    let rows: Vec<Row> = rows.collect();
    let first = shown.first()?;
    let about = format!(
        "Bars of the expected parts and labor by part number, the dearest first: {}.",
        known(expected(first), |v| format!(
            "{}, {}",
            label(first),
            money(v, &report.currency)
        ))
    );
    Some(
        RowsFigure {
            caption: Caption {
                name: "money-by-part".to_owned(),
                title: format!("Expected money by part, season {}", report.season),
                about,
            },
            scale: Scale::Linear,
            ends: None,
            axis: "expected money in the season".to_owned(),
            tell: &|v| money(v, &report.currency),
            reference: None,
            key: vec![
                (Sample::Bar(Fill::Full), "parts"),
                (Sample::Bar(Fill::Open), "labor"),
            ],
            groups: vec![Group {
                heading: None,
                rows,
            }],
        }
        .draw(),
    )
}

fn parts_words(report: &BudgetReport) -> String {
    let known = report.lines.iter().filter(|l| expected(l).is_some());
    let known = known.count();
    let mut words = "Expected money of each part number, the dearest first.".to_owned();
    if MOST_IN_PICTURE < known {
        let more = count(known - MOST_IN_PICTURE, "part number");
        let _ = write!(words, " {more} more are in the table only.");
    }
    let missing = report.lines.len() - known;
    if 0 < missing {
        let parts = count(missing, "part number");
        let _ = write!(words, " {parts} without a known cost: see the table.");
    }
    words
}

fn parts_table(report: &BudgetReport) -> Markup {
    let told = |f: Forecast| money(f.expected, &report.currency);
    let rows = by_money(report).into_iter().map(|line| {
        vec![
            match &line.description {
                Some(_) => format!("{} ({})", label(line), line.family),
                None => label(line),
            },
            known(line.pieces, |f| pieces(f.expected)),
            known(line.price, |v| price(v, &report.currency)),
            known(line.parts_cost, told),
            known(line.labor_cost, told),
        ]
    });
    Table {
        caption: "Expected pieces and money, by part number",
        heads: &["Part", "Pieces", "Price of one", "Parts", "Labor"],
        figures: 1,
        rows: rows.collect(),
        thing: "part number",
        command: "wearcast budget",
    }
    .markup()
}

/// The dearest first; what is not known last.
fn machines_by_money(report: &BudgetReport) -> Vec<&MachineLine> {
    let mut lines: Vec<&MachineLine> = report.machines.iter().collect();
    lines.sort_by(|a, b| {
        let cost = |l: &MachineLine| l.total.unwrap_or(l.known_total).expected;
        cost(b).total_cmp(&cost(a))
    });
    lines
}

/// Expected money, what is enough in 8 of 10, and the range.
fn forecast_row(label: String, forecast: &Forecast, form: impl Fn(f64) -> String) -> Row {
    Row {
        label,
        told: format!("{} ({})", form(forecast.expected), range(forecast, &form)),
        range: Some((Some(forecast.p10), Some(forecast.p90))),
        marks: vec![
            (Mark::Tick, forecast.p80),
            (Mark::Diamond, forecast.expected),
        ],
        ..Row::default()
    }
}

fn machines(report: &BudgetReport) -> Option<Picture> {
    let lines = machines_by_money(report);
    let rows = lines.iter().filter_map(|line| {
        let total = line.total.or_else(|| some(line.known_total))?;
        let told = |v: f64| money(v, &report.currency);
        let mut row = forecast_row(line.machine.clone(), &total, told);
        if line.total.is_none() {
            row.told.push_str(" +");
        }
        Some(row)
    });
    let rows: Vec<Row> = rows.take(MOST_IN_PICTURE).collect();
    let first = rows.first()?;
    let about = format!(
        "Expected money of each machine with its range, the dearest first: {}, {}.",
        first.label, first.told
    );
    Some(
        RowsFigure {
            caption: Caption {
                name: "money-by-machine".to_owned(),
                title: format!("Money by machine, season {}", report.season),
                about,
            },
            scale: Scale::Linear,
            ends: None,
            axis: "parts and labor in the season".to_owned(),
            tell: &|v| money(v, &report.currency),
            reference: None,
            key: vec![
                (Sample::Mark(Mark::Diamond), "expected"),
                (Sample::Mark(Mark::Tick), "enough in 8 of 10"),
                (Sample::Range, "range"),
            ],
            groups: vec![Group {
                heading: None,
                rows,
            }],
        }
        .draw(),
    )
}

fn machines_words(report: &BudgetReport) -> String {
    let is_known = |m: &&MachineLine| m.total.or_else(|| some(m.known_total)).is_some();
    let known = report.machines.iter().filter(is_known).count();
    let mut words = "One season in ten ends below a range, and one in ten above it.".to_owned();
    words.push_str(in_part(report));
    if MOST_IN_PICTURE < known {
        let more = count(known - MOST_IN_PICTURE, "machine");
        let _ = write!(words, " {more} more are in the table only.");
    }
    words
}

fn machines_table(report: &BudgetReport) -> Markup {
    let told = |v: f64| money(v, &report.currency);
    let rows = machines_by_money(report).into_iter().map(|line| {
        let name = match &line.site {
            Some(site) => format!("{}, {site}", line.machine),
            None => line.machine.clone(),
        };
        vec![
            name,
            or_more(line.total, some(line.known_total), |f| told(f.expected)),
            or_more(line.total, some(line.known_total), |f| told(f.p80)),
            or_more(line.total, some(line.known_total), |f| range(&f, told)),
        ]
    });
    Table {
        caption: "Parts and labor, by machine",
        heads: &["Machine", "Expected", "Enough in 8 of 10", "Range"],
        figures: 1,
        rows: rows.collect(),
        thing: "machine",
        command: "wearcast budget",
    }
    .markup()
}

/// Of pictures of money that is known in part.
pub(super) fn in_part(report: &BudgetReport) -> &'static str {
    if report.total.is_some() {
        return "";
    }
    " What is drawn is what is known of the money; the whole is more."
}

/// What is known, where that is more than nothing.
fn some(known: Forecast) -> Option<Forecast> {
    (0.0 < known.expected).then_some(known)
}

fn months(report: &BudgetReport) -> Option<Picture> {
    let total = |m: &MonthLine| m.total.or_else(|| some(m.known_total));
    let known_months = report.months.iter().filter(|m| total(m).is_some());
    let expected = |m: &MonthLine| total(m).map_or(0.0, |f| f.expected);
    let most = known_months.max_by(|a, b| expected(a).total_cmp(&expected(b)))?;
    let about = format!(
        "Columns of the expected money by month with its range; the dearest is {}, {}.",
        most.month.format("%B %Y"),
        or_more(most.total, some(most.known_total), |f| money(
            f.expected,
            &report.currency
        ))
    );
    let mut year = String::new();
    let columns = report.months.iter().map(|line| {
        let of = line.month.format("%Y").to_string();
        let under = if of == year {
            String::new()
        } else {
            of.clone()
        };
        year = of;
        Column {
            label: line.month.format("%b").to_string(),
            under,
            value: total(line).map(|f| f.expected),
            range: total(line).map(|f| (f.p10, f.p90)),
        }
    });
    Some(
        ColumnsFigure {
            caption: Caption {
                name: "money-by-month".to_owned(),
                title: format!("Money by month, season {}", report.season),
                about,
            },
            axis: "parts and labor in the month".to_owned(),
            tell: &|v| money(v, &report.currency),
            key: vec![
                (Sample::Bar(Fill::Open), "expected"),
                (Sample::Range, "range: 1 season in 10 below, 1 above"),
            ],
            columns: columns.collect(),
        }
        .draw(),
    )
}

fn months_table(report: &BudgetReport) -> Markup {
    let told = |v: f64| money(v, &report.currency);
    let rows = report.months.iter().map(|line| {
        vec![
            line.month.format("%B %Y").to_string(),
            or_more(line.total, some(line.known_total), |f| told(f.expected)),
            or_more(line.total, some(line.known_total), |f| told(f.p80)),
            or_more(line.total, some(line.known_total), |f| range(&f, told)),
        ]
    });
    Table {
        caption: "Parts and labor, by month",
        heads: &["Month", "Expected", "Enough in 8 of 10", "Range"],
        figures: 1,
        rows: rows.collect(),
        thing: "month",
        command: "wearcast budget",
    }
    .markup()
}

/// A figure as the axis of a picture writes it.
pub(super) fn on_axis(value: f64) -> String {
    if value.abs() < 100.0 && 1e-9 < (value - value.round()).abs() {
        let text = amount(value);
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        whole(value)
    }
}
