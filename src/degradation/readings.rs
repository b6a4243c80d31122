//! Inspections to readings of lives: whose reading it is, how far on the way to the limit, and the
//! use it had by then. Every row is used, or kept with the reason why no forecast uses it.

mod notes;

use std::collections::BTreeMap;

use chrono::{Days, NaiveDate};

use super::{scale, swap};
use crate::family::WearLimit;
use crate::life::Life;
use crate::life::build::{Built, Context, PartialChange};
use crate::life::use_path::UsePath;
use crate::model::assess::Assessment;
use crate::record::Inspection;
use crate::units::Measure;

/// Share of the way from new up to which a reading on the day of a replacement is near new (our own
/// choice, no source).
const NEAR_NEW: f64 = 0.1;
/// Share of the way to a limit in percent up to which a reading is rather a fraction: the limit itself
/// would read 0.01 of the way, and no tape tells so little from nothing (our own choice, no source).
const FRACTION: f64 = 0.015;

/// One reading of one life.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// Row of its table.
    pub row: u32,
    /// The day.
    pub date: NaiveDate,
    /// Which of several pieces, where the row says so.
    pub slot: Option<String>,
    /// In the unit of the family's limit.
    pub value: f64,
    /// Share of the way from new (0) to the limit (1); above 1 it is past the limit.
    pub share: f64,
    /// Use since new, by the family's groups; `None`: not known.
    pub used: Option<Vec<f64>>,
    /// Whether the row says which of several parts it is of, where there are several. A reading past the
    /// limit that does not is taken to be of the oldest, and tells nothing of how it wore.
    pub is_own: bool,
}

/// The readings of one life.
#[derive(Clone, Debug, PartialEq)]
pub struct MeasuredLife {
    /// Place of the life in [`Built::lives`].
    pub life: usize,
    /// Place of its family in the assessments.
    pub family: usize,
    /// By date, the worst of a day last; those before an unrecorded swap are left out.
    pub readings: Vec<Reading>,
    /// Use that an unrecorded swap took away, by the family's groups; zero where there was none.
    pub skipped: Vec<f64>,
    /// Day of the first reading after an unrecorded swap.
    pub swapped: Option<NaiveDate>,
}

impl MeasuredLife {
    /// The last reading at or past the limit; wear does not heal, so one is enough.
    #[must_use]
    pub fn past_limit(&self) -> Option<&Reading> {
        self.readings.iter().rev().find(|r| 1.0 <= r.share)
    }

    /// Use since new (or since the swap) and share of each reading whose use is known.
    #[must_use]
    pub fn path(&self) -> Vec<(Vec<f64>, f64)> {
        let of = |r: &Reading| {
            let used = r.used.as_ref()?;
            let since = used.iter().zip(&self.skipped).map(|(u, s)| u - s);
            Some((since.collect(), r.share))
        };
        let own = self.readings.iter().filter(|r| r.is_own);
        own.filter_map(of).collect()
    }
}

/// A row that no forecast uses.
#[derive(Clone, Debug, PartialEq)]
pub struct Unused {
    /// Row of its table.
    pub row: u32,
    /// Why, to follow a colon.
    pub why: String,
}

/// What inspections tell.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Inspected {
    /// In the order of their lives.
    pub lives: Vec<MeasuredLife>,
    /// By row.
    pub unused: Vec<Unused>,
    /// Sentences for the results.
    pub notes: Vec<String>,
}

impl Inspected {
    /// The readings of the life at that place of [`Built::lives`].
    #[must_use]
    pub fn of_life(&self, life: usize) -> Option<&MeasuredLife> {
        self.lives
            .binary_search_by_key(&life, |m| m.life)
            .ok()
            .map(|i| &self.lives[i])
    }
}

/// Sorts the inspections up to the as-of date into the lives they were taken of.
///
/// - `assessments`: one for each wearing family, by name.
#[must_use]
pub fn gather(context: Context<'_>, built: &Built, assessments: &[Assessment]) -> Inspected {
    let mut places: BTreeMap<(&str, &str), Vec<usize>> = BTreeMap::new();
    for (i, life) in built.lives.iter().enumerate() {
        let key = (life.machine.as_str(), life.position.as_str());
        places.entry(key).or_default().push(i);
    }
    let mut gatherer = Gatherer {
        context,
        built,
        assessments,
        places,
        paths: BTreeMap::new(),
        by_life: BTreeMap::new(),
        unused: Vec::new(),
        timeless: Vec::new(),
        without_unit: Vec::new(),
        of_oldest: Vec::new(),
        fractions: Vec::new(),
    };
    let rows = context.records.inspections.iter();
    let mut rows: Vec<&Inspection> = rows.filter(|i| i.date <= context.as_of).collect();
    // Day by day, as a reading on the day of a replacement is held against those before it.
    rows.sort_by_key(|i| (i.date, i.row));
    for row in rows {
        if let Err(why) = gatherer.take(row) {
            gatherer.unused.push(Unused { row: row.row, why });
        }
    }
    gatherer.finish()
}

