//! Records to installed lives, by the rules that DEVELOPERS.md states.
//!
//! Use on the day of a replacement belongs to the part taken out. A wear-out is known to the day
//! at best: it lies between the exposure before its last day of use and the exposure at removal,
//! or since it was last looked at and found good.

use std::collections::{BTreeMap, BTreeSet};
use std::rc::Rc;

use chrono::{Days, NaiveDate};

use super::exposure::UseSums;
use super::found::FoundUse;
use super::supersession::Supersession;
use super::use_path::UsePath;
use super::window::Window;
use super::{Ending, GroupUse, Life, Span};
use crate::family::{Counted, Families, Family};
use crate::record::{Installed, Machine, Position, Reason, Records, Replacement};
use crate::units::Measure;
use crate::wear::Groups;

/// Pieces changed in a position that is counted as a set, fewer than it holds: the set lives on.
#[derive(Clone, Debug, PartialEq)]
pub struct PartialChange {
    /// The day.
    pub date: NaiveDate,
    /// Machine.
    pub machine: String,
    /// Position.
    pub position: String,
    /// Which of its pieces, where the row says.
    pub slot: Option<String>,
    /// Newest number of the part.
    pub part: String,
    /// Family.
    pub family: String,
    /// Pieces.
    pub quantity: f64,
    /// Why.
    pub reason: Reason,
}

impl PartialChange {
    /// Whether it was a piece of the set whose life this is.
    #[must_use]
    pub fn is_of(&self, life: &Life) -> bool {
        (&life.machine, &life.position) == (&self.machine, &self.position)
            && life.since <= self.date
            && life.removed.is_none_or(|removed| self.date <= removed)
    }
}

/// Lives, and what building them brought to light.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Built {
    /// By machine, position, slot and date.
    pub lives: Vec<Life>,
    /// By date.
    pub partial: Vec<PartialChange>,
    /// Sentences for the results.
    pub notes: Vec<String>,
}

/// What the builder looks things up in.
#[derive(Clone, Copy, Debug)]
pub struct Context<'a> {
    /// The records.
    pub records: &'a Records,
    /// The families.
    pub families: &'a Families,
    /// The product groups.
    pub groups: &'a Groups,
    /// Daily use, up to `as_of`.
    pub sums: &'a UseSums,
    /// Part numbers.
    pub supersession: &'a Supersession,
    /// Records after this date are not yet known.
    pub as_of: NaiveDate,
}

impl Context<'_> {
    /// Family and material of a part number, successors included.
    #[must_use]
    pub fn family_of(&self, part: &str) -> (Family, Option<String>) {
        let newest = self.supersession.newest(part);
        let listed = self
            .records
            .part(newest)
            .or_else(|| self.records.part(part));
        let name = listed.map_or("", |p| p.family.as_str());
        // The material is that of the number that was fitted, where the list still has it.
        let fitted = self.records.part(part).or(listed);
        (
            self.families.get(name),
            fitted.and_then(|p| p.material.clone()),
        )
    }
}

/// Machine and bin whose use a position sees.
type Seen<'a> = (&'a str, Option<&'a str>);

