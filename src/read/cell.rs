//! One cell of a table, and the strict readings of it: number, date, month, word.

use std::borrow::Cow;

use chrono::{Datelike, NaiveDate, NaiveDateTime, NaiveTime};

use crate::record::ProblemKind;

/// Above this an amount is surely a slip, and sums of it would lose their small parts.
pub(super) const LARGEST: f64 = 1e15;
/// Years a record may be dated in; day-by-day work between stray years would never end.
const YEARS: std::ops::RangeInclusive<i32> = 1900..=2199;
/// The same as days from the first of the common era: 1900-01-01 to 2199-12-31.
pub(super) const DAYS: std::ops::RangeInclusive<u32> = 693_596..=803_168;
/// More of a cell than this is not shown in a problem.
const SHOWN: usize = 60;

const A_DATE: &str = "a date written as `2026-04-17`, or a real spreadsheet date; \
    for another form set `date_format` in settings.toml";
const A_LENGTH_OF_TIME: &str =
    "a number; 3 hours 30 minutes are written `3.5`, in a cell that is formatted as a number";
const A_MONTH: &str = "a month written as `2027-04`, or a real spreadsheet date in it";

/// What a file says in one place.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Cell<'a> {
    /// Nothing, or white space.
    Empty,
    /// Text, trimmed.
    Text(Cow<'a, str>),
    /// A number of a typed file.
    Number(f64),
    /// A date of a typed file.
    Date(NaiveDate),
    /// A date with a time of day that is not midnight.
    Moment(NaiveDateTime),
}

/// Why a cell cannot be used.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Wrong {
    pub(super) kind: ProblemKind,
    pub(super) found: String,
    pub(super) expected: String,
}

impl Wrong {
    pub(super) fn new(
        kind: ProblemKind,
        found: impl Into<String>,
        expected: impl Into<String>,
    ) -> Self {
        Self {
            kind,
            found: found.into(),
            expected: expected.into(),
        }
    }
}

/// A literal from a file, in backticks and not endless.
pub(super) fn quoted(text: &str) -> String {
    let flat = |c: char| if c.is_control() { ' ' } else { c };
    let mut shown: String = text.chars().take(SHOWN).map(flat).collect();
    if text.chars().nth(SHOWN).is_some() {
        shown.push('…');
    }
    format!("`{shown}`")
}

impl<'a> Cell<'a> {
    /// Text as it stands in a file.
    pub(super) fn text(text: &'a str) -> Self {
        let text = text.trim();
        if text.is_empty() {
            Self::Empty
        } else {
            Self::Text(Cow::Borrowed(text))
        }
    }

    /// Text that has no home of its own.
    pub(super) fn owned(text: String) -> Self {
        match text.trim() {
            "" => Self::Empty,
            trimmed if trimmed.len() == text.len() => Self::Text(Cow::Owned(text)),
            trimmed => Self::Text(Cow::Owned(trimmed.to_owned())),
        }
    }

    /// A date and time of a typed file; midnight is a date.
    pub(super) fn moment(moment: NaiveDateTime) -> Self {
        if moment.time() == NaiveTime::MIN {
            Self::Date(moment.date())
        } else {
            Self::Moment(moment)
        }
    }

    /// Whether nothing was recorded.
    pub(super) fn is_empty(&self) -> bool {
        matches!(self, Self::Empty)
    }