/// A row as a reading of some life.
#[derive(Clone, Copy)]
struct Read {
    /// Place of the family in the assessments.
    family: usize,
    value: f64,
    share: f64,
}

struct Gatherer<'a> {
    context: Context<'a>,
    built: &'a Built,
    assessments: &'a [Assessment],
    /// Lives of each position.
    places: BTreeMap<(&'a str, &'a str), Vec<usize>>,
    /// Use of each machine and bin that has readings.
    paths: BTreeMap<(&'a str, Option<&'a str>), UsePath>,
    by_life: BTreeMap<usize, (usize, Vec<Reading>)>,
    unused: Vec<Unused>,
    /// Rows of readings of which nobody knows the use by then.
    timeless: Vec<u32>,
    without_unit: Vec<u32>,
    of_oldest: Vec<u32>,
    /// Readings in percent that look like fractions.
    fractions: Vec<u32>,
}

impl<'a> Gatherer<'a> {
    fn take(&mut self, row: &'a Inspection) -> Result<(), String> {
        let there = self.life_of(row)?;
        let of_there = self.read(row, there);
        let (place, read) = match self.of_the_part_put_in(row, there, of_there.as_ref().ok()) {
            Some((new, read)) => (new, read),
            // Without a reading: of a family that nobody asked for.
            None => match of_there? {
                Some(read) => (there, read),
                None => return Ok(()),
            },
        };
        if row.slot.is_none() && self.built.lives[place].slot.is_some() {
            self.of_oldest.push(row.row);
        }
        if row.unit.is_none() {
            self.without_unit.push(row.row);
        }
        let (built, assessments) = (self.built, self.assessments);
        let limit = assessments[read.family].family.wear.as_ref();
        if limit.is_some_and(|limit| looks_like_a_fraction(read.share, limit)) {
            self.fractions.push(row.row);
        }
        let reading = Reading {
            row: row.row,
            date: row.date,
            slot: row.slot.clone(),
            value: read.value,
            share: read.share,
            used: self.used(&built.lives[place], row.date, &assessments[read.family]),
            is_own: row.slot.is_some() || built.lives[place].slot.is_none(),
        };
        let of_life = self.by_life.entry(place);
        of_life.or_insert((read.family, Vec::new())).1.push(reading);
        Ok(())
    }

    /// A row as a reading of a life; nothing where its family was not asked for.
    fn read(&self, row: &Inspection, place: usize) -> Result<Option<Read>, String> {
        let life = &self.built.lives[place];
        let assessments = self.assessments;
        let Ok(family) = assessments.binary_search_by(|a| a.family.name.cmp(&life.family)) else {
            if self.context.families.get(&life.family).service.is_none() {
                return Ok(None);
            }
            return Err(format!("family {} is changed by schedule", life.family));
        };
        let Some(limit) = &assessments[family].family.wear else {
            return Err(format!(
                "family {} has no limit on measured wear (`[wear]` in a model file)",
                life.family
            ));
        };
        let value = value(row, limit)?;
        Ok(Some(Read {
            family,
            value,
            share: (value - limit.new) / (limit.limit - limit.new),
        }))
    }

    /// On the day of a replacement, the life that began and its reading, where the row tells of the
    /// part put in: it is nearer to new than to what the part taken out last read. Where that one
    /// has no earlier reading, only what is near new is certain.
    fn of_the_part_put_in(
        &self,
        row: &Inspection,
        old: usize,
        of_old: Option<&Option<Read>>,
    ) -> Option<(usize, Read)> {
        let taken_out = &self.built.lives[old];
        if taken_out.removed != Some(row.date) {
            return None;
        }
        let key = (taken_out.machine.as_str(), taken_out.position.as_str());
        let new = self.places.get(&key)?.iter().copied().find(|i| {
            let life = &self.built.lives[*i];
            *i != old && life.slot == taken_out.slot && life.fitted == Some(row.date)
        })?;
        let read = self.read(row, new).ok()??;
        let earlier = self.by_life.get(&old).map_or(&[][..], |(_, r)| r);
        let last = earlier.iter().rev().find(|r| r.date < row.date);
        let is_new = match (of_old.copied().flatten(), last) {
            (Some(of_old), Some(last)) => of_old.share < last.share / 2.0,
            _ => read.share <= NEAR_NEW,
        };
        is_new.then_some((new, read))
    }