/// Builds every life of the records.
#[must_use]
pub fn build(context: Context<'_>) -> Built {
    let mut built = Built::default();
    let mut oldest_first = 0;
    let mut changes: BTreeMap<(&str, &str), Vec<&Replacement>> = BTreeMap::new();
    for change in context
        .records
        .replacements
        .iter()
        .filter(|r| r.date <= context.as_of)
    {
        changes
            .entry((change.machine.as_str(), change.position.as_str()))
            .or_default()
            .push(change);
    }
    let named = named_slots(context);
    let mut last: Option<(Seen<'_>, Rc<UsePath>)> = None;
    for position in &context.records.positions {
        let Some(machine) = context.records.machine(&position.machine) else {
            continue;
        };
        if context.as_of < machine.in_service {
            continue;
        }
        let key = (position.machine.as_str(), position.name.as_str());
        let changes = changes.get(&key).map_or(&[][..], Vec::as_slice);
        // Positions of one machine and bin follow each other, and see the same use.
        let seen = (machine.name.as_str(), position.bin.as_deref());
        let path = match &last {
            Some((of, path)) if *of == seen => Rc::clone(path),
            _ => Rc::new(context.sums.path(seen.0, seen.1)),
        };
        last = Some((seen, Rc::clone(&path)));
        let mut history = History::new(context, (machine, position), path);
        for day in changes.chunk_by(|a, b| a.date == b.date) {
            history.apply(day);
        }
        oldest_first += history.oldest_first;
        let named = named.get(&key).map_or(&[][..], Vec::as_slice);
        history.finish(named, &mut built);
    }
    built
        .partial
        .sort_by(|a, b| (a.date, &a.machine, &a.position).cmp(&(b.date, &b.machine, &b.position)));
    add_notes(&mut built, context, oldest_first);
    built
}

/// Slots that inspections name, by machine and position.
fn named_slots(context: Context<'_>) -> BTreeMap<(&str, &str), Vec<&String>> {
    let mut named: BTreeMap<(&str, &str), Vec<&String>> = BTreeMap::new();
    let rows = context.records.inspections.iter();
    for row in rows.filter(|i| i.date <= context.as_of) {
        let key = (row.machine.as_str(), row.position.as_str());
        named.entry(key).or_default().extend(&row.slot);
    }
    named
}

fn add_notes(built: &mut Built, context: Context<'_>, oldest_first: u32) {
    if 0 < oldest_first {
        built.notes.push(format!(
            "replacements that do not say which slot they were in, so the oldest part is taken as the one changed: {oldest_first}"
        ));
    }
    let before = |p: &&Position| {
        Measure::OF_USE
            .iter()
            .any(|m| p.before.get(*m).is_some_and(|b| 0.0 < b))
    };
    let before = context.records.positions.iter().filter(before).count();
    if 0 < before && 1 < context.groups.names().len() {
        built.notes.push(format!(
            "what went over parts before the records began counts as the reference product, as nobody wrote down what it was; `--reference` names another: {before} positions"
        ));
    }
    if !built.partial.is_empty() {
        let families: BTreeSet<&str> = built.partial.iter().map(|c| c.family.as_str()).collect();
        let families: Vec<&str> = families.into_iter().collect();
        built.notes.push(format!(
            "replacements of fewer pieces than a position counted as a set holds, so the set's life goes on: {} ({}); where one half is changed without the other, each is a position of its own, and where pieces wear out one by one, `counted = \"each\"` in the family's model file gives each a life",
            built.partial.len(),
            families.join(", ")
        ));
    }
    let waiting: Vec<&str> = context
        .records
        .machines
        .iter()
        .filter(|m| context.as_of < m.in_service)
        .map(|m| m.name.as_str())
        .collect();
    let comes = |p: &&Position| matches!(p.installed, Installed::On(date) if context.as_of < date);
    let later = context.records.positions.iter().filter(comes);
    let later = later.filter(|p| !waiting.contains(&p.machine.as_str()));
    let later: Vec<String> = later
        .map(|p| format!("{} of {}", p.name, p.machine))
        .collect();
    if !later.is_empty() {
        built.notes.push(format!(
            "fitted after {}, and so in no figure: {}; a later `--as-of` counts them",
            context.as_of,
            later.join(", ")
        ));
    }
    if !waiting.is_empty() {
        built.notes.push(format!(
            "not yet in service on {}: {}",
            context.as_of,
            waiting.join(", ")
        ));
    }
}

/// A part in its place.
pub(super) struct Slot {
    pub(super) label: Option<String>,
    pub(super) part: String,
    /// `None`: nobody knows.
    pub(super) fitted: Option<NaiveDate>,
    /// The first day it can have been fitted, where only a stretch is known.
    pub(super) fitted_from: Option<NaiveDate>,
    /// Whether it was there when the position's records begin.
    pub(super) first: bool,
}

/// One position while its changes are gone through.
pub(super) struct History<'a> {
    pub(super) context: Context<'a>,
    pub(super) machine: &'a Machine,
    pub(super) position: &'a Position,
    pub(super) path: Rc<UsePath>,
    as_set: bool,
    slots: Vec<Slot>,
    /// With the place of their slot.
    lives: Vec<(usize, Life)>,
    partial: Vec<PartialChange>,
    oldest_first: u32,
}

