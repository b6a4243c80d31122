//! Sheet `Summary`: the season's money on one page.

use rust_xlsxwriter::Workbook;

use super::page::{Page, Paper};
use super::styles::{Kind, Styles};
use super::table::{Cell, Column, Table};
use super::{XlsxError, live, machines as machine_sheet, plan, text, words};
use crate::report::{BudgetReport, Forecast, MachineLine, PartLine, nearly_over};
use crate::units::Measure;

/// Lines of a table that fit on the page beside the others.
const MOST_LINES: usize = 8;
/// Cautions and their letters that fit on the page: whole but for the most unusual.
const CAUTIONS: (usize, usize) = (6, 600);
/// Notes and their letters that fit on the page.
const NOTES: (usize, usize) = (4, 260);

pub(super) fn write(
    workbook: &mut Workbook,
    styles: &Styles,
    report: &BudgetReport,
) -> Result<(), XlsxError> {
    let mut page = Page::new(workbook, styles, "Summary", Paper::OnePage, report)?;
    // Title and as-of date, then each table under its section heading and above its remarks.
    let warning = nearly_over(report.season, report.from, report.until);
    let money = money(report, 3 + u32::from(warning.is_some()));
    let remarks = money_remarks(report);
    let planned = planned(report, money.next_row() + remarks.len() as u32 + 1);
    let lines = lines(report, planned.next_row() + 1);
    let left_out = lines_left_out(report);
    let machines = machines(report, lines.next_row() + left_out.len() as u32 + 1);
    page.fit(&[&money, &planned, &lines, &machines])?;
    page.title(&format!("Wear parts budget, {}", words::season(report)))?;
    if let Some(words) = warning {
        page.paragraph(&words)?;
    }
    page.aside(&as_of(report))?;
    section(&mut page, "The season's money", &money, &remarks)?;
    section(&mut page, "Planned use", &planned, &[])?;
    section(&mut page, "Biggest lines", &lines, &left_out)?;
    section(
        &mut page,
        "By machine",
        &machines,
        &machines_left_out(report),
    )?;
    sentences(&mut page, "Cautions", &report.header.cautions, CAUTIONS)?;
    sentences(&mut page, "Notes", &report.header.notes, NOTES)?;
    if report.live.is_some() {
        page.lock();
    }
    page.finish(0)
}

/// A remark below a table.
struct Remark {
    words: String,
    /// In a workbook that follows its inputs: what holds once it says nothing true any more.
    until: Option<String>,
    /// In the same: what holds while it is true, of one that is not now.
    when: Option<String>,
}

impl From<String> for Remark {
    fn from(words: String) -> Self {
        Self {
            words,
            until: None,
            when: None,
        }
    }
}

fn section(
    page: &mut Page,
    heading: &str,
    table: &Table,
    remarks: &[Remark],
) -> Result<(), XlsxError> {
    page.section(heading)?;
    page.table(table)?;
    remarks
        .iter()
        .try_for_each(|remark| match (&remark.until, &remark.when) {
            (Some(there), _) => page.aside_until(&remark.words, there),
            (None, Some(gone)) => page.aside_when(&remark.words, gone),
            (None, None) => page.aside(&remark.words),
        })
}

fn sentences(
    page: &mut Page,
    heading: &str,
    sentences: &[String],
    (most, letters): (usize, usize),
) -> Result<(), XlsxError> {
    if sentences.is_empty() {
        return Ok(());
    }
    page.section(heading)?;
    for sentence in sentences.iter().take(most) {
        page.paragraph(&text::brief(sentence, letters))?;
    }
    match sentences.len().saturating_sub(most) {
        0 => Ok(()),
        more => page.aside(&format!("{more} more on sheet Assumptions.")),
    }
}

fn as_of(report: &BudgetReport) -> String {
    let known = match report.header.as_of {
        Some(date) => format!("From the records up to {}.", text::day(date)),
        None => "As-of date unknown.".to_owned(),
    };
    let only = report.header.only();
    let only = only.map_or_else(String::new, |only| {
        format!(" This is a part of the whole: {}.", text::brief(&only, 80))
    });
    let way = if report.policy == "advised" {
        " Every change that is advised is made before the season, and its cost is counted."
    } else {
        ""
    };
    let currency = match text::brief(&report.currency, 24) {
        currency if currency.is_empty() => String::new(),
        currency => format!(" Money in {currency}."),
    };
    let live = if report.live.is_some() {
        " Change the framed cells of sheets Plan and Prices and every figure follows; sheet Numbers explains each."
    } else {
        ""
    };
    format!(
        "{known}{only}{way}{currency} {}{live}",
        plan::source(report.plan_source)
    )
}

