//! Plays of a season as they happen: every replacement with its day, its money and whose it is.
//!
//! All positions of one play share one draw of their family's parameters, so that totals carry
//! the uncertainty they have in common. Plays are made a batch at a time, and each machine, bin and family
//! has a random stream of its own in each batch: neither the number of threads nor what else is in
//! the fleet changes what happens to a part.

use std::collections::BTreeMap;
use std::ops::Range;

use chrono::NaiveDate;
use rand::{RngExt as _, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution as _, Poisson};

pub use super::batch::BATCH as PLAYS_OF_BATCH;
use super::batch::{BATCH, DrawnLives, FamilyBatch, MachineBatch, MachineScratch};
use super::damage::{EventRate, SinglePieces};
use super::ends::Scratch;
use super::measured::{self, LeftByDraw};
use super::plan::Plan;
use super::season::Season;
use super::shares::Shares;
use super::unit::{InService, SeenPath, Unit};
use crate::model::assess::{Assessment, name_hash};
use crate::units::Measure;
use crate::wear::Groups;

/// What a play needs beside the parts in service.
#[derive(Clone, Copy, Debug)]
pub struct Game<'a> {
    /// Everything in service.
    pub in_service: &'a InService,
    /// The families, in the order the units name them.
    pub assessments: &'a [Assessment],
    /// Use to come.
    pub plan: &'a Plan,
    /// Product groups.
    pub groups: &'a Groups,
    /// The season.
    pub season: Season,
    /// Nothing up to this date counts.
    pub as_of: NaiveDate,
    /// Money for an hour of work; `None`: labor is not priced.
    pub labor_rate: Option<f64>,
    /// Seed of the random numbers.
    pub seed: u64,
}

/// Why something is replaced.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cause {
    /// It wore out.
    Worn,
    /// It was struck or bent.
    Damage,
    /// It was due, or its change was decided.
    Planned,
    /// Single pieces of a set, which lives on.
    Single,
}

/// One replacement of a play.
#[derive(Clone, Copy, Debug)]
pub struct Event<'a> {
    /// Place of its line among those in service.
    pub line: usize,
    /// Place of its machine.
    pub machine: usize,
    /// Place of its part among those in service; `None` for scheduled work.
    pub unit: Option<usize>,
    /// The day.
    pub date: NaiveDate,
    /// Why.
    pub cause: Cause,
    /// Pieces it takes.
    pub pieces: f64,
    /// Money of parts and labor; 0 where unknown.
    pub money: f64,
    /// Whether labor of its own is in it.
    pub labor: bool,
    /// Shares of the money by product group.
    pub shares: Shares<'a>,
}

/// Everything a play looks up, worked out once.
#[derive(Debug)]
pub struct Plays<'a> {
    game: Game<'a>,
    /// Units by path, so that a path's life is drawn once a play.
    order: Vec<&'a Unit>,
    /// Places of `order` among the parts in service.
    numbers: Vec<usize>,
    /// What is left of each unit with readings, in `order`.
    left: Vec<Option<LeftByDraw>>,
    /// Money of one replacement of each unit, in `order`; 0 where unknown.
    money: Vec<f64>,
    /// Season use by family group, and by all groups as shares of damage's clock, by path.
    season_use: Vec<Vec<f64>>,
    clock_shares: Vec<Vec<f64>>,
    /// Shares of acres by machine and group.
    acre_shares: Vec<Vec<f64>>,
    /// Draws of each family; `None` of one that has none.
    lives: Vec<Option<DrawnLives<'a>>>,
    /// Paths on which something can happen.
    paths: Vec<PathUnits>,
    /// Place of each family's groups among all.
    group_places: Vec<Vec<Option<usize>>>,
    /// Whether what happens before the season is told as well.
    tells_before: bool,
}

/// Rates of one family, play by play of a batch.
struct Rates {
    damage: [f64; BATCH],
    singles: Option<[f64; BATCH]>,
}

/// A path on which something can happen, and the parts that see it.
#[derive(Debug)]
struct PathUnits {
    /// Place among the paths.
    number: usize,
    /// Of its random numbers.
    seed: u64,
    /// Of those that all paths of its machine and family share.
    machine_seed: u64,
    /// Place of its machine among those its family has lives of.
    known_machine: Option<usize>,
    /// Places in [`Plays::order`].
    units: Range<usize>,
}

