//! Text that a spreadsheet program would take for a formula, and the mark that keeps it text in
//! comma-separated files.

use std::borrow::Cow;

/// What formulas begin with.
const BEGINS: [char; 6] = ['=', '+', '-', '@', '\t', '\r'];
/// Stands before a text, which spreadsheet programs then leave alone.
const MARK: char = '\'';

/// Whether a spreadsheet program would reckon with the text. A number is what it is, and so is the
/// one sign that stands for 'leave this out'.
fn is_formula(text: &str) -> bool {
    let Some(rest) = text.strip_prefix(BEGINS) else {
        return false;
    };
    let is_plain =
        rest.chars().all(|c| c.is_ascii_digit() || c == '.') && rest.parse::<f64>().is_ok();
    let is_number = text.starts_with(['+', '-']) && is_plain;
    text != "-" && !is_number
}

/// The text with a mark before it, where it needs one.
#[must_use]
pub fn guarded(text: &str) -> Cow<'_, str> {
    if is_formula(text) {
        Cow::Owned(format!("{MARK}{text}"))
    } else {
        Cow::Borrowed(text)
    }
}

/// The text that [`guarded`] was given.
#[must_use]
pub fn unguarded(text: &str) -> &str {
    let marked = text.strip_prefix(MARK);
    marked.filter(|rest| is_formula(rest)).unwrap_or(text)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_guarded_text_comes_back_as_it_was() {
        for text in [
            "=1+1", "-46-0-0", "@x", "+x", "urea", "'urea", "-", "-5.5", "",
        ] {
            assert_eq!(unguarded(&guarded(text)), text);
        }
        assert_eq!(guarded("=1"), "'=1");
        assert_eq!(guarded(&guarded("=1")), "'=1");
        assert_eq!(guarded("-5.5"), "-5.5");
        assert_eq!(guarded("-inf"), "'-inf");
        assert_eq!([guarded("+"), guarded("-")], ["'+", "-"]);
        assert_eq!(unguarded("'5"), "'5");
    }
}
