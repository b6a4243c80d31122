//! Pieces asked for, part by part: before the season, over it, month by month, over the lead time,
//! and by customer, from the same plays as a budget.

use std::collections::BTreeMap;

use chrono::{Days, NaiveDate};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution as _, StandardNormal};
use rayon::prelude::*;

use super::batch::BATCH;
use super::plays::{Event, Game, Plays};
use super::simulate::months;
use super::summary::Forecast;
use crate::family::Spread;

/// How long a part takes to come.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LeadTime {
    /// Median, in days.
    pub days: f64,
    /// Standard deviation of its logarithm; 0 where it is always the same.
    pub ln_sd: f64,
}

impl LeadTime {
    /// From the median, and the factor within which nine of ten deliveries come.
    #[must_use]
    pub fn new(days: f64, spread: Option<f64>) -> Self {
        Self {
            days,
            ln_sd: spread.map_or(0.0, |s| s.ln() / Spread::Z95),
        }
    }
}

/// What is asked for, line by line, where the outer index is the line.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Demands {
    /// After the as-of date and before the season begins, play by play; empty where it has begun.
    pub before: Vec<Vec<f64>>,
    /// Over the season, play by play.
    pub season: Vec<Vec<f64>>,
    /// Over the lead time from the busiest day on; empty where no lead time is known.
    pub lead: Vec<Vec<f64>>,
    /// First day of that lead time.
    pub busiest: Vec<Option<NaiveDate>>,
    /// Up to the first day on which pieces arrive, and between each such day and the next: by line
    /// and arrival.
    pub before_arrival: Vec<Vec<Vec<f64>>>,
    /// First days of the months.
    pub months: Vec<NaiveDate>,
    /// By line and month.
    pub by_month: Vec<Vec<Forecast>>,
    /// By customer and line.
    pub by_customer: BTreeMap<(usize, usize), Need>,
}

/// What one customer will need of one part.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Need {
    /// Expected pieces.
    pub expected: f64,
    /// Chance of at least one.
    pub chance: f64,
}

/// What the desk knows beside the fleet, line by line.
#[derive(Clone, Debug, Default)]
pub struct Desk {
    /// Lead times.
    pub lead: Vec<Option<LeadTime>>,
    /// Days on which pieces arrive, ascending, each once.
    pub arrivals: Vec<Vec<NaiveDate>>,
    /// Customer of each machine in service, as a number.
    pub customers: Vec<usize>,
}

/// Plays of few parts in service, whose orders hang on what seldom happens, and of many, where sums hardly
/// feel it; of few, twice as many as a family may have draws.
const PLAYS: [usize; 2] = [256 * BATCH, 24 * BATCH];
/// Parts in service that count as few.
const FEW_UNITS: usize = 2_000;
/// Numbers kept of all plays, at most: some 256 MiB. A desk of many part numbers gets fewer plays.
const MOST_NUMBERS: usize = 1 << 26;
/// Plays that show when a part is busiest.
const SCOUTS: usize = 12 * BATCH;
/// Plays the season and adds up the pieces.
#[must_use]
pub fn demands(game: Game<'_>, desk: &Desk) -> Demands {
    let plays = Plays::new(game).with_changes_before();
    let teller = Teller {
        game,
        plays: &plays,
        desk,
        first: game.season.start.max(game.as_of + Days::new(1)),
        months: months(game),
        starts: Vec::new(),
        busiest: Vec::new(),
    };
    let starts = teller.starts();
    let teller = Teller {
        busiest: teller.scout(),
        starts,
        ..teller
    };
    let [few, many] = PLAYS;
    let is_few = game.in_service.units.len() < FEW_UNITS;
    let plays = if is_few { few } else { many };
    let room = MOST_NUMBERS / teller.width().max(1) / BATCH * BATCH;
    let plays = plays.min(room.max(many));
    let batches = (0..plays / BATCH).into_par_iter();
    let chunks: Vec<Chunk> = batches.map(|b| teller.batch(b)).collect();
    teller.put_together(chunks, plays)
}