impl<'a> History<'a> {
    fn new(
        context: Context<'a>,
        (machine, position): (&'a Machine, &'a Position),
        path: Rc<UsePath>,
    ) -> Self {
        let (family, _) = context.family_of(&position.part);
        let as_set = family.counted == Counted::Set;
        let n_slots = if as_set {
            1
        } else {
            (position.quantity.round() as usize).max(1)
        };
        let fitted = match position.installed {
            Installed::On(date) => Some(date),
            Installed::Unknown => None,
        };
        let slot = || Slot {
            label: None,
            part: position.part.clone(),
            fitted,
            fitted_from: None,
            first: true,
        };
        let begun = fitted.is_none_or(|date| date <= context.as_of);
        Self {
            context,
            machine,
            position,
            path,
            as_set,
            slots: if begun {
                (0..n_slots).map(|_| slot()).collect()
            } else {
                Vec::new()
            },
            lives: Vec::new(),
            partial: Vec::new(),
            oldest_first: 0,
        }
    }

    /// Takes in the changes of one day.
    fn apply(&mut self, changes: &[&Replacement]) {
        if !self.as_set {
            for change in changes {
                for index in self.chosen(change) {
                    self.renew(index, change);
                }
            }
            return;
        }
        // A slot named without a quantity is one piece; rows of one day may make up the set.
        let pieces = |c: &Replacement| {
            let whole = self.position.quantity;
            c.quantity.unwrap_or(if c.slot.is_some() {
                whole.min(1.0)
            } else {
                whole
            })
        };
        let sum: f64 = changes.iter().map(|c| pieces(c)).sum();
        if self.position.quantity <= sum && !self.slots.is_empty() {
            let worn = changes.iter().find(|c| c.reason.is_wear());
            if let Some(change) = worn.or(changes.first()) {
                self.renew(0, change);
            }
            return;
        }
        for change in changes {
            let quantity = pieces(change);
            self.keep_partial(change, quantity);
        }
    }

    fn keep_partial(&mut self, change: &Replacement, quantity: f64) {
        let part = change.part.as_deref();
        let part = part.unwrap_or_else(|| self.slots.first().map_or("", |s| &s.part));
        self.partial.push(PartialChange {
            date: change.date,
            machine: self.machine.name.clone(),
            position: self.position.name.clone(),
            slot: change.slot.clone(),
            part: self.context.supersession.newest(part).to_owned(),
            family: self.context.family_of(part).0.name,
            quantity,
            reason: change.reason,
        });
    }

    /// Which slots a change is about: the one it names, or the oldest.
    fn chosen(&mut self, change: &Replacement) -> Vec<usize> {
        let mut by_age: Vec<usize> = (0..self.slots.len()).collect();
        // Nobody knows how old a part of unknown age is; it was there first, so it goes first.
        by_age.sort_by_key(|i| (self.slots[*i].fitted, *i));
        if let Some(name) = &change.slot {
            let labelled = self
                .slots
                .iter()
                .position(|s| s.label.as_ref() == Some(name));
            // `3` is the third of them until another name is given to it.
            let counted = name
                .parse::<usize>()
                .ok()
                .and_then(|n| n.checked_sub(1))
                .filter(|i| self.slots.get(*i).is_some_and(|s| s.label.is_none()));
            let free = by_age
                .iter()
                .copied()
                .find(|i| self.slots[*i].label.is_none());
            let index = labelled.or(counted).or(free);
            if let Some(index) = index {
                self.slots[index].label = Some(name.clone());
            }
            return index.into_iter().collect();
        }
        let count = change
            .quantity
            .map_or(self.slots.len(), |q| q.round() as usize);
        if count < self.slots.len() {
            self.oldest_first += 1;
        }
        by_age.truncate(count);
        by_age
    }

