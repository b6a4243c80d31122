//! The season, played many times: every part in service wears on, is changed when it is worn or
//! struck, and its successor wears on from new.
//!
//! All positions of one play share one draw of their family's parameters, so that totals carry
//! the uncertainty they have in common. Each play has a random stream of its own: the number of
//! threads never changes a result.

use chrono::NaiveDate;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;

use super::measured::LeftByDraw;
use super::plan::Plan;
use super::play::Life;
use super::season::{Season, month_of, months_later};
use super::unit::{InService, SeenPath, Unit};
use crate::model::assess::Assessment;
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

/// Samples of one line, play by play.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct LineSamples {
    /// Replacements by wear.
    pub worn: Vec<f64>,
    /// Replacements by damage.
    pub damage: Vec<f64>,
    /// Replacements by schedule.
    pub planned: Vec<f64>,
    /// Pieces.
    pub pieces: Vec<f64>,
}

/// The plays. Money is that of lines whose cost is known.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Outcome {
    /// By line of the parts in service.
    pub lines: Vec<LineSamples>,
    /// Money by machine.
    pub machines: Vec<Vec<f64>>,
    /// First days of the months forecast.
    pub months: Vec<NaiveDate>,
    /// Money by month.
    pub by_month: Vec<Vec<f64>>,
    /// Money by product group, in the order of [`Groups::names`].
    pub by_group: Vec<Vec<f64>>,
    /// Money in all.
    pub total: Vec<f64>,
}

/// Plays a batch holds.
const BATCH: usize = 4_000;
/// Batches played at least where the parts in service are few.
const FEW_BATCHES: usize = 5;
/// Batches played at most.
const MOST_BATCHES: usize = 20;
/// Parts in service that count as few.
const FEW_UNITS: usize = 2_000;
/// Relative standard error of the total's mean that is good enough: well below the half percent that anybody could see.
const GOOD_ENOUGH: f64 = 0.004;

/// Plays the season until the total's mean is known well enough.
#[must_use]
pub fn play(game: Game<'_>) -> Outcome {
    let table = Table::new(game);
    let few = game.in_service.units.len() < FEW_UNITS;
    let least = if few { FEW_BATCHES } else { 1 };
    let mut plays: Vec<Vec<f64>> = Vec::new();
    for batch in 0..MOST_BATCHES {
        let numbers = batch * BATCH..(batch + 1) * BATCH;
        plays.par_extend(numbers.into_par_iter().map(|s| table.one_play(s)));
        if least <= batch + 1 && table.error(&plays) < GOOD_ENOUGH {
            break;
        }
    }
    table.outcome(&plays)
}

/// Everything a play looks up, worked out once.
struct Table<'a> {
    game: Game<'a>,
    months: Vec<NaiveDate>,
    /// Units by path, so that a path's exposure is worked out once a play.
    order: Vec<&'a Unit>,
    /// What is left of each unit with readings, in `order`.
    left: Vec<Option<LeftByDraw>>,
    /// Money of one replacement of each unit, in `order`; 0 where unknown.
    money: Vec<f64>,
    /// Season use by family group, and by all groups as shares of hours, by path.
    season_use: Vec<Vec<f64>>,
    hour_shares: Vec<Vec<f64>>,
    /// Shares of acres by machine and group.
    acre_shares: Vec<Vec<f64>>,
    /// Place of each path's machine among those its family has lives of.
    known_machines: Vec<Option<usize>>,
    /// Place of each family's groups among all.
    group_places: Vec<Vec<Option<usize>>>,
    /// What the schedule costs in every play.
    scheduled: Vec<f64>,
}

/// Columns of a line.
const WORN: usize = 0;
const DAMAGE: usize = 1;
const PLANNED: usize = 2;
const PIECES: usize = 3;
const LINE_WIDTH: usize = 4;