/// Label over two columns, then figures, then a remark: the columns of every table here.
fn columns(headings: [&str; 6], kinds: [Kind; 4]) -> Vec<Column> {
    let [first, second, figures @ ..] = headings;
    let mut columns = vec![Column::words(first, 20.0), Column::words(second, 30.0)];
    columns.extend(
        figures
            .into_iter()
            .zip(kinds)
            .map(|(heading, kind)| Column::new(heading, kind)),
    );
    columns.push(Column::remark(18.0));
    columns
}

fn money(report: &BudgetReport, header_row: u32) -> Table {
    let per = format!("Per {}", words::one(Measure::Acres, report.units));
    let known_only = words::tells_known(report);
    let known = if known_only { words::KNOWN_ONLY } else { "" };
    let headings = [
        "Season",
        "",
        "Parts and labor",
        &per,
        "Down cost, not in total",
        known,
    ];
    let columns = columns(
        headings,
        [Kind::Money, Kind::Cents, Kind::Money, Kind::Money],
    );
    let mut table = Table::at(header_row, columns);
    let labels = [
        "Expected",
        "Set aside to be covered in 8 seasons of 10",
        "Set aside to be covered in 9 of 10",
        "Low: only 10 seasons of 100 cost less",
    ];
    let unknown = words::unknown(&[
        ("total", report.total.is_none()),
        (&per.to_lowercase(), report.per_acre.is_none()),
        ("down cost", report.down_total.is_none()),
    ]);
    for (i, (label, figure)) in labels.into_iter().zip(words::FIGURES).enumerate() {
        let known = Cell::from(known_only.then(|| figure(&report.known_total)));
        // What was unknown becomes known when its price is filled in.
        let followed = |cell: Cell, name: &str| words::followed(report, cell, name);
        let per_acre = words::per_unit(
            report.per_acre.as_ref().map(figure),
            Measure::Acres,
            report.units,
        );
        table.push(vec![
            Cell::Wide(label.to_owned()),
            Cell::Empty,
            followed(report.total.as_ref().map(figure).into(), live::TOTAL[i]),
            match live::layout(report) {
                Some(layout) if report.planned.acres.is_some() => {
                    let (total, acres) = (live::TOTAL[i], layout.plan_sum(Measure::Acres));
                    per_acre.by(format!(
                        "IF(OR({total}=\"\",{acres}=0),\"\",{total}/{acres})"
                    ))
                }
                _ => per_acre,
            },
            followed(report.known_down.as_ref().map(figure).into(), live::DOWN[i]),
            if known_only {
                followed(known, live::KNOWN[i])
            } else {
                known
            },
            match live::layout(report) {
                Some(layout) => words::gaps(report, &season_gaps(report, layout)),
                None => unknown.as_deref().into(),
            },
        ]);
    }
    table
}

/// What the season's figures may miss, in a workbook that follows its inputs.
fn season_gaps(report: &BudgetReport, layout: live::Layout<'_>) -> [words::Gap<'static>; 4] {
    let no_price = report.lines.iter().any(|l| l.price.is_none());
    let no_labor = |lines: &live::Layout<'_>| {
        let hours = lines.live.lines.iter().any(|l| l.labor_hours.is_none());
        lines.live.labor_rate.is_some() && hours
    };
    [
        ("price", no_price, Some(layout.no_price())),
        ("labor", no_labor(&layout), Some(layout.no_labor())),
        ("acres", report.planned.acres.is_none(), None),
        (
            "down cost",
            report.down_total.is_none(),
            Some(layout.no_down()),
        ),
    ]
}