    /// The life that was in that place on that day; on the day of a replacement the part taken out,
    /// unless the reading says otherwise.
    fn life_of(&self, row: &Inspection) -> Result<usize, String> {
        let here = self
            .places
            .get(&(row.machine.as_str(), row.position.as_str()));
        let here = here.map_or(&[][..], Vec::as_slice);
        let lives = || here.iter().map(|i| (*i, &self.built.lives[*i]));
        let several = lives().any(|(_, l)| l.slot.is_some());
        let in_place = |l: &Life| l.slot.is_none() || l.slot == row.slot;
        let there = |l: &Life| {
            // A first part is there from its first day on; of a later one that day is not its own.
            let begun = l.fitted.is_none_or(|f| {
                if l.since <= f {
                    f <= row.date
                } else {
                    f < row.date
                }
            });
            begun && l.removed.is_none_or(|r| row.date <= r)
        };
        if several && row.slot.is_none() {
            // One of them is past it, and the oldest is the likeliest.
            let oldest = lives().filter(|(_, l)| there(l));
            let oldest = oldest.min_by_key(|(_, l)| (l.fitted, l.slot.clone()));
            let past = |i: usize| matches!(self.read(row, i), Ok(Some(read)) if 1.0 <= read.share);
            return oldest
                .map(|(i, _)| i)
                .filter(|i| past(*i))
                .ok_or_else(|| "it does not say which of several parts was measured".to_owned());
        }
        if several && !lives().any(|(_, l)| in_place(l)) {
            return Err("its slot is none of those the position has".to_owned());
        }
        lives()
            .find(|(_, l)| in_place(l) && there(l))
            .map(|(i, _)| i)
            .ok_or_else(|| "no part was in that place on that day".to_owned())
    }

    /// Use since new at the end of a day, by the family's groups.
    fn used(&mut self, life: &'a Life, date: NaiveDate, of: &Assessment) -> Option<Vec<f64>> {
        let measure = of.lives.measure;
        let fitted = life.fitted?;
        if measure == Measure::Days {
            return Some(vec![(date - fitted).num_days().max(0) as f64]);
        }
        let context = self.context;
        life.filled[measure.index()].entry?;
        // Readings older than the log: nobody knows the use by then.
        if date + Days::new(1) < life.since {
            return None;
        }
        let position = context.records.position(&life.machine, &life.position)?;
        let key = (life.machine.as_str(), position.bin.as_deref());
        let path = self
            .paths
            .entry(key)
            .or_insert_with(|| context.sums.path(key.0, key.1));
        let from = path.days_until(life.since - Days::new(1));
        let to = path.days_until(date).max(from);
        if !path.is_known(measure, from, to) {
            return None;
        }
        let recorded = path.recorded(measure, from, to);
        let of_group = |name: &String| {
            let before = life.groups.get(name).and_then(|g| g.entry.get(measure));
            let place = context.groups.names().binary_search(name).ok();
            before.unwrap_or(0.0) + place.map_or(0.0, |g| recorded[g])
        };
        Some(of.lives.groups.iter().map(of_group).collect())
    }

    fn finish(mut self) -> Inspected {
        let mut out = Inspected::default();
        for (life, (family, mut readings)) in std::mem::take(&mut self.by_life) {
            readings.sort_by(|a, b| {
                let order = a.date.cmp(&b.date).then(a.share.total_cmp(&b.share));
                order.then(a.row.cmp(&b.row))
            });
            if 1.0 < self.built.lives[life].pieces {
                self.leave_out_replaced_pieces(life, &mut readings);
                self.leave_the_worst_piece(&mut readings);
            }
            let n_groups = self.assessments[family].lives.groups.len();
            let mut measured = MeasuredLife {
                life,
                family,
                readings,
                skipped: vec![0.0; n_groups],
                swapped: None,
            };
            self.cut_at_swap(&mut measured, &mut out.notes);
            let timeless = measured.readings.iter().filter(|r| r.used.is_none());
            self.timeless.extend(timeless.map(|r| r.row));
            out.lives.push(measured);
        }
        self.unused.sort_by_key(|u| u.row);
        self.of_oldest.sort_unstable();
        self.timeless.sort_unstable();
        self.fractions.sort_unstable();
        self.notes(&mut out.notes);
        out.unused = self.unused;
        out
    }

