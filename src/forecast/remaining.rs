//! Remaining life of every part in service, at the product mix that is planned.

use chrono::NaiveDate;
use rand::{RngExt as _, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;

use super::drawn_life::DrawnLife;
use super::season::Season;
use super::summary::Forecast;
use super::unit::{Age, InService, Unit};
use crate::model::assess::{Assessment, name_hash};
use crate::model::wear_factors;
use crate::wear::effective;

/// What is left of one part.
#[derive(Clone, Debug, PartialEq)]
pub struct PartLeft {
    /// Place of the part in [`InService::units`].
    pub unit: usize,
    /// Use so far, all groups added up, in the family's measure; `None`: nobody knows.
    pub age: Option<f64>,
    /// Use left at the planned mix of products, in the family's measure.
    pub remaining: Forecast,
    /// Chance that it wears out by the end of the season; `None` where the use to come is not known.
    pub chance_this_season: Option<f64>,
    /// Day by which it is as likely worn as not; `None`: beyond the days laid out, or beyond those
    /// whose use is known.
    pub half_worn_date: Option<NaiveDate>,
    /// Whether all of the use to come is known.
    pub use_is_known: bool,
    /// Wear for one unit of use at the planned mix, as a share of the way to the limit: one for
    /// each draw, sorted; empty without readings.
    pub wear_rates: Vec<f64>,
}

/// Plays of each draw.
const PLAYS: usize = 3;

/// Remaining life of every part in service whose family has draws.
#[must_use]
pub fn remaining(
    in_service: &InService,
    assessments: &[Assessment],
    season: Season,
    seed: u64,
) -> Vec<PartLeft> {
    in_service
        .units
        .par_iter()
        .enumerate()
        .filter_map(|(i, unit)| part_left(i, unit, in_service, assessments, season, seed))
        .collect()
}

fn part_left(
    index: usize,
    unit: &Unit,
    in_service: &InService,
    assessments: &[Assessment],
    season: Season,
    seed: u64,
) -> Option<PartLeft> {
    let draws = assessments[unit.family].draws.as_ref()?;
    let path = &in_service.paths[unit.path].path;
    let in_season = path.dates.partition_point(|d| *d <= season.end);
    let mix = mix(path.at_end(in_season), unit);
    // A stream of its own for each place, whatever else is in the fleet.
    let slot = unit.slot.as_deref().unwrap_or("");
    let name = format!(
        "{}/{}/{slot}",
        in_service.machines[unit.machine], unit.position
    );
    let mut rng = ChaCha8Rng::seed_from_u64(seed ^ name_hash(&name));
    let mut left = Vec::with_capacity(draws.len() * PLAYS);
    let mut rest = Vec::with_capacity(draws.len() * PLAYS);
    let mut chance = 0.0;
    let machine = assessments[unit.family]
        .lives
        .place_of(&in_service.machines[unit.machine]);
    let paths = in_service.wear_paths[unit.family].as_ref();
    let mut wear_rates = Vec::new();
    for draw in 0..draws.len() {
        let life = DrawnLife::new(draws, draw, machine, &mut rng);
        let rate = life.effective(&mix);
        let ahead = path
            .at_end(in_season)
            .map_or(0.0, |used| life.effective(used));
        let crossing = paths.and_then(|p| life.crossing(unit, p.get(draw)));
        if let Some(crossing) = crossing {
            for k in 0..PLAYS {
                let share: f64 = rng.random();
                let x = crossing.left((k as f64 + share) / PLAYS as f64);
                left.push(x / rate);
                rest.push(x);
            }
            chance += crossing.worn_after(ahead);
            wear_rates.push(crossing.wear_rate(rng.random()) * rate);
            continue;
        }
        for _ in 0..PLAYS {
            let x = life.draw_rest(&unit.age, &mut rng);
            left.push(x / rate);
            rest.push(x);
            if matches!(unit.age, Age::AtLeast { .. }) {
                chance += f64::from(u8::from(x <= ahead)) / PLAYS as f64;
            }
        }
        if let Age::Known(used) = &unit.age {
            let age = life.effective(used);
            chance -= (life.hazard(age) - life.hazard(age + ahead)).exp_m1();
        }
    }
    wear_rates.sort_by(f64::total_cmp);
    let half_worn = half_worn(path.dates.len(), &rest, |k, d| {
        // Wear factors alone: what a machine does to life is in the plays already.
        effective(path.at(k), wear_factors(draws.get(d)))
    });
    Some(PartLeft {
        unit: index,
        age: match &unit.age {
            Age::Known(used) => Some(used.iter().sum()),
            Age::AtLeast { .. } => None,
        },
        remaining: Forecast::of(&left),
        chance_this_season: path
            .is_known_until(season.end)
            .then(|| chance / draws.len() as f64),
        half_worn_date: half_worn
            .map(|k| path.dates[k])
            .filter(|date| path.is_known_until(*date)),
        use_is_known: path.is_known(),
        wear_rates,
    })
}

impl super::path::FuturePath {
    /// Use by group at the end of the first `count` days; `None` of none.
    fn at_end(&self, count: usize) -> Option<&[f64]> {
        count.checked_sub(1).map(|k| self.at(k))
    }
}

/// Shares of the groups in the use to come; in the use so far where none is planned.
fn mix(ahead: Option<&[f64]>, unit: &Unit) -> Vec<f64> {
    let so_far = unit.age.on_record();
    for used in [ahead.unwrap_or(&[]), so_far] {
        let sum: f64 = used.iter().sum();
        if 0.0 < sum {
            return used.iter().map(|u| u / sum).collect();
        }
    }
    // Neither: the reference group, which comes first.
    (0..so_far.len())
        .map(|g| if g == 0 { 1.0 } else { 0.0 })
        .collect()
}

/// First day at whose end at least half of the plays are worn out.
fn half_worn(days: usize, rest: &[f64], exposure: impl Fn(usize, usize) -> f64) -> Option<usize> {
    let n_draws = rest.len() / PLAYS;
    let worn = |k: usize| {
        let count: usize = (0..n_draws)
            .map(|d| {
                let at = exposure(k, d);
                rest[d * PLAYS..(d + 1) * PLAYS]
                    .iter()
                    .filter(|r| **r <= at)
                    .count()
            })
            .sum();
        rest.len() <= 2 * count
    };
    let (mut low, mut high) = (0, days);
    while low < high {
        let mid = usize::midpoint(low, high);
        if worn(mid) {
            high = mid;
        } else {
            low = mid + 1;
        }
    }
    (low < days).then_some(low)
}
