//! The installed lives, as a report.

use std::collections::BTreeMap;

use super::Study;
use crate::family::MeasureChoice;
use crate::life::Life;
use crate::model::assess;
use crate::report::lives::{LifeLine, LivesReport};
use crate::units::Measure;

impl Study {
    /// The lives asked for.
    #[must_use]
    pub fn lives_report(&self) -> LivesReport {
        let lives = self.lives();
        let mut measures: BTreeMap<&str, Measure> = BTreeMap::new();
        for life in &lives {
            measures
                .entry(&life.family)
                .or_insert_with(|| self.measure_of(&life.family));
        }
        let lines = lives.iter().map(|life| {
            let measure = measures[life.family.as_str()];
            line(life, measure, self.groups.reference(measure))
        });
        LivesReport {
            lines: lines.collect(),
            groups: self.groups.names().to_vec(),
            units: self.records.settings.units,
            header: self.header(self.built.notes.clone()),
        }
    }

    /// The measure of a family: its own, or the one the records choose.
    fn measure_of(&self, name: &str) -> Measure {
        let family = self.families.get(name);
        if family.service.is_some() {
            return Measure::Days;
        }
        if let MeasureChoice::Fixed(measure) = family.measure {
            return measure;
        }
        let lives: Vec<&Life> = self
            .built
            .lives
            .iter()
            .filter(|l| l.family == name)
            .collect();
        assess::measured(&family, &lives, &self.groups, &[], &mut Vec::new()).measure
    }
}

fn line(life: &Life, measure: Measure, reference: Option<&str>) -> LifeLine {
    let span = life.filled[measure.index()];
    let groups = if measure == Measure::Days || span.end.is_none() {
        BTreeMap::new()
    } else {
        let uses = life.groups.iter().map(|(name, used)| {
            let at = |a: &crate::record::Amounts| a.get(measure).unwrap_or(0.0);
            (
                name.clone(),
                [at(&used.entry), at(&used.low), at(&used.end)],
            )
        });
        uses.collect()
    };
    LifeLine {
        machine: life.machine.clone(),
        position: life.position.clone(),
        slot: life.slot.clone(),
        part: life.part.clone(),
        family: life.family.clone(),
        material: life.material.clone(),
        fitted: life.fitted,
        removed: life.removed,
        ended: life.ended,
        measure,
        spans: life.spans,
        own: span,
        reference: reference.map(str::to_owned),
        groups,
    }
}
