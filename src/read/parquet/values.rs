//! The values of a Parquet column, by what they can mean.

use std::borrow::Cow;

use chrono::DateTime;
use polars_core::prelude::{
    BooleanChunked, DataType, Float64Chunked, Int32Chunked, Int64Chunked, PolarsResult, Series,
    StringChunked, TimeUnit,
};

use super::listed::Listed;
use crate::read::cell::Cell;

/// Whole numbers up to this are exact as floating point numbers.
const EXACT: i64 = 1 << 53;
/// Days from the first day of the common era to 1970-01-01, which is day 719,163.
pub(in crate::read) const EPOCH: i32 = 719_163;

/// The values of a column, by what they can mean.
pub(in crate::read) enum Values {
    Nothing,
    Text(StringChunked),
    Listed(Box<Listed>),
    Number(Float64Chunked),
    Whole(Int64Chunked),
    Day(Int32Chunked),
    Moment(Int64Chunked, TimeUnit),
    Truth(BooleanChunked),
    Other(String),
    /// The same text in every row.
    Constant(String),
}

impl Values {
    pub(super) fn new(series: &Series) -> PolarsResult<Self> {
        Ok(match series.dtype() {
            DataType::Null => Self::Nothing,
            DataType::String => Self::Text(series.str()?.clone()),
            DataType::Float32 | DataType::Float64 | DataType::UInt64 | DataType::Decimal(..) => {
                Self::Number(series.cast(&DataType::Float64)?.f64()?.clone())
            }
            DataType::Int8
            | DataType::Int16
            | DataType::Int32
            | DataType::Int64
            | DataType::UInt8
            | DataType::UInt16
            | DataType::UInt32 => Self::Whole(series.cast(&DataType::Int64)?.i64()?.clone()),
            DataType::Date => Self::Day(series.to_physical_repr().i32()?.clone()),
            DataType::Datetime(unit, _) => {
                Self::Moment(series.to_physical_repr().i64()?.clone(), *unit)
            }
            DataType::Boolean => Self::Truth(series.bool()?.clone()),
            other => Self::Other(format!("a value of type {other:?}")),
        })
    }

    pub(in crate::read) fn cell(&self, index: usize) -> Cell<'_> {
        let cell = match self {
            Self::Nothing => None,
            Self::Text(values) => values.get(index).map(Cell::text),
            Self::Listed(values) => {
                let place = values.places().get(index).map(|place| *place as usize);
                let place = place.filter(|place| *place < values.count());
                place.map(|place| values.list().cell(place))
            }
            Self::Number(values) => values.get(index).map(Cell::Number),
            Self::Whole(values) => values.get(index).map(whole),
            Self::Day(values) => values.get(index).map(day),
            Self::Moment(values, unit) => values.get(index).map(|v| moment(v, *unit)),
            Self::Truth(values) => values
                .get(index)
                .map(|v| Cell::Text(Cow::Borrowed(if v { "true" } else { "false" }))),
            Self::Other(what) => Some(Cell::Text(Cow::Borrowed(what))),
            Self::Constant(text) => Some(Cell::text(text)),
        };
        cell.unwrap_or(Cell::Empty)
    }
}

fn whole(value: i64) -> Cell<'static> {
    if (-EXACT..=EXACT).contains(&value) {
        Cell::Number(value as f64)
    } else {
        Cell::owned(value.to_string())
    }
}

fn day(days: i32) -> Cell<'static> {
    let date = days
        .checked_add(EPOCH)
        .and_then(chrono::NaiveDate::from_num_days_from_ce_opt);
    date.map_or_else(|| Cell::owned(format!("day {days}")), Cell::Date)
}

/// Units of time in a day.
pub(in crate::read) fn in_a_day(unit: TimeUnit) -> i64 {
    let seconds = 24 * 60 * 60;
    match unit {
        TimeUnit::Milliseconds => seconds * 1_000,
        TimeUnit::Microseconds => seconds * 1_000_000,
        TimeUnit::Nanoseconds => seconds * 1_000_000_000,
    }
}

fn moment(value: i64, unit: TimeUnit) -> Cell<'static> {
    let moment = match unit {
        TimeUnit::Milliseconds => DateTime::from_timestamp_millis(value),
        TimeUnit::Microseconds => DateTime::from_timestamp_micros(value),
        TimeUnit::Nanoseconds => Some(DateTime::from_timestamp_nanos(value)),
    };
    moment.map_or_else(
        || Cell::owned(format!("moment {value}")),
        |m| Cell::moment(m.naive_utc()),
    )
}
