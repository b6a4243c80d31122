//! Remaining life of the parts in service.

use chrono::NaiveDate;

use super::{Estimate, Forecast, Header};
use crate::decide::Advice;
use crate::units::{Measure, Units};

/// Every part in service.
#[derive(Clone, Debug, PartialEq)]
pub struct RemainingReport {
    /// What every result says.
    pub header: Header,
    /// The season that ends in this year; `None` where no plan stands behind the ages.
    pub season: Option<i32>,
    /// Units for people.
    pub units: Units,
    /// Currency of all money.
    pub currency: String,
    /// By machine, position and slot.
    pub parts: Vec<RemainingLine>,
    /// Scheduled work due by the end of the season.
    pub services: Vec<ServiceLine>,
}

impl RemainingReport {
    /// What the changes advised come to, in a sentence; `money` writes an amount.
    #[must_use]
    pub fn changes_in_words(&self, money: impl Fn(f64) -> String) -> Option<String> {
        let advised = |line: &&RemainingLine| line.advice == Some(Advice::ReplaceNow);
        let costs: Vec<Option<f64>> = (self.parts.iter().filter(advised))
            .map(|line| line.change_cost)
            .collect();
        let known: Vec<f64> = costs.iter().copied().flatten().collect();
        if known.is_empty() {
            return None;
        }
        let parts = match costs.len() {
            1 => "the part".to_owned(),
            n => format!("the {n} parts"),
        };
        let more = if known.len() < costs.len() {
            ", and what has no price"
        } else {
            ""
        };
        let in_kits = self
            .parts
            .iter()
            .filter(advised)
            .filter(|l| l.kit.is_some());
        let kit = if 1 < in_kits.count() {
            "; parts of one kit share labor, and come to less"
        } else {
            ""
        };
        Some(format!(
            "Changing {parts} marked so now comes to {} in parts and labor{more}{kit}. `wearcast budget --policy advised` is the season with it.",
            money(known.iter().sum())
        ))
    }

    /// Whether any part in service was measured.
    #[must_use]
    pub fn any_measured(&self) -> bool {
        self.parts.iter().any(|line| line.measured.is_some())
    }
}

/// One part in service.
#[derive(Clone, Debug, PartialEq)]
pub struct RemainingLine {
    /// Machine.
    pub machine: String,
    /// Position.
    pub position: String,
    /// Which of several.
    pub slot: Option<String>,
    /// Part number.
    pub part: String,
    /// Kit: what is done together with it on the machine.
    pub kit: Option<String>,
    /// Family.
    pub family: String,
    /// What its life is measured in; `None` where a bare table does not say.
    pub measure: Option<Measure>,
    /// Day it was fitted; `None`: nobody knows.
    pub fitted: Option<NaiveDate>,
    /// Use so far, all groups added up, in `measure`; `None`: nobody knows.
    pub age: Option<f64>,
    /// Use left at the planned mix of products, in `measure`.
    pub remaining: Forecast,
    /// Chance that it wears out by the end of the season; `None` without a plan.
    pub chance_this_season: Option<f64>,
    /// Day by which it is as likely worn as not; `None`: far off, or unknown.
    pub half_worn_date: Option<NaiveDate>,
    /// Whether all of the use to come is known, so that no such day is far off.
    pub use_is_known: bool,
    /// What to do before the season; `None` where a cost or the use to come is not known.
    pub advice: Option<Advice>,
    /// Expected money saved by replacing now; below 0 where running on is cheaper.
    pub saving: Option<f64>,
    /// Parts and labor of changing it; `None` where a price or the labor is not known.
    pub change_cost: Option<f64>,
    /// What its wearing out in season costs more than the same work before it; `None` where neither
    /// lost field time nor rush is priced.
    pub stop_cost: Option<f64>,
    /// Its measured wear; `None` where nobody measured it.
    pub measured: Option<MeasuredLine>,
}

impl RemainingLine {
    /// Mean use left; `None` where a few draws outweigh all others, so that it lies above 95 of 100 of
    /// them and another seed gives another.
    #[must_use]
    pub fn expected(&self) -> Option<f64> {
        Some(self.remaining.expected).filter(|mean| *mean <= self.remaining.p95)
    }
}

/// Of how many parts no mean can be told.
pub(crate) fn without_mean(parts: &[RemainingLine]) -> Option<String> {
    let count = parts.iter().filter(|p| p.expected().is_none()).count();
    (0 < count).then(|| {
        format!(
            "`expected` use left is left out where so few wear-outs are behind it that a few draws outweigh all others: {count}; go by `p50`"
        )
    })
}

/// Measured wear of one part.
#[derive(Clone, Debug, PartialEq)]
pub struct MeasuredLine {
    /// What is measured.
    pub measure: String,
    /// Its unit.
    pub unit: String,
    /// The last reading.
    pub reading: f64,
    /// Its day.
    pub date: NaiveDate,
    /// Reading of a new part.
    pub new: f64,
    /// Reading at which it is worn out.
    pub limit: f64,
    /// Last day on which it was read at or past the limit; `None`: never.
    pub past_limit: Option<NaiveDate>,
    /// Readings of this part.
    pub readings: usize,
    /// Change of the reading over 1,000 units of use, at the planned mix; `None` where no use
    /// stands behind the readings.
    pub rate_per_1000: Option<Estimate>,
    /// Whether what is left rests on the readings as well as on the family.
    pub used: bool,
}

impl MeasuredLine {
    /// The last reading as a share of the way from new (0) to the limit (1).
    #[must_use]
    pub fn share(&self) -> f64 {
        (self.reading - self.new) / (self.limit - self.new)
    }
}

/// Scheduled work.
#[derive(Clone, Debug, PartialEq)]
pub struct ServiceLine {
    /// Machine.
    pub machine: String,
    /// Position.
    pub position: String,
    /// Part number.
    pub part: String,
    /// Family.
    pub family: String,
    /// Day it falls due.
    pub due: NaiveDate,
    /// Pieces it takes.
    pub pieces: f64,
}
