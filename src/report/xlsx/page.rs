//! A sheet as a printed page: title, tables, paragraphs, and the set-up of the paper.

use rust_xlsxwriter::{Formula, ProtectionOptions, Workbook, Worksheet};

use super::XlsxError;
use super::styles::{Kind, Styles, Tone};
use super::table::{Cell, Column, Outcome, Table};
use super::text;
use crate::report::BudgetReport;
use crate::report::stock::StockReport;
use crate::units::Units;

/// Height of a row with one line, in points.
const ROW: f64 = 17.0;
/// Height of each further line, in points.
const LINE: f64 = 13.0;
/// Room at both sides of words, in digits.
const PADDING: f64 = 1.9;
/// Room at both sides of figures, in digits.
const GUTTER: f64 = 2.5;
/// Room of a step of indentation, in digits.
const STEP: f64 = 1.4;

/// How the paper lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Paper {
    /// Upright, everything on one page.
    OnePage,
    /// Upright, as wide as a page and as long as it needs.
    Portrait,
    /// Across, as wide as a page and as long as it needs.
    Landscape,
    /// The same for many narrow columns.
    Wide,
}

/// What every sheet of a workbook says of itself.
#[derive(Clone, Debug)]
pub(super) struct About {
    pub(super) units: Units,
    /// At the foot of every printed page, to the left.
    pub(super) footer: String,
}

impl From<&BudgetReport> for About {
    fn from(report: &BudgetReport) -> Self {
        Self {
            units: report.units,
            footer: format!("Wear parts budget, season {}", report.season),
        }
    }
}

impl From<&StockReport> for About {
    fn from(report: &StockReport) -> Self {
        Self {
            units: report.units,
            footer: format!("{}, season {}", report.title(), report.season),
        }
    }
}

/// A sheet that is being written, from the top down.
pub(super) struct Page<'a> {
    pub(super) sheet: &'a mut Worksheet,
    pub(super) styles: &'a Styles,
    name: &'static str,
    paper: Paper,
    widths: Vec<f64>,
    row: u32,
}

impl<'a> Page<'a> {
    /// Adds a sheet to the workbook, its paper set up.
    pub(super) fn new(
        workbook: &'a mut Workbook,
        styles: &'a Styles,
        name: &'static str,
        paper: Paper,
        about: impl Into<About>,
    ) -> Result<Self, XlsxError> {
        let sheet = workbook.add_worksheet();
        kept(sheet.set_name(name))?;
        set_up(sheet, paper, &about.into());
        Ok(Self {
            sheet,
            styles,
            name,
            paper,
            widths: Vec::new(),
            row: 0,
        })
    }

    /// The next row to be written.
    pub(super) fn row(&self) -> u32 {
        self.row
    }

    /// Leaves a row empty.
    pub(super) fn gap(&mut self) {
        self.row += 1;
    }

    /// Makes the columns as wide as the tables to come need, and all together as wide as the paper.
    pub(super) fn fit(&mut self, tables: &[&Table]) -> Result<(), XlsxError> {
        let columns = tables.iter().map(|t| t.columns.len()).max().unwrap_or(0);
        self.widths = vec![0.0; columns];
        for table in tables {
            for (index, column) in table.columns.iter().enumerate() {
                let needed = natural_width(table, index, column, self.styles) + spare(column);
                self.widths[index] = self.widths[index].max(needed);
            }
        }
        for table in tables {
            self.fit_wide(table);
        }
        let missing = self.paper.digits() - self.widths.iter().sum::<f64>();
        for width in &mut self.widths {
            *width += missing.max(0.0) / columns as f64;
        }
        for (column, &width) in (0..).zip(&self.widths) {
            kept(self.sheet.set_column_width(column, width))?;
        }
        Ok(())
    }

