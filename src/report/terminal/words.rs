//! Numbers, money and sentences for people.

use std::borrow::Cow;

use crate::report::{Estimate, Header};

/// Text for a terminal, which does as control characters of a name tell it, as from a file of somebody
/// else: these are spelled out, `\u{1b}`, and so is what turns the direction of writing. Line ends and
/// tabs stay.
#[must_use]
pub fn harmless(text: &str) -> Cow<'_, str> {
    let turns = |c| matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    let is_bad = |c: char| (c.is_control() && !matches!(c, '\n' | '\t')) || turns(c);
    if !text.contains(is_bad) {
        return Cow::Borrowed(text);
    }
    let spelled = text.chars().map(|c| match c {
        c if is_bad(c) => c.escape_unicode().to_string(),
        c => c.to_string(),
    });
    Cow::Owned(spelled.collect())
}

/// What alone is told of, in a line under a heading; empty where it is all.
pub(super) fn only(header: &Header, width: usize) -> String {
    let only = header.only();
    only.map_or_else(String::new, |only| wrapped(&only, "", "", width))
}

/// The word where nothing is known.
pub(in crate::report) const UNKNOWN: &str = "unknown";

/// A whole number with a separator at the thousands.
pub(in crate::report) fn whole(value: f64) -> String {
    let rounded = value.round();
    let digits = format!("{:.0}", rounded.abs());
    let mut out = String::new();
    for (i, digit) in digits.chars().enumerate() {
        if 0 < i && (digits.len() - i).is_multiple_of(3) {
            out.push(',');
        }
        out.push(digit);
    }
    if rounded < 0.0 {
        format!("-{out}")
    } else {
        out
    }
}

/// Three figures or so, whatever the size.
pub(in crate::report) fn amount(value: f64) -> String {
    match value.abs() {
        v if 99.95 <= v => whole(value),
        v if 9.995 <= v => format!("{value:.1}"),
        _ => format!("{value:.2}"),
    }
}

/// A figure that is only known roughly: hundreds above a thousand, tens above a hundred.
pub(in crate::report) fn about(value: f64) -> String {
    match value.abs() {
        v if 1000.0 <= v => whole((value / 100.0).round() * 100.0),
        v if 100.0 <= v => whole((value / 10.0).round() * 10.0),
        _ => amount(value),
    }
}

/// Pieces or replacements: one decimal, and none where there are a thousand.
pub(in crate::report) fn pieces(value: f64) -> String {
    if value < 999.95 {
        format!("{value:.1}")
    } else {
        whole(value)
    }
}

/// Whole money; a currency of letters stands behind it.
pub(in crate::report) fn money(value: f64, currency: &str) -> String {
    signed(&whole(value), currency)
}

/// Money with cents.
pub(in crate::report) fn cents(value: f64, currency: &str) -> String {
    let whole_part = whole(value.trunc());
    let cents = ((value.abs() - value.abs().trunc()) * 100.0).round();
    if 99.5 < cents {
        return signed(&format!("{}.00", whole(value.round())), currency);
    }
    signed(&format!("{whole_part}.{cents:02.0}"), currency)
}

/// Money of a small thing, such as one part's wear on an acre: to a tenth of a cent below a dollar.
pub(super) fn small(value: f64, currency: &str) -> String {
    if 0.9995 <= value.abs() {
        cents(value, currency)
    } else {
        signed(&format!("{value:.3}"), currency)
    }
}

/// A price: cents where they show.
pub(in crate::report) fn price(value: f64, currency: &str) -> String {
    if value < 1_000.0 {
        cents(value, currency)
    } else {
        money(value, currency)
    }
}

fn signed(number: &str, currency: &str) -> String {
    if let Some(below) = number.strip_prefix('-') {
        return format!("-{}", signed(below, currency));
    }
    if currency.chars().all(char::is_alphabetic) {
        format!("{number} {currency}")
    } else {
        format!("{currency}{number}")
    }
}

/// A chance in percent.
pub(in crate::report) fn percent(value: f64) -> String {
    match 100.0 * value {
        p if p < 0.5 => "< 1 %".to_owned(),
        p if 99.5 < p => "> 99 %".to_owned(),
        p => format!("{p:.0} %"),
    }
}

/// What is known, or the word for what is not.
pub(in crate::report) fn or_unknown(value: Option<f64>, form: impl Fn(f64) -> String) -> String {
    value.map_or_else(|| UNKNOWN.to_owned(), form)
}

/// An interval; an end that the records do not set is open.
pub(in crate::report) fn interval(
    value: Option<&Estimate>,
    form: impl Fn(f64) -> String,
) -> String {
    let Some(value) = value else {
        return String::new();
    };
    let end = |v: Option<f64>| v.map_or_else(|| "?".to_owned(), &form);
    if value.low.is_none() && value.high.is_none() {
        return String::new();
    }
    format!("{} - {}", end(value.low), end(value.high))
}

/// A sentence broken at words.
pub(in crate::report) fn wrapped(text: &str, first: &str, rest: &str, width: usize) -> String {
    let mut out = String::new();
    let mut line = first.to_owned();
    let mut empty = true;
    for word in text.split_whitespace() {
        if !empty && width < line.chars().count() + 1 + word.chars().count() {
            out.push_str(line.trim_end());
            out.push('\n');
            rest.clone_into(&mut line);
            empty = true;
        }
        if !empty {
            line.push(' ');
        }
        line.push_str(word);
        empty = false;
    }
    out.push_str(line.trim_end());
    out.push('\n');
    out
}

/// The first letter large.
pub(in crate::report) fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars
        .next()
        .map_or_else(String::new, |c| c.to_uppercase().chain(chars).collect())
}
