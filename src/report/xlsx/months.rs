//! Sheet `Months`: when the money is needed, as a table and a chart.

use rust_xlsxwriter::{
    Chart, ChartFont, ChartFormat, ChartLegendPosition, ChartLine, ChartPatternFill,
    ChartPatternFillType, ChartSolidFill, Color, Workbook,
};

use super::live::tables::Block;
use super::live::{self, Layout};
use super::page::{Page, Paper, kept};
use super::styles::{FONT, GREEN, Kind, RULE, Styles};
use super::table::{Cell, Column, Table};
use super::{XlsxError, machines, words};
use crate::report::BudgetReport;

/// Column of what is known of a month's money.
const KNOWN: usize = 5;
/// Rows of paper that the chart takes.
const CHART_ROWS: u32 = 18;

pub(super) fn write(
    workbook: &mut Workbook,
    styles: &Styles,
    report: &BudgetReport,
) -> Result<(), XlsxError> {
    let mut page = Page::new(workbook, styles, "Months", Paper::Portrait, report)?;
    let table = table(report, 2);
    page.fit(&[&table])?;
    page.title(&format!("Months, {}", words::season(report)))?;
    page.aside(
        "Parts and labor by the month in which they are needed, without down cost. The months' figures in 8 of 10 do \
         not add up to the season's. Each month keeps its share of the season's money, changed as its planned use is: a \
         price changed for one part moves every month alike.",
    )?;
    page.table(&table)?;
    page.keep_header(&table, 0)?;
    if report.months.iter().all(|month| month.total.is_none()) {
        if report.live.is_some() {
            page.lock();
        }
        return page.finish(0);
    }
    page.gap();
    let row = page.row();
    kept(
        page.sheet
            .insert_chart_with_offset(row, 0, &chart(&table, styles), 4, 0),
    )?;
    if report.live.is_some() {
        page.lock();
    }
    page.finish(CHART_ROWS)
}

fn table(report: &BudgetReport, header_row: u32) -> Table {
    let mut columns = vec![Column::new("Month", Kind::Month)];
    columns.extend(machines::money_columns());
    columns.extend(machines::known_column(report));
    columns.push(Column::remark(30.0));
    let mut table = Table::at(header_row, columns);
    for (index, month) in report.months.iter().enumerate() {
        let mut cells = vec![Cell::Date(month.month)];
        cells.extend(machines::money(month.total.as_ref()));
        if words::tells_known(report) {
            cells.push(month.known_total.expected.into());
        }
        if let Some(layout) = live::layout(report) {
            follow(&mut cells, layout, index, &table.here(1));
        }
        // How the money falls on months is played with every price.
        let money = "money, until a budget is made with all prices";
        let unknown = words::unknown(&[(money, month.total.is_none())]);
        cells.push(unknown.as_deref().into());
        table.push(cells);
    }
    table.say_none();
    let mut sum = vec![Cell::from("Sum"), table.sum(1)];
    sum.resize(KNOWN, Cell::Empty);
    if words::tells_known(report) {
        sum.push(table.sum(KNOWN as u16));
    }
    if report.months.iter().any(|month| month.total.is_none()) {
        sum.push("known months only".into());
    }
    table.total(sum);
    let mut whole = vec![Cell::from("Season")];
    let total = machines::money(words::known_total(report).as_ref());
    whole.extend(
        (total.into_iter().zip(words::totals(report)))
            .map(|(c, name)| words::followed(report, c, name)),
    );
    if words::tells_known(report) {
        whole.push(Cell::Empty);
    }
    if report.total.is_none() {
        whole.push("known lines only".into());
    }
    table.total(whole);
    table
}

/// Figures of a month by formulas: its share of the season's money, as far as that is known; `here` is the cell
/// of what is expected.
fn follow(cells: &mut [Cell], layout: Layout<'_>, month: usize, here: &str) {
    let (share, all) = (
        layout.table_cell(Block::Months, month, 3),
        layout.table_column(Block::Months, 3),
    );
    let share_of =
        |total: &str| format!("IF(OR({total}=\"\",SUM({all})=0),\"\",{total}*{share}/SUM({all}))");
    let mut put = |column: usize, formula: String| {
        cells[column] = std::mem::replace(&mut cells[column], Cell::Empty).by(formula);
    };
    if let Some(of) = layout.report.months[month].total {
        put(1, share_of(live::TOTAL[0]));
        for (k, figure) in words::FIGURES.iter().enumerate().skip(1) {
            let times = if of.expected <= 0.0 {
                0.0
            } else {
                figure(&of) / of.expected
            };
            put(k + 1, format!("IF({here}=\"\",\"\",{here}*{times})"));
        }
    }
    if words::tells_known(layout.report) {
        put(KNOWN, share_of(live::KNOWN[0]));
    }
}

/// Columns side by side, told apart by fill and not by colour alone.
fn chart(table: &Table, styles: &Styles) -> Chart {
    let mut chart = Chart::new_column();
    let outline = ChartLine::new().set_color(GREEN).set_width(0.75).clone();
    let solid = ChartFormat::new()
        .set_solid_fill(ChartSolidFill::new().set_color(GREEN))
        .set_border(&outline)
        .clone();
    let hatched = ChartFormat::new()
        .set_pattern_fill(
            ChartPatternFill::new()
                .set_pattern(ChartPatternFillType::DiagonalStripesWideUpwards)
                .set_foreground_color(GREEN)
                .set_background_color(Color::White),
        )
        .set_border(&outline)
        .clone();
    for (column, name, mut format) in [
        (1, "Expected", solid),
        (2, "Covered in 8 seasons of 10", hatched),
    ] {
        let range = |column| {
            (
                "Months",
                table.first_row(),
                column,
                table.last_row(),
                column,
            )
        };
        chart
            .add_series()
            .set_name(name)
            .set_categories(range(0))
            .set_values(range(column))
            .set_format(&mut format)
            .set_gap(60)
            .set_overlap(0);
    }
    axes(&mut chart, styles);
    chart.set_width(690).set_height(370);
    chart
        .set_alt_text("Columns by month: parts and labor expected, and covered in 8 seasons of 10");
    chart
}

fn axes(chart: &mut Chart, styles: &Styles) {
    let font = ChartFont::new()
        .set_name(FONT)
        .set_size(9)
        .set_color(Color::Black)
        .clone();
    let bold = font.clone().set_bold().clone();
    // A name with `!` could be taken for the name of a cell.
    let currency = styles.currency().replace('!', "");
    let comma = if currency.is_empty() { "" } else { ", " };
    let money = format!("Parts and labor a month{comma}{currency}");
    chart.title().set_hidden();
    chart
        .x_axis()
        .set_name("Month")
        .set_name_font(&bold)
        .set_font(&font)
        .set_num_format("mmm yy")
        .set_text_axis(true);
    chart
        .y_axis()
        .set_name(money.as_str())
        .set_name_font(&bold)
        .set_font(&font)
        .set_num_format(styles.number_format(Kind::Money))
        .set_min(0)
        .set_major_gridlines_line(ChartLine::new().set_color(RULE).set_width(0.5));
    chart
        .legend()
        .set_position(ChartLegendPosition::Top)
        .set_font(&font);
}
