//! Part numbers that take the place of older ones: the same part under a new number.

use std::collections::BTreeMap;

use crate::record::Part;

/// From any part number to the newest that takes its place.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Supersession {
    successor: BTreeMap<String, String>,
}

impl Supersession {
    /// Follows the `replaces` column of the parts list.
    #[must_use]
    pub fn new(parts: &[Part]) -> Self {
        let mut successor = BTreeMap::new();
        for part in parts {
            if let Some(old) = &part.replaces {
                successor.insert(old.clone(), part.number.clone());
            }
        }
        Self { successor }
    }

    /// The newest number; the number itself where nothing replaces it.
    #[must_use]
    pub fn newest<'a>(&'a self, number: &'a str) -> &'a str {
        let mut current = number;
        // A circle is a problem of the records; the bound only keeps this loop finite.
        for _ in 0..=self.successor.len() {
            match self.successor.get(current) {
                Some(next) => current = next,
                None => break,
            }
        }
        current
    }
}
