//! Wear and cost side by side: products, machines, materials, sites, any column.

use super::{Estimate, Header};
use crate::units::{Measure, Units};

/// What is held against what.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Compared {
    /// Product groups, by their wear factors.
    Products,
    /// Machines, by their effects on life, shrunk towards the typical machine.
    Machines,
    /// The values of a column, by life at the same effective exposure.
    Values,
}

/// Wear and cost side by side.
#[derive(Clone, Debug, PartialEq)]
pub struct CompareReport {
    /// What every result says.
    pub header: Header,
    /// Units for people.
    pub units: Units,
    /// Currency sign or code.
    pub currency: String,
    /// The column compared by, as the records write it.
    pub by: String,
    /// The table the column is in; `None` for product groups.
    pub table: Option<&'static str>,
    /// What is held against what.
    pub compared: Compared,
    /// By family.
    pub families: Vec<CompareFamily>,
    /// Wear of all families together, by product group; empty unless products are compared.
    pub totals: Vec<ProductTotal>,
    /// All families together, by machine or value; `None` for products, and unless there are several.
    pub together: Option<CompareTogether>,
    /// How many p-values stand in the table, which Holm's correction is over.
    pub comparisons: usize,
}

/// One family.
#[derive(Clone, Debug, PartialEq)]
pub struct CompareFamily {
    /// Family.
    pub family: String,
    /// What its lives are measured in.
    pub measure: Measure,
    /// The first is what the others are held against, where there is such a one.
    pub rows: Vec<CompareRow>,
}

/// One value in one family; what is `None` the records cannot tell.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CompareRow {
    /// The value; `None`: not recorded.
    pub value: Option<String>,
    /// Whether the others are held against it.
    pub is_base: bool,
    /// Lives in the fit.
    pub lives: f64,
    /// Of these worn out.
    pub worn: f64,
    /// Wear of a unit of use against the base.
    pub wear_factor: Option<Estimate>,
    /// Life at the same effective exposure against the base: one over the wear factor.
    pub life_ratio: Option<Estimate>,
    /// Half are worn out by this, at the reference group; for products, at that group.
    pub life50: Option<Estimate>,
    /// Parts and labor of one change.
    pub change_cost: Option<f64>,
    /// Long-run money an acre of the machines that carry the family.
    pub cost_per_acre: Option<Estimate>,
    /// The same a short ton; products only.
    pub cost_per_ton: Option<Estimate>,
    /// Cost per acre against the base.
    pub cost_ratio: Option<Estimate>,
    /// Whether a change costs more than one of the base; `None` where either is unknown or both
    /// cost the same.
    pub dearer: Option<bool>,
    /// Chance that the dearer of this and the base costs less per acre.
    pub chance_dearer_pays: Option<f64>,
    /// Chance that it lasts longer than the base.
    pub chance_longer: Option<f64>,
    /// Wear-outs more, of this and the base together, that would settle it; 0 where it is settled.
    pub more_to_settle: Option<f64>,
    /// Likelihood-ratio p-value of there being no difference.
    pub p_value: Option<f64>,
    /// The same, corrected by Holm over all comparisons of the table.
    pub p_holm: Option<f64>,
    /// What a reader of this row must know.
    pub note: Option<String>,
}

/// All parts of a machine or value together.
#[derive(Clone, Debug, PartialEq)]
pub struct CompareTogether {
    /// Families that are in it: their lives are of two values at least, and set limits on a model.
    pub families: Vec<String>,
    /// Those that wear out most first.
    pub rows: Vec<TogetherRow>,
}

/// Wear-outs of all parts of one machine or value.
#[derive(Clone, Debug, PartialEq)]
pub struct TogetherRow {
    /// The value; `None`: not recorded.
    pub value: Option<String>,
    /// Wear-outs seen.
    pub worn: f64,
    /// Wear of a unit of its work against the average.
    pub wear_factor: Estimate,
    /// Chance of a count as far from the expected one where there is no difference.
    pub p_value: f64,
    /// The same, corrected by Holm over the values.
    pub p_holm: Option<f64>,
}

/// What a product group costs in wear, all wearing families together.
#[derive(Clone, Debug, PartialEq)]
pub struct ProductTotal {
    /// Product group.
    pub group: String,
    /// Long-run money an acre of it.
    pub cost_per_acre: Option<Estimate>,
    /// A short ton of it.
    pub cost_per_ton: Option<Estimate>,
}
