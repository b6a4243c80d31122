//! Plays of a season added up place by place, to know how often each is changed at one scale of
//! the plan and how far that scatters.
//!
//! A place is all parts of one number that see the same use of one machine.

use std::collections::BTreeMap;

use rayon::prelude::*;

use super::batch::BATCH;
use super::demand::without_rounding;
use super::plays::{Cause, Event, Game, Plays};
use super::summary::quantile;
use super::unit::{InService, Unit};

/// Parts in service that are alike: one machine, bin, family, part number and size of set.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Places {
    /// Place of each part in service.
    pub of_unit: Vec<usize>,
    /// One part of each place, among those in service.
    pub example: Vec<usize>,
}

impl Places {
    /// Groups the parts in service; places come in the order of their first part.
    #[must_use]
    pub fn new(in_service: &InService) -> Self {
        let mut known: BTreeMap<(usize, usize, u64), usize> = BTreeMap::new();
        let mut places = Self::default();
        for (number, unit) in in_service.units.iter().enumerate() {
            let key = (unit.path, unit.line, unit.pieces.to_bits());
            let place = *known.entry(key).or_insert_with(|| {
                places.example.push(number);
                places.example.len() - 1
            });
            places.of_unit.push(place);
        }
        places
    }

    /// Number of places.
    #[must_use]
    pub fn len(&self) -> usize {
        self.example.len()
    }

    /// Whether nothing that wears is in service.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.example.is_empty()
    }

    /// The part that stands for a place.
    #[must_use]
    pub fn unit<'a>(&self, in_service: &'a InService, place: usize) -> &'a Unit {
        &in_service.units[self.example[place]]
    }
}

/// What happened at one place over all plays.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PlaceSums {
    /// Expected changes by wear.
    pub worn: f64,
    /// Expected changes by damage.
    pub damage: f64,
    /// Expected times that single pieces of a set are changed.
    pub singles: f64,
    /// Expected pieces of those.
    pub single_pieces: f64,
    /// Standard deviation of all changes, single pieces included.
    pub sd: f64,
    /// All changes stay at or below this in 80 of 100 plays.
    pub p80: f64,
}

/// One replay.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Replay {
    /// By place.
    pub places: Vec<PlaceSums>,
    /// Pieces by line, at 80 of 100, scheduled work included.
    pub pieces80: Vec<f64>,
    /// Jobs by line, likewise.
    pub jobs80: Vec<f64>,
    /// Changes by line, single pieces of sets not counted, likewise.
    pub changes80: Vec<f64>,
    /// Money of every play, ascending.
    pub money: Vec<f64>,
    /// The same by machine.
    pub machines: Vec<Vec<f64>>,
    /// Field hours lost in every play, ascending; parts whose hours are not known count as none.
    pub down_hours: Vec<f64>,
}

/// Plays the season `n` times, or a few times more: the same plays, by number, that a budget rests on.
#[must_use]
pub fn replay(game: Game<'_>, places: &Places, n: usize) -> Replay {
    let plays = Plays::new(game);
    let teller = Teller { game, places };
    let scheduled = {
        let mut tally = teller.tally();
        plays.scheduled(|event| teller.enter(&mut tally, event));
        tally
    };
    let batches = n.div_ceil(BATCH);
    let chunks: Vec<Chunk> = (0..batches)
        .into_par_iter()
        .map(|batch| {
            let mut tallies = vec![scheduled.clone(); BATCH];
            plays.batch(batch, |k, event| teller.enter(&mut tallies[k], event));
            let mut chunk = Chunk::new(places.len());
            for tally in tallies {
                chunk.add(tally);
            }
            chunk
        })
        .collect();
    put_together(&chunks, batches * BATCH, places.len(), game.in_service)
}

/// One play: counts by place, pieces and jobs by line; these in single precision, as rows of a demand
/// are, and rid of its rounding when they are read.
#[derive(Clone, Default)]
struct Tally {
    /// Worn, damage, singles, pieces of singles.
    places: Vec<[f64; 4]>,
    pieces: Vec<f32>,
    jobs: Vec<f32>,
    changes: Vec<f32>,
    money: f64,
    machines: Vec<f64>,
    down_hours: f64,
}

struct Teller<'a> {
    game: Game<'a>,
    places: &'a Places,
}

impl Teller<'_> {
    fn tally(&self) -> Tally {
        let lines = self.game.in_service.lines.len();
        Tally {
            places: vec![[0.0; 4]; self.places.len()],
            pieces: vec![0.0; lines],
            jobs: vec![0.0; lines],
            changes: vec![0.0; lines],
            money: 0.0,
            machines: vec![0.0; self.game.in_service.machines.len()],
            down_hours: 0.0,
        }
    }

    fn enter(&self, tally: &mut Tally, event: &Event<'_>) {
        tally.pieces[event.line] += event.pieces as f32;
        tally.jobs[event.line] += f32::from(u8::from(event.labor));
        tally.changes[event.line] += f32::from(u8::from(event.cause != Cause::Single));
        tally.money += event.money;
        tally.machines[event.machine] += event.money;
        let Some(unit) = event.unit else { return };
        let place = &mut tally.places[self.places.of_unit[unit]];
        match event.cause {
            Cause::Worn => place[0] += 1.0,
            Cause::Damage => place[1] += 1.0,
            Cause::Single => {
                place[2] += 1.0;
                place[3] += event.pieces;
            }
            Cause::Planned => {}
        }
        if matches!(event.cause, Cause::Worn | Cause::Damage) {
            let hours = self.game.in_service.lines[event.line].down_hours;
            tally.down_hours += hours.unwrap_or(0.0);
        }
    }
}

