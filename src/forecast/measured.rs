//! What is left of parts with readings, draw by draw, worked out once before the season is played.

use rand::seq::SliceRandom as _;
use rand::{RngExt as _, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;

use super::drawn_life::DrawnLife;
use super::unit::{InService, Unit};
use crate::model::assess::{Assessment, name_hash};

/// Parts in service from which one sample of each draw is enough: sums then hardly feel it.
const MANY_UNITS: usize = 2_000;
/// Samples of each draw otherwise.
const PER_DRAW: usize = 5;

/// What is left of each part, in the order of `units`; `None` where no readings say.
#[must_use]
pub fn left_by_draw(
    units: &[&Unit],
    in_service: &InService,
    assessments: &[Assessment],
    seed: u64,
) -> Vec<Option<LeftByDraw>> {
    let per_draw = if units.len() < MANY_UNITS {
        PER_DRAW
    } else {
        1
    };
    let of = |unit: &&Unit| LeftByDraw::new(unit, in_service, assessments, per_draw, seed);
    units.par_iter().map(of).collect()
}

/// What is left of one part: so many samples of each draw of its family's parameters.
#[derive(Clone, Debug, PartialEq)]
pub struct LeftByDraw {
    /// Effective exposure left, draw by draw.
    samples: Vec<f64>,
    per_draw: usize,
}

impl LeftByDraw {
    /// Draws what is left of a part; `None` where its readings tell nothing.
    ///
    /// - `per_draw`: samples of each draw, one from each equal share of its distribution, in an order
    ///   of the part's own.
    #[must_use]
    pub fn new(
        unit: &Unit,
        in_service: &InService,
        assessments: &[Assessment],
        per_draw: usize,
        seed: u64,
    ) -> Option<Self> {
        unit.readings.as_ref()?;
        let draws = assessments[unit.family].draws.as_ref()?;
        let paths = in_service.wear_paths[unit.family].as_ref()?;
        let machine = &in_service.machines[unit.machine];
        let place = assessments[unit.family].lives.place_of(machine);
        let slot = unit.slot.as_deref().unwrap_or("");
        let name = format!("measured/{machine}/{}/{slot}", unit.position);
        let mut rng = ChaCha8Rng::seed_from_u64(seed ^ name_hash(&name));
        let of_machine = format!("machine/{machine}/{}", assessments[unit.family].family.name);
        let mut effects = ChaCha8Rng::seed_from_u64(seed ^ name_hash(&of_machine));
        let mut samples = Vec::with_capacity(draws.len() * per_draw);
        let mut strata: Vec<usize> = (0..per_draw).collect();
        for draw in 0..draws.len() {
            if draw % per_draw == 0 {
                // Else all parts would be short-lived in the same plays, and sums of them too wide.
                strata.shuffle(&mut rng);
            }
            let life = DrawnLife::new(draws, draw, place, &mut effects);
            let crossing = life.crossing(unit, paths.get(draw))?;
            for k in &strata {
                let share: f64 = rng.random();
                samples.push(crossing.left((*k as f64 + share) / per_draw as f64));
            }
        }
        Some(Self { samples, per_draw })
    }

    /// What is left in one play. Any few plays in turn take their samples from all shares alike.
    #[must_use]
    pub fn of_play(&self, number: usize) -> f64 {
        let n_draws = self.samples.len() / self.per_draw;
        let (round, draw) = (number / n_draws, number % n_draws);
        self.samples[draw * self.per_draw + (round + draw) % self.per_draw]
    }
}

#[cfg(test)]
mod tests {
    use super::LeftByDraw;

    /// Every sample in as many plays as any other, and every share in as many of a few plays in turn.
    #[test]
    fn plays_take_all_shares_alike() {
        let (draws, per_draw) = (10, 5);
        let left = LeftByDraw {
            samples: (0..draws * per_draw).map(|i| i as f64).collect(),
            per_draw,
        };
        let mut seen: Vec<f64> = (0..draws * per_draw).map(|n| left.of_play(n)).collect();
        for few in seen.chunks(per_draw) {
            let mut shares: Vec<usize> = few.iter().map(|s| *s as usize % per_draw).collect();
            shares.sort_unstable();
            shares.dedup();
            assert_eq!(shares.len(), per_draw, "{few:?}");
        }
        seen.sort_by(f64::total_cmp);
        assert_eq!(seen, left.samples);
    }
}
