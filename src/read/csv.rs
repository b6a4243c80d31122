//! Comma-separated text, row by row.
//!
//! Lines are put together here rather than by a general reader for two reasons: rows must carry
//! the number a spreadsheet program shows, blank ones counted, and a quote that is never closed
//! must cost the row it stands in, not the rest of the file.

use std::borrow::Cow;
use std::collections::VecDeque;
use std::fs::File;
use std::io::{BufRead, BufReader, Read};
use std::path::Path;

use crate::record::ProblemKind;
use crate::record::formula::unguarded;

use super::cell::{Cell, Wrong, quoted};
use super::error::ReadError;
use super::sink::Sink;

/// Looked at to tell text from other files, and kind of line end.
const SNIFFED: usize = 1 << 16;
/// No row of a record is longer; a file without line ends is not a table.
const LONGEST_LINE: u64 = 1 << 20;
/// Lines that one quoted cell may span before its quote counts as never closed.
const LONGEST_CELL: usize = 200;
/// Stands where bytes were not UTF-8.
const REPLACED: char = '\u{fffd}';

const SAVE_AS: &str = "comma-separated text in UTF-8; save the file as `CSV UTF-8`";
const QUOTES: &str = "a closing quote before the next comma or line end; \
    write a quote inside a quoted cell twice, or delete it";

/// Reads a file into a sink; `mark` stands between its cells.
pub(super) fn read(path: &Path, mark: char, sink: &mut dyn Sink) -> Result<(), ReadError> {
    let file = File::open(path).map_err(|e| ReadError::io(path, &e))?;
    let mut input = BufReader::with_capacity(SNIFFED, file);
    let start = input.fill_buf().map_err(|e| ReadError::io(path, &e))?;
    if let Some(wrong) = foreign(start) {
        sink.bad_table(wrong);
        return Ok(());
    }
    let end = if start.contains(&b'\n') || !start.contains(&b'\r') {
        b'\n'
    } else {
        b'\r'
    };
    if start.starts_with(b"\xef\xbb\xbf") {
        input.consume(3);
    }
    let mut lines = Lines {
        input,
        end,
        pending: VecDeque::new(),
        path,
        mark,
    };
    rows(&mut lines, sink)
}

/// Files that are no comma-separated text, told by their first bytes.
fn foreign(start: &[u8]) -> Option<Wrong> {
    let zero = start.iter().position(|byte| *byte == 0);
    let found = if start.starts_with(b"\xff\xfe") || start.starts_with(b"\xfe\xff") {
        "text in UTF-16".to_owned()
    } else if start.starts_with(b"PK\x03\x04") {
        "a workbook with the name of a text file".to_owned()
    } else if start.starts_with(b"PAR1") {
        "a Parquet file with the name of a text file".to_owned()
    } else if let Some(at) = zero {
        let line = start[..at].split(|byte| *byte == b'\n').count();
        format!("zero bytes, the first in line {line}, as in UTF-16 or a file that is no text")
    } else {
        return None;
    };
    Some(Wrong::new(ProblemKind::Encoding, found, SAVE_AS))
}

/// The lines of a file, with those handed back read again first.
struct Lines<'p> {
    input: BufReader<File>,
    end: u8,
    pending: VecDeque<Vec<u8>>,
    path: &'p Path,
    /// What stands between cells.
    mark: char,
}

impl Lines<'_> {
    /// The next line without its end; `None` after the last.
    fn next(&mut self) -> Result<Option<Vec<u8>>, ReadError> {
        if let Some(line) = self.pending.pop_front() {
            return Ok(Some(line));
        }
        let mut line = Vec::new();
        self.fill(&mut line)?;
        Ok(if line.is_empty() {
            None
        } else {
            Some(without_end(line, self.end))
        })
    }

    fn fill(&mut self, line: &mut Vec<u8>) -> Result<(), ReadError> {
        let mut limited = (&mut self.input).take(LONGEST_LINE);
        limited
            .read_until(self.end, line)
            .map_err(|e| ReadError::io(self.path, &e))?;
        if line.len() as u64 == LONGEST_LINE && !line.ends_with(&[self.end]) {
            return Err(ReadError::too_large(self.path, "a line of more than 1 MB"));
        }
        Ok(())
    }
}

fn without_end(mut line: Vec<u8>, end: u8) -> Vec<u8> {
    if line.ends_with(&[end]) {
        line.pop();
    }
    while line.ends_with(b"\r") {
        line.pop();
    }
    line
}