impl<'a> Plays<'a> {
    /// Works out what every play looks up.
    #[must_use]
    pub fn new(game: Game<'a>) -> Self {
        let service = game.in_service;
        let mut numbers: Vec<usize> = (0..service.units.len()).collect();
        numbers.sort_by_key(|u| service.units[*u].path);
        let order: Vec<&Unit> = numbers.iter().map(|u| &service.units[*u]).collect();
        let money = order
            .iter()
            .map(|u| event_money(game, u.line, u.pieces, true))
            .collect();
        let left = measured::left_by_draw(&order, service, game.assessments, game.seed);
        let all = game.groups.names();
        let group_places = game
            .assessments
            .iter()
            .map(|a| {
                a.lives
                    .groups
                    .iter()
                    .map(|n| all.binary_search(n).ok())
                    .collect()
            })
            .collect();
        let mut plays = Self {
            game,
            order,
            numbers,
            left,
            money,
            season_use: service.paths.iter().map(|p| p.path.in_season()).collect(),
            clock_shares: Vec::new(),
            acre_shares: (0..service.machines.len())
                .map(|m| shares(game, Some(m)))
                .collect(),
            group_places,
            lives: game
                .assessments
                .iter()
                .map(|a| a.draws.as_ref().map(DrawnLives::new))
                .collect(),
            paths: Vec::new(),
            tells_before: false,
        };
        plays.paths = plays.path_units();
        plays.clock_shares = service.paths.iter().map(|p| plays.clock_share(p)).collect();
        plays
    }

    /// Tells also what happens after the as-of date and before the season begins. Its
    /// [`shares`](Event::shares) are those of the season's use.
    #[must_use]
    pub fn with_changes_before(self) -> Self {
        Self {
            tells_before: true,
            ..self
        }
    }

    fn path_units(&self) -> Vec<PathUnits> {
        let service = self.game.in_service;
        let mut first = 0;
        let mut found = Vec::new();
        for units in self.order.chunk_by(|a, b| a.path == b.path) {
            let range = first..first + units.len();
            first = range.end;
            let number = units[0].path;
            let seen = &service.paths[number];
            if !seen.path.is_known() || seen.path.dates.is_empty() {
                continue;
            }
            let assessment = &self.game.assessments[seen.family];
            let machine = &service.machines[seen.machine];
            let (bin, family) = (seen.bin.as_deref().unwrap_or(""), &assessment.family.name);
            // Numbers of its own beside the path it is the rest of.
            let anew = if seen.rest_of.is_some() { "/anew" } else { "" };
            found.push(PathUnits {
                number,
                seed: self.game.seed ^ name_hash(&format!("plays/{machine}/{bin}/{family}{anew}")),
                machine_seed: self.game.seed ^ name_hash(&format!("machine/{machine}/{family}")),
                known_machine: assessment.lives.place_of(machine),
                units: range,
            });
        }
        found
    }

    fn n_groups(&self) -> usize {
        self.game.groups.names().len()
    }

    /// Shares by group of the season's use on damage's clock, as a path sees it.
    fn clock_share(&self, seen: &SeenPath) -> Vec<f64> {
        let clock = self.game.in_service.damage[seen.family].clock;
        let mut sums = vec![0.0; self.n_groups()];
        let machine = &self.game.in_service.machines[seen.machine];
        for planned in self.game.plan.of_machine(machine) {
            let same = (seen.bin.is_none() || planned.bin == seen.bin)
                && self.game.season.holds(planned.from);
            if same {
                sums[planned.group] += planned.amounts.get(clock).unwrap_or(0.0);
            }
        }
        normalized(sums).unwrap_or_else(|| self.acre_shares[seen.machine].clone())
    }

