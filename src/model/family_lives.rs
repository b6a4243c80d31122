//! What a fit sees of one family's lives, and which of them it cannot see.

use std::collections::BTreeSet;

use crate::life::Life;
use crate::units::Measure;
use crate::wear::Groups;

use super::found::{Found, FoundPart};
use super::observations::{End, Observation, Observations};

/// How many lives there are, of which sort.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Counts {
    /// Lives in the fit: worn and censored.
    pub lives: f64,
    /// Of these worn out.
    pub worn: f64,
    /// Of these not worn out.
    pub censored: f64,
    /// Of these first seen with use behind them.
    pub late_entry: f64,
    /// Of these with days whose use is filled in from past rates.
    pub filled: f64,
    /// Kept out of the fit: nobody knows when they began.
    pub start_unknown: f64,
    /// Kept out of the fit: some of their use is not recorded in this measure.
    pub use_unknown: f64,
    /// Of these worn out.
    pub use_unknown_worn: f64,
    /// Of these again, what they did while they were under observation is recorded: what they did
    /// before would let them count.
    pub before_unknown_worn: f64,
    /// Kept out of the fit: said to have worn out without any use.
    pub no_use: f64,
}

/// The lives of one family in one measure.
#[derive(Clone, Debug, PartialEq)]
pub struct FamilyLives {
    /// The measure.
    pub measure: Measure,
    /// Product groups, the reference first; only that one where the measure has no groups.
    pub groups: Vec<String>,
    /// Machines with lives in the fit, sorted.
    pub machines: Vec<String>,
    /// Number of machines with parts of the family, whether a fit can see their lives or not.
    pub n_machines: usize,
    /// What the fit sees.
    pub observations: Observations,
    /// Parts of unknown age that were found in machines, which a forecast counts.
    pub found: Found,
    /// How many, of which sort.
    pub counts: Counts,
}

impl FamilyLives {
    /// Place of a machine among those with lives.
    #[must_use]
    pub fn place_of(&self, machine: &str) -> Option<usize> {
        self.machines
            .binary_search_by(|m| m.as_str().cmp(machine))
            .ok()
    }
}

/// The lives of `family` in `measure`, with the groups that they or `also` saw.
#[must_use]
pub fn family_lives(
    lives: &[&Life],
    measure: Measure,
    groups: &Groups,
    also: &[String],
) -> FamilyLives {
    let lives: Vec<(&Life, usize)> = lives.iter().map(|l| (*l, 0)).collect();
    leveled_lives(&lives, 1, measure, groups, also)
}

/// The same for lives of several levels, such as two materials: each with its level, of which there
/// are `n_levels`; level 0 is what the others are held against.
#[must_use]
pub fn leveled_lives(
    leveled: &[(&Life, usize)],
    n_levels: usize,
    measure: Measure,
    groups: &Groups,
    also: &[String],
) -> FamilyLives {
    let lives: Vec<&Life> = leveled.iter().map(|(life, _)| *life).collect();
    let lives = lives.as_slice();
    let names = group_names(lives, measure, groups, also);
    let mut counts = Counts::default();
    let mut kept = Vec::new();
    for (life, level) in leveled {
        if life.fitted.is_none() {
            counts.start_unknown += 1.0;
            continue;
        }
        let span = life.filled[measure.index()];
        let (Some(entry), Some(low), Some(end)) = (span.entry, span.low, span.end) else {
            counts.use_unknown += 1.0;
            let is_seen = span.entry.is_none() && life.observed[measure.index()].is_some();
            counts.use_unknown_worn += f64::from(u8::from(life.ended.is_wear()));
            counts.before_unknown_worn += f64::from(u8::from(life.ended.is_wear() && is_seen));
            continue;
        };
        if life.ended.is_wear() && end <= low {
            counts.no_use += 1.0;
            continue;
        }
        counts.lives += 1.0;
        counts.worn += f64::from(u8::from(life.ended.is_wear()));
        counts.late_entry += f64::from(u8::from(0.0 < entry));
        counts.filled += f64::from(u8::from(life.spans[measure.index()] != span));
        kept.push((*life, *level));
    }
    counts.censored = counts.lives - counts.worn;
    // Of the lives in the fit alone: a machine without any has no effect of its own among the draws.
    let mut machines: Vec<String> = kept.iter().map(|(l, _)| l.machine.clone()).collect();
    machines.sort();
    machines.dedup();
    let all: BTreeSet<&str> = lives.iter().map(|l| l.machine.as_str()).collect();
    let place = |life: &Life| {
        let machine = machines.binary_search(&life.machine).ok();
        machine.and_then(|m| u32::try_from(m).ok())
    };
    let rows = kept
        .iter()
        .map(|(life, level)| (observation(life, measure, &names, place(life)), *level))
        .collect();
    let columns = groups.places(&names);
    let found = lives.iter().filter_map(|life| {
        let part = found_part(life, measure, &columns)?;
        Some((place(life), life.machine.as_str(), part))
    });
    FamilyLives {
        measure,
        found: Found::new(found.collect()),
        observations: Observations::leveled(names.len(), n_levels, rows),
        groups: names,
        n_machines: all.len(),
        machines,
        counts,
    }
}