    /// The cell as a name or note; a typed number or date in its plainest form.
    pub(super) fn as_text(&self) -> Option<Cow<'_, str>> {
        match self {
            Self::Empty => None,
            Self::Text(text) => Some(Cow::Borrowed(text)),
            Self::Number(number) => Some(Cow::Owned(number.to_string())),
            Self::Date(date) => Some(Cow::Owned(date.to_string())),
            Self::Moment(moment) => Some(Cow::Owned(moment.to_string())),
        }
    }

    fn shown(&self) -> String {
        self.as_text()
            .map_or_else(|| "an empty cell".to_owned(), |text| quoted(&text))
    }

    /// A number that is not negative.
    pub(super) fn number(&self) -> Result<Option<f64>, Wrong> {
        match self.signed()? {
            Some(value) if value < 0.0 => Err(Wrong::new(
                ProblemKind::OutOfRange,
                self.shown(),
                "a number that is not negative",
            )),
            other => Ok(other),
        }
    }

    /// A number of either sign.
    pub(super) fn signed(&self) -> Result<Option<f64>, Wrong> {
        let value = match self {
            Self::Empty => return Ok(None),
            Self::Number(value) => *value,
            Self::Text(text) => plain_number(text).ok_or_else(|| self.not_a_number())?,
            Self::Date(_) | Self::Moment(_) => return Err(self.not_a_number()),
        };
        if !value.is_finite() {
            return Err(self.not_a_number());
        }
        if LARGEST < value.abs() {
            let expected = if value < 0.0 {
                "a number that is not negative"
            } else {
                "a number below 1e15"
            };
            return Err(Wrong::new(ProblemKind::OutOfRange, self.shown(), expected));
        }
        // Adding zero turns the negative zero that some programs write into zero.
        Ok(Some(value + 0.0))
    }

    /// A number above zero.
    pub(super) fn positive(&self) -> Result<Option<f64>, Wrong> {
        match self.number()? {
            Some(value) if value <= 0.0 => Err(Wrong::new(
                ProblemKind::OutOfRange,
                self.shown(),
                "a number above 0, or an empty cell where it is not known",
            )),
            other => Ok(other),
        }
    }

    /// A whole number of 1 or more.
    pub(super) fn whole(&self) -> Result<Option<u32>, Wrong> {
        match self.number()? {
            None => Ok(None),
            Some(value) if value.fract() == 0.0 && 1.0 <= value && value <= f64::from(u32::MAX) => {
                Ok(Some(value as u32))
            }
            Some(_) => Err(Wrong::new(
                ProblemKind::OutOfRange,
                self.shown(),
                "a whole number of 1 or more",
            )),
        }
    }

    fn not_a_number(&self) -> Wrong {
        let expected = match self {
            // Formatted as a number a time becomes its part of a day.
            Self::Moment(_) => A_LENGTH_OF_TIME,
            Self::Date(_) => {
                "a number; the cell holds a date, type the number anew and format it as one"
            }
            Self::Text(text) => number_hint(text),
            Self::Empty | Self::Number(_) => "a number, or an empty cell where it is not known",
        };
        Wrong::new(ProblemKind::NotANumber, self.shown(), expected)
    }

    /// A day.
    pub(super) fn date(&self, form: &DateForm) -> Result<Option<NaiveDate>, Wrong> {
        let date = match self {
            Self::Empty => return Ok(None),
            Self::Date(date) => Some(*date),
            Self::Text(text) => form.date(text),
            Self::Number(_) | Self::Moment(_) => None,
        };
        match date {
            Some(date) if YEARS.contains(&date.year()) => Ok(Some(date)),
            Some(_) => Err(Wrong::new(
                ProblemKind::NotADate,
                self.shown(),
                format!(
                    "a date between the years {} and {}",
                    YEARS.start(),
                    YEARS.end()
                ),
            )),
            None => Err(self.not_a_date(form)),
        }
    }

    /// Whether it is a year, or a year with one word or number beside it, such as `winter 2024`.
    pub(super) fn is_vague(&self) -> bool {
        let Self::Text(text) = self else {
            let (first, last) = (f64::from(*YEARS.start()), f64::from(*YEARS.end()));
            return matches!(self, Self::Number(year) if year.fract() == 0.0 && (first..=last).contains(year));
        };
        let words = text.split(|c: char| !c.is_alphanumeric());
        let words: Vec<&str> = words.filter(|word| !word.is_empty()).collect();
        let is_year = |word: &&&str| word.parse().is_ok_and(|year| YEARS.contains(&year));
        !is_total(text) && words.len() <= 2 && words.iter().filter(is_year).count() == 1
    }

    fn not_a_date(&self, form: &DateForm) -> Wrong {
        let expected = match (self, &form.format) {
            (Self::Text(text), _) if is_total(text) => {
                "a date; delete rows that add up others".to_owned()
            }
            (Self::Moment(_), _) => "a date without a time of day".to_owned(),
            (_, Some(format)) => {
                format!("a real day written as `{format}` (`date_format`) or as `2026-04-17`")
            }
            (Self::Text(text), None) if has_iso_shape(text) => {
                "a day that the calendar has, written as `2026-04-17`".to_owned()
            }
            _ => A_DATE.to_owned(),
        };
        Wrong::new(ProblemKind::NotADate, self.shown(), expected)
    }

    /// A month, as its first day.
    pub(super) fn month(&self, form: &DateForm) -> Result<Option<NaiveDate>, Wrong> {
        let wrong = || Wrong::new(ProblemKind::NotADate, self.shown(), A_MONTH);
        let day = match self {
            Self::Empty => return Ok(None),
            Self::Date(date) => Some(*date),
            Self::Text(text) => iso_month(text).or_else(|| form.date(text)),
            Self::Number(_) | Self::Moment(_) => None,
        };
        match day.and_then(|d| d.with_day(1)) {
            Some(first) if YEARS.contains(&first.year()) => Ok(Some(first)),
            _ => Err(wrong()),
        }
    }

    /// One of a list of words, without regard to case.
    pub(super) fn word<T: Copy>(&self, words: &[(&str, T)]) -> Result<Option<T>, Wrong> {
        let Some(text) = self.as_text() else {
            return Ok(None);
        };
        let hit = words
            .iter()
            .find(|(word, _)| word.eq_ignore_ascii_case(&text));
        hit.map(|(_, value)| Some(*value)).ok_or_else(|| {
            let list: Vec<String> = words.iter().map(|(word, _)| format!("`{word}`")).collect();
            Wrong::new(
                ProblemKind::UnknownWord,
                self.shown(),
                format!("one of {}", list.join(", ")),
            )
        })
    }
}

