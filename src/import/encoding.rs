//! Bytes of a standard's file to text: UTF-8, UTF-16, and Western European where a file says so.

use std::borrow::Cow;

/// Text of a file; a mark of the byte order is left out.
///
/// What is UTF-8 is read as such, whatever it says of itself.
///
/// # Errors
/// In words, with the encoding that the file has or names, when it cannot be read in it.
pub(super) fn text(bytes: &[u8]) -> Result<Cow<'_, str>, String> {
    if let Some(order) = Order::of(bytes) {
        return order.text(bytes).map(Cow::Owned);
    }
    let error = match std::str::from_utf8(bytes) {
        Ok(text) => return Ok(Cow::Borrowed(text.trim_start_matches('\u{feff}'))),
        Err(error) => error,
    };
    let line = bytes[..error.valid_up_to()].split(|b| *b == b'\n').count();
    let declared = declared(bytes);
    match declared.to_lowercase().as_str() {
        "iso-8859-1" | "latin1" | "iso_8859-1" | "l1" => western(bytes, false),
        "windows-1252" | "cp1252" => western(bytes, true),
        _ => None,
    }
    .map(Cow::Owned)
    .ok_or_else(|| {
        let says = match declared.as_str() {
            "" => "names no other encoding".to_owned(),
            other => format!("says that it is `{other}`"),
        };
        format!(
            "line {line} is not text in UTF-8, and the file {says}; save it as UTF-8, or export it again"
        )
    })
}

/// The encoding that the first line of an XML file names; empty where it names none.
fn declared(bytes: &[u8]) -> String {
    let start: String = bytes.iter().take(200).map(|b| char::from(*b)).collect();
    let declaration = start.split("?>").next().unwrap_or_default();
    let Some((_, named)) = declaration.split_once("encoding") else {
        return String::new();
    };
    let named = named.trim_start().trim_start_matches('=').trim_start();
    let mut parts = named.split(['"', '\'']);
    parts.nth(1).unwrap_or_default().trim().to_owned()
}

/// Letters of Windows-1252 from 0x80 on, where ISO 8859-1 has none; a space stands for no letter.
const WINDOWS: &str = "€ ‚ƒ„…†‡ˆ‰Š‹Œ Ž  ‘’“”•–—˜™š›œ žŸ";

/// Text in ISO 8859-1, whose bytes are the first letters of Unicode; `None` where a byte is no letter.
fn western(bytes: &[u8], windows: bool) -> Option<String> {
    let letter = |byte: &u8| match byte {
        0x80..=0x9f if windows => {
            let letter = WINDOWS.chars().nth(usize::from(byte - 0x80));
            letter.filter(|c| *c != ' ')
        }
        0x80..=0x9f => None,
        byte => Some(char::from(*byte)),
    };
    bytes.iter().map(letter).collect()
}

/// Which of the two bytes of a letter of UTF-16 comes first.
#[derive(Clone, Copy)]
enum Order {
    Least,
    Most,
}

impl Order {
    /// Of text in UTF-16, with a mark in front or as XML begins.
    fn of(bytes: &[u8]) -> Option<Self> {
        match bytes {
            [0xff, 0xfe, ..] | [b'<', 0, ..] => Some(Self::Least),
            [0xfe, 0xff, ..] | [0, b'<', ..] => Some(Self::Most),
            _ => None,
        }
    }

    fn text(self, bytes: &[u8]) -> Result<String, String> {
        let pairs = bytes.chunks_exact(2);
        let is_whole = pairs.remainder().is_empty();
        let units = pairs.map(|pair| match self {
            Self::Least => u16::from_le_bytes([pair[0], pair[1]]),
            Self::Most => u16::from_be_bytes([pair[0], pair[1]]),
        });
        let text: Option<String> = char::decode_utf16(units).map(Result::ok).collect();
        match text.filter(|_| is_whole) {
            Some(text) => Ok(text.trim_start_matches('\u{feff}').to_owned()),
            None => Err(
                "it begins as text in UTF-16 and does not go on as such; save it as UTF-8, or export it again"
                    .to_owned(),
            ),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SUED: &str = "<?xml version=\"1.0\" encoding='ISO-8859-1'?>\n<a b=\"S\u{fc}d\"/>";

    fn latin(text: &str) -> Vec<u8> {
        text.chars().map(|c| c as u8).collect()
    }

    #[test]
    fn text_is_read_in_the_encoding_that_the_file_has() {
        assert_eq!(text(SUED.as_bytes()).as_deref(), Ok(SUED));
        assert_eq!(text(&latin(SUED)).as_deref(), Ok(SUED));
        for mark in ["", "\u{feff}"] {
            let marked = format!("{mark}{SUED}");
            let least: Vec<u8> = marked.encode_utf16().flat_map(u16::to_le_bytes).collect();
            let most: Vec<u8> = marked.encode_utf16().flat_map(u16::to_be_bytes).collect();
            assert_eq!(text(&least).as_deref(), Ok(SUED));
            assert_eq!(text(&most).as_deref(), Ok(SUED));
            assert_eq!(text(marked.as_bytes()).as_deref(), Ok(SUED));
        }
        let windows = SUED.replace("ISO-8859-1", "windows-1252");
        let mut bytes = latin(&windows);
        bytes.extend(b"\x80\x9f");
        assert_eq!(text(&bytes).as_deref(), Ok(format!("{windows}€Ÿ").as_str()));
    }

    #[test]
    fn what_cannot_be_read_is_told_with_its_encoding_and_line() {
        let told = |bytes: &[u8]| text(bytes).expect_err("no text");
        let koi = told(&latin(&SUED.replace("ISO-8859-1", "koi8-r")));
        assert!(koi.contains("line 2") && koi.contains("`koi8-r`"), "{koi}");
        let none = told(b"<a>\n\n\xfc</a>");
        assert!(
            none.contains("line 3") && none.contains("names no other"),
            "{none}"
        );
        assert!(told(b"\xff\xfe<").contains("UTF-16"));
        // A byte that is no letter of the encoding named.
        let mut bytes = latin(SUED);
        bytes.push(0x80);
        assert!(told(&bytes).contains("`ISO-8859-1`"));
    }
}
