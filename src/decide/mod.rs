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
//! The season is worked in equal days. A part of age `x` wears out on a day with probability
//! `1 - S(x + day) / S(x)`, and is changed at the day's end, as the records have it: where a day is
//! large against a life, parts do more than they would if they were changed at once.
//!
//! # Source
//! Age replacement: Barlow & Proschan, *Mathematical Theory of Reliability* (1965), chapter 3; with
//! opportunities that come often it approaches their optimum, which a test holds it to.

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
        let [least, most] = STEPS;
        let steps = ((season.exposure / (oldest / 400.0)).ceil() as usize).clamp(least, most);
        let days = season.days.map_or(steps, |days| days.clamp(1, steps));
        // Ages lie closer together than days where these are few.
        let day = steps.div_ceil(days);
        let step = season.exposure / (days * day) as f64;
        let ages = ((oldest / step).ceil() as usize).clamp(2, MOST_AGES);
        let hazards: Vec<f64> = (0..ages + day).map(|k| hazard(k as f64 * step)).collect();
        let wear = hazards.iter().zip(&hazards[day..]);
        let wear: Vec<f64> = wear.map(|(now, then)| -(now - then).exp_m1()).collect();
        let mut programme = Self {
            step,
            run: vec![0.0; ages],
            costs,
        };
        // Each round is worth `discount` of the one before: this many leave a millionth. What is
        // asked for are differences between ages, which settle long before the sums do.
        let rounds = (1e-7_f64.ln() / discount.ln()).ceil().min(2_000.0) as usize;
        let settled = SETTLED * costs.planned.max(costs.in_season) * (1.0 - discount) / discount;
        for _ in 0..rounds {
            let before = programme.season_before(&wear, (days, day), discount);
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

    /// `W` one season earlier.
    ///
    /// - `days`: how many, and steps of age in each.
    fn season_before(&self, wear: &[f64], days: (usize, usize), discount: f64) -> Vec<f64> {
        let (days, day) = days;
        let replaced = self.costs.planned + self.run[0];
        let mut cost: Vec<f64> = self
            .run
            .iter()
            .map(|run| discount * run.min(replaced))
            .collect();
        let mut before = cost.clone();
        // From here on a day ahead is as of the oldest age.
        let edge = cost.len().saturating_sub(day);
        let oldest = cost.len() - 1;
        for _ in 0..days {
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
        let place = (age / self.step).min((self.run.len() - 1) as f64);
        let (low, share) = (place.floor() as usize, place.fract());
        let high = (low + 1).min(self.run.len() - 1);
        let run = self.run[low] * (1.0 - share) + self.run[high] * share;
        run - self.costs.planned - self.run[0]
    }

    /// Least age at which it pays to replace; `None`: never.
    #[must_use]
    pub fn threshold(&self) -> Option<f64> {
        (0..self.run.len())
            .map(|i| i as f64 * self.step)
            .find(|age| 1e-9 < self.saving(*age))
    }
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