    /// What a piece read that was replaced since, and of which the set goes on, says nothing of it any more:
    /// the piece that the change names, or else what was at its limit.
    fn leave_out_replaced_pieces(&mut self, life: usize, readings: &mut Vec<Reading>) {
        let life = &self.built.lives[life];
        let changes = self
            .built
            .partial
            .iter()
            .filter(|change| change.is_of(life));
        let changes: Vec<&PartialChange> = changes.collect();
        let is_gone = |reading: &mut Reading| {
            changes.iter().any(|change| {
                let is_it = match &change.slot {
                    Some(_) => reading.slot == change.slot,
                    None => 1.0 <= reading.share,
                };
                is_it && reading.date <= change.date
            })
        };
        let gone = readings.extract_if(.., is_gone).map(|r| Unused {
            row: r.row,
            why: "of a piece of a set that was replaced since".to_owned(),
        });
        self.unused.extend(gone);
    }

    /// Pieces of a set wear each for itself, and the set goes with the worst: the path is that of the piece whose last
    /// reading is furthest. A reading past the limit counts whatever piece it is of.
    fn leave_the_worst_piece(&mut self, readings: &mut Vec<Reading>) {
        let mut last: BTreeMap<&Option<String>, f64> = BTreeMap::new();
        for reading in &*readings {
            last.insert(&reading.slot, reading.share);
        }
        let worst = last.iter().max_by(|a, b| a.1.total_cmp(b.1));
        let Some(worst) = worst.map(|(slot, _)| (*slot).clone()) else {
            return;
        };
        let is_other = |r: &mut Reading| r.slot != worst && r.share < 1.0;
        self.unused
            .extend(
                readings.extract_if(.., is_other).map(|r| Unused {
                    row: r.row,
                    why: "of another piece than the worst of its set, with which the set goes"
                        .to_owned(),
                }),
            );
        for reading in readings.iter_mut().filter(|r| r.slot != worst) {
            reading.is_own = false;
        }
    }

    /// Sets aside the readings before the last unrecorded swap.
    fn cut_at_swap(&mut self, measured: &mut MeasuredLife, notes: &mut Vec<String>) {
        let days: Vec<&[Reading]> = measured
            .readings
            .chunk_by(|a, b| a.date == b.date)
            .collect();
        let mean = |day: &&[Reading]| day.iter().map(|r| r.share).sum::<f64>() / day.len() as f64;
        let means: Vec<f64> = days.iter().map(mean).collect();
        let Some(first) = swap::last(&means) else {
            return;
        };
        let kept: usize = days[..first].iter().map(|d| d.len()).sum();
        let after = measured.readings.split_off(kept);
        let before = std::mem::replace(&mut measured.readings, after);
        let (last, next) = (&before[kept - 1], &measured.readings[0]);
        let life = &self.built.lives[measured.life];
        let limit = self.assessments[measured.family].family.wear.as_ref();
        let unit = limit.map_or("", |w| w.unit.as_str());
        notes.push(format!(
            "{} row {}: {} of {} went from {} {unit} on {} back to {} {unit} on {}, so the part was probably swapped without a row in `replacements`: the readings before count for no part in service, and its use counts from {}; the life itself stands as recorded, so write the replacement down",
            self.source(),
            next.row,
            limit.map_or("wear", |w| w.measure.as_str()),
            place_of(life),
            last.value,
            last.date,
            next.value,
            next.date,
            last.date,
        ));
        measured.swapped = Some(next.date);
        if let Some(used) = &last.used {
            measured.skipped.clone_from(used);
        }
        self.unused.extend(before.iter().map(|r| Unused {
            row: r.row,
            why: "taken before the part was swapped".to_owned(),
        }));
    }
}

/// The reading in the unit of the limit.
fn value(row: &Inspection, limit: &WearLimit) -> Result<f64, String> {
    let same = |a: &str, b: &str| a.trim().to_lowercase() == b.trim().to_lowercase();
    if !same(&row.measure, &limit.measure) {
        return Err(format!(
            "it measures {}, the limit is on {}",
            row.measure, limit.measure
        ));
    }
    let Some(unit) = &row.unit else {
        return Ok(row.value);
    };
    scale::factor(unit, &limit.unit)
        .map(|f| row.value * f)
        .ok_or_else(|| {
            format!(
                "its unit {unit} cannot be turned into {} for certain",
                limit.unit
            )
        })
}

/// Whether a reading in percent is more likely a hundredth of what was meant.
fn looks_like_a_fraction(share: f64, limit: &WearLimit) -> bool {
    scale::is_percent(&limit.unit)
        && limit.new.abs() < f64::EPSILON
        && 0.0 < share
        && share <= FRACTION
}

fn place_of(life: &Life) -> String {
    let slot = life.slot.as_ref().map(|s| format!(", {s}"));
    format!(
        "{}: {}{}",
        life.machine,
        life.position,
        slot.unwrap_or_default()
    )
}
