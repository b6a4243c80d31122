//! A page as a tree of names and texts, whether it is XML or JSON.

use roxmltree::Node;
use serde_json::Value;

use super::FeedError;
use crate::import::{encoding, xml};
use crate::read::NamedFile;

/// Levels that are looked at; pages have five.
const DEEPEST: usize = 10;

/// A name in lower case, its text, and what lies below it; attributes count as children.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Tree {
    name: String,
    text: String,
    below: Vec<Tree>,
}

impl Tree {
    /// Children of that name.
    pub(super) fn children<'a>(&'a self, name: &'a str) -> impl Iterator<Item = &'a Self> {
        self.below.iter().filter(move |t| t.name == name)
    }

    /// The first child of that name.
    pub(super) fn child(&self, name: &str) -> Option<&Self> {
        self.below.iter().find(|t| t.name == name)
    }

    /// The text of a child that has any.
    pub(super) fn text_of(&self, name: &str) -> Option<&str> {
        let text = self.child(name)?.text.trim();
        (!text.is_empty()).then_some(text)
    }

    /// Whether nothing lies below it.
    pub(super) fn is_leaf(&self) -> bool {
        self.below.is_empty()
    }

    /// Everything of that name, at any level.
    pub(super) fn all<'a>(&'a self, name: &str) -> Vec<&'a Self> {
        let mut found = Vec::new();
        for tree in &self.below {
            if tree.name == name {
                found.push(tree);
            } else {
                found.extend(tree.all(name));
            }
        }
        found
    }
}

/// A page, told apart by what it begins with.
pub(super) fn page(file: &NamedFile) -> Result<Tree, FeedError> {
    let unsound = |kind, why: String| FeedError::Unsound {
        file: file.name.clone(),
        kind,
        why,
    };
    let text = encoding::text(&file.bytes).map_err(|why| unsound("text", why))?;
    let text = text.as_ref();
    if text.trim_start().starts_with('<') {
        let document = xml::parse(text).map_err(|why| unsound("XML", why))?;
        let mut top = Tree::default();
        top.below.push(of_xml(document.root_element(), DEEPEST));
        return Ok(top);
    }
    let value: Value = serde_json::from_str(text).map_err(|e| unsound("JSON", e.to_string()))?;
    let mut top = Tree::default();
    of_json("equipment", &value, DEEPEST, &mut top.below);
    Ok(match top.below.as_slice() {
        // A page that is an object is no machine but holds some.
        [_] if value.is_object() => top.below.remove(0),
        _ => top,
    })
}

fn of_xml(node: Node<'_, '_>, levels: usize) -> Tree {
    let attributes = node.attributes().map(|a| Tree {
        name: a.name().to_lowercase(),
        text: a.value().to_owned(),
        below: Vec::new(),
    });
    let mut below: Vec<Tree> = attributes.collect();
    if 0 < levels {
        let elements = node.children().filter(Node::is_element);
        below.extend(elements.map(|n| of_xml(n, levels - 1)));
    }
    Tree {
        name: node.tag_name().name().to_lowercase(),
        text: node.text().unwrap_or_default().to_owned(),
        below,
    }
}

/// A list is as many things of one name.
fn of_json(name: &str, value: &Value, levels: usize, into: &mut Vec<Tree>) {
    let mut tree = Tree {
        name: name.to_lowercase(),
        ..Tree::default()
    };
    match value {
        Value::Array(list) if 0 < levels => {
            for item in list {
                of_json(name, item, levels - 1, into);
            }
            return;
        }
        Value::Object(map) if 0 < levels => {
            for (key, value) in map {
                of_json(key, value, levels - 1, &mut tree.below);
            }
        }
        Value::String(text) => tree.text.clone_from(text),
        Value::Number(number) => tree.text = number.to_string(),
        _ => {}
    }
    into.push(tree);
}
