//! Run or replace in the shop: the discounted dynamic programme over effective age.
//!
//! Work can be done once a year, between seasons, at the planned cost; a part that wears out in
//! season is changed at once, at the in-season cost. With `V(a)` the least cost from an opportunity
//! on at age `a`, and `W(a)` the cost of a season entered at age `a` and all that follows it,
//!
//! ```text
//! V(a) = min(W(a), planned + W(0))
//! W(a) = E[in-season changes] * in_season + discount * E[V(age at the season's end)]
//! ```
//!
//! Seasons to come are worked in equal days, the first one in its own: a part that is as good as worn is
//! changed at the end of the next, be it short or long. A part of age `x` wears out on a day with probability
//! `1 - S(x + day) / S(x)`, and is changed at the day's end, as the records have it: where a day is
//! large against a life, parts do more than they would if they were changed at once.
//!
//! # Source
//! Age replacement: Barlow & Proschan, *Mathematical Theory of Reliability* (1965), chapter 3; with
//! opportunities that come often it approaches their optimum, which a test holds it to.

use std::collections::{BTreeMap, BTreeSet};

/// What one replacement costs, by when it is done.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Costs {
    /// In the shop, between seasons.
    pub planned: f64,
    /// In season, when it has worn out.
    pub in_season: f64,
}

/// The work of a season.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Season {
    /// Effective exposure, above 0.
    pub exposure: f64,
    /// Days it is done in; `None`: so many that a day is small against a life.
    pub days: Option<usize>,
}

/// A part's prospects, season after season.
#[derive(Clone, Debug, PartialEq)]
pub struct Programme {
    step: f64,
    /// `W` by steps of age.
    run: Vec<f64>,
    costs: Costs,
}

/// Steps a season is cut into, at least and at most.
const STEPS: [usize; 2] = [6, 200];
/// Steps of age for a season whose days are known, at least, so that short days count beside long ones.
const AGES_OF_FIRST: usize = 500;
/// Steps for all its days together, as far as no more ages than [`MOST_AGES`] come of it: lives may be a
/// thousand times as long.
const STEPS_OF_FIRST: usize = 24;
/// Steps of age, at most; older parts are taken as of the oldest age.
const MOST_AGES: usize = 4_000;
/// Share of a replacement's cost that differences between ages may still be off by.
const SETTLED: f64 = 1e-6;
/// Cumulative hazard above which a part is as good as worn.
const SURE: f64 = 25.0;

