//! Rules of the cells that may be changed.

use rust_xlsxwriter::{DataValidation, DataValidationErrorStyle, DataValidationRule};

use crate::report::xlsx::XlsxError;
use crate::report::xlsx::page::{Page, kept};

/// Numbers of 0 or more, or nothing where it is not known.
pub(super) fn amounts(
    page: &mut Page<'_>,
    first: u32,
    rows: usize,
    columns: [u16; 2],
) -> Result<(), XlsxError> {
    if rows == 0 {
        return Ok(());
    }
    let rule = DataValidationRule::GreaterThanOrEqualTo(0.0);
    let rule = DataValidation::new().allow_decimal_number(rule);
    let words = "A number of 0 or more, or an empty cell where it is not known.";
    let rule = told(rule, words)?;
    let last = first + rows as u32 - 1;
    kept(
        page.sheet
            .add_data_validation(first, columns[0], last, columns[1], &rule),
    )
    .map(drop)
}

/// A change in percent, down to nothing left.
pub(super) fn change(
    page: &mut Page<'_>,
    row: u32,
    column: u16,
    most: f64,
) -> Result<(), XlsxError> {
    let rule = DataValidationRule::Between(-1.0, most);
    let rule = DataValidation::new().allow_decimal_number(rule);
    let words = format!(
        "A change such as -10% or 25%, from -100% to {:.0}%.",
        most * 100.0
    );
    let rule = told(rule, &words)?;
    kept(
        page.sheet
            .add_data_validation(row, column, row, column, &rule),
    )
    .map(drop)
}

fn told(rule: DataValidation, words: &str) -> Result<DataValidation, XlsxError> {
    let rule = kept(rule.set_error_title("Input"))?;
    let rule = kept(rule.set_error_message(words))?;
    let rule = kept(rule.set_input_title("Input"))?;
    let rule = kept(rule.set_input_message(words))?;
    Ok(rule.set_error_style(DataValidationErrorStyle::Stop))
}