    /// Makes room for words that run over the empty cells behind them.
    fn fit_wide(&mut self, table: &Table) {
        for row in table.rows.iter().chain(&table.totals) {
            for (index, cell) in row.iter().enumerate() {
                let Cell::Wide(words) = cell else { continue };
                let behind = row[index + 1..].iter();
                let empty = behind.take_while(|cell| **cell == Cell::Empty).count();
                let widths = &mut self.widths[index..=index + empty];
                // Bold is a little wider.
                let missing = text::width(words) * 1.1 - widths.iter().sum::<f64>();
                if let (Some(last), true) = (widths.last_mut(), 0.0 < missing) {
                    *last += missing;
                }
            }
        }
    }

    /// Writes the title over the whole width.
    pub(super) fn title(&mut self, words: &str) -> Result<(), XlsxError> {
        let format = Styles::title();
        for column in 0..=self.last_column() {
            kept(self.sheet.write_blank(self.row, column, &format))?;
        }
        self.write_text(0, words, &format)?;
        self.height(28.0)
    }

    /// Writes the heading of a section.
    pub(super) fn section(&mut self, words: &str) -> Result<(), XlsxError> {
        self.write_text(0, words, &Styles::section())?;
        self.height(25.0)
    }

    /// Writes a paragraph over the whole width.
    pub(super) fn paragraph(&mut self, words: &str) -> Result<(), XlsxError> {
        self.across(words, &Styles::paragraph())
    }

    /// Writes a paragraph that explains, over the whole width.
    pub(super) fn aside(&mut self, words: &str) -> Result<(), XlsxError> {
        self.across(words, &Styles::aside())
    }

    /// Writes the same as a formula that leaves nothing once a condition holds.
    pub(super) fn aside_until(&mut self, words: &str, there: &str) -> Result<(), XlsxError> {
        self.aside_by(words, |words| format!("IF({there},\"\",{words})"), true)
    }

    /// Leaves room for words that are shown while a condition holds, which it does not now.
    pub(super) fn aside_when(&mut self, words: &str, holds: &str) -> Result<(), XlsxError> {
        self.aside_by(words, |words| format!("IF({holds},{words},\"\")"), false)
    }

    /// - `shown`: whether the formula comes to the words now.
    fn aside_by(
        &mut self,
        words: &str,
        formula: impl FnOnce(&str) -> String,
        shown: bool,
    ) -> Result<(), XlsxError> {
        let (row, format) = (self.row, Styles::aside());
        self.aside(words)?;
        let words = text::clean(words);
        let formula = Formula::new(formula(&super::words::quoted(&words)));
        kept(
            self.sheet
                .write_formula_with_format(row, 0, formula, &format),
        )?;
        let now = if shown { words } else { String::new() };
        self.sheet.set_formula_result(row, 0, now);
        Ok(())
    }

    /// Writes a table that was laid out for the current row.
    pub(super) fn table(&mut self, table: &Table) -> Result<(), XlsxError> {
        debug_assert_eq!(
            self.row, table.header_row,
            "a table's formulas name its rows"
        );
        self.heading(table)?;
        for row in &table.rows {
            self.cells(table, row, Tone::Body)?;
        }
        for row in &table.totals {
            self.cells(table, row, Tone::Total)?;
        }
        Ok(())
    }

    /// Keeps the header in sight on the screen, where something else follows the table on paper.
    pub(super) fn freeze(&mut self, table: &Table, columns: u16) -> Result<(), XlsxError> {
        kept(self.sheet.set_freeze_panes(table.header_row + 1, columns)).map(drop)
    }

    /// Keeps the header in sight on the screen and repeats it on every printed page.
    pub(super) fn keep_header(&mut self, table: &Table, columns: u16) -> Result<(), XlsxError> {
        let row = table.header_row;
        self.freeze(table, columns)?;
        kept(self.sheet.set_repeat_rows(row, row))?;
        Ok(())
    }

    /// Lets nothing but inputs be changed until the sheet is unprotected, which needs no password.
    pub(super) fn lock(&mut self) {
        let options = ProtectionOptions {
            format_columns: true,
            format_rows: true,
            format_cells: true,
            ..ProtectionOptions::default()
        };
        self.sheet.protect_with_options(&options);
    }

