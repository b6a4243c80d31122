//! Columns that go together: where machines with one value of the column compared mostly have one
//! value of another, what is read as the work of the first may be that of the second.
//!
//! # Source
//! Association by Cramér's V with Bergsma's correction for what chance alone makes of few things
//! (*Journal of the Korean Statistical Society* 42, 2013, from memory). Lives of one machine mostly
//! share their values, so that the things counted in the correction are machines, not lives.

use std::collections::{BTreeMap, BTreeSet};

use super::columns::Column;
use crate::life::Life;
use crate::record::Records;
use crate::units::Measure;

/// Association above which two columns are named together (our own choice): 0 where neither tells
/// of the other, 1 where each tells all.
const TOGETHER: f64 = 0.4;
/// Values above which a column names things rather than kinds of them.
const MOST_VALUES: usize = 8;
/// Lives of a value below which nothing is said of it.
const FEWEST_LIVES: f64 = 4.0;

/// Lives by the values of two columns, those without either left out.
struct Table<'a> {
    counts: BTreeMap<(&'a str, &'a str), f64>,
    rows: BTreeMap<&'a str, f64>,
    columns: BTreeMap<&'a str, f64>,
}

impl<'a> Table<'a> {
    fn of(pairs: &'a [(String, String)]) -> Self {
        let mut table = Self {
            counts: BTreeMap::new(),
            rows: BTreeMap::new(),
            columns: BTreeMap::new(),
        };
        for (row, column) in pairs {
            *table.counts.entry((row, column)).or_insert(0.0) += 1.0;
            *table.rows.entry(row).or_insert(0.0) += 1.0;
            *table.columns.entry(column).or_insert(0.0) += 1.0;
        }
        table
    }

    fn count(&self, row: &str, column: &str) -> f64 {
        self.counts.get(&(row, column)).copied().unwrap_or(0.0)
    }

    /// How well one column tells of the other, 0 to 1; `None` where a column has one value alone,
    /// or one for each thing.
    fn association(&self, machines: usize) -> Option<f64> {
        let tells_kinds = |of: &BTreeMap<&str, f64>| (2..=MOST_VALUES).contains(&of.len());
        if !tells_kinds(&self.rows) || !tells_kinds(&self.columns) {
            return None;
        }
        let all: f64 = self.rows.values().sum();
        let mut square = 0.0;
        for (row, of_row) in &self.rows {
            for (column, of_column) in &self.columns {
                let even = of_row * of_column / all;
                square += (self.count(row, column) - even).powi(2) / even;
            }
        }
        let (rows, columns) = (self.rows.len() as f64, self.columns.len() as f64);
        let others = (machines as f64 - 1.0).max(1.0);
        let chance = (rows - 1.0) * (columns - 1.0) / others;
        let kinds = |n: f64| n - (n - 1.0).powi(2) / others;
        let most = kinds(rows).min(kinds(columns)) - 1.0;
        (0.0 < most).then(|| ((square / all - chance).max(0.0) / most).sqrt().min(1.0))
    }

    /// The value of the second column whose share differs most between two values of the first:
    /// that value, then each of the two with its lives of that value and of any.
    fn told_most(&self) -> Option<(&'a str, Side<'a>, Side<'a>)> {
        let side = |row: &&'a str, column: &str| Side {
            value: row,
            have: self.count(row, column),
            of: self.rows[row],
        };
        let of_column = |column: &&'a str| {
            let mut sides: Vec<Side<'a>> = self.rows.keys().map(|r| side(r, column)).collect();
            sides.retain(|s| FEWEST_LIVES <= s.of);
            sides.sort_by(|a, b| b.share().total_cmp(&a.share()));
            let low = sides.pop()?;
            let high = sides.into_iter().next()?;
            Some((*column, high, low))
        };
        let differences = self.columns.keys().filter_map(of_column);
        differences.max_by(|a, b| {
            let by = |t: &(&str, Side<'_>, Side<'_>)| t.1.share() - t.2.share();
            by(a).total_cmp(&by(b))
        })
    }
}

/// One value of the column compared, and how many of its lives have a value of the other.
struct Side<'a> {
    value: &'a str,
    have: f64,
    of: f64,
}

impl Side<'_> {
    fn share(&self) -> f64 {
        self.have / self.of
    }
}

