//! Plays by the batch: what one part does in all of them is worked out in one go, by loops over columns
//! of numbers, one number a play.

use std::borrow::Cow;

use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution as _, StandardNormal};

use super::play::{Life, factors};
use crate::model::hazards;
use crate::model::posterior::Draws;

/// Plays of a batch: whole registers of any width.
pub const BATCH: usize = 128;

/// A number for each play of a batch.
pub(super) type Column = [f64; BATCH];

/// Draws of one family's parameters as plays need them.
#[derive(Debug)]
pub(super) struct DrawnLives<'a> {
    pub(super) draws: &'a Draws,
    shapes: Vec<f64>,
    /// Wear factors, draw by draw, the reference first.
    factors: Vec<f64>,
    n_groups: usize,
}

impl<'a> DrawnLives<'a> {
    pub(super) fn new(draws: &'a Draws) -> Self {
        Self {
            draws,
            shapes: draws.iter().map(|theta| theta[0].exp()).collect(),
            factors: draws.iter().flat_map(factors).collect(),
            n_groups: draws.get(0).len() - 1,
        }
    }

    fn factors(&self, draw: usize) -> &[f64] {
        &self.factors[draw * self.n_groups..(draw + 1) * self.n_groups]
    }
}

/// A family's lives in the plays of one batch.
#[derive(Debug)]
pub(super) struct FamilyBatch<'a> {
    lives: &'a DrawnLives<'a>,
    /// Number of the first play.
    pub(super) first: usize,
    /// The draw of each play.
    draw: [usize; BATCH],
    pub(super) shape: Column,
    /// On a machine like the others.
    ln_scale: Column,
    /// Wear factors, a column for each group.
    factors: Vec<Column>,
    /// Damage, by its clock.
    pub(super) rates: Column,
}

impl<'a> FamilyBatch<'a> {
    pub(super) fn new(lives: &'a DrawnLives<'a>, first: usize, rates: &Column) -> Self {
        let draw: [usize; BATCH] = std::array::from_fn(|k| (first + k) % lives.draws.len());
        Self {
            lives,
            first,
            draw,
            shape: draw.map(|d| lives.shapes[d]),
            ln_scale: draw.map(|d| lives.draws.get(d)[1]),
            factors: (0..lives.n_groups)
                .map(|g| draw.map(|d| lives.factors(d)[g]))
                .collect(),
            rates: *rates,
        }
    }

    /// Wear factors in one play, the reference first.
    pub(super) fn factors(&self, k: usize) -> &'a [f64] {
        self.lives.factors(self.draw[k])
    }

    /// The family's lives on one machine.
    ///
    /// - `machine`: its place among the machines the family has lives of; one without any gets an
    ///   effect from the spread of machines in each play.
    /// - `ahead`: use to come by group.
    /// - `clock`: use to come on the clock of damage.
    pub(super) fn on_machine(
        &self,
        machine: Option<usize>,
        ahead: &[f64],
        clock: f64,
        rng: &mut ChaCha8Rng,
    ) -> MachineBatch<'_> {
        let mut ln_scale = self.ln_scale;
        let draws = self.lives.draws;
        match machine {
            Some(machine) => {
                let effects = draws.effects_of(machine);
                if !effects.is_empty() {
                    for (l, draw) in ln_scale.iter_mut().zip(self.draw) {
                        *l += effects[draw];
                    }
                }
            }
            None => {
                for (l, draw) in ln_scale.iter_mut().zip(self.draw) {
                    if let Some(spread) = draws.spread(draw) {
                        let z: f64 = StandardNormal.sample(rng);
                        *l += spread * z;
                    }
                }
            }
        }
        MachineBatch {
            family: self,
            ln_scale,
            ahead: self.effective(ahead),
            strikes: self.rates.map(|rate| rate * clock),
        }
    }

    /// Effective exposure of use by group.
    pub(super) fn effective(&self, used: &[f64]) -> Column {
        let mut sums = [0.0; BATCH];
        for (used, factors) in used.iter().zip(&self.factors) {
            for (sum, factor) in sums.iter_mut().zip(factors) {
                *sum += used * factor;
            }
        }
        sums
    }
}

/// A family's lives on one machine in the plays of one batch.
#[derive(Debug)]
pub(super) struct MachineBatch<'a> {
    pub(super) family: &'a FamilyBatch<'a>,
    pub(super) ln_scale: Column,
    /// Effective exposure to come.
    pub(super) ahead: Column,
    /// Strikes to be expected.
    pub(super) strikes: Column,
}

impl MachineBatch<'_> {
    /// The life of one play.
    pub(super) fn life(&self, k: usize) -> Life<'_> {
        let family = self.family;
        Life {
            distribution: family.lives.draws.distribution,
            shape: family.shape[k],
            ln_scale: self.ln_scale[k],
            factors: Cow::Borrowed(family.factors(k)),
        }
    }

    /// Hazards of all lives.
    pub(super) fn hazards(&self) -> hazards::Lives<'_> {
        hazards::Lives {
            distribution: self.family.lives.draws.distribution,
            shape: &self.family.shape,
            ln_scale: &self.ln_scale,
        }
    }
}