    /// Scheduled work, the same in every play, in no order.
    pub fn scheduled(&self, mut enter: impl FnMut(&Event<'_>)) {
        let mut worn: BTreeMap<usize, Vec<f64>> = BTreeMap::new();
        let service = self.game.in_service;
        let before = service.due_before.iter().filter(|_| self.tells_before);
        for due in before.chain(&service.due) {
            let shares = match due.worn_on {
                Some(path) => worn
                    .entry(path)
                    .or_insert_with(|| self.mean_wear_shares(path)),
                None => &self.acre_shares[due.machine],
            };
            enter(&Event {
                line: due.line,
                machine: due.machine,
                unit: None,
                date: due.date,
                cause: Cause::Planned,
                pieces: due.pieces,
                money: self.money(due.line, due.pieces, due.labor),
                labor: due.labor,
                shares: Shares::Given(shares),
            });
        }
    }

    /// Shares by group of the season's effective exposure on a path, averaged over the draws.
    fn mean_wear_shares(&self, path: usize) -> Vec<f64> {
        let seen = &self.game.in_service.paths[path];
        let Some(lives) = &self.lives[seen.family] else {
            return self.acre_shares[seen.machine].clone();
        };
        let draws = lives.draws.len();
        let mut mean = vec![0.0; self.n_groups()];
        for draw in 0..draws {
            let shares = self.wear_shares(path, lives.factors(draw));
            shares.each(|g, share| mean[g] += share / draws as f64);
        }
        mean
    }

    /// Money of one replacement of a line.
    fn money(&self, line: usize, pieces: f64, labor: bool) -> f64 {
        event_money(self.game, line, pieces, labor)
    }

    /// Rates of damage and of single pieces in the plays of one batch, by family.
    fn rates(&self, batch: usize) -> Vec<Rates> {
        let service = self.game.in_service;
        let families = service.damage.iter().zip(&service.singles);
        let of = |(family, (damage, singles)): (usize, (&EventRate, &Option<SinglePieces>))| {
            let name = &self.game.assessments[family].family.name;
            let mut rng = self.stream(&format!("rates/{name}"), batch);
            Rates {
                damage: std::array::from_fn(|_| damage.draw(&mut rng)),
                singles: singles
                    .as_ref()
                    .map(|s| std::array::from_fn(|_| s.rate.draw(&mut rng))),
            }
        };
        families.enumerate().map(of).collect()
    }

    fn stream(&self, name: &str, batch: usize) -> ChaCha8Rng {
        let mut rng = ChaCha8Rng::seed_from_u64(self.game.seed ^ name_hash(name));
        rng.set_stream(batch as u64);
        rng
    }

    /// What wears out, is struck or is changed singly in the plays of one batch: `enter(place of the play in
    /// the batch, replacement)`.
    pub fn batch(&self, batch: usize, mut enter: impl FnMut(usize, &Event<'_>)) {
        let rates = self.rates(batch);
        let families: Vec<Option<FamilyBatch<'_>>> = self
            .lives
            .iter()
            .zip(&rates)
            .map(|(lives, rates)| {
                let lives = lives.as_ref()?;
                Some(FamilyBatch::new(lives, batch * BATCH, &rates.damage))
            })
            .collect();
        let (mut scratch, mut machine_scratch) = (Scratch::new(), MachineScratch::new());
        for path in &self.paths {
            let seen = &self.game.in_service.paths[path.number];
            let Some(family) = &families[seen.family] else {
                continue;
            };
            let mut rng = ChaCha8Rng::seed_from_u64(path.seed);
            rng.set_stream(batch as u64);
            let days = seen.path.dates.len();
            let to_come = (seen.path.at(days - 1), seen.path.clock[days - 1]);
            // The same effect for all parts of the family on a machine, whichever bin they see.
            let mut effects = ChaCha8Rng::seed_from_u64(path.machine_seed);
            effects.set_stream(batch as u64);
            let machine = (path.known_machine, &mut effects);
            let lives = family.on_machine(machine, to_come, &mut machine_scratch);
            let singles = rates[seen.family].singles.as_ref();
            for place in path.units.clone() {
                self.run(place, seen, &lives, (&mut rng, &mut scratch), &mut enter);
                if let Some(singles) = singles {
                    self.run_singles(place, seen, singles, &mut rng, &mut enter);
                }
            }
        }
    }

    /// Wear and damage of one part and its successors.
    fn run(
        &self,
        place: usize,
        seen: &SeenPath,
        lives: &MachineBatch<'_>,
        (rng, scratch): (&mut ChaCha8Rng, &mut Scratch),
        enter: &mut impl FnMut(usize, &Event<'_>),
    ) {
        let unit = self.order[place];
        let (number, what) = (self.numbers[place], (unit.pieces, self.money[place]));
        let part = (unit, self.left[place].as_ref());
        lives.run(part, seen, rng, scratch, |change| {
            if !self.is_told(seen, change.day) {
                return;
            }
            let (cause, shares) = if change.worn {
                let factors = lives.family.factors(change.play);
                (Cause::Worn, self.wear_shares(unit.path, factors))
            } else {
                (Cause::Damage, Shares::Given(&self.clock_shares[unit.path]))
            };
            let event = event((unit, seen, number), change.day, cause, what, shares);
            enter(change.play, &event);
        });
    }

    fn run_singles(
        &self,
        place: usize,
        seen: &SeenPath,
        rates: &[f64; BATCH],
        rng: &mut ChaCha8Rng,
        enter: &mut impl FnMut(usize, &Event<'_>),
    ) {
        let unit = self.order[place];
        for (k, rate) in rates.iter().enumerate() {
            for (day, pieces) in self.singles(unit, seen, *rate, rng) {
                let money = self.money(unit.line, pieces, true);
                let event = event(
                    (unit, seen, self.numbers[place]),
                    day,
                    Cause::Single,
                    (pieces, money),
                    Shares::Given(&self.clock_shares[unit.path]),
                );
                enter(k, &event);
            }
        }
    }

    /// Days and numbers of pieces changed singly.
    fn singles(
        &self,
        unit: &Unit,
        seen: &SeenPath,
        rate: f64,
        rng: &mut ChaCha8Rng,
    ) -> Vec<(usize, f64)> {
        let Some(singles) = &self.game.in_service.singles[seen.family] else {
            return Vec::new();
        };
        let clock = &seen.path.clock;
        let mean = rate * clock.last().copied().unwrap_or(0.0);
        // A position that holds one piece has none to change singly.
        if unit.pieces <= 1.0 || mean <= 0.0 {
            return Vec::new();
        }
        let count = Poisson::new(mean).map_or(0.0, |p| p.sample(rng));
        let mut days = Vec::new();
        for _ in 0..count as usize {
            let at = clock[clock.len() - 1] * rng.random::<f64>();
            let day = clock.partition_point(|c| *c < at).min(clock.len() - 1);
            let pieces = singles.pieces[rng.random_range(0..singles.pieces.len())];
            if self.is_told(seen, day) {
                days.push((day, pieces.min(unit.pieces)));
            }
        }
        days
    }

    fn is_told(&self, seen: &SeenPath, day: usize) -> bool {
        self.tells_before || seen.path.counts[day]
    }

    /// Shares of the season's effective exposure by group.
    fn wear_shares<'s>(&'s self, path: usize, factors: &'s [f64]) -> Shares<'s> {
        let seen = &self.game.in_service.paths[path];
        Shares::Wear {
            used: &self.season_use[path],
            factors,
            places: &self.group_places[seen.family],
            otherwise: &self.acre_shares[seen.machine],
        }
    }
}

/// A replacement of a unit with labor of its own; `number` is its place among those in service.
fn event<'s>(
    (unit, seen, number): (&Unit, &SeenPath, usize),
    day: usize,
    cause: Cause,
    (pieces, money): (f64, f64),
    shares: Shares<'s>,
) -> Event<'s> {
    Event {
        line: unit.line,
        machine: unit.machine,
        unit: Some(number),
        date: seen.path.dates[day],
        cause,
        pieces,
        money,
        labor: true,
        shares,
    }
}

/// Money of one replacement of a line.
fn event_money(game: Game<'_>, line: usize, pieces: f64, labor: bool) -> f64 {
    let cost = game.in_service.lines[line].cost;
    cost.of_change(pieces, game.labor_rate.filter(|_| labor))
}

/// Shares of the season's acres by group on one machine, or else of its tons, of its hours, of
/// the whole fleet; empty where nothing at all is planned.
fn shares(game: Game<'_>, machine: Option<usize>) -> Vec<f64> {
    let n = game.groups.names().len();
    for measure in [Measure::Acres, Measure::Tons, Measure::Hours] {
        let mut sums = vec![0.0; n];
        let uses = machine.map_or(game.plan.uses.as_slice(), |m| {
            game.plan.of_machine(&game.in_service.machines[m])
        });
        for planned in uses {
            if game.season.holds(planned.from) {
                sums[planned.group] += planned.amounts.get(measure).unwrap_or(0.0);
            }
        }
        if let Some(shares) = normalized(sums) {
            return shares;
        }
    }
    if machine.is_some() {
        shares(game, None)
    } else {
        vec![0.0; n]
    }
}

fn normalized(values: Vec<f64>) -> Option<Vec<f64>> {
    let sum: f64 = values.iter().sum();
    (0.0 < sum).then(|| values.into_iter().map(|v| v / sum).collect())
}
