//! A records workbook to be filled in: a sheet a table, with notes, lists to choose from and rules.
//!
//! Rules guide the typing; what counts in the end is what the reader of records says.

mod sheets;

use chrono::NaiveDate;
use rust_xlsxwriter::{
    Color, DataValidation, DataValidationErrorStyle, DataValidationRule, DocProperties,
    ExcelDateTime, Format, FormatAlign, FormatBorder, Formula, Note, Workbook, Worksheet,
};

use super::XlsxError;
use super::page::kept;
use super::styles::{GREEN, Kind, RULE, Styles};
use super::text;
use sheets::{Column, Rule, SHEETS, Sheet};

/// Last row that the rules reach.
const LAST_ROW: u32 = 5_000;
/// The sheet of lists.
const LISTS: &str = "lists";
/// Headings of columns that may stay empty.
const SOFT_GREEN: Color = Color::RGB(0x006B_8573);
/// Rows that show how, and are to be deleted.
const EXAMPLE: Color = Color::RGB(0x00FF_F6D6);
/// First and last day that a spreadsheet and the reader both take.
const DAYS: [(u16, u8, u8); 2] = [(1970, 1, 1), (2199, 12, 31)];
/// Digits a column is wide.
const WIDTHS: [f64; 2] = [11.0, 26.0];

/// The bytes of the workbook.
///
/// - `families`: part families that the lists offer.
/// - `examples`: with rows that show how.
///
/// # Errors
/// [`XlsxError`] when the workbook cannot be made.
pub fn blank(families: &[&str], examples: bool) -> Result<Vec<u8>, XlsxError> {
    let mut workbook = Workbook::new();
    kept(workbook.set_default_format(&Styles::base(), 20, 64))?;
    let created = NaiveDate::from_ymd_opt(2026, 1, 1).unwrap_or_default();
    workbook.set_properties(
        &DocProperties::new()
            .set_title("Records of spreader wear parts")
            .set_creation_datetime(&created),
    );
    about(&mut workbook, examples)?;
    for sheet in &SHEETS {
        table(&mut workbook, sheet, families, examples)?;
    }
    lists(&mut workbook, families)?;
    kept(workbook.save_to_buffer())
}

/// The sheet with what lists offer that no other sheet holds.
fn lists(workbook: &mut Workbook, families: &[&str]) -> Result<(), XlsxError> {
    let page = workbook.add_worksheet();
    kept(page.set_name(LISTS))?;
    kept(page.set_freeze_panes(1, 0))?;
    kept(page.set_column_width(0, 30))?;
    kept(page.write_with_format(0, 0, "family", &Styles::heading(Kind::Text)))?;
    for (row, family) in (1_u32..).zip(families) {
        kept(page.write(row, 0, *family))?;
    }
    Ok(())
}

/// The sheet that explains the others.
fn about(workbook: &mut Workbook, examples: bool) -> Result<(), XlsxError> {
    let sheet = workbook.add_worksheet();
    kept(sheet.set_name("start"))?;
    sheet.set_screen_gridlines(false);
    sheet.set_print_fit_to_pages(1, 0);
    kept(sheet.set_column_width(0, 20))?;
    kept(sheet.set_column_width(1, 74))?;
    let title = "Records of wear parts";
    kept(sheet.merge_range(0, 0, 0, 1, title, &Styles::title()))?;
    kept(sheet.set_row_height(0, 28))?;
    let name_form = Styles::section().set_align(FormatAlign::Top);
    let words_form = Styles::paragraph().set_align(FormatAlign::Top);
    let mut row = 2;
    let mut line = |name: &str, words: &str| -> Result<(), XlsxError> {
        kept(sheet.write_with_format(row, 0, name, &name_form))?;
        kept(sheet.write_with_format(row, 1, words, &words_form))?;
        let lines = text::lines(words, 72.0);
        kept(sheet.set_row_height(row, 6.0 + 13.5 * f64::from(lines)))?;
        row += 1;
        Ok(())
    };
    for sheet in &SHEETS {
        line(sheet.name, sheet.about)?;
    }
    line("", "")?;
    line(
        "How to fill in",
        "Begin with machines, parts, positions, products and usage; that is enough for a first budget. \
         Point at a heading to read what belongs under it. Dark green headings are needed, light green ones may stay empty.",
    )?;
    line(
        "Empty cells",
        "An empty cell means: not known. It is never taken as 0.",
    )?;
    line(
        "Lists",
        "Where a small arrow appears, choose a name that another sheet lists. Names must be the same to the letter.",
    )?;
    if examples {
        line(
            "Yellow rows",
            "They only show how and must go: on each sheet click the number of the first yellow row, hold Shift, \
             click that of the last one, right-click, Delete. `wearcast start DIR --no-examples` writes the workbook without them.",
        )?;
    }
    line(
        "Your own columns",
        "Add columns as you like; they are kept, and results can be grouped by them.",
    )?;
    line(
        "When done",
        "Save, close, and run `wearcast check` on this folder: it lists what does not fit and where. Prices of labor, \
         the season's first day and the like stand in settings.toml beside this file.",
    )
}

