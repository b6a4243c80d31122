//! Installed lives.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use super::Header;
use crate::life::{Ending, Span};
use crate::units::{Measure, Units};

/// Every life asked for.
#[derive(Clone, Debug, PartialEq)]
pub struct LivesReport {
    /// What every result says.
    pub header: Header,
    /// Units for people.
    pub units: Units,
    /// Product groups, sorted.
    pub groups: Vec<String>,
    /// By machine, position, slot and date.
    pub lines: Vec<LifeLine>,
}

/// One installed life.
#[derive(Clone, Debug, PartialEq)]
pub struct LifeLine {
    /// Machine.
    pub machine: String,
    /// Position.
    pub position: String,
    /// Which of several.
    pub slot: Option<String>,
    /// Newest part number.
    pub part: String,
    /// Family.
    pub family: String,
    /// Material.
    pub material: Option<String>,
    /// Day it was fitted; `None`: nobody knows.
    pub fitted: Option<NaiveDate>,
    /// Day it was taken out; `None`: still in service.
    pub removed: Option<NaiveDate>,
    /// How it ended.
    pub ended: Ending,
    /// The measure of its family.
    pub measure: Measure,
    /// By [`Measure::index`].
    pub spans: [Span; 4],
    /// In its own measure, with days that leave it out filled in from past rates: what a fit rests on.
    pub own: Span,
    /// The group that counts as 1 in its measure; `None` where the measure has no groups.
    pub reference: Option<String>,
    /// Use by group at entry, when last known good and at the end, in the family's measure;
    /// empty where that is not known.
    pub groups: BTreeMap<String, [f64; 3]>,
}
