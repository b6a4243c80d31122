//! Header texts to columns: names without regard to case, spaces, `-` and `_`, and units in the header.

use std::collections::BTreeMap;

use crate::record::ProblemKind;
use crate::units::{HEADER_UNITS, Measure};

use super::cell::{Wrong, quoted};

/// Most columns of a table: far more than any has, and few enough that each may be compared with
/// every other.
pub(super) const MOST_COLUMNS: usize = 2_000;

/// Words of column names that other headings have for other things.
const WEAK: [&str; 7] = ["order", "days", "in", "from", "on", "name", "part"];

/// How a table's amounts of use are named.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum AmountColumns {
    /// The table has none.
    None,
    /// `acres`, `tons`, `hours` and their other units; at least one where `needed`.
    Use { needed: bool },
    /// `acres_before`, `tons_before`, `hours_before` and their other units.
    Before,
}

/// The columns a table takes.
#[derive(Clone, Copy, Debug)]
pub(super) struct Spec {
    /// Name of the table.
    pub(super) name: &'static str,
    /// Names, and whether the column is needed.
    pub(super) columns: &'static [(&'static str, bool)],
    /// Its amounts of use.
    pub(super) amounts: AmountColumns,
    /// What stands before `_GROUP` in its columns by product group.
    pub(super) groups: &'static [&'static str],
}

/// A column of amounts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct AmountColumn {
    pub(super) measure: Measure,
    pub(super) factor: f64,
    pub(super) index: usize,
}

/// The columns of one file.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Columns {
    /// Header texts as written, with trailing empty ones left out.
    pub(super) headers: Vec<String>,
    /// Place of each column the table takes.
    named: Vec<(&'static str, usize)>,
    /// Amounts of use.
    pub(super) amounts: Vec<AmountColumn>,
    /// Columns the table does not name.
    pub(super) extra: Vec<usize>,
}

impl Columns {
    /// Internal units in one of each measure's column: acres, tons, hours.
    pub(super) fn factors(&self) -> [f64; 3] {
        let mut factors = [1.0; 3];
        for column in self.amounts.iter().filter(|c| c.measure != Measure::Days) {
            factors[column.measure.index()] = column.factor;
        }
        factors
    }

    /// Place of a named column.
    pub(super) fn index(&self, name: &str) -> Option<usize> {
        self.named
            .iter()
            .find(|(known, _)| *known == name)
            .map(|(_, index)| *index)
    }
}

/// Lower case, without spaces, `-` and `_`.
pub(crate) fn normal(text: &str) -> String {
    text.chars()
        .filter(|c| !(c.is_whitespace() || matches!(c, '-' | '_' | '\u{feff}')))
        .flat_map(char::to_lowercase)
        .collect()
}

impl Spec {
    /// The columns of a file with these headers, or everything that is wrong with them.
    pub(super) fn columns(
        &self,
        headers: &[String],
    ) -> Result<Columns, Vec<(Option<String>, Wrong)>> {
        self.columns_as(headers, headers)
    }

    /// The columns of a file whose headers (`shown` to people) stand for other `names`.
    pub(super) fn columns_as(
        &self,
        headers: &[String],
        names: &[String],
    ) -> Result<Columns, Vec<(Option<String>, Wrong)>> {
        let used = headers
            .iter()
            .rposition(|h| !h.trim().is_empty())
            .map_or(0, |last| last + 1);
        let mut columns = Columns {
            headers: headers[..used]
                .iter()
                .map(|h| h.trim().to_owned())
                .collect(),
            ..Columns::default()
        };
        for (index, name) in names[..used].iter().enumerate() {
            self.place(&mut columns, index, &normal(name));
        }
        let mut wrong = twice(&columns, names, self.groups);
        wrong.extend(self.missing(&columns).into_iter().map(|w| (None, w)));
        if wrong.is_empty() {
            Ok(columns)
        } else {
            Err(wrong)
        }
    }

