//! Parts of unknown age that were there when the records began: what they tell a forecast.
//!
//! A fit leaves them out, as nobody knows their age. But that none of them has worn out in three
//! seasons, or that half of them have, says a good deal about how long they last. A forecast counts
//! it: such a part is one of those that its machine had, and how long it lasts from there is told by
//! the renewal process of them (`found/renewal.rs`).

mod renewal;

use std::ops::Range;

use super::anchor::Anchored;
use super::kernel::Distribution;
use super::posterior::Target;
use crate::wear::effective;
use renewal::Renewals;

/// Such a part, or several alike.
#[derive(Clone, Debug, PartialEq)]
pub struct FoundPart {
    /// About what its machine had done by then, by group; `None` where that may be anything.
    pub before: Option<Vec<f64>>,
    /// Use by group from there until it was last known good.
    pub low: Vec<f64>,
    /// The same until it had worn out; `None` where it has not.
    pub worn: Option<Vec<f64>>,
    /// This many are alike.
    pub count: f64,
}

impl FoundPart {
    fn key(&self) -> impl Iterator<Item = f64> {
        let lists = [self.before.as_ref(), Some(&self.low), self.worn.as_ref()];
        lists
            .into_iter()
            .flat_map(|list| list.map_or(&[f64::NAN][..], Vec::as_slice).iter().copied())
    }

    fn order(&self, other: &Self) -> std::cmp::Ordering {
        let pairs = self.key().zip(other.key());
        let unequal = pairs.map(|(a, b)| a.total_cmp(&b)).find(|o| o.is_ne());
        unequal.unwrap_or(std::cmp::Ordering::Equal)
    }
}

/// All of a family, machine by machine.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Found {
    parts: Vec<FoundPart>,
    /// Each machine's place among those with lives in the fit, where it has any, and its parts; first
    /// those without.
    machines: Vec<(Option<u32>, Range<usize>)>,
}

impl Found {
    /// - `parts`: by machine: its place among the machines with lives in the fit, its name, its parts.
    #[must_use]
    pub fn new(mut parts: Vec<(Option<u32>, &str, FoundPart)>) -> Self {
        parts.sort_by(|a, b| (a.0, a.1).cmp(&(b.0, b.1)).then_with(|| a.2.order(&b.2)));
        let mut out = Self::default();
        let mut of = None;
        for (place, machine, part) in parts {
            let is_new = of != Some(machine);
            if is_new {
                of = Some(machine);
                let at = out.parts.len();
                out.machines.push((place, at..at));
            }
            match out.parts.last_mut() {
                Some(last) if !is_new && last.order(&part).is_eq() => last.count += part.count,
                _ => out.parts.push(part),
            }
            if let Some((_, parts)) = out.machines.last_mut() {
                parts.end = out.parts.len();
            }
        }
        out
    }

    /// Whether there is none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.parts.is_empty()
    }

    /// Number of parts.
    #[must_use]
    pub fn count(&self) -> f64 {
        self.parts.iter().map(|part| part.count).sum()
    }

    /// Of these worn out.
    #[must_use]
    pub fn worn(&self) -> f64 {
        let worn = self.parts.iter().filter(|part| part.worn.is_some());
        worn.map(|part| part.count).sum()
    }

    /// Parts of a machine with lives in the fit.
    pub(super) fn of_machine(&self, place: u32) -> Range<usize> {
        let known = self.machines.binary_search_by_key(&Some(place), |m| m.0);
        known.map_or(0..0, |i| self.machines[i].1.clone())
    }

    /// Parts of each machine without.
    pub(super) fn of_others(&self) -> impl Iterator<Item = Range<usize>> {
        let others = self.machines.iter().take_while(|m| m.0.is_none());
        others.map(|m| m.1.clone())
    }

    /// As parameters have them: `(ln shape, ln scale, ln w_1, ..)`.
    pub(super) fn at(&self, distribution: Distribution, scale: &[f64]) -> FoundAt<'_> {
        let factors: Vec<f64> = super::wear_factors(scale).collect();
        let renewals = Renewals::new(distribution, scale[0]);
        let mean = (scale[1] + renewals.ln_mean()).exp();
        let lives = |used: &[f64]| effective(used, factors.iter().copied()) / mean;
        let exposed = self.parts.iter().map(|part| Exposed {
            before: part.before.as_deref().map_or(f64::INFINITY, lives),
            low: lives(&part.low),
            worn: part.worn.as_deref().map(lives),
            count: part.count,
        });
        FoundAt {
            found: self,
            exposed: exposed.collect(),
            renewals,
        }
    }
}

/// One of them in mean lives.
struct Exposed {
    before: f64,
    low: f64,
    worn: Option<f64>,
    count: f64,
}

/// All of them under one set of parameters.
pub(super) struct FoundAt<'a> {
    pub(super) found: &'a Found,
    exposed: Vec<Exposed>,
    renewals: Renewals,
}

impl FoundAt<'_> {
    /// Log of the chance of what some of them did on a machine with an effect on log life.
    pub(super) fn ln_chance(&self, parts: Range<usize>, effect: f64) -> f64 {
        let shorter = (-effect).exp();
        let chances = self.exposed[parts].iter().map(|part| {
            let worn = part.worn.map(|worn| worn * shorter);
            let (before, low) = (part.before * shorter, part.low * shorter);
            part.count * self.renewals.ln_ends(before, low, worn)
        });
        chances.sum()
    }
}

/// Machines taken as alike, found parts among what is known of them.
pub(super) struct Alike<'a> {
    pub(super) base: &'a Anchored<'a>,
    pub(super) found: &'a Found,
}

impl Target for Alike<'_> {
    fn ln_density(&self, theta: &[f64]) -> f64 {
        let known = self.base.ln_density(theta);
        if !known.is_finite() {
            return known;
        }
        let scale = self.base.to_scale(theta);
        let found = self.found.at(self.base.likelihood.distribution, &scale);
        let sum = known + found.ln_chance(0..self.found.parts.len(), 0.0);
        if sum.is_nan() { f64::NEG_INFINITY } else { sum }
    }
}