    fn renew(&mut self, index: usize, change: &Replacement) {
        let ended = match change.reason {
            Reason::Worn => Ending::Worn,
            Reason::Broken => Ending::Broken,
            Reason::Planned => Ending::Planned,
            Reason::Damage => Ending::Damage,
            Reason::Upgrade => Ending::Upgrade,
        };
        // What was changed while serviceable, on some day of a stretch, lasted up to its first at least.
        let first = change.date_from.filter(|_| !ended.is_wear());
        let seen = first.map_or(change.date, |first| first - Days::new(1));
        let mut life = self.life(index, seen, ended, change.last_good);
        life.removed = Some(change.date);
        self.lives.push((index, life));
        let slot = &mut self.slots[index];
        if let Some(part) = &change.part {
            slot.part.clone_from(part);
        }
        slot.fitted = Some(change.date);
        slot.fitted_from = change.date_from;
        slot.first = false;
    }

    /// - `named`: slots that inspections name, in their order.
    fn finish(mut self, named: &[&String], built: &mut Built) {
        let retired = self
            .machine
            .retired
            .filter(|date| *date <= self.context.as_of);
        let (until, ended) = match retired {
            Some(date) => (date, Ending::Retired),
            None => (self.context.as_of, Ending::Running),
        };
        for index in 0..self.slots.len() {
            let life = self.life(index, until, ended, None);
            self.lives.push((index, life));
        }
        self.name_inspected(named);
        // Names given to a slot late belong to its earlier lives as well.
        let names: Vec<_> = (0..self.slots.len()).map(|i| self.slot_name(i)).collect();
        let mut lives = std::mem::take(&mut self.lives);
        lives.sort_by_key(|(index, life)| (*index, life.fitted));
        built
            .lives
            .extend(lives.into_iter().map(|(index, mut life)| {
                life.slot.clone_from(&names[index]);
                life
            }));
        built.partial.append(&mut self.partial);
    }

    /// Slots that no replacement has named take the names that inspections give, in their order.
    fn name_inspected(&mut self, named: &[&String]) {
        for name in named.iter().copied() {
            let numbered = name
                .parse::<usize>()
                .is_ok_and(|n| (1..=self.slots.len()).contains(&n));
            if numbered || self.slots.iter().any(|s| s.label.as_ref() == Some(name)) {
                continue;
            }
            if let Some(free) = self.slots.iter_mut().find(|s| s.label.is_none()) {
                free.label = Some(name.clone());
            }
        }
    }

    fn slot_name(&self, index: usize) -> Option<String> {
        if self.slots.len() < 2 {
            return None;
        }
        Some(
            self.slots[index]
                .label
                .clone()
                .unwrap_or_else(|| (index + 1).to_string()),
        )
    }

    /// The life of the part in a slot up to `until`.
    fn life(
        &self,
        index: usize,
        until: NaiveDate,
        ended: Ending,
        last_good: Option<NaiveDate>,
    ) -> Life {
        let slot = &self.slots[index];
        let (family, material) = self.context.family_of(&slot.part);
        let window = Window::new(self, slot, until, ended, last_good);
        let mut filled = [Span::default(); 4];
        let mut groups: BTreeMap<String, GroupUse> = BTreeMap::new();
        let mut spans = filled;
        if slot.fitted.is_some() {
            filled[Measure::Days.index()] = window.days(&self.path);
            for measure in Measure::OF_USE {
                filled[measure.index()] = window.span(self, measure, &mut groups);
            }
            spans = filled;
            for measure in Measure::OF_USE {
                let high = window.high(&self.path);
                if !self.path.is_recorded(measure, window.earliest(), high) {
                    let span = &mut spans[measure.index()];
                    (span.low, span.end) = (None, None);
                }
            }
        }
        Life {
            machine: self.machine.name.clone(),
            position: self.position.name.clone(),
            slot: None,
            part: self.context.supersession.newest(&slot.part).to_owned(),
            number: slot.part.clone(),
            family: family.name,
            material,
            fitted: slot.fitted,
            removed: (ended != Ending::Running).then_some(until),
            ended,
            pieces: if self.as_set {
                self.position.quantity
            } else {
                1.0
            },
            since: window.since,
            spans,
            filled,
            observed: window.observed(&self.path),
            groups,
            found: slot
                .fitted
                .is_none()
                .then(|| Box::new(FoundUse::of(self, &window))),
        }
    }
}