struct Teller<'a> {
    game: Game<'a>,
    plays: &'a Plays<'a>,
    desk: &'a Desk,
    first: NaiveDate,
    months: Vec<NaiveDate>,
    /// First column of each line, and one behind the last.
    starts: Vec<usize>,
    busiest: Vec<Option<NaiveDate>>,
}

/// Columns of a line before its months; behind these stands one for each of its arrivals.
const BEFORE: usize = 0;
const SEASON: usize = 1;
const LEAD: usize = 2;
const MONTHS: usize = 3;

struct Chunk {
    /// One row a play; single precision holds any number of pieces below 16 million exactly, and tenths
    /// of a gallon after [`without_rounding`].
    rows: Vec<Vec<f32>>,
    /// Pieces, and a bit for each play with any, by customer and line.
    needs: BTreeMap<(usize, usize), (f64, u128)>,
}

impl Teller<'_> {
    fn n_lines(&self) -> usize {
        self.game.in_service.lines.len()
    }

    fn starts(&self) -> Vec<usize> {
        let widths = self.desk.arrivals.iter();
        let widths = widths.map(|a| MONTHS + self.months.len() + a.len());
        let sum = |at: &mut usize, width: usize| {
            *at += width;
            Some(*at)
        };
        std::iter::once(0).chain(widths.scan(0, sum)).collect()
    }

    fn width(&self) -> usize {
        self.starts.last().copied().unwrap_or(0)
    }

    /// First day of the stretch of lead time in which most is asked for, by line.
    fn scout(&self) -> Vec<Option<NaiveDate>> {
        let days = ((self.game.season.end - self.first).num_days() + 1).max(1) as usize;
        let chunks: Vec<Vec<f64>> = (0..SCOUTS / BATCH)
            .into_par_iter()
            .map(|batch| {
                let mut sums = vec![0.0; self.n_lines() * days];
                let mut enter = |times: f64, event: &Event<'_>| {
                    let Ok(day) = usize::try_from((event.date - self.first).num_days()) else {
                        return;
                    };
                    sums[event.line * days + day.min(days - 1)] += times * event.pieces;
                };
                self.plays.scheduled(|event| enter(BATCH as f64, event));
                self.plays.batch(batch, |_, event| enter(1.0, event));
                sums
            })
            .collect();
        let busiest = |line: usize| {
            let lead = self.desk.lead[line]?;
            let span = (lead.days.ceil() as usize).clamp(1, days);
            let of_day = |d: usize| chunks.iter().map(|c| c[line * days + d]).sum::<f64>();
            let by_day: Vec<f64> = (0..days).map(of_day).collect();
            let mut best = (0.0, 0);
            for start in 0..=days - span {
                let pieces: f64 = by_day[start..start + span].iter().sum();
                if best.0 < pieces {
                    best = (pieces, start);
                }
            }
            Some(self.first + Days::new(best.1 as u64))
        };
        (0..self.n_lines()).map(busiest).collect()
    }

    /// Last day of the lead time, drawn for each line.
    fn lead_ends(&self, number: usize) -> Vec<Option<NaiveDate>> {
        /// Apart from the streams of the plays.
        const LEAD_TIMES: u64 = 1 << 40;
        let mut rng = ChaCha8Rng::seed_from_u64(self.game.seed);
        rng.set_stream(LEAD_TIMES + number as u64);
        let ends = self
            .desk
            .lead
            .iter()
            .zip(&self.busiest)
            .map(|(lead, from)| {
                let z: f64 = StandardNormal.sample(&mut rng);
                let (lead, from) = (*lead)?.days_from(*from, z)?;
                Some(from + Days::new(lead.saturating_sub(1)))
            });
        ends.collect()
    }

    fn batch(&self, batch: usize) -> Chunk {
        let ends: Vec<_> = (0..BATCH)
            .map(|k| self.lead_ends(batch * BATCH + k))
            .collect();
        let mut chunk = Chunk {
            rows: vec![vec![0.0_f32; self.width()]; BATCH],
            needs: BTreeMap::new(),
        };
        let mut enter = |k: usize, event: &Event<'_>| {
            if event.date < self.first {
                chunk.rows[k][self.starts[event.line] + BEFORE] += event.pieces as f32;
                return;
            }
            self.enter(&mut chunk.rows[k], &ends[k], event);
            let customer = self.desk.customers[event.machine];
            let need = chunk.needs.entry((customer, event.line));
            let need = need.or_insert((0.0, 0));
            need.0 += event.pieces;
            need.1 |= 1 << k;
        };
        self.plays
            .scheduled(|event| (0..BATCH).for_each(|k| enter(k, event)));
        self.plays.batch(batch, enter);
        chunk
    }

    fn enter(&self, row: &mut [f32], ends: &[Option<NaiveDate>], event: &Event<'_>) {
        let pieces = event.pieces as f32;
        let at = self.starts[event.line];
        row[at + SEASON] += pieces;
        let from = self.busiest[event.line];
        if let (Some(from), Some(end)) = (from, ends[event.line])
            && from <= event.date
            && event.date <= end
        {
            row[at + LEAD] += pieces;
        }
        let arrivals = &self.desk.arrivals[event.line];
        let arrival = arrivals.partition_point(|day| *day <= event.date);
        if arrival < arrivals.len() {
            row[at + MONTHS + self.months.len() + arrival] += pieces;
        }
        let month = self.months.partition_point(|m| *m <= event.date);
        row[at + MONTHS + month.saturating_sub(1)] += pieces;
    }

    fn put_together(self, chunks: Vec<Chunk>, n: usize) -> Demands {
        let mut by_customer: BTreeMap<(usize, usize), Need> = BTreeMap::new();
        for chunk in &chunks {
            for (key, (pieces, plays)) in &chunk.needs {
                let need = by_customer.entry(*key).or_default();
                need.expected += pieces / n as f64;
                need.chance += f64::from(plays.count_ones()) / n as f64;
            }
        }
        let rows: Vec<Vec<f32>> = chunks.into_iter().flat_map(|c| c.rows).collect();
        let column = |line: usize, column: usize| {
            let at = self.starts[line] + column;
            let of_play = |r: &Vec<f32>| without_rounding(f64::from(r[at]));
            rows.iter().map(of_play).collect::<Vec<f64>>()
        };
        let known = |known: bool, line: usize, c: usize| {
            if known { column(line, c) } else { Vec::new() }
        };
        let months = MONTHS + self.months.len();
        let columns = |line, from: usize, until: usize| -> Vec<Vec<f64>> {
            (from..until).map(|c| column(line, c)).collect()
        };
        let lines = 0..self.n_lines();
        let is_to_begin = self.game.as_of + Days::new(1) < self.first;
        Demands {
            before: lines
                .clone()
                .map(|l| known(is_to_begin, l, BEFORE))
                .collect(),
            season: lines.clone().map(|l| column(l, SEASON)).collect(),
            lead: lines
                .clone()
                .map(|l| known(self.busiest[l].is_some(), l, LEAD))
                .collect(),
            before_arrival: lines
                .clone()
                .map(|l| columns(l, months, months + self.desk.arrivals[l].len()))
                .collect(),
            by_month: lines
                .map(|l| {
                    (MONTHS..months)
                        .map(|c| Forecast::of(&column(l, c)))
                        .collect()
                })
                .collect(),
            months: self.months,
            busiest: self.busiest,
            by_customer,
        }
    }
}

/// A sum of pieces without what adding them rounded: three times 4.7 gallons are 14.1 of them.
pub(crate) fn without_rounding(pieces: f64) -> f64 {
    const FINEST: f64 = 1e4;
    (pieces * FINEST).round() / FINEST
}

impl LeadTime {
    /// Days it takes under a standard normal draw, beside the day it starts from.
    fn days_from(self, from: Option<NaiveDate>, z: f64) -> Option<(u64, NaiveDate)> {
        let days = (self.days * (self.ln_sd * z).exp())
            .round()
            .clamp(0.0, 36_500.0);
        Some((days as u64, from?))
    }
}
