//! Markup read by the rules of the HTML standard, and checked to be properly nested.

use std::collections::BTreeMap;

use html5gum::{Token, Tokenizer};

/// One opening tag.
pub(super) struct Tag {
    pub(super) name: String,
    pub(super) attributes: BTreeMap<String, String>,
}

impl Tag {
    pub(super) fn get(&self, attribute: &str) -> Option<&str> {
        self.attributes.get(attribute).map(String::as_str)
    }
}

/// Elements that have no end.
const VOID: [&str; 4] = ["meta", "link", "br", "hr"];

/// The opening tags in their order, or the first thing that is wrong.
pub(super) fn checked(text: &str) -> Result<Vec<Tag>, String> {
    let (mut tags, mut open) = (Vec::new(), Vec::<String>::new());
    let words = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).expect("text");
    for token in Tokenizer::new(text) {
        let Ok(token) = token;
        match token {
            Token::StartTag(tag) => {
                let name = words(&tag.name);
                let attributes = tag.attributes.iter();
                let attributes = attributes
                    .map(|(name, value)| (words(name), words(value)))
                    .collect();
                if !tag.self_closing && !VOID.contains(&name.as_str()) {
                    open.push(name.clone());
                }
                tags.push(Tag { name, attributes });
            }
            Token::EndTag(tag) => {
                let name = words(&tag.name);
                let last = open.pop();
                if last.as_ref() != Some(&name) {
                    return Err(format!("</{name}> ends {last:?}"));
                }
            }
            Token::Error(error) => return Err(format!("{error:?}, in {open:?}")),
            Token::Comment(_) => return Err("a comment".to_owned()),
            Token::String(_) | Token::Doctype(_) => {}
        }
    }
    if open.is_empty() {
        Ok(tags)
    } else {
        Err(format!("never closed: {open:?}"))
    }
}