impl Programme {
    /// Solves the programme.
    ///
    /// - `hazard`: cumulative hazard by effective exposure, 0 at 0 and rising.
    /// - `discount`: value today of money a year later, below 1.
    #[must_use]
    pub fn solve(hazard: impl Fn(f64) -> f64, season: Season, costs: Costs, discount: f64) -> Self {
        let oldest = oldest(&hazard, season.exposure);
        let grid = Grid::equal(hazard, season, oldest);
        let mut programme = Self {
            step: grid.step,
            run: vec![0.0; grid.ages],
            costs,
        };
        // Each round is worth `discount` of the one before: this many leave a millionth. What is
        // asked for are differences between ages, which settle long before the sums do.
        let rounds = (1e-7_f64.ln() / discount.ln()).ceil().min(2_000.0) as usize;
        let settled = SETTLED * costs.planned.max(costs.in_season) * (1.0 - discount) / discount;
        for _ in 0..rounds {
            let before = programme.season_before(&grid, discount);
            let change = before.iter().zip(&programme.run).map(|(b, r)| b - r);
            let (least, most) = change.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, m), c| {
                (l.min(c), m.max(c))
            });
            programme.run = before;
            if most - least <= settled {
                break;
            }
        }
        programme
    }

    /// Of a part whose machine leaves when the season is over: nothing comes after it.
    ///
    /// - `days`: effective exposure of each day left, in order; more than nothing in all.
    /// - `age`: of the oldest part it is asked about.
    #[must_use]
    pub fn of_the_last_season(
        hazard: impl Fn(f64) -> f64,
        days: &[f64],
        costs: Costs,
        age: f64,
    ) -> Self {
        let oldest = oldest(&hazard, days.iter().sum());
        let grid = Grid::of_days(hazard, days, [oldest, age]);
        let mut last = Self {
            step: grid.step,
            run: vec![0.0; grid.ages],
            costs,
        };
        last.run = last.season_before(&grid, 1.0);
        last
    }

    /// The same from a season on whose days are known, and of which there may be less than of those after it.
    ///
    /// - `days`: effective exposure of each, in order.
    /// - `discount`: value today of money at its end.
    /// - `age`: of the oldest part it is asked about.
    #[must_use]
    pub fn after(
        &self,
        hazard: impl Fn(f64) -> f64,
        days: &[f64],
        discount: f64,
        age: f64,
    ) -> Self {
        // A short season has short steps of age, and those there are end before parts are old.
        let told = self.step * (self.run.len() - 1) as f64;
        let oldest = oldest(&hazard, days.iter().sum()).max(told);
        let grid = Grid::of_days(hazard, days, [oldest, age]);
        let later = (0..grid.ages).map(|k| self.at(k as f64 * grid.step));
        let mut first = Self {
            step: grid.step,
            run: later.collect(),
            costs: self.costs,
        };
        first.run = first.season_before(&grid, discount);
        first
    }

    /// `W` one season earlier.
    fn season_before(&self, grid: &Grid, discount: f64) -> Vec<f64> {
        let replaced = self.costs.planned + self.run[0];
        let ended = self.run.iter().map(|run| discount * run.min(replaced));
        let mut cost: Vec<f64> = ended.collect();
        let mut before = cost.clone();
        let oldest = cost.len() - 1;
        for (day, wear) in grid.days.iter().rev().map(|day| (*day, &grid.wear[day])) {
            // From here on a day ahead is as of the oldest age.
            let edge = cost.len().saturating_sub(day);
            let new = self.costs.in_season + cost[0];
            let changed = |older: f64, wear: f64| older + wear * (new - older);
            for ((b, w), older) in before.iter_mut().zip(wear).zip(&cost[day.min(oldest)..]) {
                *b = changed(*older, *w);
            }
            for (b, w) in before[edge..].iter_mut().zip(&wear[edge..]) {
                *b = changed(cost[oldest], *w);
            }
            std::mem::swap(&mut before, &mut cost);
        }
        cost
    }

    /// Cost of running on from this age less the cost of replacing now: above 0 it pays to replace.
    #[must_use]
    pub fn saving(&self, age: f64) -> f64 {
        self.at(age) - self.costs.planned - self.run[0]
    }

    /// `W` at an age.
    fn at(&self, age: f64) -> f64 {
        let place = (age / self.step).min((self.run.len() - 1) as f64);
        let (low, share) = (place.floor() as usize, place.fract());
        let high = (low + 1).min(self.run.len() - 1);
        self.run[low] * (1.0 - share) + self.run[high] * share
    }

    /// Least age at which it pays to replace; `None`: never.
    #[must_use]
    pub fn threshold(&self) -> Option<f64> {
        (0..self.run.len())
            .map(|i| i as f64 * self.step)
            .find(|age| 1e-9 < self.saving(*age))
    }
}

/// Ages in steps, and the days of a season in the same.
struct Grid {
    step: f64,
    ages: usize,
    /// Steps of each day that has any.
    days: Vec<usize>,
    /// Chance to wear out on a day of so many steps, by steps of age.
    wear: BTreeMap<usize, Vec<f64>>,
}

impl Grid {
    /// - `oldest`: age by which a part is as good as worn.
    fn equal(hazard: impl Fn(f64) -> f64, season: Season, oldest: f64) -> Self {
        let [least, most] = STEPS;
        let steps = ((season.exposure / (oldest / 400.0)).ceil() as usize).clamp(least, most);
        let days = season.days.map_or(steps, |days| days.clamp(1, steps));
        // Ages lie closer together than days where these are few.
        let day = steps.div_ceil(days);
        let step = season.exposure / (days * day) as f64;
        Self::new(hazard, step, oldest, vec![day; days])
    }

