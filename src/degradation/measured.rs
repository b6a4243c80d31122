//! Everything measured: the readings of each life, and what they say of each family's paths.

use super::family_path::{FamilyPath, PartPath};
use super::readings::{self, Inspected, MeasuredLife};
use crate::life::Life;
use crate::life::build::{Built, Context};
use crate::model::assess::{Assessment, name_hash};
use crate::model::posterior::Draws;
use crate::units::Measure;

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
    #[must_use]
    pub fn of(context: Context<'_>, built: &Built, assessments: &[Assessment], seed: u64) -> Self {
        let mut inspected = readings::gather(context, built, assessments);
        let path = |(family, assessment): (usize, &Assessment)| {
            let own = |m: &&MeasuredLife| m.family == family;
            let center = Center::of(assessment.draws.as_ref()?);
            let parts: Vec<PartPath> = inspected
                .lives
                .iter()
                .filter(own)
                .map(|m| center.path(m, &built.lives[m.life], assessment))
                .collect();
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
        used.iter()
            .zip(&self.factors)
            .map(|(u, w)| u * w)
            .sum::<f64>()
            / self.life
    }

    fn path(&self, measured: &MeasuredLife, life: &Life, of: &Assessment) -> PartPath {
        let readings = measured.path();
        let (low, end) = if measured.swapped.is_some() {
            // The life on record is that of two parts: only the readings since are one's own.
            (None, None)
        } else {
            ends(life, of)
        };
        PartPath {
            readings: readings
                .iter()
                .map(|(u, z)| (self.exposure(u), *z))
                .collect(),
            low: low
                .filter(|_| life.ended.is_wear())
                .map(|u| self.exposure(&u)),
            end: end.map_or(0.0, |u| self.exposure(&u)),
        }
    }
}

/// Use when last good and at the end, by the family's groups; `None`: not known.
fn ends(life: &Life, of: &Assessment) -> (Option<Vec<f64>>, Option<Vec<f64>>) {
    let measure = of.lives.measure;
    let span = life.filled[measure.index()];
    if life.fitted.is_none() {
        return (None, None);
    }
    if measure == Measure::Days {
        return (span.low.map(|d| vec![d]), span.end.map(|d| vec![d]));
    }
    let by_group = |pick: fn(&crate::life::GroupUse) -> crate::record::Amounts| -> Vec<f64> {
        let of_group = |name: &String| life.groups.get(name).and_then(|g| pick(g).get(measure));
        let groups = of.lives.groups.iter();
        groups.map(|name| of_group(name).unwrap_or(0.0)).collect()
    };
    (
        span.low.map(|_| by_group(|g| g.low)),
        span.end.map(|_| by_group(|g| g.end)),
    )
}
