//! Installed lives: from the fitting of a part to its removal, with everything that hides their ends.

pub mod bare;
pub mod build;
pub mod exposure;
pub mod found;
pub mod rates;
pub mod supersession;
pub mod use_path;
mod window;

use std::collections::BTreeMap;

use chrono::NaiveDate;

use crate::record::Amounts;
use found::FoundUse;

/// How a life ended, or that it has not.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Ending {
    /// Worn to its limit.
    Worn,
    /// Broke from wear.
    Broken,
    /// Changed while still serviceable.
    Planned,
    /// Struck, bent, burnt.
    Damage,
    /// Changed for a better one.
    Upgrade,
    /// Its machine left the fleet.
    Retired,
    /// Still in service.
    Running,
}

impl Ending {
    /// Every ending.
    pub const ALL: [Self; 7] = [
        Self::Worn,
        Self::Broken,
        Self::Planned,
        Self::Damage,
        Self::Upgrade,
        Self::Retired,
        Self::Running,
    ];

    /// The word in files and JSON.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Worn => "worn",
            Self::Broken => "broken",
            Self::Planned => "planned",
            Self::Damage => "damage",
            Self::Upgrade => "upgrade",
            Self::Retired => "retired",
            Self::Running => "running",
        }
    }

    /// Whether the life ended by wear; every other ending only says that it lasted at least so long.
    #[must_use]
    pub fn is_wear(self) -> bool {
        matches!(self, Self::Worn | Self::Broken)
    }
}

/// Exposure at three moments of a life, since the part was new; `None` where it is not known.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Span {
    /// When it came under observation: 0 for a part fitted while the records ran.
    pub entry: Option<f64>,
    /// When it was last known to be good; equal to `end` unless it wore out.
    pub low: Option<f64>,
    /// At removal, or now.
    pub end: Option<f64>,
}

/// Use of one product group at the same three moments.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct GroupUse {
    /// When the part came under observation.
    pub entry: Amounts,
    /// When it was last known to be good.
    pub low: Amounts,
    /// At removal, or now.
    pub end: Amounts,
}

/// One installed life.
#[derive(Clone, Debug, PartialEq)]
pub struct Life {
    /// Machine.
    pub machine: String,
    /// Position on the machine.
    pub position: String,
    /// Which of several; `None` where the position holds one, or is counted as a set.
    pub slot: Option<String>,
    /// Part number, the newest that supersedes what was written.
    pub part: String,
    /// Part number that was fitted, as written.
    pub number: String,
    /// Family.
    pub family: String,
    /// Material of the part list.
    pub material: Option<String>,
    /// Day it was fitted; `None`: nobody knows.
    pub fitted: Option<NaiveDate>,
    /// Day it was taken out; `None`: still in service.
    pub removed: Option<NaiveDate>,
    /// How it ended.
    pub ended: Ending,
    /// First day on which its use is recorded.
    pub since: NaiveDate,
    /// Pieces that share this life: 1, or all the position holds where counted as a set.
    pub pieces: f64,
    /// What is on record, by [`crate::units::Measure::index`]; `None` where any of it is not.
    pub spans: [Span; 4],
    /// What a fit rests on: the same, with days that leave a measure out filled in from past rates.
    pub filled: [Span; 4],
    /// What it did while it was under observation, filled in likewise; known also of a part of which nobody
    /// knows when it was fitted.
    pub observed: [Option<f64>; 4],
    /// Use by product group, filled in likewise.
    pub groups: BTreeMap<String, GroupUse>,
    /// Of a part of which nobody knows when it was fitted: what is on record of it.
    pub found: Option<Box<[Option<FoundUse>; 4]>>,
}