/// What goes together with the column compared among the lives of a family, in words; the closest
/// other column alone.
pub(super) fn note(
    records: &Records,
    family: &str,
    lives: &[&Life],
    by: &Column,
) -> Option<String> {
    let machines: BTreeSet<&str> = lives.iter().map(|l| l.machine.as_str()).collect();
    let mut closest: Option<(f64, String)> = None;
    for other in by.others(records) {
        let pair = |l: &&Life| by.value(records, l).zip(other.value(records, l));
        let pairs: Vec<(String, String)> = lives.iter().filter_map(pair).collect();
        let table = Table::of(&pairs);
        let Some(association) = table.association(machines.len()).filter(|a| TOGETHER <= *a) else {
            continue;
        };
        if closest.as_ref().is_some_and(|(a, _)| association <= *a) {
            continue;
        }
        if let Some((value, high, low)) = table.told_most() {
            let text = format!(
                "{family}: `{}` goes together with `{}` of {}: `{value}` are {} of {} lives with `{}`, {} of {} with `{}`; what is read here as the work of one may be that of the other",
                by.name,
                other.name,
                other.table.name(),
                high.have,
                high.of,
                high.value,
                low.have,
                low.of,
                low.value
            );
            closest = Some((association, text));
        }
    }
    closest.map(|(_, text)| text)
}

/// That parts of several materials are taken together, of machines compared by one family.
pub(super) fn note_of_machines(family: &str, lives: &[&Life]) -> Option<String> {
    let materials = lives.iter().filter_map(|life| life.material.as_deref());
    let materials: BTreeSet<&str> = materials.collect();
    (1 < materials.len()).then(|| {
        let materials: Vec<&str> = materials.into_iter().collect();
        format!(
            "{family}: parts of {} are taken as alike, so that a machine that has mostly one of them may look better or worse by that alone",
            materials.join(", ")
        )
    })
}

/// Least difference in the share of a product between lives that saw more and less of it (our own
/// choice): below that no material can be taken for the product.
const APART: f64 = 0.1;

/// The material of parts that goes together with what they saw of a product, in words; the product
/// of which that is most so.
pub(super) fn note_of_products(
    family: &str,
    lives: &[&Life],
    measure: Measure,
    groups: &[String],
) -> Option<String> {
    let machines: BTreeSet<&str> = lives.iter().map(|l| l.machine.as_str()).collect();
    let mut closest: Option<(f64, String)> = None;
    for group in groups {
        let pairs = by_share(lives, measure, group);
        let table = Table::of(&pairs);
        let association = table.association(machines.len());
        let closer = |a: &f64| TOGETHER <= *a && closest.as_ref().is_none_or(|(c, _)| c < a);
        let Some((association, told)) = association.filter(closer).zip(table.told_most()) else {
            continue;
        };
        let (material, high, low) = told;
        let text = format!(
            "{family}: what was spread goes together with `material` of parts: `{material}` are {} of {} lives with {} `{group}` than the others, {} of {} with {}; what is read here as the work of a product may be that of the material",
            high.have, high.of, high.value, low.have, low.of, low.value
        );
        closest = Some((association, text));
    }
    closest.map(|(_, text)| text)
}

/// Product groups of which nearly all was spread under one value, each with that value: what the product does and
/// what the value does are hard to hold apart.
pub(super) fn spread_under_one(
    lives: &[&Life],
    measure: Measure,
    value_of: &dyn Fn(&Life) -> Option<String>,
) -> BTreeSet<(String, String)> {
    /// Share of a product under one value (our own choice).
    const NEARLY_ALL: f64 = 0.95;
    /// Share of a value's use that is worth a word (our own choice).
    const WORTH_A_WORD: f64 = 0.05;
    let mut by_group: BTreeMap<&str, BTreeMap<String, f64>> = BTreeMap::new();
    let mut by_value: BTreeMap<String, f64> = BTreeMap::new();
    for life in lives {
        let Some(value) = value_of(life) else {
            continue;
        };
        for (group, used) in &life.groups {
            let used = used.end.get(measure).unwrap_or(0.0);
            let of_group = by_group.entry(group).or_default();
            *of_group.entry(value.clone()).or_default() += used;
            *by_value.entry(value.clone()).or_default() += used;
        }
    }
    let mut told = BTreeSet::new();
    for (group, values) in by_group.into_iter().filter(|_| 1 < by_value.len()) {
        let all: f64 = values.values().sum();
        for (value, used) in values {
            if NEARLY_ALL * all <= used && WORTH_A_WORD * by_value[&value] < used {
                told.insert((group.to_owned(), value));
            }
        }
    }
    told
}