/// How dates are written in text.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct DateForm {
    /// `date_format` of the settings; ISO 8601 is understood beside it.
    pub(super) format: Option<String>,
}

impl DateForm {
    /// Whether a text is a date in the form of `format` and not in ISO 8601.
    pub(super) fn is_own(&self, text: &str) -> bool {
        iso_date(text).is_none() && self.date(text).is_some()
    }

    fn date(&self, text: &str) -> Option<NaiveDate> {
        iso_date(text).or_else(|| {
            let format = self.format.as_deref()?;
            NaiveDate::parse_from_str(text, format).ok()
        })
    }
}

/// A sign, digits with one point, an exponent; nothing else, so that nothing is guessed.
fn plain_number(text: &str) -> Option<f64> {
    let allowed = |b: u8| b.is_ascii_digit() || matches!(b, b'.' | b'+' | b'-' | b'e' | b'E');
    if text.bytes().all(allowed) {
        text.parse().ok()
    } else {
        None
    }
}

/// Whether a text names a sum of other rows.
fn is_total(text: &str) -> bool {
    let lower = text.to_lowercase();
    let mut words = lower.split(|c: char| !c.is_alphabetic());
    words.any(|word| ["total", "totals", "sum"].contains(&word))
}

fn number_hint(text: &str) -> &'static str {
    if text.contains(':') {
        A_LENGTH_OF_TIME
    } else if text.contains(',') {
        "a number with a decimal point and no commas, such as `1250.5`"
    } else if text.chars().any(|c| matches!(c, '$' | '€' | '£')) {
        "a number without a currency sign; `currency` stands in settings.toml"
    } else if text.starts_with(|c: char| c.is_ascii_digit()) {
        "a number alone, such as `1250.5`; the unit belongs to the column header, or to the column `unit` where there is one"
    } else {
        "a number such as `1250.5`, or an empty cell where it is not known"
    }
}

/// Four digits, two, two, with hyphens.
fn has_iso_shape(text: &str) -> bool {
    let bytes = text.as_bytes();
    bytes.len() == 10
        && bytes.iter().enumerate().all(|(i, b)| {
            if i == 4 || i == 7 {
                *b == b'-'
            } else {
                b.is_ascii_digit()
            }
        })
}

fn iso_date(text: &str) -> Option<NaiveDate> {
    if !has_iso_shape(text) {
        return None;
    }
    let digits = |range: std::ops::Range<usize>| text.get(range)?.parse::<u32>().ok();
    NaiveDate::from_ymd_opt(
        i32::try_from(digits(0..4)?).ok()?,
        digits(5..7)?,
        digits(8..10)?,
    )
}

fn iso_month(text: &str) -> Option<NaiveDate> {
    if text.len() == 7 && text.is_ascii() {
        iso_date(&format!("{text}-01"))
    } else {
        None
    }
}

#[cfg(test)]
mod tests;