/// Whether a row's quotes are in order.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Quotes {
    Closed,
    Open,
    Misplaced,
}

/// Cuts a row at its commas, or whatever else stands between its cells.
fn split<'a>(text: &'a str, mark: char, fields: &mut Vec<Cow<'a, str>>) -> Quotes {
    fields.clear();
    let mut rest = text;
    loop {
        let after = if let Some(inner) = rest.strip_prefix('"') {
            match quoted_field(inner) {
                Ok((field, after)) => {
                    fields.push(field);
                    after
                }
                Err(quotes) => return quotes,
            }
        } else {
            let end = rest.find(mark).unwrap_or(rest.len());
            fields.push(Cow::Borrowed(&rest[..end]));
            &rest[end..]
        };
        match after.strip_prefix(mark) {
            Some(next) => rest = next,
            None if after.is_empty() => return Quotes::Closed,
            None => return Quotes::Misplaced,
        }
    }
}

/// A field after its opening quote, and what follows its closing one.
fn quoted_field(inner: &str) -> Result<(Cow<'_, str>, &str), Quotes> {
    let mut from = 0;
    let mut doubled = false;
    loop {
        let close = from + inner[from..].find('"').ok_or(Quotes::Open)?;
        if inner[close + 1..].starts_with('"') {
            doubled = true;
            from = close + 2;
            continue;
        }
        let field = &inner[..close];
        let field = if doubled {
            Cow::Owned(field.replace("\"\"", "\""))
        } else {
            Cow::Borrowed(field)
        };
        return Ok((field, inner[close + 1..].trim_start_matches(' ')));
    }
}

/// Joins the lines of a cell that spans several, up to the length of the longest row; hands all but
/// the first back if it never ends.
fn complete(lines: &mut Lines<'_>, first: Vec<u8>) -> Result<(Vec<u8>, Quotes), ReadError> {
    let mut taken = Vec::new();
    let mut whole = first.clone();
    let mut quotes = Quotes::Open;
    while quotes == Quotes::Open
        && taken.len() < LONGEST_CELL
        && (whole.len() as u64) < LONGEST_LINE
    {
        let Some(line) = lines.next()? else { break };
        whole.push(b'\n');
        whole.extend_from_slice(&line);
        taken.push(line);
        quotes = split(
            &String::from_utf8_lossy(&whole),
            lines.mark,
            &mut Vec::new(),
        );
    }
    if quotes == Quotes::Closed {
        return Ok((whole, quotes));
    }
    for line in taken.into_iter().rev() {
        lines.pending.push_front(line);
    }
    Ok((first, Quotes::Open))
}

fn rows(lines: &mut Lines<'_>, sink: &mut dyn Sink) -> Result<(), ReadError> {
    let mut width = None;
    let mut number = 0_u32;
    while let Some(first) = lines.next()? {
        number = number
            .checked_add(1)
            .ok_or_else(|| ReadError::too_large(lines.path, "more than 4 billion rows"))?;
        let mut bytes = first;
        if bytes.iter().all(u8::is_ascii_whitespace) {
            continue;
        }
        let mut quotes = split(
            &String::from_utf8_lossy(&bytes),
            lines.mark,
            &mut Vec::new(),
        );
        if quotes == Quotes::Open {
            (bytes, quotes) = complete(lines, bytes)?;
        }
        let text = String::from_utf8_lossy(&bytes);
        let mut fields = Vec::new();
        split(&text, lines.mark, &mut fields);
        // Rows of separators alone, as spreadsheet programs write what was left empty above a header.
        if width.is_none() && fields.iter().all(|field| field.trim().is_empty()) {
            continue;
        }
        match width {
            Some(width) => row(number, width, quotes, &fields, &text, sink),
            None => match header(quotes, lines.mark, &fields, &text, sink) {
                Some(found) => width = Some(found),
                None => return Ok(()),
            },
        }
    }
    if width.is_none() {
        sink.bad_table(Wrong::new(
            ProblemKind::MissingColumn,
            "an empty file",
            sink.takes(),
        ));
    }
    Ok(())
}

