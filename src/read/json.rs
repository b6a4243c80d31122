//! Lists of objects in JSON, as this program writes them: each object is a row, its keys the headers.

use std::path::Path;

use serde_json::{Map, Value};

use super::cell::Cell;
use super::error::ReadError;
use super::sink::Sink;

/// Values in memory take several times the room of their text.
const LARGEST: u64 = 64 << 20;

/// Reads the list that stands under `key`; rows are counted from 1.
pub(super) fn read(path: &Path, key: &str, sink: &mut dyn Sink) -> Result<(), ReadError> {
    let io = |e: std::io::Error| ReadError::io(path, &e);
    if LARGEST < std::fs::metadata(path).map_err(io)?.len() {
        return Err(ReadError::too_large(path, "more than 64 MB of JSON"));
    }
    let bytes = std::fs::read(path).map_err(io)?;
    let corrupt = |why: String| ReadError::corrupt(path, "JSON file", why);
    let document: Value = serde_json::from_slice(&bytes).map_err(|e| corrupt(e.to_string()))?;
    let list = document.get(key).and_then(Value::as_array);
    let rows: Option<Vec<&Map<String, Value>>> =
        list.and_then(|list| list.iter().map(Value::as_object).collect());
    let Some(rows) = rows else {
        return Err(corrupt(format!("it has no list of rows named `{key}`")));
    };
    // Every row has the keys of the first where the program wrote them; another key is no column.
    let headers: Vec<String> = rows
        .first()
        .map_or_else(Vec::new, |row| row.keys().cloned().collect());
    if !sink.header(&headers) {
        return Ok(());
    }
    for (number, row) in (1..).zip(rows) {
        let cells: Vec<Cell<'_>> = headers.iter().map(|h| cell(row.get(h))).collect();
        sink.row(number, &cells);
    }
    Ok(())
}

fn cell(value: Option<&Value>) -> Cell<'_> {
    match value {
        None | Some(Value::Null) => Cell::Empty,
        Some(Value::String(text)) => Cell::text(text),
        Some(Value::Number(number)) => number
            .as_f64()
            .map_or_else(|| Cell::owned(number.to_string()), Cell::Number),
        Some(other) => Cell::owned(other.to_string()),
    }
}
