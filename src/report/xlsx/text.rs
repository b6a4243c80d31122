//! Text as a cell can hold it, and how much room it takes on paper.

use chrono::NaiveDate;

/// Longest text of a cell, in UTF-16 units.
const LONGEST: usize = 32_767;
/// What stands at the end of a text that was too long.
const CUT: &str = " … (cut)";

/// The text without characters that XML forbids, cut with a mark where a cell cannot hold it.
pub(super) fn clean(text: &str) -> String {
    let allowed: String = text.chars().filter(|&c| is_allowed(c)).collect();
    shorten(&allowed, LONGEST)
}

/// The text on one line and at most `most` UTF-16 units long, cut with a mark.
pub(super) fn brief(text: &str, most: usize) -> String {
    let words: Vec<&str> = text.split_whitespace().collect();
    shorten(&words.join(" "), most)
}

/// A date as people of the trade write it: `1 Nov 2026`.
pub(super) fn day(date: NaiveDate) -> String {
    date.format("%-d %b %Y").to_string()
}

/// `1 line`, `2 lines`.
pub(super) fn count(number: usize, thing: &str) -> String {
    if number == 1 { format!("1 {thing}") } else { format!("{number} {thing}s") }
}

/// Names in one sentence; those after the first `most` are only counted.
pub(super) fn list(names: &[&str], most: usize) -> String {
    let shown = names.iter().take(most).copied().collect::<Vec<_>>().join(", ");
    match names.len().saturating_sub(most) {
        0 => shown,
        more => format!("{shown} and {more} more"),
    }
}

/// Width of the longest line, in digits of the body font.
pub(super) fn width(text: &str) -> f64 {
    text.lines().map(line_width).fold(0.0, f64::max)
}

/// Width of the longest word, in digits of the body font.
pub(super) fn word_width(text: &str) -> f64 {
    text.split_whitespace().map(line_width).fold(0.0, f64::max)
}

/// Lines the text takes in a column of that width.
pub(super) fn lines(text: &str, column: f64) -> u32 {
    text.lines().map(|line| wrapped(line, column)).sum::<u32>().max(1)
}

fn wrapped(line: &str, column: f64) -> u32 {
    let mut rows = 1;
    let mut used = 0.0;
    for word in line.split_whitespace() {
        let mut word = line_width(word);
        let space = if used > 0.0 { 0.5 } else { 0.0 };
        if used + space + word <= column {
            used += space + word;
            continue;
        }
        rows += u32::from(used > 0.0);
        while word > column && column > 0.0 {
            rows += 1;
            word -= column;
        }
        used = word;
    }
    rows
}

/// Rough, and rather too wide than too narrow: a digit of the body font counts 1.
fn line_width(line: &str) -> f64 {
    line.chars()
        .map(|c| match c {
            'i' | 'j' | 'l' | 'I' | '.' | ',' | ':' | ';' | '\'' | '!' | '|' => 0.45,
            ' ' | 'f' | 't' | 'r' | '(' | ')' | '[' | ']' | '/' | '-' => 0.6,
            'm' | 'w' | 'M' | 'W' | '@' | '%' => 1.6,
            'A'..='Z' | '&' => 1.3,
            c if c.is_ascii() => 1.02,
            // Ideographs and the like fill a square.
            c if u32::from(c) >= 0x1100 => 1.9,
            _ => 1.2,
        })
        .sum()
}

fn shorten(text: &str, most: usize) -> String {
    if text.encode_utf16().count() <= most {
        return text.to_owned();
    }
    let room = most.saturating_sub(CUT.encode_utf16().count());
    let mut used = 0;
    let kept: String = text
        .chars()
        .take_while(|c| {
            used += c.len_utf16();
            used <= room
        })
        .collect();
    kept + CUT
}

fn is_allowed(c: char) -> bool {
    matches!(c, '\n' | '\t') || !(c.is_control() || matches!(c, '\u{fffe}' | '\u{ffff}'))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn characters_that_xml_forbids_are_taken_out() {
        assert_eq!(clean("a\u{0}b\u{7}\u{b}\r\u{fffe}\tc\nd"), "ab\tc\nd");
    }

    #[test]
    fn a_text_too_long_for_a_cell_is_cut_with_a_mark() {
        let long = clean(&"🚜".repeat(20_000));
        assert!(long.encode_utf16().count() <= LONGEST);
        assert!(long.ends_with(CUT));
        let whole = "x".repeat(LONGEST);
        assert_eq!(clean(&whole), whole);
    }

    #[test]
    fn a_word_wider_than_its_column_goes_on_below() {
        assert_eq!(lines("0000000000", 4.0), 3);
        assert_eq!(lines("00 00 00", 5.5), 2);
        assert_eq!(lines("", 5.0), 1);
        assert_eq!(lines("0\n0", 5.0), 2);
    }

    #[test]
    fn names_beyond_the_first_few_are_counted() {
        assert_eq!(list(&["a", "b", "c"], 2), "a, b and 1 more");
        assert_eq!(list(&["a", "b"], 2), "a, b");
    }
}