fn money_remarks(report: &BudgetReport) -> Vec<Remark> {
    let mut remarks: Vec<Remark> = Vec::new();
    let unpriced = words::without_price(report);
    if report.lines.is_empty() {
        remarks.push("There is no line to budget for.".to_owned().into());
    } else if report.total.is_none() && unpriced.is_empty() {
        let words = "The total is unknown: a cost, or the use to come, of some line is. What is known of it leaves that out.";
        remarks.push(Remark {
            words: words.to_owned(),
            until: live::layout(report).map(|l| l.all_known()),
            when: None,
        });
    } else if report.total.is_none() {
        let lines = text::count(unpriced.len(), "line");
        let unpriced = text::brief(&text::list(&unpriced, 6), NOTES.1);
        let words = format!(
            "When this was written the total was unknown: {lines} without a price ({unpriced}). What is known of it \
             holds every known cost, also labor of lines without a price; what is not known comes on top."
        );
        remarks.push(Remark {
            words,
            until: live::layout(report).map(|l| l.all_known()),
            when: None,
        });
    }
    remarks.extend(down_remark(report));
    remarks.extend(live::layout(report).map(|layout| Remark {
        words: "An amount was taken out of the plan, so that totals are unknown; pieces and lines below count it as none. \
                See the remarks on sheet Plan."
            .to_owned(),
        until: None,
        when: Some(format!("NOT({})", layout.plan_is_there())),
    }));
    remarks
}

/// What the down cost leaves out.
fn down_remark(report: &BudgetReport) -> Option<Remark> {
    let layout = live::layout(report);
    let silent = report
        .lines
        .iter()
        .filter(|l| !l.scheduled && l.down_cost.is_none());
    let silent: Vec<&str> = silent.map(|l| l.part.as_str()).collect();
    if report.down_total.is_some() || silent.is_empty() {
        return None;
    }
    if report.known_down.is_some() {
        let silent = text::brief(&text::list(&silent, 6), NOTES.1);
        let fill_in = if layout.is_some() {
            " Fill them in on sheet Prices."
        } else {
            ""
        };
        return Some(Remark {
            words: format!(
                "Down cost leaves out what has no lost hours on record ({silent}).{fill_in}"
            ),
            until: layout.map(|l| format!("NOT({})", l.no_down())),
            when: None,
        });
    }
    let why = match &report.live {
        Some(live) if live.down_rate.is_some() => {
            "no lost hours are on record. Fill them in on sheet Prices."
        }
        Some(_) => "no hour of lost field time is priced in the settings.",
        None => "the settings price no hour of lost field time, or none is on record.",
    };
    Some(Remark {
        words: format!("Down cost is unknown: {why}"),
        when: None,
        until: layout.map(|l| {
            let cost = live::DOWN_COST;
            match l.fields() {
                (_, 0) => format!("{cost}<>\"\""),
                (cells, _) => format!("AND({cost}<>\"\",COUNT({cells})>0)"),
            }
        }),
    })
}

fn planned(report: &BudgetReport, header_row: u32) -> Table {
    let [acres, tons, hours] = Measure::OF_USE.map(|m| words::heading(m, report.units));
    let headings = ["Season", "", &acres, &tons, &hours, ""];
    let mut table = Table::at(header_row, columns(headings, [Kind::Whole; 4]));
    let of = if report.header.machines.is_empty() {
        "All machines"
    } else {
        "Machines asked for"
    };
    let mut cells = vec![Cell::Wide(of.to_owned()), Cell::Empty];
    cells.extend(Measure::OF_USE.map(|m| {
        let cell = words::amount(&report.planned, m, report.units);
        match live::layout(report) {
            Some(layout) if cell != Cell::Empty => cell.by(layout.plan_sum(m)),
            _ => cell,
        }
    }));
    cells.push(Cell::Empty);
    let unknown = words::unknown(&words::unknown_use(&report.planned, report.units));
    cells.push(unknown.as_deref().into());
    table.push(cells);
    table
}

