//! Product groups: what wear is compared by, which of them counts as 1, and the use of all as one number.

use std::collections::BTreeMap;

use crate::record::{Product, UsageLog};
use crate::units::Measure;

/// Effective exposure: use by group, each times its wear factor; in the unit of `used`, counted in the
/// reference group, which comes first with factor 1.
#[must_use]
pub fn effective(used: &[f64], factors: impl IntoIterator<Item = f64>) -> f64 {
    used.iter().zip(factors).map(|(u, w)| u * w).sum()
}

/// The group of every product, and the reference group of every measure.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Groups {
    of_product: BTreeMap<String, String>,
    names: Vec<String>,
    /// By [`Measure::index`]; days have none.
    references: [Option<String>; 4],
    /// By [`Measure::index`]: whether any use of it is in the log.
    in_log: [bool; 4],
}

impl Groups {
    /// Groups of the products; the reference is `wanted`, or else the group with the most use in
    /// the log, measure by measure; of a measure that the log leaves out, that of another measure.
    ///
    /// # Errors
    /// The names there are, when `wanted` is none of them.
    pub fn new(
        products: &[Product],
        usage: &UsageLog,
        wanted: Option<&str>,
    ) -> Result<Self, UnknownGroup> {
        let of_product: BTreeMap<String, String> = products
            .iter()
            .map(|p| (p.name.clone(), p.group.clone()))
            .collect();
        let mut names: Vec<String> = of_product.values().cloned().collect();
        names.sort();
        names.dedup();
        let mut groups = Self {
            of_product,
            names,
            references: [const { None }; 4],
            in_log: [false; 4],
        };
        for measure in Measure::OF_USE {
            groups.in_log[measure.index()] = usage.has_any(measure);
        }
        match wanted {
            Some(name) if groups.names.iter().any(|n| n == name) => {
                for measure in Measure::OF_USE {
                    groups.references[measure.index()] = Some(name.to_owned());
                }
            }
            Some(name) => {
                return Err(UnknownGroup {
                    wanted: name.to_owned(),
                    known: groups.names,
                });
            }
            None => groups.choose_references(groups.most_used(usage)),
        }
        Ok(groups)
    }

    /// By [`Measure::index`]: the group with the most use in the log, the first of equals.
    fn most_used(&self, usage: &UsageLog) -> [Option<String>; 4] {
        let mut amounts: BTreeMap<(usize, &str), Vec<f64>> = BTreeMap::new();
        for (product, totals) in usage.products().iter().zip(usage.totals()) {
            let group = self.group(product);
            for (measure, total) in totals.into_iter().enumerate() {
                if let Some(total) = total {
                    amounts.entry((measure, group)).or_default().push(total);
                }
            }
        }
        let mut best: [Option<(f64, String)>; 4] = [const { None }; 4];
        for ((measure, group), mut values) in amounts {
            values.sort_by(f64::total_cmp);
            let total: f64 = values.iter().sum();
            if best[measure].as_ref().is_none_or(|(most, _)| *most < total) {
                best[measure] = Some((total, group.to_owned()));
            }
        }
        best.map(|b| b.map(|(_, name)| name))
    }

    /// A measure that the log leaves out may still be planned or given as use before it: it takes the
    /// reference of another.
    fn choose_references(&mut self, most: [Option<String>; 4]) {
        let others = [Measure::Tons, Measure::Acres, Measure::Hours];
        let other = others.iter().find_map(|m| most[m.index()].clone());
        let other = other.or_else(|| self.names.first().cloned());
        self.references = most;
        for measure in Measure::OF_USE {
            let reference = &mut self.references[measure.index()];
            if reference.is_none() {
                reference.clone_from(&other);
            }
        }
    }

    /// The group of a product; a product nobody listed is its own.
    #[must_use]
    pub fn group<'a>(&'a self, product: &'a str) -> &'a str {
        self.of_product.get(product).map_or(product, String::as_str)
    }

    /// Every group, sorted.
    #[must_use]
    pub fn names(&self) -> &[String] {
        &self.names
    }

    /// Place of each of a family's groups among all; `None` for the one of a measure without groups.
    #[must_use]
    pub fn places(&self, of_family: &[String]) -> Vec<Option<usize>> {
        let place = |name| self.names.binary_search(name).ok();
        of_family.iter().map(place).collect()
    }

    /// Whether the log has any use in a measure.
    #[must_use]
    pub fn is_in_log(&self, measure: Measure) -> bool {
        self.in_log[measure.index()]
    }

    /// The group whose wear factor is 1; `None` for days and where there is no product.
    #[must_use]
    pub fn reference(&self, measure: Measure) -> Option<&str> {
        self.references[measure.index()].as_deref()
    }
}

/// A reference group that the records do not know.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("the reference group `{wanted}` is not in the records, which know: {}", known.join(", "))]
pub struct UnknownGroup {
    /// What was asked for.
    pub wanted: String,
    /// What there is.
    pub known: Vec<String>,
}
