//! Values from outside: handbooks, published data sets, general-purpose reference programs.
//!
//! `tests/reference/checks.json` holds each with its source, what was seen and what was
//! recomputed; `tests/reference/SOURCES.md` tells where every value comes from.

mod fits;
mod nonparametric;
mod scores;
mod values;

use serde_json::Value;

/// One reference check.
pub struct Check {
    value: Value,
}

impl Check {
    /// The check of that name.
    pub fn named(id: &str) -> Self {
        let text = include_str!("../reference/checks.json");
        let checks: Vec<Value> = serde_json::from_str(text).expect("checks.json is JSON");
        let value = checks
            .into_iter()
            .find(|c| c["id"] == id)
            .unwrap_or_else(|| panic!("no check `{id}`"));
        Self { value }
    }

    /// An input.
    pub fn input(&self, key: &str) -> &Value {
        &self.value["inputs"][key]
    }

    /// A number among the inputs.
    pub fn number(&self, key: &str) -> f64 {
        self.input(key)
            .as_f64()
            .unwrap_or_else(|| panic!("input `{key}` is a number"))
    }

    /// Numbers among the inputs.
    pub fn numbers(&self, key: &str) -> Vec<f64> {
        list(self.input(key))
    }

    /// Expected numbers, for relations that are not a plain comparison.
    pub fn expected_numbers(&self, key: &str) -> Vec<f64> {
        list(&self.value["expected"][key])
    }

    /// Expected single numbers.
    pub fn expected_numbers_of(&self, keys: &[&str]) -> Vec<f64> {
        let number = |key: &&str| self.value["expected"][*key].as_f64().expect("a number");
        keys.iter().map(number).collect()
    }

    /// The check of a group of expected values.
    pub fn within(&self, key: &str) -> Self {
        let mut value = self.value.clone();
        value["expected"] = value["expected"][key].take();
        Self { value }
    }

    /// Holds a computed number against the expected one, within the check's own tolerance.
    pub fn holds(&self, key: &str, computed: f64) {
        let expected = self.value["expected"][key]
            .as_f64()
            .unwrap_or_else(|| panic!("expected `{key}` is a number"));
        self.close(key, key, computed, expected);
    }

    /// The same for a list.
    pub fn holds_all(&self, key: &str, computed: &[f64]) {
        let expected = list(&self.value["expected"][key]);
        assert_eq!(expected.len(), computed.len(), "length of `{key}`");
        for (i, (c, e)) in computed.iter().zip(&expected).enumerate() {
            self.close(key, &format!("{key}[{i}]"), *c, *e);
        }
    }

    /// The same for one row of a table.
    pub fn holds_row(&self, key: &str, row: usize, computed: &[f64]) {
        let expected = list(&self.value["expected"][key][row]);
        assert_eq!(expected.len(), computed.len(), "length of `{key}` {row}");
        for (c, e) in computed.iter().zip(&expected) {
            self.close(key, &format!("{key}, row {row}"), *c, *e);
        }
    }

    fn close(&self, key: &str, label: &str, computed: f64, expected: f64) {
        let tolerances = &self.value["tolerance"];
        let tolerance = tolerances.get(key).unwrap_or(&tolerances["default"]);
        let room = tolerance["rel"]
            .as_f64()
            .map_or(0.0, |r| r * expected.abs())
            + tolerance["abs"].as_f64().unwrap_or(0.0);
        assert!(
            (computed - expected).abs() <= room,
            "{}: `{label}` is {computed}, {expected} by {}",
            self.value["id"],
            self.value["source"],
        );
    }
}

/// A list of numbers.
pub fn list(value: &Value) -> Vec<f64> {
    value
        .as_array()
        .expect("a list")
        .iter()
        .map(|v| v.as_f64().expect("a number"))
        .collect()
}