fn lines(report: &BudgetReport, header_row: u32) -> Table {
    let at_80 = Kind::whole_if(
        report
            .lines
            .iter()
            .filter_map(|line| line.pieces)
            .map(|f| f.p80),
    );
    let headings = [
        "Part number",
        "Description",
        "Pieces, expected",
        "Pieces at 80\u{a0}%",
        "Parts, expected",
        "Labor, expected",
    ];
    let mut table = Table::at(
        header_row,
        columns(headings, [Kind::Tenths, at_80, Kind::Money, Kind::Money]),
    );
    for (index, line) in biggest(report).into_iter().take(MOST_LINES) {
        let expected = |forecast: &Option<Forecast>| Cell::from(forecast.map(|f| f.expected));
        let same = |cell: Cell, column: u16| {
            let of = live::cell("Parts", super::parts::row(index), column);
            words::followed(report, cell, of)
        };
        let empty = |column: u16| {
            let cell = live::cell("Parts", super::parts::row(index), column);
            Some(format!("{cell}=\"\""))
        };
        let unknown = [
            ("use to come", line.pieces.is_none(), None),
            ("price", line.price.is_none(), empty(super::parts::COST)),
            (
                "labor",
                line.labor_cost.is_none(),
                empty(super::parts::LABOR),
            ),
        ];
        let remark = words::gaps(report, &unknown);
        table.push(vec![
            brief(&line.part),
            line.description.as_deref().map_or(Cell::Empty, brief),
            same(
                line.pieces.map(|f| f.expected).into(),
                super::parts::EXPECTED,
            ),
            same(line.pieces.map(|f| f.p80).into(), super::parts::AT_80),
            same(expected(&line.parts_cost), super::parts::COST),
            same(expected(&line.labor_cost), super::parts::LABOR),
            remark,
        ]);
    }
    table.say_none();
    table
}

/// Dearest first; lines of the same cost stay in the order of the report.
fn biggest(report: &BudgetReport) -> Vec<(usize, &PartLine)> {
    let mut lines: Vec<(usize, &PartLine)> = report.lines.iter().enumerate().collect();
    lines.sort_by(|(_, a), (_, b)| words::known_cost(b).total_cmp(&words::known_cost(a)));
    lines
}

fn lines_left_out(report: &BudgetReport) -> Vec<Remark> {
    left_out(report.lines.len(), "line", "Parts")
}

fn machines(report: &BudgetReport, header_row: u32) -> Table {
    let [acres, tons, _] = Measure::OF_USE.map(|m| words::heading(m, report.units));
    let headings = [
        "Machine",
        "Site",
        &acres,
        &tons,
        "Expected",
        "Covered in 8\u{a0}of\u{a0}10",
    ];
    let kinds = [Kind::Whole, Kind::Whole, Kind::Money, Kind::Money];
    let mut table = Table::at(header_row, columns(headings, kinds));
    for (index, machine) in dearest(report).into_iter().take(MOST_LINES) {
        let of = |column| live::cell("Machines", machine_sheet::row(index), column);
        let money = |cell: Cell, column| words::followed(report, cell, of(column));
        let same = |cell: Cell, column| match cell {
            Cell::Empty => cell,
            cell => money(cell, column),
        };
        let no_money = Some(format!("{}=\"\"", of(5)));
        let unknown = words::gaps(report, &[("money", machine.total.is_none(), no_money)]);
        table.push(vec![
            brief(&machine.machine),
            machine.site.as_deref().map_or(Cell::Empty, brief),
            same(
                words::amount(&machine.planned, Measure::Acres, report.units),
                2,
            ),
            same(
                words::amount(&machine.planned, Measure::Tons, report.units),
                3,
            ),
            money(machine.total.map(|f| f.expected).into(), 5),
            money(machine.total.map(|f| f.p80).into(), 6),
            unknown,
        ]);
    }
    table.say_none();
    table
}

fn dearest(report: &BudgetReport) -> Vec<(usize, &MachineLine)> {
    let cost = |machine: &MachineLine| machine.total.map_or(f64::INFINITY, |f| f.expected);
    let mut machines: Vec<(usize, &MachineLine)> = report.machines.iter().enumerate().collect();
    machines.sort_by(|(_, a), (_, b)| cost(b).total_cmp(&cost(a)));
    machines
}

fn machines_left_out(report: &BudgetReport) -> Vec<Remark> {
    left_out(report.machines.len(), "machine", "Machines")
}

fn left_out(all: usize, thing: &str, sheet: &str) -> Vec<Remark> {
    match all.saturating_sub(MOST_LINES) {
        0 => Vec::new(),
        more => vec![format!("{} more on sheet {sheet}.", text::count(more, thing)).into()],
    }
}

/// A name on at most two lines of its column.
fn brief(name: &str) -> Cell {
    Cell::Text(text::brief(name, 60))
}