    /// Sets the print area to what has been written, and `more` rows.
    pub(super) fn finish(self, more: u32) -> Result<(), XlsxError> {
        let last_row = (self.row + more).saturating_sub(1);
        let last_column = self.last_column();
        kept(self.sheet.set_print_area(0, 0, last_row, last_column))?;
        Ok(())
    }

    fn heading(&mut self, table: &Table) -> Result<(), XlsxError> {
        let mut lines = 1;
        for (index, column) in (0..).zip(&table.columns) {
            self.write_text(index, &column.heading, &Styles::heading(column.kind))?;
            let room = self.widths[usize::from(index)] - spare(column);
            // Bold is a little wider.
            lines = lines.max(text::lines(&column.heading, room / 1.1));
        }
        self.height(ROW + 4.0 + LINE * f64::from(lines - 1))
    }

    fn cells(&mut self, table: &Table, cells: &[Cell], tone: Tone) -> Result<(), XlsxError> {
        let mut lines = 1;
        for (index, column) in (0..).zip(&table.columns) {
            let cell = cells.get(usize::from(index)).unwrap_or(&Cell::Empty);
            self.cell(index, cell, column.kind, tone)?;
            let words = match cell {
                Cell::Text(words)
                | Cell::Formula {
                    result: Outcome::Text(words),
                    ..
                } => Some(words),
                _ => None,
            };
            if let Some(words) = words {
                let room = self.widths[usize::from(index)] - spare(column);
                lines = lines.max(text::lines(&text::clean(words), room));
            }
        }
        self.height(ROW + LINE * f64::from(lines - 1))
    }

    fn cell(&mut self, column: u16, cell: &Cell, kind: Kind, tone: Tone) -> Result<(), XlsxError> {
        let format = self.styles.cell(kind, tone);
        let row = self.row;
        match cell {
            Cell::Empty => kept(self.sheet.write_blank(row, column, &format)).map(drop),
            Cell::Text(words) => {
                // Words in a column of numbers are still words.
                let format = if kind.is_number() {
                    self.styles.cell(Kind::Remark, tone)
                } else {
                    format
                };
                self.write_text(column, words, &format)
            }
            Cell::Wide(words) => {
                let words = text::brief(&text::clean(words), 200);
                self.write_text(column, &words, &format.unset_text_wrap())
            }
            Cell::Input(kind, number) => {
                let format = self.styles.input(*kind);
                let Some(number) = number else {
                    return kept(self.sheet.write_blank(row, column, &format)).map(drop);
                };
                self.finite(*number, column)?;
                let sheet = &mut *self.sheet;
                kept(sheet.write_number_with_format(row, column, *number, &format)).map(drop)
            }
            Cell::Number(number) => {
                self.finite(*number, column)?;
                kept(
                    self.sheet
                        .write_number_with_format(row, column, *number, &format),
                )
                .map(drop)
            }
            Cell::Date(date) => kept(
                self.sheet
                    .write_date_with_format(row, column, date, &format),
            )
            .map(drop),
            Cell::Formula { formula, result } => {
                let result = self.stored(result, column)?;
                // The default of the crate for an empty result is 0, which unknown is not.
                let formula = Formula::new(formula);
                kept(
                    self.sheet
                        .write_formula_with_format(row, column, formula, &format),
                )?;
                self.sheet.set_formula_result(row, column, result);
                Ok(())
            }
        }
    }

    fn stored(&self, result: &Outcome, column: u16) -> Result<String, XlsxError> {
        match result {
            Outcome::Empty => Ok(String::new()),
            Outcome::Text(words) => Ok(words.clone()),
            Outcome::Number(number) => self.finite(*number, column).map(|()| number.to_string()),
        }
    }

    fn finite(&self, number: f64, column: u16) -> Result<(), XlsxError> {
        if number.is_finite() {
            return Ok(());
        }
        let cell = rust_xlsxwriter::utility::row_col_to_cell(self.row, column);
        Err(XlsxError::NotFinite {
            sheet: self.name,
            cell,
            number,
        })
    }

