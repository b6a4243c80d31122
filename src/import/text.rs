//! Comma-separated text that is added to: rows by where their bytes are, so that all others stay.

use std::io::Read;

use crate::read::header_name;
use crate::record::formula;

/// A row: its cells, and where it stands in the text, line end not counted.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct TextRow {
    pub(super) cells: Vec<String>,
    pub(super) from: usize,
    pub(super) until: usize,
}

impl TextRow {
    /// The cell at a place without spaces around it, empty beyond the end.
    pub(super) fn cell(&self, index: usize) -> &str {
        self.cells.get(index).map_or("", |cell| cell.trim())
    }

    /// Place of the cell with that name, by the rules of headers.
    pub(super) fn position(&self, name: &str) -> Option<usize> {
        let name = header_name(name);
        self.cells.iter().position(|cell| header_name(cell) == name)
    }
}

/// A line that is read behind a text.
const LINE_BEHIND: &str = "\nend";

/// Every row of a text that is not blank, the header first.
///
/// # Errors
/// In words, when it is not UTF-8, or ends within a quoted cell: what is added would be part of it.
pub(super) fn rows(bytes: &[u8]) -> Result<Vec<TextRow>, String> {
    let broken = std::str::from_utf8(bytes).err().map(|e| e.valid_up_to());
    let zero = bytes.iter().position(|byte| *byte == 0);
    if let Some(at) = broken.into_iter().chain(zero).min() {
        let line = bytes[..at].split(|byte| *byte == b'\n').count();
        let what = if Some(at) == zero {
            "holds a zero byte"
        } else {
            "is not text in UTF-8"
        };
        return Err(format!("its line {line} {what}; save it as `CSV UTF-8`"));
    }
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .from_reader(bytes.chain(LINE_BEHIND.as_bytes()));
    let mut rows: Vec<TextRow> = Vec::new();
    let mut starts = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|e| e.to_string())?;
        let start = record.position().map_or(0, |p| p.byte() as usize);
        starts.push(start);
        rows.push(TextRow {
            cells: record.iter().map(str::to_owned).collect(),
            from: start,
            until: start,
        });
    }
    // A line put behind the text comes back as it is, unless a quote before it is still open.
    let is_behind = |row: &TextRow| row.cells == [LINE_BEHIND.trim()];
    if !rows.pop().is_some_and(|row| is_behind(&row)) {
        return Err("a quote in it is opened and never closed; look for a lone `\"`".to_owned());
    }
    starts.pop();
    starts.push(bytes.len());
    let is_end = |at: usize| matches!(bytes[at], b'\r' | b'\n');
    for (row, next) in rows.iter_mut().zip(starts.iter().skip(1)) {
        // The place of a record may be that of the blank lines before it.
        row.until = *next;
        while row.from < row.until && is_end(row.from) {
            row.from += 1;
        }
        while row.from < row.until && is_end(row.until - 1) {
            row.until -= 1;
        }
    }
    rows.retain(|row| row.cells.iter().any(|cell| !cell.trim().is_empty()));
    Ok(rows)
}

/// How lines end in a text.
pub(super) fn line_end(bytes: &[u8]) -> &'static str {
    if bytes.windows(2).any(|w| w == b"\r\n") {
        "\r\n"
    } else if bytes.contains(&b'\r') && !bytes.contains(&b'\n') {
        "\r"
    } else {
        "\n"
    }
}

/// Ends the last line, where it is not.
pub(super) fn close_last_line(bytes: &mut Vec<u8>, end: &str) {
    if !bytes.is_empty() && !bytes.ends_with(b"\n") && !bytes.ends_with(b"\r") {
        bytes.extend(end.bytes());
    }
}

/// Cells as a line without its end.
pub(super) fn line(cells: &[String]) -> String {
    let cell = |text: &String| {
        let quote = text.contains(['"', ',', '\n', '\r']) || text.trim() != text;
        if quote {
            format!("\"{}\"", text.replace('"', "\"\""))
        } else {
            text.clone()
        }
    };
    cells.iter().map(cell).collect::<Vec<_>>().join(",")
}

/// Text as one cell holds it: on one line, without spaces around it.
pub(super) fn plain(text: &str) -> String {
    let spaced: String = text
        .chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect();
    spaced.trim().to_owned()
}

/// Text of a file that a spreadsheet program must not take for a formula.
pub(super) fn guarded(text: &str) -> String {
    formula::guarded(&plain(text)).into_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_are_found_by_their_bytes_whatever_ends_their_lines() {
        for end in ["\n", "\r\n"] {
            let text = format!("a,b{end}{end}1,\"x{end}y\"{end}2,{end}");
            let rows = rows(text.as_bytes()).expect("rows");
            let parts: Vec<&str> = rows.iter().map(|r| &text[r.from..r.until]).collect();
            assert_eq!(parts, ["a,b", &format!("1,\"x{end}y\""), "2,"]);
            assert_eq!(line_end(text.as_bytes()), end);
        }
    }

    #[test]
    fn a_text_with_an_open_quote_is_not_added_to() {
        for text in ["a,b\n1,\"x\n", "a,\"b", "a\n\"1\"\"", "a\n\"\n\nend"] {
            assert!(rows(text.as_bytes()).is_err(), "{text:?}");
        }
        for text in ["", "a", "a\r", "a\n\n", "a\n\"1\"", "a\n5\" pipe", "a\nend"] {
            assert!(rows(text.as_bytes()).is_ok(), "{text:?}");
        }
        assert_eq!(rows(b"a\nend").expect("rows").len(), 2);
    }
}
