//! Part families as the model files describe them, before any records.

use super::{Estimate, Header};
use crate::family::{Counted, DistributionChoice, MeasureChoice, Service, WearLimit};

/// Families, by name.
#[derive(Clone, Debug, PartialEq)]
pub struct ModelsReport {
    /// What every result says.
    pub header: Header,
    /// Whether one family was asked for, to be explained in full.
    pub in_full: bool,
    /// By name.
    pub families: Vec<ModelLine>,
}

/// One family.
#[derive(Clone, Debug, PartialEq)]
pub struct ModelLine {
    /// Its name in the parts list.
    pub family: String,
    /// Whether it is the program's own, word for word.
    pub built_in: bool,
    /// Words for people.
    pub description: String,
    /// What a life is measured in.
    pub measure: MeasureChoice,
    /// What a life is a life of.
    pub counted: Counted,
    /// The life distribution.
    pub distribution: DistributionChoice,
    /// Life by which half have worn out, at the reference group; `None`: nothing is assumed.
    pub life50: Option<Estimate>,
    /// Shape; `None`: nothing is assumed.
    pub shape: Option<Estimate>,
    /// Wear factor of any product group; `None`: nothing is assumed.
    pub wear_factor: Option<Estimate>,
    /// A limit on measured wear.
    pub wear: Option<WearLimit>,
    /// Changed by schedule rather than by wear.
    pub service: Option<Service>,
    /// Where the figures come from.
    pub source: Option<String>,
    /// What to mind when measuring or changing it.
    pub caution: Option<String>,
}