struct Chunk {
    sums: Vec<[f64; 4]>,
    /// Plays with so many changes, by place.
    counts: Vec<Vec<u32>>,
    pieces: Vec<Vec<f32>>,
    jobs: Vec<Vec<f32>>,
    changes: Vec<Vec<f32>>,
    money: Vec<f64>,
    machines: Vec<Vec<f64>>,
    down_hours: Vec<f64>,
}

impl Chunk {
    fn new(places: usize) -> Self {
        Self {
            sums: vec![[0.0; 4]; places],
            counts: vec![Vec::new(); places],
            pieces: Vec::new(),
            jobs: Vec::new(),
            changes: Vec::new(),
            money: Vec::new(),
            machines: Vec::new(),
            down_hours: Vec::new(),
        }
    }

    fn add(&mut self, tally: Tally) {
        let places = tally.places.iter().zip(&mut self.sums);
        for ((place, sums), counts) in places.zip(&mut self.counts) {
            for (sum, value) in sums.iter_mut().zip(place) {
                *sum += value;
            }
            let changes = (place[0] + place[1] + place[2]) as usize;
            if counts.len() <= changes {
                counts.resize(changes + 1, 0);
            }
            counts[changes] += 1;
        }
        self.pieces.push(tally.pieces);
        self.jobs.push(tally.jobs);
        self.changes.push(tally.changes);
        self.money.push(tally.money);
        self.machines.push(tally.machines);
        self.down_hours.push(tally.down_hours);
    }
}

fn put_together(chunks: &[Chunk], n: usize, places: usize, in_service: &InService) -> Replay {
    let lines = in_service.lines.len();
    let of_place = |place: usize| {
        let mut sums = [0.0; 4];
        let mut counts: Vec<u32> = Vec::new();
        for chunk in chunks {
            for (sum, value) in sums.iter_mut().zip(chunk.sums[place]) {
                *sum += value;
            }
            let more = &chunk.counts[place];
            counts.resize(counts.len().max(more.len()), 0);
            for (count, more) in counts.iter_mut().zip(more) {
                *count += more;
            }
        }
        let [worn, damage, singles, single_pieces] = sums.map(|sum| sum / n as f64);
        let (sd, p80) = spread(&counts, n);
        PlaceSums {
            worn,
            damage,
            singles,
            single_pieces,
            sd,
            p80,
        }
    };
    let at_80 = |of: fn(&Chunk) -> &Vec<Vec<f32>>, line: usize| {
        let rows = chunks.iter().flat_map(of);
        let of_play = |row: &Vec<f32>| without_rounding(f64::from(row[line]));
        quantile(&ascending(rows.map(of_play)), 0.8)
    };
    Replay {
        places: (0..places).map(of_place).collect(),
        pieces80: (0..lines).map(|l| at_80(|c| &c.pieces, l)).collect(),
        jobs80: (0..lines).map(|l| at_80(|c| &c.jobs, l)).collect(),
        changes80: (0..lines).map(|l| at_80(|c| &c.changes, l)).collect(),
        money: ascending(chunks.iter().flat_map(|c| c.money.iter().copied())),
        machines: (0..in_service.machines.len())
            .map(|m| {
                ascending(
                    chunks
                        .iter()
                        .flat_map(|c| c.machines.iter().map(move |p| p[m])),
                )
            })
            .collect(),
        down_hours: ascending(chunks.iter().flat_map(|c| c.down_hours.iter().copied())),
    }
}

fn ascending(values: impl Iterator<Item = f64>) -> Vec<f64> {
    let mut values: Vec<f64> = values.collect();
    values.sort_unstable_by(f64::total_cmp);
    values
}

/// Standard deviation, and the number that 80 of 100 plays do not exceed.
fn spread(counts: &[u32], n: usize) -> (f64, f64) {
    let n = n as f64;
    let moment = |power: i32| {
        let terms = counts.iter().enumerate();
        terms
            .map(|(k, c)| (k as f64).powi(power) * f64::from(*c))
            .sum::<f64>()
            / n
    };
    let mean = moment(1);
    let sd = (moment(2) - mean * mean).max(0.0).sqrt();
    let mut below = 0.0;
    for (k, count) in counts.iter().enumerate() {
        below += f64::from(*count);
        if (0.8 * n).ceil() <= below {
            return (sd, k as f64);
        }
    }
    (sd, 0.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cost::PartCost;
    use crate::forecast::unit::Line;

    /// Three times 4.7 gallons are 14.1 of them, not 14.099999.
    #[test]
    fn pieces_at_80_of_100_are_rid_of_single_precision() {
        let mut play = Tally {
            pieces: vec![0.0],
            jobs: vec![0.0],
            changes: vec![0.0],
            ..Tally::default()
        };
        for _ in 0..3 {
            play.pieces[0] += 4.7_f64 as f32;
        }
        let mut chunk = Chunk::new(0);
        chunk.add(play);
        let in_service = InService {
            lines: vec![Line {
                family: "hydraulic-fluid".to_owned(),
                part: "H".to_owned(),
                scheduled: true,
                cost: PartCost::default(),
                down_hours: None,
                kit: None,
            }],
            ..InService::default()
        };
        assert_eq!(put_together(&[chunk], 1, 0, &in_service).pieces80, [14.1]);
    }

    /// By hand: 0, 0, 1, 1, 1, 1, 1, 2, 2, 6 has mean 1.5, mean square 4.9, and 8 of 10 at most 2.
    #[test]
    fn counts_have_the_spread_of_their_list() {
        let (sd, p80) = spread(&[2, 5, 2, 0, 0, 0, 1], 10);
        assert!((sd - (4.9_f64 - 2.25).sqrt()).abs() < 1e-12);
        assert!((p80 - 2.0).abs() < 1e-12);
    }
}
