//! Product groups: what wear is compared by, and which of them counts as 1.

use std::collections::BTreeMap;

use crate::record::{Product, UsageLog};
use crate::units::Measure;

/// The group of every product, and the reference group of every measure.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Groups {
    of_product: BTreeMap<String, String>,
    names: Vec<String>,
    /// By [`Measure::index`]; days have none.
    references: [Option<String>; 4],
}

impl Groups {
    /// Groups of the products; the reference is `wanted`, or else the group with the most use in
    /// the log, measure by measure.
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
        };
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
            None => groups.choose_references(usage),
        }
        Ok(groups)
    }

    fn choose_references(&mut self, usage: &UsageLog) {
        let mut amounts: BTreeMap<(usize, &str), Vec<f64>> = BTreeMap::new();
        for measure in Measure::OF_USE {
            for (product, total) in usage.products().iter().zip(usage.totals(measure)) {
                if let Some(total) = total {
                    let group = self.group(product);
                    amounts
                        .entry((measure.index(), group))
                        .or_default()
                        .push(total);
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
        self.references = best.map(|b| b.map(|(_, name)| name));
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

    /// The group whose wear factor is 1; `None` for days and where no use is recorded.
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
