//! Text as a cell can hold it, and how much room it takes on paper.

use chrono::NaiveDate;

/// Longest text of a cell, in UTF-16 units.
const LONGEST: usize = 32_767;
/// What stands at the end of a text that was too long for a cell.
const CUT: &str = " … (cut)";
/// What stands at the end of a text that is whole on another sheet.
const MORE: &str = " …";

/// The text without characters that XML forbids, cut with a mark where a cell cannot hold it.
pub(super) fn clean(text: &str) -> String {
    let allowed: String = text.chars().filter(|&c| is_allowed(c)).collect();
    shorten(&allowed, LONGEST, CUT)
}

/// The text on one line and at most `most` UTF-16 units long, cut with a mark.
pub(super) fn brief(text: &str, most: usize) -> String {
    let words: Vec<&str> = text.split_whitespace().collect();
    shorten(&words.join(" "), most, MORE)
}

/// A date as people of the trade write it: `1 Nov 2026`.
pub(super) fn day(date: NaiveDate) -> String {
    date.format("%-d %b %Y").to_string()
}

/// `season 2027 (1 Nov 2026 to 31 Oct 2027)`.
pub(super) fn season(year: i32, (from, until): (NaiveDate, NaiveDate)) -> String {
    format!("season {year} ({} to {})", day(from), day(until))
}

/// `1 line`, `2 lines`.
pub(super) fn count(number: usize, thing: &str) -> String {
    if number == 1 {
        format!("1 {thing}")
    } else {
        format!("{number} {thing}s")
    }
}

/// Names in one sentence; those after the first `most` are only counted.
pub(super) fn list(names: &[&str], most: usize) -> String {
    let shown = names
        .iter()
        .take(most)
        .copied()
        .collect::<Vec<_>>()
        .join(", ");
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
    text.lines()
        .flat_map(words)
        .map(line_width)
        .fold(0.0, f64::max)
}

/// Lines the text takes in a column of that width.
pub(super) fn lines(text: &str, column: f64) -> u32 {
    text.lines()
        .map(|line| wrapped(line, column))
        .sum::<u32>()
        .max(1)
}

fn wrapped(line: &str, column: f64) -> u32 {
    // What was measured to fit exactly must not go on below for a rounding error.
    let column = column + 0.05;
    let mut rows = 1;
    let mut used = 0.0;
    for word in words(line) {
        let mut space = if used > 0.0 { letter_width(' ') } else { 0.0 };
        // A line may also end after a hyphen.
        for part in word.split_inclusive('-') {
            let mut part = line_width(part);
            if used + space + part <= column {
                used += space + part;
            } else {
                rows += u32::from(used > 0.0);
                while part > column && column > 0.0 {
                    rows += 1;
                    part -= column;
                }
                used = part;
            }
            space = 0.0;
        }
    }
    rows
}

/// Widths of letters of the body font as a digit of it counts 1, rather too wide than too narrow.
fn line_width(line: &str) -> f64 {
    line.chars().map(letter_width).sum()
}

fn letter_width(letter: char) -> f64 {
    match letter {
        'i' | 'j' | 'l' | '\'' => 0.4,
        ' ' | '\u{a0}' | 'f' | 't' | 'I' | '.' | ',' | ':' | ';' | '/' | '!' | '|' | '[' | ']' => {
            0.5
        }
        'r' | '-' | '(' | ')' | '"' | '*' => 0.64,
        'c' | 'k' | 's' | 'v' | 'x' | 'y' | 'z' | 'J' => 0.9,
        'E' | 'F' | 'P' | 'S' | 'T' | 'V' | 'X' | 'Y' | 'Z' | 'A' | 'B' | 'K' | '&' => 1.2,
        'w' | 'C' | 'D' | 'H' | 'N' | 'R' | 'U' => 1.3,
        'G' | 'O' | 'Q' => 1.4,
        'm' | 'M' | '%' => 1.6,
        'W' | '@' => 1.85,
        '+' | '<' | '=' | '>' | '~' => 1.05,
        other if other.is_ascii() => 1.0,
        // Ideographs and the like fill a square.
        other if u32::from(other) >= 0x1100 => 1.9,
        _ => 1.25,
    }
}

/// Words that a line may end between; a space that does not break is part of its word.
fn words(line: &str) -> impl Iterator<Item = &str> {
    line.split([' ', '\t']).filter(|word| !word.is_empty())
}

fn shorten(text: &str, most: usize, mark: &str) -> String {
    if text.encode_utf16().count() <= most {
        return text.to_owned();
    }
    let room = most.saturating_sub(mark.encode_utf16().count());
    let mut used = 0;
    let kept: String = text
        .chars()
        .take_while(|c| {
            used += c.len_utf16();
            used <= room
        })
        .collect();
    kept + mark
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
        assert_eq!(lines("00 00\u{a0}00", 4.6), 2);
        assert_eq!(lines("00-00-00", 4.0), 3);
        assert_eq!(lines("", 5.0), 1);
        assert_eq!(lines("0\n0", 5.0), 2);
    }

    #[test]
    fn names_beyond_the_first_few_are_counted() {
        assert_eq!(list(&["a", "b", "c"], 2), "a, b and 1 more");
        assert_eq!(list(&["a", "b"], 2), "a, b");
    }
}