    fn write_text(
        &mut self,
        column: u16,
        words: &str,
        format: &rust_xlsxwriter::Format,
    ) -> Result<(), XlsxError> {
        let words = text::clean(words);
        kept(
            self.sheet
                .write_string_with_format(self.row, column, words, format),
        )
        .map(drop)
    }

    fn across(&mut self, words: &str, format: &rust_xlsxwriter::Format) -> Result<(), XlsxError> {
        let words = text::clean(words);
        let width = self.widths.iter().sum::<f64>() - PADDING;
        let lines = text::lines(&words, width);
        kept(
            self.sheet
                .merge_range(self.row, 0, self.row, self.last_column(), &words, format),
        )?;
        self.height(7.0 + LINE * f64::from(lines))
    }

    /// Ends a row, which gets that height. A row can be 409 points high and no more.
    fn height(&mut self, points: f64) -> Result<(), XlsxError> {
        kept(self.sheet.set_row_height(self.row, points.min(409.0)))?;
        self.row += 1;
        Ok(())
    }

    fn last_column(&self) -> u16 {
        (self.widths.len() as u16).saturating_sub(1)
    }
}

impl Paper {
    /// Width between the margins of the narrower of the two papers, in digits of the body font.
    fn digits(self) -> f64 {
        match self {
            Self::OnePage | Self::Portrait => 96.0,
            Self::Landscape => 132.0,
            Self::Wide => 190.0,
        }
    }
}

/// Room of a column that its words cannot take.
fn spare(column: &Column) -> f64 {
    let sides = if column.kind.is_number() {
        GUTTER
    } else {
        PADDING
    };
    sides + STEP * f64::from(column.kind.indent())
}

fn set_up(sheet: &mut Worksheet, paper: Paper, about: &About) {
    // Letter where acres are at home, else A4.
    sheet.set_paper_size(match about.units {
        Units::Us => 1,
        Units::Metric => 9,
    });
    if matches!(paper, Paper::Landscape | Paper::Wide) {
        sheet.set_landscape();
    }
    sheet
        .set_print_fit_to_pages(1, u16::from(paper == Paper::OnePage))
        .set_margins(0.5, 0.5, 0.55, 0.75, 0.3, 0.35)
        .set_print_center_horizontally(true)
        .set_screen_gridlines(false)
        .set_footer(format!(
            "&L&9{}&C&9&A&R&9Page &P of &N",
            about.footer.replace('&', "&&")
        ));
}

fn natural_width(table: &Table, index: usize, column: &Column, styles: &Styles) -> f64 {
    let cells = table
        .rows
        .iter()
        .chain(&table.totals)
        .filter_map(|row| row.get(index));
    let content = cells
        .map(|cell| cell_width(cell, column.kind, styles))
        .fold(0.0, f64::max);
    // A heading may go on below, a word of it may not. Bold is a little wider.
    let heading = text::word_width(&column.heading) * 1.15;
    content.min(column.widest).max(heading)
}

fn cell_width(cell: &Cell, kind: Kind, styles: &Styles) -> f64 {
    match cell {
        Cell::Empty | Cell::Wide(_) => 0.0,
        Cell::Text(words) => text::width(words),
        Cell::Date(_) => text::width("Mmm 0000"),
        Cell::Input(kind, number) => number.map_or(0.0, |n| text::width(&styles.shown(*kind, n))),
        Cell::Number(number) => text::width(&styles.shown(kind, *number)),
        Cell::Formula { result, .. } => match result {
            Outcome::Empty => 0.0,
            Outcome::Text(words) => text::width(words),
            // Totals are bold.
            Outcome::Number(number) => text::width(&styles.shown(kind, *number)) * 1.1,
        },
    }
}

/// The crate's error in the words of this one, which names no type of another.
pub(super) fn kept<T>(result: Result<T, rust_xlsxwriter::XlsxError>) -> Result<T, XlsxError> {
    result.map_err(|error| XlsxError::Workbook(error.to_string()))
}
