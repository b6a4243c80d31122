//! What a workbook needs to work a changed plan out by itself: factors, places and their tables.
//!
//! A place is all parts of one number that see the same use of one machine. Its tables say how many
//! changes are expected when its season's use is so many times the planned one.

use super::BudgetReport;
use crate::units::Measure;

/// Everything the formulas stand on.
#[derive(Clone, Debug, PartialEq)]
pub struct Live {
    /// Prices stand at the parts list's level times one plus this.
    pub price_change: f64,
    /// Money for an hour in the shop; `None`: labor is not priced.
    pub labor_rate: Option<f64>,
    /// Money for an hour of field time lost; `None`: not priced.
    pub down_rate: Option<f64>,
    /// Multiples of the plan that the tables hold, ascending from 0.
    pub scales: Vec<f64>,
    /// Product groups of the plan.
    pub groups: Vec<String>,
    /// Wear factors by family.
    pub families: Vec<FamilyFactors>,
    /// By line, then machine.
    pub places: Vec<Place>,
    /// In the order of the report's lines.
    pub lines: Vec<LiveLine>,
    /// By scale, how many spreads the season's money lies above its expectation at 80 %, 90 %, 10 %;
    /// below it, what share of the expectation it lacks, as a negative number.
    pub money: [Vec<f64>; 3],
    /// The same of field hours lost.
    pub down: [Vec<f64>; 3],
    /// The same of the money of each of the report's machines.
    pub machines: Vec<[Vec<f64>; 3]>,
    /// By product group of the report: the season's share over that of the shares by factors.
    pub products: Vec<f64>,
}

/// One family's wear factors.
#[derive(Clone, Debug, PartialEq)]
pub struct FamilyFactors {
    /// Family.
    pub family: String,
    /// What its life is measured in.
    pub measure: Measure,
    /// By product group of the plan, means over what the records leave possible: what expected wear
    /// is worked out by.
    pub factors: Vec<f64>,
    /// By product group of the plan, the wear factors as `fit` and `compare` tell them, but for parts of unknown
    /// age; `None`: none is told.
    pub told: Vec<Option<f64>>,
    /// Whether parts of unknown age count, which `fit` leaves out.
    pub with_found: bool,
    /// Lives the factors and tables rest on, and wear-outs among them.
    pub lives: f64,
    /// Wear-outs among those.
    pub worn: f64,
}

/// Parts of one number with the same use ahead.
#[derive(Clone, Debug, PartialEq)]
pub struct Place {
    /// Place of its machine in the report.
    pub machine: usize,
    /// Bin whose use it sees; `None`: all of the machine's.
    pub bin: Option<String>,
    /// Place of its line in the report.
    pub line: usize,
    /// Place of its family in [`Live::families`]; `None` for scheduled work.
    pub family: Option<usize>,
    /// Positions it holds, in the words of the records.
    pub positions: Vec<String>,
    /// What its use is counted in; days where it goes by the calendar and no plan changes it.
    pub measure: Measure,
    /// What damage is counted in.
    pub clock: Measure,
    /// Pieces a change takes.
    pub pieces: f64,
    /// Expected changes by wear, by scale.
    pub worn: Vec<f64>,
    /// All changes but the decided ones at 80 %, by scale.
    pub p80: Vec<f64>,
    /// Standard deviation of the same, by scale.
    pub sd: Vec<f64>,
    /// Expected changes by damage at the plan.
    pub damage: f64,
    /// Expected times single pieces of a set are changed at the plan.
    pub singles: f64,
    /// Pieces of those.
    pub single_pieces: f64,
    /// Changes that are decided whatever the plan says.
    pub decided: f64,
    /// Scales from which scheduled work falls due once more, ascending; 0: at any use.
    pub due_from: Vec<f64>,
    /// Scheduled or decided jobs with labor of their own, for each of them.
    pub jobs_each: f64,
}

/// What a part number's money and its pieces to order need beside its places.
#[derive(Clone, Debug, PartialEq)]
pub struct LiveLine {
    /// Hours of a job.
    pub labor_hours: Option<f64>,
    /// Field hours a wear-out or damage costs.
    pub down_hours: Option<f64>,
    /// Pieces at 80 %, by scale.
    pub pieces80: Vec<f64>,
    /// Jobs at 80 %, by scale.
    pub jobs80: Vec<f64>,
    /// Changes at 80 %, by scale.
    pub changes80: Vec<f64>,
}

impl Live {
    /// Place of the plan itself among the scales.
    ///
    /// # Panics
    /// Never: the scales hold 1.
    #[must_use]
    pub fn at_plan(&self) -> usize {
        let at = self.scales.iter().position(|s| (s - 1.0).abs() < 1e-12);
        at.expect("the scales hold 1")
    }
}

impl Place {
    /// Scheduled work that falls due at one scale.
    #[must_use]
    pub fn due(&self, scale: f64) -> f64 {
        let due = self.due_from.iter().filter(|s| **s <= scale + 1e-9);
        due.count() as f64
    }
}

impl Live {
    /// Planned use of a place by product group, in one measure and internal units.
    #[must_use]
    pub fn used(&self, report: &BudgetReport, place: &Place, measure: Measure) -> Vec<f64> {
        let machine = &report.machines[place.machine].machine;
        let of = |group: &String| {
            let rows = report.plan.iter().filter(|l| {
                l.machine == *machine
                    && l.group == *group
                    && (place.bin.is_none() || l.bin == place.bin)
            });
            // The sum of nothing is -0, which no cell should show.
            rows.map(|l| l.amounts.get(measure).unwrap_or(0.0))
                .fold(0.0, |sum, amount| sum + amount)
        };
        self.groups.iter().map(of).collect()
    }

    /// Effective exposure of a place by product group: use times factor. Empty of use on the calendar.
    #[must_use]
    pub fn effective(&self, report: &BudgetReport, place: &Place) -> Vec<f64> {
        if place.measure == Measure::Days {
            return vec![0.0; self.groups.len()];
        }
        let mut used = self.used(report, place, place.measure);
        if let Some(family) = place.family {
            for (used, factor) in used.iter_mut().zip(&self.families[family].factors) {
                *used *= factor;
            }
        }
        used
    }

    /// Money by the report's product groups, by effective exposure and mean factors; what has none
    /// goes by the acres of the season.
    #[must_use]
    pub fn shares(&self, report: &BudgetReport, money: impl Fn(&Place) -> f64) -> Vec<f64> {
        let acres = |p: &super::ProductLine| p.acres.unwrap_or(0.0);
        let all: f64 = report.products.iter().map(acres).sum();
        let mut by_group = vec![0.0; self.groups.len()];
        let mut rest = 0.0;
        for place in &self.places {
            let effective = self.effective(report, place);
            let sum: f64 = effective.iter().sum();
            if sum <= 0.0 {
                rest += money(place);
                continue;
            }
            for (group, effective) in by_group.iter_mut().zip(effective) {
                *group += money(place) / sum * effective;
            }
        }
        let share = |p: &super::ProductLine| {
            let group = self.groups.iter().position(|g| *g == p.group);
            let by_acres = if 0.0 < all {
                rest * acres(p) / all
            } else {
                0.0
            };
            group.map_or(0.0, |g| by_group[g]) + by_acres
        };
        report.products.iter().map(share).collect()
    }
}
