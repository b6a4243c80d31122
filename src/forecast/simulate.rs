//! The season, played many times: every part in service wears on, is changed when it is worn or
//! struck, and its successor wears on from new. `plays` makes what happens in a play; here it is
//! added up as a budget needs it.

use chrono::NaiveDate;
use rayon::prelude::*;

use super::batch::BATCH;
use super::plays::{Cause, Event, Game, Plays};
use super::season::{month_of, months_later};

/// Samples of one line, play by play.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct LineSamples {
    /// Replacements by wear.
    pub worn: Vec<f64>,
    /// Replacements by damage.
    pub damage: Vec<f64>,
    /// Replacements by schedule.
    pub planned: Vec<f64>,
    /// Times that single pieces of a set were changed.
    pub singles: Vec<f64>,
    /// Jobs with labor of their own.
    pub jobs: Vec<f64>,
    /// Pieces.
    pub pieces: Vec<f64>,
}

impl LineSamples {
    /// Replacements that stop the work: by wear and by damage.
    #[must_use]
    pub fn failures(&self) -> Vec<f64> {
        let both = self.worn.iter().zip(&self.damage);
        both.map(|(worn, damage)| worn + damage).collect()
    }
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
    /// Money by product group, in the order of [`crate::wear::Groups::names`].
    pub by_group: Vec<Vec<f64>>,
    /// Money in all.
    pub total: Vec<f64>,
}

/// Plays until the result is looked at; with few parts in service, as many as a family may have draws, so that each
/// draw is played as often as the others.
const ROUND: usize = 32 * BATCH;
const ROUND_OF_FEW: usize = 128 * BATCH;
/// Parts in service that count as few.
const FEW_UNITS: usize = 2_000;
/// Plays at most; but more where few numbers are kept of each, as a small fleet's seldom changes scatter most.
const MOST: usize = 20 * ROUND;
const MOST_NUMBERS: usize = 8_000_000;
/// Relative standard error of the total's mean that is good enough: well below the half percent that anybody could see.
const GOOD_ENOUGH: f64 = 0.004;

/// Plays the season until the total's mean is known well enough.
#[must_use]
pub fn play(game: Game<'_>) -> Outcome {
    let table = Table::new(game);
    let few = game.in_service.units.len() < FEW_UNITS;
    let round = if few { ROUND_OF_FEW } else { ROUND };
    let most = MOST.max(MOST_NUMBERS / table.width());
    let mut plays: Vec<Vec<f64>> = Vec::new();
    while plays.len() < most {
        let batches = plays.len() / BATCH..(plays.len() + round) / BATCH;
        plays.par_extend(batches.into_par_iter().flat_map(|b| table.batch(b)));
        if table.error(&plays) < GOOD_ENOUGH {
            break;
        }
    }
    table.outcome(&plays)
}

/// Adds up what happens: one row of numbers a play.
struct Table<'a> {
    game: Game<'a>,
    plays: Plays<'a>,
    months: Vec<NaiveDate>,
    /// What the schedule comes to in every play.
    scheduled: Vec<f64>,
}

/// Columns of a line.
const WORN: usize = 0;
const DAMAGE: usize = 1;
const PLANNED: usize = 2;
const SINGLES: usize = 3;
const JOBS: usize = 4;
const PIECES: usize = 5;
const LINE_WIDTH: usize = 6;

impl<'a> Table<'a> {
    fn new(game: Game<'a>) -> Self {
        let mut table = Self {
            game,
            plays: Plays::new(game),
            months: months(game),
            scheduled: Vec::new(),
        };
        let mut record = vec![0.0; table.width()];
        table
            .plays
            .scheduled(|event| table.enter(&mut record, event));
        table.scheduled = record;
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

    /// Numbers kept of a play.
    fn width(&self) -> usize {
        self.total_at() + 1
    }

    fn month_index(&self, date: NaiveDate) -> usize {
        self.months
            .partition_point(|m| *m <= date)
            .saturating_sub(1)
    }

    fn enter(&self, record: &mut [f64], event: &Event<'_>) {
        let column = match event.cause {
            Cause::Worn => WORN,
            Cause::Damage => DAMAGE,
            Cause::Planned => PLANNED,
            Cause::Single => SINGLES,
        };
        record[event.line * LINE_WIDTH + column] += 1.0;
        record[event.line * LINE_WIDTH + JOBS] += f64::from(u8::from(event.labor));
        record[event.line * LINE_WIDTH + PIECES] += event.pieces;
        record[self.machine_at() + event.machine] += event.money;
        record[self.month_at() + self.month_index(event.date)] += event.money;
        let groups = &mut record[self.group_at()..];
        event
            .shares
            .each(|g, share| groups[g] += event.money * share);
        record[self.total_at()] += event.money;
    }

    fn batch(&self, batch: usize) -> Vec<Vec<f64>> {
        let mut records = vec![self.scheduled.clone(); BATCH];
        self.plays
            .batch(batch, |k, event| self.enter(&mut records[k], event));
        records
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
            singles: column(l * LINE_WIDTH + SINGLES),
            jobs: column(l * LINE_WIDTH + JOBS),
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

/// Months from the later of as-of date and season start to the season's end.
pub(super) fn months(game: Game<'_>) -> Vec<NaiveDate> {
    let first = month_of(game.season.start.max(game.as_of + chrono::Days::new(1)));
    std::iter::successors(Some(first), |m| Some(months_later(*m, 1)))
        .take_while(|m| *m <= game.season.end)
        .collect()
}
