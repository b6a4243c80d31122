//! Words and figures that several parts of the page share.

use chrono::NaiveDate;

pub(super) use crate::report::terminal::words::{
    amount, capital, cents, money, percent, pieces, price, whole,
};

use crate::report::{Estimate, Forecast};
use crate::units::{Measure, Units};

/// What stands where nothing is known.
pub(super) const UNKNOWN: &str = "not known";

/// `1 Nov 2026`.
pub(super) fn day(date: NaiveDate) -> String {
    date.format("%-d %b %Y").to_string()
}

/// What is known, or the words for what is not.
pub(super) fn known<T>(value: Option<T>, form: impl Fn(T) -> String) -> String {
    value.map_or_else(|| UNKNOWN.to_owned(), form)
}

/// The whole, or what is known of it with a `+`.
pub(super) fn or_more<T>(whole: Option<T>, part: Option<T>, form: impl Fn(T) -> String) -> String {
    match (whole, part) {
        (None, Some(part)) => format!("{} +", form(part)),
        (whole, _) => known(whole, form),
    }
}

/// How often chance alone does it; never a plain 0.
pub(super) fn probability(p: f64) -> String {
    if p < 0.0005 {
        "<0.001".to_owned()
    } else {
        format!("{p:.3}")
    }
}

/// `from 3 to 5`: what one season in ten stays below, and one in ten goes above.
pub(super) fn range(forecast: &Forecast, form: impl Fn(f64) -> String) -> String {
    format!("{} to {}", form(forecast.p10), form(forecast.p90))
}

/// The interval of an estimate; an end that the records do not set is said to be open.
pub(super) fn interval(value: &Estimate, form: impl Fn(f64) -> String) -> String {
    match (value.low, value.high) {
        (Some(low), Some(high)) => format!("{} to {}", form(low), form(high)),
        (Some(low), None) => format!("{} or more", form(low)),
        (None, Some(high)) => format!("{} or less", form(high)),
        (None, None) => String::new(),
    }
}

/// `1 part`, `2 parts`.
pub(super) fn count(number: usize, thing: &str) -> String {
    match (number, thing.strip_suffix('y')) {
        (1, _) => format!("1 {thing}"),
        (_, Some(stem)) => format!("{} {stem}ies", whole(number as f64)),
        _ => format!("{} {thing}s", whole(number as f64)),
    }
}

/// `acre`, `tonne`: one of the owner's units.
pub(super) fn one(measure: Measure, units: Units) -> &'static str {
    let label = measure.label(units);
    label.strip_suffix('s').unwrap_or(label)
}

/// `a tonne`, `an acre`.
pub(super) fn a(measure: Measure, units: Units) -> String {
    let word = one(measure, units);
    let article = if word.starts_with(['a', 'h']) && word != "hectare" {
        "an"
    } else {
        "a"
    };
    format!("{article} {word}")
}

/// A life in the owner's units, without the unit's name.
pub(super) fn shown(measure: Option<Measure>, value: f64, units: Units) -> f64 {
    measure.map_or(value, |m| m.shown(value, units))
}

/// The unit's name.
pub(super) fn unit(measure: Option<Measure>, units: Units) -> &'static str {
    measure.map_or("units", |m| m.label(units))
}

/// A whole percentage of a share.
pub(super) fn share(value: f64) -> String {
    format!("{:.0} %", 100.0 * value)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_and_many_are_told_apart() {
        assert_eq!(count(1, "part"), "1 part");
        assert_eq!(count(1_200, "family"), "1,200 families");
        assert_eq!(a(Measure::Hours, Units::Us), "an hour");
        assert_eq!(a(Measure::Acres, Units::Metric), "a hectare");
    }

    #[test]
    fn what_chance_hardly_does_is_no_plain_0() {
        assert_eq!(probability(0.000_49), "<0.001");
        assert_eq!(probability(0.000_51), "0.001");
        assert_eq!(probability(0.042), "0.042");
    }

    #[test]
    fn an_end_that_is_not_known_is_no_figure() {
        let open = Estimate {
            estimate: 2.0,
            low: Some(1.0),
            high: None,
        };
        assert_eq!(interval(&open, amount), "1.00 or more");
        assert_eq!(known(None, |v: f64| amount(v)), "not known");
    }
}
