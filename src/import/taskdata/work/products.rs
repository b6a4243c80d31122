//! Products of a set of task data.

use std::collections::BTreeMap;

use roxmltree::Node;

use super::super::{attribute, owned};

/// By id, which should be unique in the file.
pub(super) type Products = BTreeMap<String, Product>;

/// A product.
pub(super) struct Product {
    pub(super) name: Option<String>,
    /// Milligrams a litre.
    pub(super) density: Option<f64>,
    /// Other names that the file gives the same id.
    pub(super) others: Vec<Option<String>>,
    /// How often it stands in the file.
    count: usize,
}

impl Product {
    /// Every name that the file has for its id.
    pub(super) fn names(&self) -> impl Iterator<Item = &str> {
        let all = std::iter::once(&self.name).chain(&self.others);
        all.map(|name| name.as_deref().unwrap_or("no name"))
    }
}

/// Products as they are listed. Of one that stands there twice, the density counts where it is the
/// same each time.
pub(super) fn listed<'a, 'i: 'a>(nodes: impl Iterator<Item = Node<'a, 'i>>) -> Products {
    let mut products = Products::new();
    for node in nodes {
        let Some(id) = owned(node, "A") else { continue };
        let (name, density) = (owned(node, "B"), density(node));
        let new = || Product {
            name: name.clone(),
            density,
            others: Vec::new(),
            count: 0,
        };
        let product = products.entry(id).or_insert_with(new);
        product.count += 1;
        if product.density.map(f64::to_bits) != density.map(f64::to_bits) {
            product.density = None;
        }
        if product.name != name && !product.others.contains(&name) {
            product.others.push(name);
        }
    }
    products
}

fn density(node: Node<'_, '_>) -> Option<f64> {
    let density = attribute(node, "H")?.parse::<f64>().ok();
    density.filter(|d| d.is_finite() && 0.0 < *d)
}

/// Notes which products stand in the file more than once.
pub(super) fn told_twice(products: &Products, notes: &mut Vec<String>) {
    let twice = products.iter().filter(|(_, product)| 1 < product.count);
    let told: Vec<String> = twice.map(|(id, product)| told(id, product)).collect();
    if !told.is_empty() {
        notes.push(format!(
            "Products that stand in the file more than once: {}. Work with one that has several names is set aside.",
            super::super::some_of(&told)
        ));
    }
}

fn told(id: &str, product: &Product) -> String {
    let names: Vec<&str> = product.names().collect();
    format!("{id} ({})", names.join(", "))
}