    /// - `age`: one that it must hold.
    fn of_days(hazard: impl Fn(f64) -> f64, days: &[f64], [oldest, age]: [f64; 2]) -> Self {
        let step = step_of_first(days.iter().sum(), oldest, age);
        let most = ((oldest / step).ceil() as usize).min(MOST_AGES);
        let (mut sum, mut before) = (0.0, 0);
        let days = days.iter().map(|day| {
            sum += day;
            let end = (sum / step).round() as usize;
            // A day beyond the oldest age is as good as one up to it.
            let steps = end.saturating_sub(std::mem::replace(&mut before, end));
            steps.min(most)
        });
        let days = days.filter(|day| 0 < *day).collect();
        Self::new(hazard, step, oldest, days)
    }

    fn new(hazard: impl Fn(f64) -> f64, step: f64, oldest: f64, days: Vec<usize>) -> Self {
        let ages = ((oldest / step).ceil() as usize).clamp(2, MOST_AGES);
        let longest = days.iter().max().copied().unwrap_or(0);
        let hazards: Vec<f64> = (0..ages + longest)
            .map(|k| hazard(k as f64 * step))
            .collect();
        let chances = |day: usize| {
            let both = hazards.iter().zip(&hazards[day..]).take(ages);
            // What should have worn out long ago does so on any day.
            let chance = |now: f64, then: f64| {
                if now.is_finite() {
                    -(now - then).exp_m1()
                } else {
                    1.0
                }
            };
            both.map(|(now, then)| chance(*now, *then)).collect()
        };
        let lengths: BTreeSet<usize> = days.iter().copied().collect();
        Self {
            step,
            ages,
            days,
            wear: lengths.into_iter().map(|day| (day, chances(day))).collect(),
        }
    }
}

/// A step of age for a first season of so much exposure in all.
fn step_of_first(all: f64, oldest: f64, age: f64) -> f64 {
    let coarse = oldest / AGES_OF_FIRST as f64;
    if all <= 0.0 {
        return coarse;
    }
    let fine = (all / STEPS_OF_FIRST as f64).max(oldest / MOST_AGES as f64);
    let least = (age + all) / (MOST_AGES - AGES_OF_FIRST) as f64;
    coarse.min(fine).min(all / STEPS[0] as f64).max(least)
}

/// Exposure by which a part is as good as worn, and no less than a season.
fn oldest(hazard: &impl Fn(f64) -> f64, season: f64) -> f64 {
    let mut x = season;
    for _ in 0..200 {
        if SURE <= hazard(x) {
            break;
        }
        x *= 1.25;
    }
    while season < x && SURE < hazard(x / 1.25) {
        x /= 1.25;
    }
    x
}

/// What to do with a part before the season.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Advice {
    /// Replacing now is cheaper than running on.
    ReplaceNow,
    /// Running on is cheaper.
    Run,
    /// It is close, or nobody knows its age: look at it.
    Inspect,
}

impl Advice {
    /// The word in JSON.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::ReplaceNow => "replace_now",
            Self::Run => "run",
            Self::Inspect => "inspect",
        }
    }

    /// From the savings that equally probable parameters give, and whether the age is known.
    ///
    /// Worth a look are parts of unknown age, and parts for which a third of the draws or more
    /// speak against the advice to run (our own choice).
    #[must_use]
    pub fn of(savings: &[f64], age_known: bool) -> Self {
        let mean = savings.iter().sum::<f64>() / savings.len() as f64;
        let for_it = savings.iter().filter(|s| 0.0 < **s).count();
        if 0.0 < mean && age_known {
            Self::ReplaceNow
        } else if !age_known || savings.len() <= 3 * for_it {
            Self::Inspect
        } else {
            Self::Run
        }
    }
}
