//! Sheet `Ways`: the season run as it comes, and with what is cheaper now changed before it.

use rust_xlsxwriter::Workbook;

use crate::report::BudgetReport;
use crate::report::xlsx::page::{Page, Paper};
use crate::report::xlsx::styles::{Kind, Styles};
use crate::report::xlsx::table::{Cell, Column, Table};
use crate::report::xlsx::{XlsxError, words};

pub(in crate::report::xlsx) fn write(
    workbook: &mut Workbook,
    styles: &Styles,
    report: &BudgetReport,
) -> Result<(), XlsxError> {
    let mut page = Page::new(workbook, styles, "Ways", Paper::Landscape, report)?;
    let table = table(report, 2);
    page.fit(&[&table])?;
    page.title(&format!(
        "Two ways into the season, {}",
        words::season(report)
    ))?;
    let follow = if report.live.is_some() {
        ": these figures do not follow the sheets Plan and Prices, since which parts are cheaper changed now is decided \
         from the records"
    } else {
        ""
    };
    page.aside(&format!(
        "At the plan and the prices of the records{follow}. `wearcast remaining` names the parts that are cheaper changed \
         now."
    ))?;
    page.table(&table)?;
    page.keep_header(&table, 0)?;
    page.gap();
    for sentence in sentences(report) {
        page.paragraph(&sentence)?;
    }
    page.lock();
    page.finish(0)
}

fn table(report: &BudgetReport, header_row: u32) -> Table {
    let mut columns = vec![
        Column::words("Way", 44.0),
        Column::new("Changed before the season", Kind::Whole),
    ];
    columns.extend(
        [
            "Parts and labor, expected",
            "Covered in 8\u{a0}of\u{a0}10",
            "Down cost, expected",
            "Down cost in 8\u{a0}of\u{a0}10",
            "All of it, expected",
        ]
        .map(|heading| Column::new(heading, Kind::Money)),
    );
    columns.push(Column::remark(22.0));
    let mut table = Table::at(header_row, columns);
    for line in &report.policies {
        let way = if line.policy == "run" {
            "Run: change what wears out or is due, when it does"
        } else {
            "Change first: what is cheaper changed now is changed before the season"
        };
        let (money, down) = (table.here(2), table.here(4));
        let both = line
            .total
            .zip(line.down)
            .map(|(t, d)| t.expected + d.expected);
        let unknown = words::unknown(&[
            ("total", line.total.is_none()),
            ("down cost", line.down.is_none()),
        ]);
        table.push(vec![
            way.into(),
            (line.changed_before as f64).into(),
            line.total.map(|t| t.expected).into(),
            line.total.map(|t| t.p80).into(),
            line.down.map(|t| t.expected).into(),
            line.down.map(|t| t.p80).into(),
            Cell::formula(
                format!("IF(COUNT({money},{down})<2,\"\",{money}+{down})"),
                both,
            ),
            unknown.as_deref().into(),
        ]);
    }
    table.say_none();
    table
}

/// What the two rows mean.
fn sentences(report: &BudgetReport) -> Vec<String> {
    let [run, first] = report.policies.as_slice() else {
        return Vec::new();
    };
    if first.changed_before == 0 {
        let mut wearing = report.lines.iter().filter(|l| !l.scheduled);
        let all_known = wearing.all(|l| l.parts_cost.is_some() && l.down_cost.is_some());
        return vec![
            if all_known {
                "Nothing in service is cheaper changed now than when it wears out: both ways are one."
            } else {
                "Of nothing in service is it known that it is cheaper changed now than when it wears out, so both ways \
                 are one here; what a part or a stop in the field costs is not known of all of it (sheet Prices)."
            }
            .to_owned(),
        ];
    }
    let mut out = vec![format!(
        "Changing {} before the season costs parts and shop hours now and saves breakdowns in the field; what is left of \
         the parts taken out is given away.",
        crate::report::xlsx::text::count(first.changed_before, "part")
    )];
    let money = |value: f64| format!("{}{}", report.currency, grouped(value));
    if let (Some(run_total), Some(first_total), Some(run_down), Some(first_down)) =
        (run.total, first.total, run.down, first.down)
    {
        let more = first_total.expected - run_total.expected;
        let saved = run_down.expected - first_down.expected;
        let word = |value: f64| if value < 0.0 { "less" } else { "more" };
        out.push(format!(
            "It comes to {} {} in parts and labor this season and {} {} in lost field time.",
            money(more.abs()),
            word(more),
            money(saved.abs()),
            word(-saved)
        ));
        out.push(
            "A part changed early also lasts into the seasons after, which one season's figures do not show: the advice \
             counts it."
                .to_owned(),
        );
    }
    out
}

/// A whole number with its thousands apart.
fn grouped(value: f64) -> String {
    let digits = format!("{value:.0}");
    let mut out = String::new();
    for (i, digit) in digits.chars().enumerate() {
        if 0 < i && (digits.len() - i).is_multiple_of(3) {
            out.push(',');
        }
        out.push(digit);
    }
    out
}
