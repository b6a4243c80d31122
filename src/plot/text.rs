//! Text in pictures: escaped, and how much room it takes.

/// Size of text where nothing else is said.
pub(super) const SIZE: f64 = 15.0;

/// Text that cannot be taken for markup; characters that XML does not allow are left out.
pub(super) fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\n' | '\t' | '\r' => out.push(' '),
            c if c.is_control() || ('\u{fffe}'..='\u{ffff}').contains(&c) => {}
            c => out.push(c),
        }
    }
    out
}

/// About how wide a text is at [`SIZE`]; rather too much than too little.
pub(super) fn width(text: &str) -> f64 {
    text.chars().map(share).sum::<f64>() * SIZE
}

/// Width of a letter as a share of the size: the advance widths of Helvetica by kinds of letters.
fn share(c: char) -> f64 {
    match c {
        'i' | 'j' | 'l' | '\'' | '|' => 0.25,
        ' ' | '.' | ',' | ':' | ';' | '!' | 'I' | 'f' | 't' | '/' | '(' | ')' | '-' => 0.35,
        'm' | 'M' | 'W' | '%' | '@' => 0.95,
        'w' | 'A'..='Z' => 0.75,
        c if (c as u32) < 0x0250 => 0.57,
        _ => 1.05,
    }
}

/// The text, cut with `…` where it is wider than `room`.
pub(super) fn cut(text: &str, room: f64) -> String {
    if width(text) <= room {
        return text.to_owned();
    }
    let mut left = room - width("…");
    let fitting = text.chars().take_while(|c| {
        left -= share(*c) * SIZE;
        0.0 <= left
    });
    let kept: String = fitting.collect();
    format!("{}…", kept.trim_end())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_text_that_is_too_wide_is_cut_and_shows_it() {
        assert_eq!(cut("chain", 100.0), "chain");
        let short = cut("a name that nobody would give a position", 100.0);
        assert!(short.ends_with('…') && width(&short) <= 100.0, "{short}");
    }

    #[test]
    fn what_xml_does_not_allow_is_left_out() {
        assert_eq!(escaped("a\u{0}\u{b}b\n<c>"), "ab &lt;c&gt;");
    }
}