fn table(
    workbook: &mut Workbook,
    sheet: &Sheet,
    families: &[&str],
    examples: bool,
) -> Result<(), XlsxError> {
    let page = workbook.add_worksheet();
    kept(page.set_name(sheet.name))?;
    page.set_tab_color(GREEN);
    kept(page.set_freeze_panes(1, 0))?;
    kept(page.set_row_height(0, 24))?;
    page.set_landscape().set_print_fit_to_pages(1, 0);
    kept(page.set_repeat_rows(0, 0))?;
    for (index, column) in (0_u16..).zip(sheet.columns) {
        let format = form(column.rule, false);
        kept(page.set_column_format(index, &format))?;
        kept(page.set_column_width(index, width(sheet, usize::from(index), column)))?;
        kept(page.write_with_format(0, index, column.name, &heading(column)))?;
        kept(page.insert_note(0, index, &note(column)))?;
        if let Some(rule) = validation(column, index, families)? {
            kept(page.add_data_validation(1, index, LAST_ROW, index, &rule))?;
        }
    }
    if examples {
        for (row, cells) in (1_u32..).zip(sheet.examples) {
            for ((index, column), cell) in (0_u16..).zip(sheet.columns).zip(*cells) {
                example(page, row, index, column.rule, cell)?;
            }
        }
    }
    Ok(())
}

fn width(sheet: &Sheet, index: usize, column: &Column) -> f64 {
    let cells = sheet.examples.iter().filter_map(|row| row.get(index));
    let longest = cells
        .map(|cell| text::width(cell))
        .fold(text::width(column.name) * 1.15, f64::max);
    let [least, most] = WIDTHS;
    (longest + 3.0).clamp(least, most)
}

fn heading(column: &Column) -> Format {
    let is_number = matches!(
        column.rule,
        Rule::Number | Rule::Signed | Rule::Positive | Rule::Count
    );
    let ground = if column.needed { GREEN } else { SOFT_GREEN };
    Styles::heading(if is_number { Kind::Whole } else { Kind::Remark }).set_background_color(ground)
}

/// A note as large as its words.
fn note(column: &Column) -> Note {
    let start = if column.needed {
        "Needed. "
    } else {
        "May stay empty. "
    };
    let words = format!("{start}{}", column.note);
    let lines = text::lines(&words, 36.0);
    Note::new(words)
        .add_author_prefix(false)
        .set_author("wearcast")
        .set_font_name("Arial")
        .set_font_size(9)
        .set_width(250)
        .set_height(14 + 16 * lines)
}

/// How cells of a column look.
fn form(rule: Rule, is_example: bool) -> Format {
    // Words and dates stand off the figures before them.
    let left = Styles::base().set_align(FormatAlign::Left).set_indent(1);
    let format = match rule {
        Rule::Day | Rule::DayOrUnknown => left.set_num_format("yyyy-mm-dd"),
        Rule::Month => left.set_num_format("yyyy-mm"),
        Rule::Number | Rule::Signed | Rule::Positive | Rule::Count => Styles::base(),
        _ => left,
    };
    if is_example {
        format
            .set_background_color(EXAMPLE)
            .set_border_bottom(FormatBorder::Thin)
            .set_border_bottom_color(RULE)
    } else {
        format
    }
}

