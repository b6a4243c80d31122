//! XML that is safe to take apart: looked over before it is parsed.
//!
//! The parser compares the attributes of an element with each other and copies the namespaces in
//! reach of it, so that a file of a few megabytes with nothing else in it would keep it busy for
//! hours. No file of a machine comes near these limits.

use roxmltree::{Document, ParsingOptions};

/// Most elements, texts and comments of one file.
const MOST_NODES: u32 = 4_000_000;
/// Most attributes of one element.
const MOST_ATTRIBUTES: usize = 256;
/// Levels of elements in each other.
const DEEPEST: usize = 64;
/// Most namespaces, each counted as often as it is in reach of an element that adds one.
const MOST_NAMESPACES: usize = 1_000_000;

/// Parses a text.
///
/// # Errors
/// In words, when it is not sound or beyond the limits. Document type definitions are refused, and
/// with them entities that expand without end or reach for other files.
pub(super) fn parse(text: &str) -> Result<Document<'_>, String> {
    look_over(text)?;
    let options = ParsingOptions {
        allow_dtd: false,
        nodes_limit: MOST_NODES,
        ..ParsingOptions::default()
    };
    Document::parse_with_options(text, options).map_err(|e| e.to_string())
}

/// Refuses what would take the parser too long; whether the text is sound is left to it.
fn look_over(text: &str) -> Result<(), String> {
    let mut rest = text;
    // For each open element, the namespaces in its reach.
    let mut open = vec![0_usize];
    let mut namespaces = 0_usize;
    while let Some(at) = rest.find('<') {
        rest = &rest[at + 1..];
        let end = [("!--", "-->"), ("![CDATA[", "]]>"), ("?", "?>")]
            .into_iter()
            .find(|(begin, _)| rest.starts_with(begin));
        if let Some((_, end)) = end {
            let Some(at) = rest.find(end) else { break };
            rest = &rest[at + end.len()..];
            continue;
        }
        if rest.starts_with('/') {
            if 1 < open.len() {
                open.pop();
            }
            continue;
        }
        let tag = Tag::new(rest)?;
        let reach = open.last().copied().unwrap_or(0) + tag.namespaces;
        if 0 < tag.namespaces {
            namespaces += reach;
        }
        if MOST_NAMESPACES < namespaces {
            return Err("its namespaces are too many to be kept apart".to_owned());
        }
        if !tag.is_closed {
            open.push(reach);
        }
        if DEEPEST < open.len() {
            return Err(format!("its elements lie more than {DEEPEST} levels deep"));
        }
        rest = &rest[tag.length..];
    }
    Ok(())
}

/// What stands between `<` and `>`.
struct Tag {
    length: usize,
    namespaces: usize,
    is_closed: bool,
}

impl Tag {
    fn new(text: &str) -> Result<Self, String> {
        let mut length = 0;
        let (mut attributes, mut namespaces) = (0, 0);
        loop {
            let rest = &text[length..];
            let Some(at) = rest.find(['"', '\'', '>']) else {
                length = text.len();
                break;
            };
            let before = &rest[..at];
            length += at + 1;
            if rest[at..].starts_with('>') {
                break;
            }
            attributes += 1;
            namespaces += usize::from(before.contains("xmlns"));
            if MOST_ATTRIBUTES < attributes {
                return Err(format!(
                    "an element has more than {MOST_ATTRIBUTES} attributes"
                ));
            }
            let quote = &rest[at..=at];
            length += text[length..]
                .find(quote)
                .map_or(text.len() - length, |end| end + 1);
        }
        let is_closed = text[..length].ends_with("/>");
        Ok(Self {
            length,
            namespaces,
            is_closed,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_stands_in_quotes_comments_and_data_is_no_tag() {
        let text =
            r#"<?xml version="1.0"?><!-- <a> " --><a b=">" c='"'><![CDATA[<x>"]]><d e="1"/></a>"#;
        assert_eq!(parse(text).map(|d| d.descendants().count()), Ok(5));
    }

    #[test]
    fn the_first_namespace_of_a_tag_is_seen_after_its_name() {
        let wide: Vec<String> = (0..200).map(|i| format!(" xmlns:n{i}='u'")).collect();
        let wide = wide.concat();
        let text = format!("<a{wide}>{}</a>", "<b xmlns:z='q'/>".repeat(10_000));
        assert!(
            look_over(&text)
                .expect_err("too many")
                .contains("namespaces")
        );
        let few = format!("<a{wide}>{}</a>", "<b c='q'/>".repeat(10_000));
        assert_eq!(look_over(&few), Ok(()));
    }

    #[test]
    fn attributes_and_levels_have_an_end() {
        let many: Vec<String> = (0..300).map(|i| format!(" a{i}='1'")).collect();
        let many = many.concat();
        for text in [
            format!("<a{many}/>"),
            // Without an end of the tag, too.
            format!("<a{many}"),
            "<a>".repeat(70),
            format!("{}{}", "<a>".repeat(70), "</a>".repeat(70)),
        ] {
            assert!(parse(&text).is_err());
            assert!(look_over(&text).is_err());
        }
        let usual = format!("<a>{}</a>", "<b c='1'><d/></b>".repeat(100));
        assert!(parse(&usual).is_ok());
    }

    #[test]
    fn entities_are_refused() {
        let text = r#"<!DOCTYPE a [<!ENTITY b "cc"><!ENTITY d "&b;&b;">]><a>&d;</a>"#;
        assert!(parse(text).expect_err("a definition").contains("DTD"));
    }
}
