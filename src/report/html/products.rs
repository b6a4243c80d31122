//! What each product costs in wear.

use maud::{Markup, html};

use super::season::in_part;
use super::table::Table;
use super::words::{a, capital, cents, known, money, one, or_more, whole};
use super::{MOST_IN_PICTURE, figure};
use crate::plot::{Caption, Fill, Group, Picture, Row, RowsFigure, Sample, Scale};
use crate::report::{BudgetReport, ProductLine};
use crate::units::Measure;

pub(super) fn section(report: &BudgetReport) -> Markup {
    let content = html! {
        div.pair {
            @if let Some(picture) = picture(report) {
                (figure(&picture, &format!("{SHARED}{}", in_part(report))))
            }
            @if report.products.is_empty() { p { "No use is planned." } } @else { (table(report)) }
        }
    };
    super::section("products", false, &content)
}

const SHARED: &str =
    "The season's expected parts and labor, shared out by the wear that each product does.";

/// What is known of the cost of an acre or a ton.
fn known_per(line: &ProductLine, amount: Option<f64>) -> Option<f64> {
    let amount = amount.filter(|a| 0.0 < *a)?;
    (0.0 < line.known_cost).then_some(line.known_cost / amount)
}

/// Money for one internal unit, as money for one of the owner's.
fn per(report: &BudgetReport, money: Option<f64>, measure: Measure) -> Option<f64> {
    money.map(|v| v / measure.shown(1.0, report.units))
}

/// The dearest first; what is not known last.
fn by_cost(report: &BudgetReport) -> Vec<&ProductLine> {
    let mut lines: Vec<&ProductLine> = report.products.iter().collect();
    lines.sort_by(|a, b| {
        let known = |l: &ProductLine| l.cost_per_acre.or_else(|| known_per(l, l.acres));
        let cost = |l: &ProductLine| known(l).unwrap_or(-1.0);
        cost(b).total_cmp(&cost(a))
    });
    lines
}

pub(super) fn picture(report: &BudgetReport) -> Option<Picture> {
    let acre = a(Measure::Acres, report.units);
    let told = |v: f64| cents(v, &report.currency);
    let rows = by_cost(report).into_iter().filter_map(|line| {
        let whole = per(report, line.cost_per_acre, Measure::Acres);
        let part = per(report, known_per(line, line.acres), Measure::Acres);
        let cost = whole.or(part)?;
        Some(Row {
            label: line.group.clone(),
            told: or_more(whole, part, |cost| format!("{} {acre}", told(cost))),
            bars: vec![(Fill::Full, cost)],
            ..Row::default()
        })
    });
    let rows: Vec<Row> = rows.take(MOST_IN_PICTURE).collect();
    let first = rows.first()?;
    let about = format!(
        "Bars of the expected wear cost {acre}, the dearest product first: {}, {}.",
        first.label, first.told
    );
    Some(
        RowsFigure {
            caption: Caption {
                name: "cost-by-product".to_owned(),
                title: format!("Wear cost {acre} by product, season {}", report.season),
                about,
            },
            scale: Scale::Linear,
            ends: None,
            axis: format!("expected parts and labor for {acre}"),
            tell: &told,
            reference: None,
            key: Vec::<(Sample, &str)>::new(),
            groups: vec![Group {
                heading: None,
                rows,
            }],
        }
        .draw(),
    )
}

fn table(report: &BudgetReport) -> Markup {
    let units = report.units;
    let amount = |v: Option<f64>, m: Measure| known(v, |v| whole(m.shown(v, units)));
    let each = |whole: Option<f64>, part: Option<f64>, m: Measure| {
        or_more(per(report, whole, m), per(report, part, m), |v| {
            cents(v, &report.currency)
        })
    };
    let rows = by_cost(report).into_iter().map(|line| {
        vec![
            line.group.clone(),
            amount(line.acres, Measure::Acres),
            or_more(line.cost, Some(line.known_cost).filter(|c| 0.0 < *c), |v| {
                money(v, &report.currency)
            }),
            each(
                line.cost_per_acre,
                known_per(line, line.acres),
                Measure::Acres,
            ),
            each(line.cost_per_ton, known_per(line, line.tons), Measure::Tons),
        ]
    });
    let heads = [
        capital(Measure::Acres.label(units)),
        format!("An {}", one(Measure::Acres, units)),
        format!("A {}", one(Measure::Tons, units)),
    ];
    let acre = heads[1].replace("An hectare", "A hectare");
    Table {
        caption: "Expected money by product; the products' money adds up to the season's",
        heads: &["Product", &heads[0], "Money", &acre, &heads[2]],
        figures: 1,
        rows: rows.collect(),
        thing: "product",
        command: "wearcast budget",
    }
    .markup()
}