impl<'a> Table<'a> {
    fn new(game: Game<'a>) -> Self {
        let service = game.in_service;
        let mut order: Vec<&Unit> = service.units.iter().collect();
        order.sort_by_key(|u| u.path);
        let money = order
            .iter()
            .map(|u| event_money(game, u.line, u.pieces))
            .collect();
        let per_draw = if service.units.len() < FEW_UNITS {
            FEW_BATCHES
        } else {
            1
        };
        let left = order
            .par_iter()
            .map(|u| LeftByDraw::new(u, service, game.assessments, per_draw, game.seed))
            .collect();
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
        let mut table = Self {
            game,
            months: months(game),
            order,
            left,
            money,
            season_use: service.paths.iter().map(|p| p.path.in_season()).collect(),
            hour_shares: Vec::new(),
            acre_shares: (0..service.machines.len())
                .map(|m| shares(game, Some(m)))
                .collect(),
            group_places,
            known_machines: service
                .paths
                .iter()
                .map(|p| {
                    game.assessments[p.family]
                        .lives
                        .place_of(&service.machines[p.machine])
                })
                .collect(),
            scheduled: Vec::new(),
        };
        table.hour_shares = service.paths.iter().map(|p| table.hour_share(p)).collect();
        table.scheduled = table.schedule();
        table
    }

    fn n_groups(&self) -> usize {
        self.game.groups.names().len()
    }

    fn machine_at(&self) -> usize {
        self.game.in_service.lines.len() * LINE_WIDTH
    }

    fn month_at(&self) -> usize {
        self.machine_at() + self.game.in_service.machines.len()
    }

    fn group_at(&self) -> usize {
        self.month_at() + self.months.len()
    }

    fn total_at(&self) -> usize {
        self.group_at() + self.n_groups()
    }

    /// Shares of the season's hours by group, on the use a path sees.
    fn hour_share(&self, seen: &SeenPath) -> Vec<f64> {
        let mut hours = vec![0.0; self.n_groups()];
        for planned in &self.game.plan.uses {
            let same = planned.machine == self.game.in_service.machines[seen.machine]
                && (seen.bin.is_none() || planned.bin == seen.bin)
                && self.game.season.holds(planned.from);
            if same {
                hours[planned.group] += planned.amounts.hours.unwrap_or(0.0);
            }
        }
        normalized(hours).unwrap_or_else(|| self.acre_shares[seen.machine].clone())
    }

    /// Scheduled work as the start of every play.
    fn schedule(&self) -> Vec<f64> {
        let mut record = vec![0.0; self.total_at() + 1];
        for due in &self.game.in_service.due {
            record[due.line * LINE_WIDTH + PLANNED] += 1.0;
            record[due.line * LINE_WIDTH + PIECES] += due.pieces;
            let money = event_money(self.game, due.line, due.pieces);
            let month = self.month_index(due.date);
            self.pay(
                &mut record,
                money,
                due.machine,
                month,
                &self.acre_shares[due.machine],
            );
        }
        record
    }

    fn month_index(&self, date: NaiveDate) -> usize {
        self.months
            .partition_point(|m| *m <= date)
            .saturating_sub(1)
    }

    fn pay(&self, record: &mut [f64], money: f64, machine: usize, month: usize, shares: &[f64]) {
        record[self.machine_at() + machine] += money;
        record[self.month_at() + month] += money;
        for (g, share) in shares.iter().enumerate() {
            record[self.group_at() + g] += money * share;
        }
        record[self.total_at()] += money;
    }

    fn one_play(&self, number: usize) -> Vec<f64> {
        let mut rng = ChaCha8Rng::seed_from_u64(self.game.seed);
        rng.set_stream(number as u64);
        let mut record = self.scheduled.clone();
        let rates: Vec<f64> = self
            .game
            .in_service
            .damage
            .iter()
            .map(|d| d.draw(&mut rng))
            .collect();
        let mut exposure: Vec<f64> = Vec::new();
        let mut shares: Vec<f64> = Vec::new();
        let mut current = usize::MAX;
        let mut life = Life::NEVER;
        let units = self.order.iter().zip(&self.money).zip(&self.left);
        for ((unit, money), left) in units {
            let seen = &self.game.in_service.paths[unit.path];
            if unit.path != current {
                current = unit.path;
                exposure.clear();
                let draws = self.game.assessments[seen.family].draws.as_ref();
                let Some(draws) = draws.filter(|_| seen.path.known) else {
                    continue;
                };
                let draw = number % draws.len();
                let machine = self.known_machines[unit.path];
                life = Life::new(draws, draw, machine, &mut rng, rates[seen.family]);
                life.exposures(seen, &mut exposure);
                self.wear_shares(unit.path, seen, &life, &mut shares);
            }
            if exposure.is_empty() {
                continue;
            }
            let left = left.as_ref().map(|l| l.of_play(number));
            life.run(unit, seen, &exposure, left, &mut rng, |day, worn| {
                let column = if worn { WORN } else { DAMAGE };
                record[unit.line * LINE_WIDTH + column] += 1.0;
                record[unit.line * LINE_WIDTH + PIECES] += unit.pieces;
                let month = self.month_index(seen.path.dates[day]);
                let shares = if worn {
                    &shares
                } else {
                    &self.hour_shares[unit.path]
                };
                self.pay(&mut record, *money, unit.machine, month, shares);
            });
        }
        record
    }

