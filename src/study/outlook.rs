//! Everything a forecast rests on, and what holds of each of its lines.

use std::collections::BTreeSet;

use super::kits::KitMates;
use crate::degradation::Measured;
use crate::forecast::Season;
use crate::forecast::day_sizes::DaySizes;
use crate::forecast::plan::Plan;
use crate::forecast::unit::InService;
use crate::life::build::Built;
use crate::model::assess::Assessment;

/// Everything a forecast rests on.
#[derive(Clone, Debug)]
pub struct Outlook {
    /// The season.
    pub season: Season,
    /// Use to come.
    pub plan: Plan,
    /// Use of a season that is whole, where the one forecast is not and ages may rest on it.
    pub whole: Option<(Season, Plan)>,
    /// Sizes of the days on record.
    pub sizes: DaySizes,
    /// Machines of which nothing is recorded.
    pub silent: BTreeSet<String>,
    /// One for each wearing family, by name.
    pub assessments: Vec<Assessment>,
    /// What inspections tell.
    pub measured: Measured,
    /// Everything in service that is asked for.
    pub in_service: InService,
    /// What is not asked for, but done together with some that is.
    pub(super) kit_mates: KitMates,
}

/// What holds of each line, in the order of those in service.
#[derive(Clone, Debug, Default)]
pub(crate) struct LineStates {
    /// Whether anything of it is in service on machines asked for.
    pub(crate) in_use: Vec<bool>,
    /// Whether the use that wears it, and its life, are known.
    pub(crate) known: Vec<bool>,
}

impl Outlook {
    /// Goes through everything in service once.
    pub(crate) fn line_states(&self) -> LineStates {
        let service = &self.in_service;
        let mut states = LineStates {
            in_use: vec![false; service.lines.len()],
            known: vec![true; service.lines.len()],
        };
        for unit in &service.units {
            states.in_use[unit.line] = true;
            states.known[unit.line] &= service.can_forecast(unit, &self.assessments);
        }
        for (_, line) in &service.scheduled {
            states.in_use[*line] = true;
        }
        for (_, line) in &service.unclear {
            states.in_use[*line] = true;
            states.known[*line] = false;
        }
        states
    }

    /// Notes of every step so far.
    #[must_use]
    pub fn notes(&self, built: &Built) -> Vec<String> {
        let mut notes = self.past_limits();
        notes.extend(self.plan.notes.iter().cloned());
        notes.extend(self.in_service.notes.iter().cloned());
        notes.extend(built.notes.iter().cloned());
        notes.extend(self.measured.inspected.notes.iter().cloned());
        let in_service = |i: usize| self.in_service.units.iter().any(|u| u.family == i);
        for (i, assessment) in self.assessments.iter().enumerate() {
            if in_service(i) {
                notes.extend(super::goodness::misfit(assessment));
                notes.extend(assessment.notes.iter().cloned());
            }
        }
        notes
    }
}
