//! The keys of the settings, and how their values are written.

const MONEY: &str = "a number without quotes, such as 45 or 45.50";
const CHANGE: &str = "a share without quotes, such as 0.04 for 4 % more";
const SHARE: &str = "a share of the price without quotes, such as 0.15 for 15 %";
const TEXT: &str = "text in quotes";

/// Every key, and what its value looks like.
const KEYS: [(&str, &str); 14] = [
    ("currency", "text in quotes, such as \"$\""),
    ("units", "\"us\" or \"metric\""),
    (
        "season_starts",
        "month and day in quotes, such as \"11-01\"",
    ),
    ("labor_rate", MONEY),
    ("down_cost_per_hour", MONEY),
    ("price_change", CHANGE),
    ("plan_change", CHANGE),
    ("reference_group", TEXT),
    (
        "service_level",
        "a number between 0 and 1 without quotes, such as 0.95",
    ),
    ("holding_rate", SHARE),
    ("rush_cost", SHARE),
    ("return_rate", SHARE),
    ("budget_limit", MONEY),
    (
        "date_format",
        "`strftime` letters in quotes, such as \"%m/%d/%Y\"",
    ),
];

/// A key, and what its value looks like; `None` of a word that is no key.
pub(super) fn known(key: &str) -> Option<(&'static str, &'static str)> {
    KEYS.into_iter().find(|(name, _)| *name == key)
}

/// What is expected where a word is no key.
pub(super) fn instead_of(word: &str) -> String {
    /// Words as alike as `labour_rate` and `labor_rate`; others are guesses.
    const ALIKE: f64 = 0.6;
    let word = word.to_lowercase();
    let likeness = |key: &str| strsim::normalized_damerau_levenshtein(&word, key);
    let all = || KEYS.iter().map(|(key, _)| *key);
    let nearest = all()
        .max_by(|a, b| likeness(a).total_cmp(&likeness(b)))
        .filter(|key| ALIKE <= likeness(key));
    let nearest = nearest.map_or_else(String::new, |key| format!("`{key}`, which is nearest, or "));
    let all: Vec<String> = all().map(|key| format!("`{key}`")).collect();
    format!("{nearest}one of the keys {}", all.join(", "))
}

#[cfg(test)]
mod tests {
    use super::super::{Settings, SettingsError};
    use super::*;

    /// Every key is one that the settings have, and they have no other.
    #[test]
    fn keys_are_those_that_are_read() {
        for (key, expected) in KEYS {
            let errors = Settings::sound_of_toml(&format!("{key} = [1]\n")).1;
            let wrong = SettingsError::Value {
                key,
                found: "[1]".to_owned(),
                expected,
            };
            assert_eq!(errors, [wrong]);
        }
        let said = toml::from_str::<Settings>("other = 1\n").expect_err("no key");
        assert_eq!(said.message().matches('`').count(), 2 * (KEYS.len() + 1));
    }

    #[test]
    fn a_word_that_is_nearly_a_key_is_told_which() {
        assert!(instead_of("labour_rate").starts_with("`labor_rate`, which is nearest"));
        assert!(instead_of("Currency").starts_with("`currency`"));
        assert!(instead_of("zebra").starts_with("one of the keys"));
    }
}