/// What a part of unknown age tells; `None` where that is nothing.
fn found_part(life: &Life, measure: Measure, columns: &[Option<usize>]) -> Option<FoundPart> {
    let used = life.found.as_ref()?[measure.index()].as_ref()?;
    let of_family = |used: &Vec<f64>| -> Vec<f64> {
        if measure == Measure::Days {
            return used.clone();
        }
        let of = |column: &Option<usize>| column.map_or(0.0, |c| used[c]);
        columns.iter().map(of).collect()
    };
    let (low, end) = (of_family(&used.low), of_family(&used.end));
    let worn = life.ended.is_wear();
    // Nothing wears out without use, and what has seen none says nothing.
    let last = if worn { &low } else { &[0.0][..] };
    if end.iter().sum::<f64>() <= last.iter().sum::<f64>() {
        return None;
    }
    Some(FoundPart {
        before: used.before.as_ref().map(of_family),
        low,
        worn: worn.then_some(end),
        count: 1.0,
    })
}

/// Whether a life counts in a measure: when it began and what it saw are known.
#[must_use]
pub fn is_known(life: &Life, measure: Measure) -> bool {
    let span = life.filled[measure.index()];
    let known = (span.entry.zip(span.low)).zip(span.end);
    life.fitted.is_some() && known.is_some_and(|((_, low), end)| !life.ended.is_wear() || low < end)
}

fn group_names(lives: &[&Life], measure: Measure, groups: &Groups, also: &[String]) -> Vec<String> {
    let Some(reference) = groups.reference(measure) else {
        return vec![String::new()];
    };
    let seen = |name: &String| {
        lives.iter().any(|l| {
            l.groups
                .get(name)
                .and_then(|g| g.end.get(measure))
                .is_some_and(|use_| 0.0 < use_)
        })
    };
    let mut names = vec![reference.to_owned()];
    names.extend(
        groups
            .names()
            .iter()
            .filter(|n| n.as_str() != reference && (seen(n) || also.contains(n)))
            .cloned(),
    );
    names
}

fn observation(
    life: &Life,
    measure: Measure,
    names: &[String],
    machine: Option<u32>,
) -> Observation {
    let known = if life.ended.is_wear() {
        End::Between
    } else {
        End::Censored
    };
    let span = life.filled[measure.index()];
    if measure == Measure::Days {
        let only = |value: Option<f64>| vec![value.unwrap_or(0.0)];
        return Observation {
            entry: only(span.entry),
            low: only(span.low),
            end: only(span.end),
            known,
            count: 1.0,
            machine,
        };
    }
    // A group that a life of known use never saw is absent: none of it was spread.
    let by_group = |pick: fn(&crate::life::GroupUse) -> crate::record::Amounts| -> Vec<f64> {
        names
            .iter()
            .map(|n| {
                life.groups
                    .get(n)
                    .and_then(|g| pick(g).get(measure))
                    .unwrap_or(0.0)
            })
            .collect()
    };
    Observation {
        entry: by_group(|g| g.entry),
        low: by_group(|g| g.low),
        end: by_group(|g| g.end),
        known,
        count: 1.0,
        machine,
    }
}
