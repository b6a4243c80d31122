//! Names that are likely one name in several spellings. They are only ever told, never taken for
//! each other: two spellings may well be two things.

use std::collections::BTreeMap;

/// Names that are compared letter by letter; of more only case, spaces and marks are looked at.
const MOST: usize = 200;
/// Letters of a word below which one of them may make another word.
const SHORTEST: usize = 5;

/// A name without case, spaces and marks.
fn key(name: &str) -> String {
    let letters = name.chars().filter(|c| c.is_alphanumeric());
    letters.flat_map(char::to_lowercase).collect()
}

fn words(name: &str) -> Vec<String> {
    let words = name.split(|c: char| !c.is_alphanumeric());
    words
        .filter(|word| !word.is_empty())
        .map(str::to_lowercase)
        .collect()
}

/// Whether two names are likely one: equal but for case, spaces and marks, or for one letter of a
/// word that is not short. Figures make other names.
#[must_use]
pub fn alike(a: &str, b: &str) -> bool {
    if key(a) == key(b) {
        return !key(a).is_empty();
    }
    let (a, b) = (words(a), words(b));
    let mut odd = a.iter().zip(&b).filter(|(a, b)| a != b);
    let (Some((a_word, b_word)), None, true) = (odd.next(), odd.next(), a.len() == b.len()) else {
        return false;
    };
    let figures = |word: &str| -> String { word.chars().filter(char::is_ascii_digit).collect() };
    SHORTEST <= a_word.chars().count().min(b_word.chars().count())
        && figures(a_word) == figures(b_word)
        && strsim::damerau_levenshtein(a_word, b_word) == 1
}

/// The names of which others are likely another spelling, together, each group in order.
///
/// - `names`: sorted, each once.
#[must_use]
pub fn groups<'n>(names: &[&'n str]) -> Vec<Vec<&'n str>> {
    let mut groups = by_key(names);
    if groups.len() <= MOST {
        join(&mut groups);
    }
    of_several(groups)
}

/// The same of names that differ in case, spaces and marks alone, as among names of people, where one letter
/// makes another.
///
/// - `names`: sorted, each once.
#[must_use]
pub fn groups_but_for_case<'n>(names: &[&'n str]) -> Vec<Vec<&'n str>> {
    of_several(by_key(names))
}

fn by_key<'n>(names: &[&'n str]) -> Vec<Vec<&'n str>> {
    let mut by_key: BTreeMap<String, Vec<&str>> = BTreeMap::new();
    for name in names {
        by_key.entry(key(name)).or_default().push(name);
    }
    by_key.remove("");
    by_key.into_values().collect()
}

fn of_several(mut groups: Vec<Vec<&str>>) -> Vec<Vec<&str>> {
    groups.retain(|group| 1 < group.len());
    for group in &mut groups {
        group.sort_unstable();
    }
    groups.sort();
    groups
}

/// Puts groups together of which two names are alike.
fn join(groups: &mut Vec<Vec<&str>>) {
    let mut at = 0;
    while at < groups.len() {
        let mut next = at + 1;
        while next < groups.len() {
            let mut pairs = groups[at]
                .iter()
                .flat_map(|a| groups[next].iter().map(move |b| (a, b)));
            if pairs.any(|(a, b)| alike(a, b)) {
                let more = groups.remove(next);
                groups[at].extend(more);
            } else {
                next += 1;
            }
        }
        at += 1;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn case_spaces_marks_and_a_slip_of_a_letter_make_no_other_name() {
        for (a, b) in [
            ("Potash", "potash"),
            ("Potash", "Pot ash"),
            ("AG LIME", "Aglime"),
            ("spinner fin", "spinner-fin"),
            ("potash", "potahs"),
            ("north pit lime", "nroth pit lime"),
        ] {
            assert!(alike(a, b), "{a} {b}");
        }
        for (a, b) in [
            ("lime A", "lime B"),
            ("10-10-10", "10-20-10"),
            ("product10", "product11"),
            ("MAP", "DAP"),
            ("lime", "fine lime"),
            ("-", "/"),
        ] {
            assert!(!alike(a, b), "{a} {b}");
        }
    }

    #[test]
    fn every_spelling_stands_with_the_others() {
        let names = [
            "Ag Lime", "MAP", "Pot ash", "Potash", "aglime", "potash", "potahs",
        ];
        let told = groups(&names);
        assert_eq!(
            told,
            [
                vec!["Ag Lime", "aglime"],
                vec!["Pot ash", "Potash", "potahs", "potash"]
            ]
        );
    }
}