/// Number of columns, or `None` where the table cannot be used.
fn header(
    quotes: Quotes,
    mark: char,
    fields: &[Cow<'_, str>],
    text: &str,
    sink: &mut dyn Sink,
) -> Option<usize> {
    let marks = text.matches(mark).count();
    let separated = [(';', "semicolons"), ('\t', "tabs"), (',', "commas")];
    if let Some((other, name)) = separated.iter().find(|(other, _)| {
        *other != mark
            && (mark == ',' || *other != ',' || marks == 0)
            && marks < text.matches(*other).count()
    }) {
        let expected = if mark == ',' {
            let other = if *other == '\t' { "\\t" } else { ";" };
            format!(
                "cells separated by commas, and a decimal point in numbers; {SAVE_AS}, or say `separator = \"{other}\"` (and `decimal = \",\"` where numbers have it) of the table in columns.toml"
            )
        } else {
            format!("cells separated by `{mark}`, as `separator` of columns.toml says")
        };
        sink.bad_table(Wrong::new(
            ProblemKind::Encoding,
            format!("cells separated by {name}"),
            expected,
        ));
        return None;
    }
    if text.contains(REPLACED) {
        sink.bad_table(Wrong::new(
            ProblemKind::Encoding,
            "a header that is not UTF-8",
            SAVE_AS,
        ));
        return None;
    }
    if quotes != Quotes::Closed {
        sink.bad_table(Wrong::new(
            ProblemKind::Encoding,
            "a header with a stray quote",
            QUOTES,
        ));
        return None;
    }
    let headers: Vec<String> = fields.iter().map(ToString::to_string).collect();
    let used = headers
        .iter()
        .rposition(|h| !h.trim().is_empty())
        .map_or(0, |last| last + 1);
    sink.header(&headers).then_some(used)
}

fn row(
    number: u32,
    width: usize,
    quotes: Quotes,
    fields: &[Cow<'_, str>],
    text: &str,
    sink: &mut dyn Sink,
) {
    let wrong = match quotes {
        Quotes::Open => Some((
            None,
            Wrong::new(ProblemKind::RaggedRow, "a quote that is not closed", QUOTES),
        )),
        Quotes::Misplaced => Some((
            None,
            Wrong::new(
                ProblemKind::RaggedRow,
                "text between a closing quote and the next comma",
                QUOTES,
            ),
        )),
        Quotes::Closed => unreadable(fields, text),
    };
    if let Some((column, wrong)) = wrong {
        sink.bad_row(number, column, wrong);
        return;
    }
    let cells: Vec<Cell<'_>> = fields
        .iter()
        .map(|field| Cell::text(unguarded(field)))
        .collect();
    if cells.iter().all(Cell::is_empty) {
        return;
    }
    if cells.len() < width {
        let wrong = Wrong::new(
            ProblemKind::RaggedRow,
            format!("{} cells", cells.len()),
            format!(
                "{width} cells as in the header; leave a cell empty where nothing is known, but keep its comma"
            ),
        );
        sink.bad_row(number, None, wrong);
        return;
    }
    sink.row(number, &cells);
}

/// A cell that is not UTF-8, or holds what no text holds.
fn unreadable(fields: &[Cow<'_, str>], text: &str) -> Option<(Option<usize>, Wrong)> {
    let bad = |c: char| c == REPLACED || c == '\0' || c == '\r';
    if !text.contains(bad) {
        return None;
    }
    let column = fields.iter().position(|field| field.contains(bad));
    let found = column.map_or_else(|| quoted(text), |index| quoted(&fields[index]));
    let (kind, what, expected) = if text.contains('\r') && !text.contains([REPLACED, '\0']) {
        (
            ProblemKind::RaggedRow,
            "a line break inside the cell",
            "one kind of line end in the whole file; save it again",
        )
    } else {
        (ProblemKind::Encoding, "bytes that are not UTF-8", SAVE_AS)
    };
    Some((
        column,
        Wrong::new(kind, format!("{what}: {found}"), expected),
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fields(text: &str) -> (Quotes, Vec<String>) {
        let mut fields = Vec::new();
        let quotes = split(text, ',', &mut fields);
        (quotes, fields.into_iter().map(Cow::into_owned).collect())
    }

    #[test]
    fn commas_and_quotes_inside_a_quoted_cell_belong_to_it() {
        let (quotes, cells) = fields(r#"a,"b, ""c""",,"d" ,3/4" bolt"#);
        assert_eq!(quotes, Quotes::Closed);
        assert_eq!(cells, ["a", "b, \"c\"", "", "d", "3/4\" bolt"]);
        assert_eq!(fields("a,").1.len(), 2);
    }

    #[test]
    fn a_quote_that_is_open_or_misplaced_is_noticed() {
        assert_eq!(fields("a,\"b").0, Quotes::Open);
        assert_eq!(fields("a,\"b\"\"").0, Quotes::Open);
        assert_eq!(fields("a,\"b\"c,d").0, Quotes::Misplaced);
    }
}