    fn place(&self, columns: &mut Columns, index: usize, header: &str) {
        if header.is_empty() {
            return;
        }
        if let Some((name, _)) = self.columns.iter().find(|(name, _)| normal(name) == header) {
            columns.named.push((name, index));
        } else if let Some(unit) = self.unit(header) {
            columns.amounts.push(AmountColumn {
                measure: unit.measure,
                factor: unit.factor,
                index,
            });
        } else {
            columns.extra.push(index);
        }
    }

    fn unit(&self, header: &str) -> Option<crate::units::HeaderUnit> {
        let word = match self.amounts {
            AmountColumns::None => return None,
            AmountColumns::Use { .. } => header,
            AmountColumns::Before => header.strip_suffix("before")?,
        };
        HEADER_UNITS.into_iter().find(|unit| unit.word == word)
    }

    /// Whether a header is one of the table's own.
    pub(super) fn has(&self, header: &str) -> bool {
        let header = normal(header);
        let named = self.columns.iter().any(|(name, _)| normal(name) == header);
        named || self.unit(&header).is_some()
    }

    fn missing(&self, columns: &Columns) -> Vec<Wrong> {
        let needed = self.columns.iter().filter(|(_, needed)| *needed);
        let mut wrong: Vec<Wrong> = needed
            .filter(|(name, _)| columns.index(name).is_none())
            .map(|(name, _)| {
                Wrong::new(
                    ProblemKind::MissingColumn,
                    format!("no column `{name}`"),
                    self.takes(),
                )
            })
            .collect();
        if self.amounts == (AmountColumns::Use { needed: true }) && columns.amounts.is_empty() {
            wrong.push(Wrong::new(
                ProblemKind::MissingColumn,
                "no column with an amount of use",
                format!(
                    "at least one of acres, tons or hours (hectares, tonnes, lb, kg); {}",
                    self.takes()
                ),
            ));
        }
        wrong
    }

    /// Columns of the file that the table does not name and that sound like one it lacks: header, and
    /// the name it would go by.
    pub(super) fn likely_meant<'c>(&self, columns: &'c Columns) -> Vec<(&'c str, &'static str)> {
        let lacks = |name: &str| columns.index(name).is_none();
        let named = self
            .columns
            .iter()
            .map(|(name, _)| *name)
            .filter(|n| lacks(n));
        let amounts = HEADER_UNITS.iter().filter(|unit| {
            let has = columns.amounts.iter().any(|a| a.measure == unit.measure);
            matches!(self.amounts, AmountColumns::Use { .. }) && !has
        });
        let names: Vec<&'static str> = named.chain(amounts.map(|unit| unit.word)).collect();
        let likely = |index: &usize| {
            let header = columns.headers[*index].as_str();
            let lower = header.to_lowercase();
            let words = || lower.split(|c: char| !c.is_alphanumeric());
            let strong = |of: &&str| !WEAK.contains(of);
            let shares = |name: &&&str| {
                let mut own = name.split('_').filter(strong);
                own.any(|of| words().any(|word| word == of))
            };
            names.iter().find(shares).map(|name| (header, *name))
        };
        columns.extra.iter().filter_map(likely).collect()
    }

    /// The columns the table takes, in words.
    pub(super) fn takes(&self) -> String {
        let mut names: Vec<String> = self
            .columns
            .iter()
            .map(|(name, needed)| format!("`{name}`{}", if *needed { "*" } else { "" }))
            .collect();
        let suffix = match self.amounts {
            AmountColumns::None => None,
            AmountColumns::Use { .. } => Some(""),
            AmountColumns::Before => Some("_before"),
        };
        if let Some(suffix) = suffix {
            names.extend(
                HEADER_UNITS
                    .iter()
                    .map(|unit| format!("`{}{suffix}`", unit.word)),
            );
        }
        format!(
            "the columns of `{}`: {} (* needed)",
            self.name,
            names.join(", ")
        )
    }
}

