//! Plays by the batch: what one part does in all of them is worked out in one go, by loops over columns
//! of numbers, one number a play.

use std::borrow::Cow;

use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution as _, StandardNormal};

use super::drawn_life::DrawnLife;
use crate::model::posterior::Draws;
use crate::model::{hazards, wear_factors};

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
            factors: draws.iter().flat_map(wear_factors).collect(),
            n_groups: draws.get(0).len() - 1,
        }
    }

    #[inline]
    pub(super) fn factors(&self, draw: usize) -> &[f64] {
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

    /// Effective exposure of use by group in one play.
    #[inline]
    pub(super) fn exposure(&self, used: &[f64], k: usize) -> f64 {
        let others = used.iter().zip(&self.factors).skip(1);
        let reference = used.first().copied().unwrap_or(0.0);
        others.fold(reference, |sum, (used, factors)| sum + used * factors[k])
    }

    /// Wear factors in one play, the reference first.
    #[inline]
    pub(super) fn factors(&self, k: usize) -> &'a [f64] {
        self.lives.factors(self.draw[k])
    }

    /// The family's lives on one machine, worked out in memory that another's may have used.
    ///
    /// - `machine`: its place among the machines the family has lives of; one without any gets an
    ///   effect from the spread of machines in each play, by numbers of the machine's own.
    /// - `ahead`: use to come by group.
    /// - `clock`: use to come on the clock of damage.
    pub(super) fn on_machine<'m>(
        &'m self,
        (machine, effects): (Option<usize>, &mut ChaCha8Rng),
        (ahead, clock): (&[f64], f64),
        scratch: &'m mut MachineScratch,
    ) -> MachineBatch<'m> {
        self.effective(ahead, &mut scratch.ahead);
        let differs = self.shift(machine, effects, &mut scratch.ln_scale);
        MachineBatch {
            family: self,
            ln_scale: if differs {
                &scratch.ln_scale
            } else {
                &self.ln_scale
            },
            ahead: &scratch.ahead,
            clock,
        }
    }

    /// Logarithms of scales on a machine that differs from others; whether it does.
    fn shift(&self, machine: Option<usize>, rng: &mut ChaCha8Rng, ln_scale: &mut Column) -> bool {
        let draws = self.lives.draws;
        let columns = ln_scale.iter_mut().zip(&self.ln_scale).zip(&self.draw);
        if let Some(machine) = machine {
            let effects = draws.effects_of(machine);
            if effects.is_empty() {
                return false;
            }
            for ((shifted, ln_scale), draw) in columns {
                *shifted = ln_scale + effects[*draw];
            }
        } else if draws.spread(0).is_none() {
            return false;
        } else {
            for ((shifted, ln_scale), draw) in columns {
                *shifted = *ln_scale;
                if let Some(spread) = draws.spread(*draw) {
                    let z: f64 = StandardNormal.sample(rng);
                    *shifted += spread * z;
                }
            }
        }
        true
    }

    /// Whether use is worth the same in all plays.
    pub(super) fn alike(&self) -> bool {
        self.lives.n_groups <= 1
    }

    /// Effective exposure of use by group.
    pub(super) fn effective(&self, used: &[f64], sums: &mut Column) {
        // The factor of the reference is 1.
        sums.fill(used.first().copied().unwrap_or(0.0));
        for (used, factors) in used.iter().zip(&self.factors).skip(1) {
            for (sum, factor) in sums.iter_mut().zip(factors) {
                *sum += used * factor;
            }
        }
    }
}

/// Room for the numbers of one machine.
#[derive(Debug)]
pub(super) struct MachineScratch {
    ln_scale: Column,
    ahead: Column,
}

impl MachineScratch {
    pub(super) fn new() -> Self {
        let zero = [0.0; BATCH];
        Self {
            ln_scale: zero,
            ahead: zero,
        }
    }
}

/// A family's lives on one machine in the plays of one batch.
#[derive(Debug)]
pub(super) struct MachineBatch<'a> {
    pub(super) family: &'a FamilyBatch<'a>,
    pub(super) ln_scale: &'a Column,
    /// Effective exposure to come.
    pub(super) ahead: &'a Column,
    /// Use to come on the clock of damage.
    clock: f64,
}

impl MachineBatch<'_> {
    /// Strikes to be expected in each play.
    pub(super) fn all_strikes(&self, strikes: &mut Column) {
        hazards::scaled(&self.family.rates, self.clock, strikes);
    }

    /// Strikes to be expected in one play.
    pub(super) fn strikes(&self, k: usize) -> f64 {
        self.family.rates[k] * self.clock
    }

    /// The life of one play.
    pub(super) fn life(&self, k: usize) -> DrawnLife<'_> {
        let family = self.family;
        DrawnLife {
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
            ln_scale: self.ln_scale,
        }
    }
}
