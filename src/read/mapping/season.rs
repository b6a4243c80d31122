//! Dates of which only the year, the season or the month is known.

use chrono::{Days, Months, NaiveDate};

use crate::record::FIELD_MONTHS;

/// Names of seasons, with their place in the months of field work.
const SEASONS: [(&str, usize); 3] = [("spring", 0), ("autumn", 1), ("fall", 1)];

const MONTHS: [&str; 12] = [
    "january",
    "february",
    "march",
    "april",
    "may",
    "june",
    "july",
    "august",
    "september",
    "october",
    "november",
    "december",
];

/// What such a date may look like, in words.
pub(in crate::read) const FORMS: &str =
    "a date, or `2024`, `2024-04`, `April 2024`, `spring 2024` or `autumn 2024`";

/// First and last day that a text such as `2024`, `spring 2024`, `2024-04` or `April 2024` can mean.
pub(super) fn stretch(text: &str) -> Option<(NaiveDate, NaiveDate)> {
    let text = text.trim().to_lowercase();
    if let Some(year) = year(&text) {
        return months(year, 1, 12);
    }
    if let Some((left, right)) = text.split_once('-') {
        let month = (right.len() == 2).then(|| right.parse().ok()).flatten()?;
        return months(year(left)?, month, month);
    }
    let words: Vec<&str> = text.split_whitespace().collect();
    let [one, other] = words.as_slice() else {
        return None;
    };
    let (year, word) = match (year(one), year(other)) {
        (Some(year), None) => (year, other),
        (None, Some(year)) => (year, one),
        _ => return None,
    };
    if let Some((_, season)) = SEASONS.iter().find(|(name, _)| name == word) {
        let (first, last) = FIELD_MONTHS[*season];
        return months(year, first, last);
    }
    let is_month = |name: &&str| *name == *word || (3 <= word.len() && name[..3] == **word);
    let month = MONTHS.iter().position(is_month)? as u32 + 1;
    months(year, month, month)
}

fn year(text: &str) -> Option<i32> {
    let sound = text.len() == 4 && text.bytes().all(|b| b.is_ascii_digit());
    let year = sound.then(|| text.parse().ok()).flatten()?;
    (1900..=2199).contains(&year).then_some(year)
}

fn months(year: i32, first: u32, last: u32) -> Option<(NaiveDate, NaiveDate)> {
    let start = NaiveDate::from_ymd_opt(year, first, 1)?;
    let end = NaiveDate::from_ymd_opt(year, last, 1)? + Months::new(1) - Days::new(1);
    Some((start, end))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_year_a_season_and_a_month_are_their_first_and_last_days() {
        let days = |text: &str| stretch(text).map(|(a, b)| format!("{a} {b}"));
        let is = |text: &str, both: &str| assert_eq!(days(text).as_deref(), Some(both), "{text}");
        is("2024", "2024-01-01 2024-12-31");
        is("Spring 2024", "2024-03-01 2024-06-30");
        is("2024 fall", "2024-08-01 2024-11-30");
        is("2024-02", "2024-02-01 2024-02-29");
        is("Apr 2023", "2023-04-01 2023-04-30");
        for text in [
            "",
            "24",
            "2024-13",
            "winter 2024",
            "2024 2025",
            "2024-4",
            "é 2024",
            "ap 2024",
        ] {
            assert_eq!(days(text), None, "{text}");
        }
    }
}