/// The group of a column `PREFIX_GROUP`, as written.
pub(super) fn group_of<'h>(header: &'h str, prefix: &str) -> Option<&'h str> {
    let start = header.get(..prefix.len())?;
    let rest = header.get(prefix.len()..)?;
    let rest = rest.strip_prefix(['_', '-', ' '])?.trim();
    (start.eq_ignore_ascii_case(prefix) && !rest.is_empty()).then_some(rest)
}

/// Columns that say the same thing as an earlier one.
///
/// - `prefixes`: of columns by group; groups are told apart to the letter, as products are.
fn twice(columns: &Columns, names: &[String], prefixes: &[&str]) -> Vec<(Option<String>, Wrong)> {
    let mut wrong = Vec::new();
    let mut seen: BTreeMap<String, usize> = BTreeMap::new();
    for (index, header) in columns.headers.iter().enumerate() {
        let amount = columns.amounts.iter().find(|a| a.index == index);
        let key = if let Some(amount) = amount {
            format!("an amount of {}", amount.measure.name())
        } else {
            // Groups are told apart to the letter, as products are.
            let group = |prefix: &&str| Some(format!("{prefix} {}", group_of(header, prefix)?));
            let by_group = prefixes.iter().find_map(group);
            by_group.unwrap_or_else(|| normal(&names[index]))
        };
        if key.is_empty() {
            continue;
        }
        match seen.get(&key) {
            Some(first) => wrong.push((
                Some(header.clone()),
                Wrong::new(
                    ProblemKind::ColumnTwice,
                    format!(
                        "{} beside {}",
                        quoted(header),
                        quoted(&columns.headers[*first])
                    ),
                    "one column for one thing; delete or rename one of the two",
                ),
            )),
            None => drop(seen.insert(key, index)),
        }
    }
    wrong
}

#[cfg(test)]
mod tests {
    use super::*;

    const SPEC: Spec = Spec {
        name: "usage",
        columns: &[("date", true), ("down_hours", false)],
        amounts: AmountColumns::Use { needed: true },
        groups: &[],
    };

    fn columns(headers: &[&str]) -> Result<Columns, Vec<(Option<String>, Wrong)>> {
        SPEC.columns(&headers.iter().map(|h| (*h).to_owned()).collect::<Vec<_>>())
    }

    #[test]
    fn headers_match_without_regard_to_case_spaces_and_hyphens() {
        let found =
            columns(&["\u{feff}DATE ", "Down-Hours", "Tonnes", "Ticket No", ""]).expect("sound");
        assert_eq!(found.index("date"), Some(0));
        assert_eq!(found.index("down_hours"), Some(1));
        assert_eq!(found.amounts[0].measure, Measure::Tons);
        assert_eq!(found.extra, vec![3]);
        assert_eq!(found.headers.len(), 4);
    }

    #[test]
    fn two_units_of_one_measure_and_two_spellings_are_one_column_twice() {
        for headers in [
            ["date", "acres", "hectares"],
            ["date", "Da te", "tons"],
            ["date", "kg", "LB"],
        ] {
            let wrong = columns(&headers).expect_err("twice");
            assert_eq!(wrong[0].1.kind, ProblemKind::ColumnTwice, "{headers:?}");
        }
    }

    #[test]
    fn a_missing_column_is_told_with_all_that_the_table_takes() {
        let wrong = columns(&["day"]).expect_err("missing");
        assert_eq!(wrong.len(), 2);
        assert!(wrong[0].1.found.contains("`date`"));
        assert!(wrong[0].1.expected.contains("`down_hours`"));
    }

    #[test]
    fn a_heading_that_sounds_like_a_column_the_table_lacks_is_likely_meant() {
        let found = columns(&[
            "date",
            "hours",
            "Tons spread",
            "down time (h)",
            "ticket date",
        ]);
        let found = found.expect("sound");
        let likely = [("Tons spread", "tons"), ("down time (h)", "down_hours")];
        assert_eq!(SPEC.likely_meant(&found), likely);
    }
}
