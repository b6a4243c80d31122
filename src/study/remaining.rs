//! Remaining life of every part in service.

use std::collections::BTreeSet;

use super::advice::Advised;
use super::{Outlook, Study, StudyError};
use crate::forecast::plan::{self, Plan};
use crate::forecast::remaining::remaining;
use crate::forecast::{Season, season};
use crate::report::remaining::{RemainingLine, RemainingReport, ServiceLine, without_mean};

/// Seasons laid out beyond the one forecast, to find the day by which half would be worn.
const SEASONS_BEYOND: i32 = 24;

impl Study {
    /// Remaining life of the parts asked for.
    ///
    /// # Errors
    /// As [`Study::outlook`].
    pub fn remaining(&self) -> Result<RemainingReport, StudyError> {
        let outlook = self.outlook()?;
        let advice = self.advise(&outlook);
        Ok(self.remaining_of(&outlook, &advice))
    }

    /// Remaining life of the parts of an outlook, each with its advice.
    pub(super) fn remaining_of(
        &self,
        outlook: &Outlook,
        advice: &[Option<Advised>],
    ) -> RemainingReport {
        let season = outlook.season;
        let long = self.repeated(&outlook.plan, season);
        let until = Season::ending_in(
            season.year + SEASONS_BEYOND,
            self.records.settings.season_start(),
        );
        let mut in_service = self.gathered(outlook, &long, season, until.end);
        self.filter(&mut in_service);
        let left = remaining(&in_service, &outlook.assessments, season, self.options.seed);
        let parts = left.into_iter().map(|left| {
            let unit = &in_service.units[left.unit];
            let line = &in_service.lines[unit.line];
            RemainingLine {
                machine: in_service.machines[unit.machine].clone(),
                position: unit.position.clone(),
                slot: unit.slot.clone(),
                part: line.part.clone(),
                kit: line.kit.clone(),
                family: line.family.clone(),
                measure: Some(outlook.assessments[unit.family].lives.measure),
                fitted: unit.fitted,
                age: left.age,
                remaining: left.remaining,
                chance_this_season: left.chance_this_season,
                half_worn_date: left.half_worn_date,
                use_is_known: left.use_is_known,
                advice: advice[left.unit].map(|a| a.advice),
                saving: advice[left.unit].and_then(|a| a.saving),
                change_cost: self.change_cost(line, unit.pieces),
                stop_cost: self.stop_cost(line, unit.pieces),
                measured: self.measured_line(outlook, unit, &left.wear_rates),
            }
        });
        let services = outlook.in_service.due.iter().map(|due| {
            let line = &outlook.in_service.lines[due.line];
            ServiceLine {
                machine: outlook.in_service.machines[due.machine].clone(),
                position: due.position.clone(),
                part: line.part.clone(),
                family: line.family.clone(),
                due: due.date,
                pieces: due.pieces,
            }
        });
        let parts: Vec<RemainingLine> = parts.collect();
        let mut notes = outlook.notes(&self.built);
        notes.extend(like_the_first(&long));
        notes.extend(self.unpriced_stops(&parts));
        notes.extend(without_mean(&parts));
        let before = outlook.plan.uses.iter().any(|u| u.until < season.start);
        notes.extend(before.then(|| {
            let now = Season::after(self.as_of, self.records.settings.season_start());
            format!(
                "the chance to wear out counts from today to the end of season {}, the use before that season included, and advice is for today's ages; without `--season` both are for season {}, which ends on {}",
                season.year, now.year, now.end
            )
        }));
        RemainingReport {
            season: Some(season.year),
            units: self.records.settings.units,
            currency: self.records.settings.currency.clone(),
            parts,
            services: services.collect(),
            header: self.header(notes),
        }
    }

    /// Where a stop has no price, running on always looks cheaper.
    fn unpriced_stops(&self, parts: &[RemainingLine]) -> Option<String> {
        let unpriced = parts
            .iter()
            .filter(|p| p.advice.is_some() && p.stop_cost.is_none());
        let families: BTreeSet<String> = unpriced.map(|p| p.family.clone()).collect();
        let settings = &self.records.settings;
        let takes = match (settings.down_cost_per_hour, settings.rush_cost) {
            (Some(_), _) => {
                "hours lost (`down_hours`) beside some of their wear-outs in `replacements`"
            }
            (None, Some(_)) => "their prices in `parts`",
            (None, None) => {
                "`down_cost_per_hour` in settings.toml and hours lost in `replacements`, or `rush_cost`"
            }
        };
        (!families.is_empty()).then(|| {
            format!(
                "what a stop in season costs is not known for {}, so running on looks cheaper than it is: it takes {takes}",
                plan::list(&families)
            )
        })
    }

    /// The plan with its last twelve months repeated for many seasons.
    fn repeated(&self, plan: &Plan, season: Season) -> Plan {
        // A season that has begun is not whole in the plan: the one before or after it is.
        let (model, whole) = if self.as_of < season.start {
            (season, plan.clone())
        } else {
            let next = season.next(self.records.settings.season_start());
            (next, plan::build(self.planning(), next))
        };
        let year = model.year;
        let mut long = plan.clone();
        long.begun.clone_from(&whole.begun);
        if year != season.year {
            long.uses
                .extend(whole.uses.iter().filter(|u| model.holds(u.from)).cloned());
        }
        let last = season.year + SEASONS_BEYOND;
        for years in 1..=last - year {
            let again = whole
                .uses
                .iter()
                .filter(|u| model.holds(u.from))
                .map(|u| plan::years_later(u, years));
            long.uses.extend(again);
        }
        long.uses.sort_by(|a, b| a.machine.cmp(&b.machine));
        debug_assert!(
            long.uses
                .iter()
                .all(|u| u.month == season::month_of(u.month))
        );
        long
    }
}

/// Of which machines a first season that is not over stands for all to come.
fn like_the_first(plan: &Plan) -> Option<String> {
    (!plan.begun.is_empty()).then(|| {
        format!(
            "no full season is on record, so all to come are taken to be like the one under way, as far as it is on record, and the rest as it is planned or as other machines work: {}",
            plan::list(&plan.begun)
        )
    })
}