/// Lives by whether they saw more or less of a product than all together, and their material; none
/// where they hardly differ in that.
fn by_share(lives: &[&Life], measure: Measure, group: &str) -> Vec<(String, String)> {
    let used = |life: &Life| {
        let of = |name: &String| life.groups.get(name).and_then(|g| g.end.get(measure));
        let all: f64 = life.groups.keys().filter_map(of).sum();
        (of(&group.to_owned()).unwrap_or(0.0), all)
    };
    let told: Vec<(f64, f64, &String)> = (lives.iter())
        .filter_map(|life| Some((used(life), life.material.as_ref()?)))
        .map(|((own, all), material)| (own, all, material))
        .filter(|(_, all, _)| 0.0 < *all)
        .collect();
    let sum = |of: fn(&(f64, f64, &String)) -> f64| told.iter().map(of).sum::<f64>();
    let share = sum(|life| life.0) / sum(|life| life.1);
    let (more, less): (Vec<_>, Vec<_>) = told.iter().partition(|(own, all, _)| share < own / all);
    let mean = |lives: &[&(f64, f64, &String)]| {
        lives.iter().map(|(own, all, _)| own / all).sum::<f64>() / lives.len() as f64
    };
    let sides = [("more", more), ("less", less)];
    let is_empty = sides.iter().any(|(_, lives)| lives.is_empty());
    if is_empty || mean(&sides[0].1) - mean(&sides[1].1) < APART {
        return Vec::new();
    }
    let of_side = |(word, lives): &(&str, Vec<&(f64, f64, &String)>)| {
        let pair = |life: &&(f64, f64, &String)| ((*word).to_owned(), life.2.clone());
        lives.iter().map(pair).collect::<Vec<_>>()
    };
    sides.iter().flat_map(of_side).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pairs(counts: &[[usize; 2]]) -> Vec<(String, String)> {
        let row = |(r, counts): (usize, &[usize; 2])| {
            let of = |c: usize| std::iter::repeat_n((format!("r{r}"), format!("c{c}")), counts[c]);
            [of(0), of(1)].into_iter().flatten().collect::<Vec<_>>()
        };
        counts.iter().enumerate().flat_map(row).collect()
    }

    fn association(counts: &[[usize; 2]], machines: usize) -> Option<f64> {
        Table::of(&pairs(counts)).association(machines)
    }

    /// `scipy.stats.contingency.association(.., method="cramer")` of scipy 1.17.1 on the example of
    /// its documentation; with so many machines nothing is corrected.
    #[test]
    fn with_many_machines_it_is_cramers_measure_as_scipy_has_it() {
        let counts = [[100, 150], [203, 322], [420, 700], [320, 210]];
        let got = association(&counts, 1_000_000_000).expect("two kinds and four");
        assert!((got - 0.186_178_130_774_836_78).abs() < 1e-8, "{got}");
    }

    #[test]
    fn what_tells_all_is_1_and_what_tells_nothing_0() {
        let all = association(&[[30, 0], [0, 10]], 12).expect("two and two");
        assert!((all - 1.0).abs() < 1e-12, "{all}");
        assert_eq!(association(&[[30, 10], [15, 5]], 12), Some(0.0));
        assert_eq!(association(&[[30, 10]], 12), None);
    }

    /// By hand: 2 of 4 against 1 of 4 machines, ten lives each: chi-square over n is 1/15, chance
    /// among 8 machines 1/7, and among 800 it is 1/799, of at most 1 less 1/799.
    #[test]
    fn what_few_machines_show_by_chance_is_taken_off() {
        assert_eq!(association(&[[20, 20], [10, 30]], 8), Some(0.0));
        let many = association(&[[20, 20], [10, 30]], 800).expect("two and two");
        let expected = ((1.0 / 15.0 - 1.0 / 799.0) / (1.0 - 1.0 / 799.0_f64)).sqrt();
        assert!((many - expected).abs() < 1e-12, "{many}");
    }

    #[test]
    fn it_names_the_value_that_is_shared_least_evenly() {
        let pairs = pairs(&[[99, 76], [0, 88]]);
        let table = Table::of(&pairs);
        let (value, high, low) = table.told_most().expect("two values");
        assert_eq!((value, high.value, low.value), ("c1", "r1", "r0"));
        assert_eq!(
            (high.have, high.of, low.have, low.of),
            (88.0, 88.0, 76.0, 175.0)
        );
    }
}
