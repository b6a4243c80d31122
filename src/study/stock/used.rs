//! What the last full season took, to hold a forecast against.

use std::collections::BTreeMap;

use crate::forecast::Season;
use crate::life::{Ending, Life};
use crate::record::{Amounts, Machine};
use crate::study::Study;
use crate::units::Measure;

/// Pieces that went into machines in the last full season, whatever the reason.
pub(super) struct Used<'a> {
    pub(super) season: Season,
    /// Machines that are asked for and were at work in it or later, and how many of them have records of
    /// all of it.
    pub(super) machines: usize,
    pub(super) covered: usize,
    /// What the machines did in it, by [`Measure::OF_USE`]; `None` where days leave a measure out.
    amounts: [Option<f64>; 3],
    /// By newest part number, those that are or were in service alone.
    by_part: BTreeMap<&'a str, Taken>,
}

/// Pieces taken of one part.
#[derive(Clone, Copy, Debug, Default)]
struct Taken {
    pieces: f64,
    /// Sum of the squares of what each change took: the variance of `pieces`, were changes to fall by chance.
    variance: f64,
}

impl Taken {
    fn add(&mut self, pieces: f64) {
        self.pieces += pieces;
        self.variance += pieces * pieces;
    }
}

impl<'a> Used<'a> {
    /// `None` where the records of no machine that is asked for cover the season.
    pub(super) fn new(study: &'a Study) -> Option<Self> {
        let season = Season::last_full(study.as_of, study.records.settings.season_start());
        let is_asked = |m: &&Machine| {
            study.wants_machine(&m.name)
                && m.in_service <= study.as_of
                && m.retired.is_none_or(|date| season.start <= date)
        };
        let asked: Vec<&Machine> = study.records.machines.iter().filter(is_asked).collect();
        let is_covered = |m: &&&Machine| m.records_from <= season.start;
        let covered = asked.iter().filter(is_covered).count();
        if covered == 0 {
            return None;
        }
        let mut by_part: BTreeMap<&str, Taken> = BTreeMap::new();
        let mut before: Option<&Life> = None;
        for life in &study.built.lives {
            let earlier = before
                .replace(life)
                .filter(|earlier| is_successor(life, earlier));
            if !study.wants_machine(&life.machine) {
                continue;
            }
            let taken = by_part.entry(&life.part).or_default();
            if earlier.is_some() && life.fitted.is_some_and(|date| season.holds(date)) {
                taken.add(life.pieces);
            }
        }
        for change in &study.built.partial {
            if study.wants_machine(&change.machine) && season.holds(change.date) {
                by_part
                    .entry(&change.part)
                    .or_default()
                    .add(change.quantity);
            }
        }
        let wanted = |name: &&str| study.wants_machine(name);
        let days = (study.sums.machines().filter(wanted))
            .flat_map(|name| study.sums.of_machine(name))
            .filter(|day| season.holds(day.date));
        let amounts = days.fold([Some(0.0); 3], |sums, day| {
            let more = Measure::OF_USE.map(|m| day.amounts.get(m));
            std::array::from_fn(|i| Some(sums[i]? + more[i]?))
        });
        Some(Self {
            season,
            machines: asked.len(),
            covered,
            amounts,
            by_part,
        })
    }

    /// Pieces of a part; `None` where none was ever in a machine.
    pub(super) fn of(&self, part: &str) -> Option<f64> {
        Some(self.by_part.get(part)?.pieces)
    }

    /// How many times the season's use is planned, by the first measure in which both are known.
    pub(super) fn times(&self, planned: Amounts) -> Option<(Measure, f64)> {
        let mut measures = Measure::OF_USE.iter().zip(self.amounts);
        measures.find_map(|(measure, used)| {
            let used = used.filter(|used| 0.0 < *used)?;
            Some((*measure, planned.get(*measure)? / used))
        })
    }

    /// Whether so many pieces are far from what the season took, and farther than chance takes it:
    /// by half as much again, and by three standard deviations of the larger of both.
    pub(super) fn is_far_from(&self, part: &str, expected: f64) -> bool {
        // Where many machines were not watched, they may well explain it.
        if 10 * self.covered < 9 * self.machines {
            return false;
        }
        let Some(taken) = self.by_part.get(part) else {
            return false;
        };
        let (low, high) = (taken.pieces.min(expected), taken.pieces.max(expected));
        // Pieces of a change, where any tells.
        let each = if 0.0 < taken.pieces {
            taken.variance / taken.pieces
        } else {
            1.0
        };
        1.5 * low < high && 3.0 * (each * high).sqrt() < high - low
    }
}

/// Whether a part came into the place of another.
fn is_successor(life: &Life, earlier: &Life) -> bool {
    let here = (&life.machine, &life.position, &life.slot);
    let is_there = here == (&earlier.machine, &earlier.position, &earlier.slot);
    is_there && earlier.removed == life.fitted && earlier.ended != Ending::Retired
}
