//! What the TOML parser says, as line, key and one sentence.

use super::{FamilyError, line_at};

pub(super) fn of(text: &str, error: &toml::de::Error) -> FamilyError {
    let message = error.message().lines().collect::<Vec<_>>().join(", ");
    let span = error.span().unwrap_or(0..0);
    if let Some(key) = quoted_after(&message, "missing field ") {
        // Missing at the top of the file: no line can be pointed at.
        let line = (span.start < span.end).then(|| line_at(text, span.start));
        return FamilyError::Text {
            line,
            key: Some(key.to_owned()),
            why: "missing".to_owned(),
        };
    }
    FamilyError::Text {
        line: Some(line_at(text, span.start)),
        key: key_at(text, span.start).map(str::to_owned),
        why: plain(&message),
    }
}

/// The message in the words of somebody who writes model files.
fn plain(message: &str) -> String {
    // A bare word that begins as `true` or `false` does is taken for one of them.
    if message.starts_with("string values must be quoted") || message.starts_with("invalid boolean")
    {
        return "found a word without quotes; expected text in quotes".to_owned();
    }
    if let Some(key) = quoted_after(message, "unknown field ") {
        let rest = message.split_once(key).map_or("", |(_, rest)| rest);
        return format!("unknown{}", rest.trim_start_matches('`'));
    }
    if let Some(word) = quoted_after(message, "unknown variant ") {
        let rest = message.split_once(word).map_or("", |(_, rest)| rest);
        return format!(
            "found \"{word}\"; {}",
            rest.trim_start_matches('`').trim_start_matches(", ")
        );
    }
    if let Some((found, expected)) = message
        .strip_prefix("invalid type: ")
        .and_then(|rest| rest.split_once(", expected "))
    {
        return format!("found {found}; expected {}", kind(expected));
    }
    message.to_owned()
}

/// A kind of value as TOML calls it.
fn kind(expected: &str) -> &str {
    match expected {
        "f64" => "a number",
        "a string" => "text in quotes",
        "string or table" => "one word in quotes",
        struct_name if struct_name.starts_with("struct ") => "a table `{ key = value }`",
        other => other,
    }
}

/// What stands in backticks behind `start`, where the message begins with it.
fn quoted_after<'a>(message: &'a str, start: &str) -> Option<&'a str> {
    let rest = message.strip_prefix(start)?.strip_prefix('`')?;
    rest.split('`').next()
}

fn in_key(letter: char) -> bool {
    letter.is_ascii_alphanumeric() || letter == '_' || letter == '-'
}

/// The key at a byte of the text: the one that stands there, or the one whose value does, or else
/// the first of its line.
fn key_at(text: &str, byte: usize) -> Option<&str> {
    let start = text.get(..byte)?.rfind('\n').map_or(0, |at| at + 1);
    let line = text[start..].lines().next()?;
    let (before, after) = line.split_at_checked(byte - start)?;
    let here = after.split(|c| !in_key(c)).next().unwrap_or_default();
    let behind = after[here.len()..].trim_start();
    if !here.is_empty() && (behind.starts_with('=') || behind.starts_with(']')) {
        return Some(here);
    }
    let value_of = before.trim_end().strip_suffix('=').map(str::trim_end);
    let key = value_of.and_then(|name| name.rsplit(|c| !in_key(c)).next());
    let first = || {
        line.trim_start()
            .trim_start_matches('[')
            .split(|c| !in_key(c))
            .next()
    };
    key.filter(|key| !key.is_empty())
        .or_else(first)
        .filter(|key| !key.is_empty())
}
