//! Everything measured: the readings of each life, and what they say of each family's paths.

use std::collections::BTreeSet;

use super::family_path::{FamilyPath, PartPath};
use super::readings::{self, Inspected, MeasuredLife};
use crate::life::build::{Built, Context};
use crate::life::{GroupUse, Life};
use crate::model::assess::{Assessment, name_hash};
use crate::model::family_lives::is_known;
use crate::model::posterior::Draws;
use crate::record::Amounts;
use crate::units::Measure;
use crate::wear::effective;

/// What inspections tell of lives and families.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Measured {
    /// Readings by life.
    pub inspected: Inspected,
    /// Paths by family, in the order of the assessments; `None` without readings or draws.
    pub paths: Vec<Option<FamilyPath>>,
}

impl Measured {
    /// Sorts the inspections into lives and learns each family's paths from them.
    ///
    /// - `assessments`: one for each wearing family, by name.
    /// - `silent`: machines of which nothing is recorded.
    #[must_use]
    pub fn of(
        context: Context<'_>,
        built: &Built,
        assessments: &[Assessment],
        silent: &BTreeSet<String>,
        seed: u64,
    ) -> Self {
        let mut inspected = readings::gather(context, built, assessments);
        let path = |(family, assessment): (usize, &Assessment)| {
            let own = |m: &&MeasuredLife| m.family == family;
            let center = Center::of(assessment.draws.as_ref()?);
            let read = inspected.lives.iter().filter(own);
            let mut parts: Vec<PartPath> = read
                .map(|m| center.path(m, &built.lives[m.life], assessment))
                .collect();
            if parts.is_empty() {
                return None;
            }
            let of_family = |l: &(usize, &Life)| l.1.family == assessment.family.name;
            let lives = built.lives.iter().enumerate().filter(of_family);
            let unread = lives.filter(|(i, life)| {
                inspected.of_life(*i).is_none() && !silent.contains(&life.machine)
            });
            parts.extend(unread.filter_map(|(_, life)| center.unread(life, assessment)));
            FamilyPath::of(&parts, seed ^ name_hash(&assessment.family.name))
        };
        let paths: Vec<Option<FamilyPath>> = assessments.iter().enumerate().map(path).collect();
        for (path, assessment) in paths.iter().zip(assessments) {
            if path.as_ref().is_some_and(|p| !p.fitted) {
                inspected.notes.push(format!(
                    "{}: gauge and wander as assumed beforehand, since the readings led to no peak",
                    assessment.family.name
                ));
            }
        }
        Self { inspected, paths }
    }
}

/// A family's middle: wear factors at their medians, and the median life.
struct Center {
    factors: Vec<f64>,
    life: f64,
}

impl Center {
    fn of(draws: &Draws) -> Self {
        let median = |quantity: &dyn Fn(&[f64]) -> f64| {
            let sorted = draws.sorted(quantity);
            sorted[sorted.len() / 2]
        };
        let n_factors = draws.get(0).len() - 2;
        let half = -(0.5_f64.ln());
        let standard = draws.distribution.inverse(half);
        Self {
            factors: std::iter::once(1.0)
                .chain((0..n_factors).map(|g| median(&|theta| theta[2 + g]).exp()))
                .collect(),
            life: median(&|theta| theta[1] + standard / theta[0].exp()).exp(),
        }
    }

    /// Effective exposure as a multiple of the median life.
    fn exposure(&self, used: &[f64]) -> f64 {
        effective(used, self.factors.iter().copied()) / self.life
    }

    fn path(&self, measured: &MeasuredLife, life: &Life, of: &Assessment) -> PartPath {
        let of_reading = |(u, z): &(Vec<f64>, f64)| (self.exposure(u), *z);
        // Where an unrecorded swap was found, the life on record is that of two parts: only the readings
        // since are one's own.
        let is_one = measured.swapped.is_none();
        let ends = is_one.then(|| Ends::of(life, of)).flatten();
        PartPath {
            readings: measured.path().iter().map(of_reading).collect(),
            ..self.bare(ends.as_ref(), life)
        }
    }

    /// A life that nobody measured; `None` where its fit could not see it either.
    fn unread(&self, life: &Life, of: &Assessment) -> Option<PartPath> {
        let path = self.bare(Some(&Ends::of(life, of)?), life);
        (0.0 < path.end).then_some(path)
    }

    fn bare(&self, ends: Option<&Ends>, life: &Life) -> PartPath {
        let is_wear = life.ended.is_wear();
        PartPath {
            readings: Vec::new(),
            entry: ends.map_or(0.0, |e| self.exposure(&e.entry)),
            low: ends.filter(|_| is_wear).map(|e| self.exposure(&e.low)),
            end: ends.map_or(0.0, |e| self.exposure(&e.end)),
        }
    }
}

/// Use when first seen, when last good and at the end, by the family's groups.
struct Ends {
    entry: Vec<f64>,
    low: Vec<f64>,
    end: Vec<f64>,
}

impl Ends {
    /// `None` where the fit of lives cannot see the life either.
    fn of(life: &Life, of: &Assessment) -> Option<Self> {
        let measure = of.lives.measure;
        if !is_known(life, measure) {
            return None;
        }
        let span = life.filled[measure.index()];
        let (entry, low, end) = (span.entry?, span.low?, span.end?);
        if measure == Measure::Days {
            return Some(Self {
                entry: vec![entry],
                low: vec![low],
                end: vec![end],
            });
        }
        let by_group = |pick: fn(&GroupUse) -> Amounts| -> Vec<f64> {
            let of_group = |name: &String| life.groups.get(name).and_then(|g| pick(g).get(measure));
            let groups = of.lives.groups.iter();
            groups.map(|name| of_group(name).unwrap_or(0.0)).collect()
        };
        Some(Self {
            entry: by_group(|g| g.entry),
            low: by_group(|g| g.low),
            end: by_group(|g| g.end),
        })
    }
}