    /// Shares of the season's effective exposure by group.
    fn wear_shares(&self, path: usize, seen: &SeenPath, life: &Life, shares: &mut Vec<f64>) {
        shares.clear();
        shares.resize(self.n_groups(), 0.0);
        let used = &self.season_use[path];
        let mut sum = 0.0;
        for ((place, use_), factor) in self.group_places[seen.family]
            .iter()
            .zip(used)
            .zip(&life.factors)
        {
            if let Some(place) = place {
                shares[*place] += use_ * factor;
                sum += use_ * factor;
            }
        }
        if 0.0 < sum {
            for share in shares.iter_mut() {
                *share /= sum;
            }
        } else {
            // Parts that age by the calendar, or that wear while nothing is spread.
            shares.copy_from_slice(&self.acre_shares[seen.machine]);
        }
    }

    /// Relative standard error of the mean of the money, or of the pieces where no money is known.
    fn error(&self, plays: &[Vec<f64>]) -> f64 {
        let at = self.total_at();
        let money = |p: &Vec<f64>| p[at];
        let pieces = |p: &Vec<f64>| {
            (0..self.game.in_service.lines.len())
                .map(|l| p[l * LINE_WIDTH + PIECES])
                .sum()
        };
        let no_money = plays.iter().all(|p| p[at] <= 0.0);
        let values: Vec<f64> = plays
            .iter()
            .map(if no_money {
                &pieces
            } else {
                &money as &dyn Fn(&Vec<f64>) -> f64
            })
            .collect();
        let n = values.len() as f64;
        let mean = values.iter().sum::<f64>() / n;
        let variance = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0);
        if mean <= 0.0 {
            0.0
        } else {
            (variance / n).sqrt() / mean
        }
    }

    fn outcome(self, plays: &[Vec<f64>]) -> Outcome {
        let column = |at: usize| plays.iter().map(|p| p[at]).collect::<Vec<f64>>();
        let columns = |at: usize, n: usize| (at..at + n).map(column).collect::<Vec<_>>();
        let lines = (0..self.game.in_service.lines.len()).map(|l| LineSamples {
            worn: column(l * LINE_WIDTH + WORN),
            damage: column(l * LINE_WIDTH + DAMAGE),
            planned: column(l * LINE_WIDTH + PLANNED),
            pieces: column(l * LINE_WIDTH + PIECES),
        });
        Outcome {
            lines: lines.collect(),
            machines: columns(self.machine_at(), self.game.in_service.machines.len()),
            by_month: columns(self.month_at(), self.months.len()),
            by_group: columns(self.group_at(), self.n_groups()),
            total: column(self.total_at()),
            months: self.months,
        }
    }
}

/// Money of one replacement of a line.
fn event_money(game: Game<'_>, line: usize, pieces: f64) -> f64 {
    let cost = game.in_service.lines[line].cost;
    cost.of_change(pieces, game.labor_rate)
}

/// Months from the later of as-of date and season start to the season's end.
fn months(game: Game<'_>) -> Vec<NaiveDate> {
    let first = month_of(game.season.start.max(game.as_of + chrono::Days::new(1)));
    std::iter::successors(Some(first), |m| Some(months_later(*m, 1)))
        .take_while(|m| *m <= game.season.end)
        .collect()
}

/// Shares of the season's acres by group on one machine, or else of its tons, of its hours, of
/// the whole fleet; empty where nothing at all is planned.
fn shares(game: Game<'_>, machine: Option<usize>) -> Vec<f64> {
    let n = game.groups.names().len();
    for measure in [Measure::Acres, Measure::Tons, Measure::Hours] {
        let mut sums = vec![0.0; n];
        for planned in &game.plan.uses {
            let same = machine.is_none_or(|m| planned.machine == game.in_service.machines[m]);
            if same && game.season.holds(planned.from) {
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