fn example(
    page: &mut Worksheet,
    row: u32,
    column: u16,
    rule: Rule,
    cell: &str,
) -> Result<(), XlsxError> {
    let format = form(rule, true);
    let day = match rule {
        Rule::Day | Rule::DayOrUnknown => cell.parse().ok(),
        Rule::Month => format!("{cell}-01").parse::<NaiveDate>().ok(),
        _ => None,
    };
    let number = match rule {
        Rule::Number | Rule::Signed | Rule::Positive | Rule::Count => cell.parse::<f64>().ok(),
        _ => None,
    };
    kept(match (&day, number) {
        _ if cell.is_empty() => page.write_blank(row, column, &format),
        (Some(day), _) => page.write_with_format(row, column, day, &format),
        (_, Some(number)) => page.write_with_format(row, column, number, &format),
        _ => page.write_with_format(row, column, cell, &format),
    })?;
    Ok(())
}

/// The names that a column of a sheet lists, however many there are.
fn listed(sheet: &str, column: &str) -> Formula {
    let found = SHEETS.iter().find(|s| s.name == sheet);
    let index = found.and_then(|s| s.columns.iter().position(|c| c.name == column));
    let letter = char::from(b'A' + u8::try_from(index.unwrap_or(0)).unwrap_or(0));
    Formula::new(format!(
        "=OFFSET({sheet}!${letter}$2,0,0,MAX(1,COUNTA({sheet}!${letter}:${letter})-1),1)"
    ))
}

fn validation(
    column: &Column,
    index: u16,
    families: &[&str],
) -> Result<Option<DataValidation>, XlsxError> {
    let new = DataValidation::new;
    let day = |(year, month, day)| kept(ExcelDateTime::from_ymd(year, month, day));
    let [from, until] = DAYS;
    let (rule, words, strict) = match column.rule {
        Rule::Words => return Ok(None),
        Rule::Day | Rule::Month => (
            new().allow_date(DataValidationRule::Between(day(from)?, day(until)?)),
            if column.rule == Rule::Day {
                "A date such as 2026-04-17."
            } else {
                "A month such as 2027-04."
            },
            true,
        ),
        Rule::DayOrUnknown => {
            let cell = format!("{}2", char::from(b'A' + u8::try_from(index).unwrap_or(0)));
            let formula = format!("=OR({cell}=\"unknown\",AND(ISNUMBER({cell}),{cell}>25569))");
            (
                new().allow_custom(Formula::new(formula)),
                "A date such as 2026-04-17, or the word unknown.",
                true,
            )
        }
        Rule::Number => (
            new().allow_decimal_number(DataValidationRule::GreaterThanOrEqualTo(0.0)),
            "A number of 0 or more, or an empty cell where it is not known.",
            true,
        ),
        Rule::Signed => (
            new().allow_decimal_number(DataValidationRule::Between(-1e15, 1e15)),
            "A number.",
            true,
        ),
        Rule::Positive => (
            new().allow_decimal_number(DataValidationRule::GreaterThan(0.0)),
            "A number above 0.",
            true,
        ),
        Rule::Count => (
            new().allow_whole_number(DataValidationRule::GreaterThanOrEqualTo(1)),
            "A whole number of 1 or more.",
            true,
        ),
        Rule::Choice(words) => (
            kept(new().allow_list_strings(words))?,
            "One of the words in the list.",
            true,
        ),
        Rule::Listed(sheet, name) => (
            new().allow_list_formula(listed(sheet, name)),
            "This name is not in the list of its own sheet yet. Add it there too.",
            false,
        ),
        Rule::Family => (
            new().allow_list_formula(Formula::new(format!(
                "={LISTS}!$A$2:$A${}",
                families.len() + 1
            ))),
            "A family of your own? Then the records have to speak for it, or a model file of yours.",
            false,
        ),
    };
    let style = if strict {
        DataValidationErrorStyle::Stop
    } else {
        DataValidationErrorStyle::Warning
    };
    let rule = kept(rule.set_error_title(column.name))?;
    let rule = kept(rule.set_error_message(words))?;
    Ok(Some(rule.set_error_style(style)))
}
