//! Names in several spellings: products that nobody lists, families of parts, and what machines and
//! parts are grouped by.

use std::collections::BTreeSet;

use super::{Check, Finding};
use crate::record::{ProblemKind, Table, spelling};

impl Check<'_> {
    pub(super) fn spellings(&mut self) {
        self.products_alike();
        self.families_alike();
        let (machines, parts) = (&self.records.machines, &self.records.parts);
        let sites = machines.iter().filter_map(|m| m.site.as_deref());
        let customers = machines.iter().filter_map(|m| m.customer.as_deref());
        let materials = parts.iter().filter_map(|p| p.material.as_deref());
        let kits = parts.iter().filter_map(|p| p.kit.as_deref());
        let told: Vec<_> = values_alike("site", sites)
            .chain(values_alike("customer", customers))
            .map(|finding| (Table::Machines, finding))
            .chain(
                values_alike("material", materials)
                    .chain(values_alike("kit", kits))
                    .map(|finding| (Table::Parts, finding)),
            )
            .collect();
        for (table, finding) in told {
            self.notes.remark(table, None, finding);
        }
    }

    /// Where a table lists the products, it lists them as they are.
    fn products_alike(&mut self) {
        let records = &self.records;
        if records.sources.contains_key(&Table::Products) {
            return;
        }
        let used = records.usage.products().iter().map(String::as_str);
        let mut names: BTreeSet<&str> = used.collect();
        let table = if names.is_empty() {
            Table::Plan
        } else {
            Table::Usage
        };
        names.extend(records.plan.iter().map(|row| row.product.as_str()));
        let names: Vec<&str> = names.into_iter().collect();
        let told = spelling::groups(&names).into_iter().map(|group| {
            Finding::new(
                "product",
                ProblemKind::Spelling,
                format!("the products {}, which are spelled alike", listed(&group)),
                "one spelling for one product, as each counts as a product of its own; \
                 where they are several, list them in `products`",
            )
        });
        for finding in told.collect::<Vec<_>>() {
            self.notes.remark(table, None, finding);
        }
    }

    /// Families of the parts list that are alike, and those that a model file almost names.
    fn families_alike(&mut self) {
        let with_model = self.context.families.iter().copied();
        let parts = self.records.parts.iter();
        let own: BTreeSet<&str> = parts.map(|part| part.family.as_str()).collect();
        let names: BTreeSet<&str> = own.iter().copied().chain(with_model).collect();
        let names: Vec<&str> = names.into_iter().collect();
        let mut told = Vec::new();
        for group in spelling::groups(&names) {
            let has_model = |name: &&str| self.context.families.contains(name);
            let (known, odd): (Vec<&str>, Vec<&str>) = group.iter().partition(|n| has_model(n));
            let used = group.iter().filter(|name| own.contains(**name)).count();
            if odd.is_empty() || used < 2 && known.is_empty() {
                continue;
            }
            let kind = if odd.len() == 1 { "family" } else { "families" };
            let beside = if known.is_empty() {
                "which are spelled alike".to_owned()
            } else {
                format!("spelled almost like {}", listed(&known))
            };
            told.push(Finding::new(
                "family",
                ProblemKind::Spelling,
                format!("the {kind} {}, {beside}", listed(&odd)),
                "one spelling for one family, as each counts as a family of its own; \
                 names with a model file are listed by `wearcast models`",
            ));
        }
        for finding in told {
            self.notes.remark(Table::Parts, None, finding);
        }
    }
}

/// Values of a column that are spelled alike.
fn values_alike<'n>(
    column: &'static str,
    values: impl Iterator<Item = &'n str>,
) -> impl Iterator<Item = Finding> {
    let values: BTreeSet<&str> = values.collect();
    let values: Vec<&str> = values.into_iter().collect();
    let groups = spelling::groups_but_for_case(&values);
    groups.into_iter().map(move |group| {
        Finding::new(
            column,
            ProblemKind::Spelling,
            format!("{}, which are spelled alike", listed(&group)),
            format!("one spelling for one {column}, as each counts as a {column} of its own"),
        )
    })
}

/// `A`, `B` and `C`.
pub(super) fn listed(names: &[&str]) -> String {
    let quoted: Vec<String> = names.iter().map(|name| format!("`{name}`")).collect();
    match quoted.split_last() {
        Some((last, rest)) if !rest.is_empty() => format!("{} and {last}", rest.join(", ")),
        _ => quoted.join(""),
    }
}
