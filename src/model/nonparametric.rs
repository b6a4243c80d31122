//! Survival without a distribution: what the lives alone say of how many are still good.
//!
//! Lives may be exact, worn out between two exposures, worn out some time before (low = 0), still
//! good, and first seen with use behind them. With `h_j` the cumulative hazard that falls on cell
//! `j`, a life that entered at `e` and wore out in `(l, u]` contributes
//!
//! ```text
//! -(sum of h_j over e < j <= l) + ln(1 - exp(-(sum of h_j over l < j <= u)))
//! ```
//!
//! and one still good at `u` contributes `-(sum of h_j over e < j <= u)`. This is concave in `h`,
//! so the Karush-Kuhn-Tucker conditions decide whether the maximum is reached. For exact and
//! right-censored lives it is the product limit of Kaplan and Meier; without late entry it is
//! Turnbull's self-consistent estimate.
//!
//! # Source
//! Kaplan & Meier (1958), J. Am. Stat. Assoc. 53:457. Turnbull (1976), J. R. Stat. Soc. B 38:290;
//! the cells under late entry as corrected by Frydman (1994), same journal, 56:71.

mod cells;
mod maximum;

use statrs::distribution::{ContinuousCDF, Normal};

use super::observations::{End, Observations};
use crate::wear::effective;
use cells::{Cells, Row};
use maximum::Maximum;

/// Most steps of an estimate; see [`survival`].
pub const MOST_STEPS: usize = 200;

/// Smallest risk set that an estimate may start from, where some lives enter late.
const LEAST_AT_RISK: f64 = 10.0;

/// Mass below this is rounding.
const NO_MASS: f64 = 1e-12;

/// One cell in which survival falls.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Step {
    /// The fall lies above this exposure ..
    pub low: f64,
    /// .. and not above this one. Where inside, no life tells. Equal to `low` for an exact life.
    pub high: f64,
    /// The share that wears out here.
    pub mass: f64,
    /// The share still good afterwards.
    pub survival: f64,
    /// Lower limit of the survival; `None` once it is 0 or where the lives do not set one.
    pub survival_low: Option<f64>,
    /// Upper limit of the survival.
    pub survival_high: Option<f64>,
    /// Lives at risk here (expected number, where intervals overlap).
    pub at_risk: f64,
    /// Wear-outs here (expected number, where intervals overlap).
    pub worn: f64,
}

/// A survival function without a distribution.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Survival {
    /// Survival is that of lives still good at this exposure; 0 for all lives from new.
    pub start: f64,
    /// Lives that ended, or may have ended, before `start`; they are left out.
    pub left_out: f64,
    /// Whether ends were rounded to [`MOST_STEPS`] exposures.
    pub rounded: bool,
    /// Whether no wear-out could lie in more than one cell: then survival is a product limit.
    pub product_limit: bool,
    /// Lives that entered late.
    pub late_entry: f64,
    /// Lives in the estimate.
    pub lives: f64,
    /// In the order of exposure.
    pub steps: Vec<Step>,
    /// Log-likelihood at the estimate.
    pub log_likelihood: f64,
    /// How far the Karush-Kuhn-Tucker conditions are from being met, relative to the risk sets.
    pub imbalance: f64,
}

impl Survival {
    /// The share still good beyond `exposure`: the fall of a cell counts at its upper end.
    #[must_use]
    pub fn at(&self, exposure: f64) -> f64 {
        let passed = self.steps.partition_point(|s| s.high <= exposure);
        passed
            .checked_sub(1)
            .map_or(1.0, |i| self.steps[i].survival)
    }
}

/// The most likely survival along effective exposure, with pointwise limits of confidence `level`.
///
/// - `factors`: wear factor of each group, the reference first.
/// - More than [`MOST_STEPS`] cells: entries, lows and ends are rounded to the nearest of that many
///   quantiles of the ends of worn-out lives, which moves a survival by half a step at most.
/// - Late entry: where the first risk sets hold fewer than 10 lives (or half the largest risk set,
///   if that is less) a single wear-out would pull the estimate to 0. It then starts at the first
///   entry from which the risk set is large enough, and is the survival of lives still good there.
/// - Limits: on the scale `ln(-ln S)`, with the variance of the cumulative hazard from the observed
///   information on the cells with mass. For a product limit this is Greenwood's formula. With wide
///   overlapping intervals it is somewhat too narrow, since it takes the cells with mass as known.
///
/// # Panics
/// Never: a standard normal distribution is a valid one.
///
/// # Source
/// Limits: Kalbfleisch & Prentice, *The Statistical Analysis of Failure Time Data* (1980), section
/// 1.3; Greenwood (1926); for intervals the observed information of Turnbull (1976), section 5
/// (section from memory).
#[must_use]
pub fn survival(lives: &Observations, factors: &[f64], level: f64) -> Survival {
    let mut rows = rows(lives, factors);
    cells::joined(&mut rows);
    let start = start(&rows);
    let before: f64 = rows.iter().map(|r| r.count).sum();
    if 0.0 < start {
        rows.retain(|r| start <= r.low && start < r.end);
        for row in &mut rows {
            row.entry = row.entry.max(start);
        }
    }
    let lives: f64 = rows.iter().map(|r| r.count).sum();
    let late_entry = rows.iter().filter(|r| start < r.entry);
    let late_entry = late_entry.map(|r| r.count).sum();
    let mut cells = Cells::new(&rows);
    let rounded = MOST_STEPS < cells.len();
    if rounded {
        cells = Cells::new(&cells::rounded(&rows, MOST_STEPS));
    }
    let maximum = Maximum::of(&cells);
    let normal = Normal::standard();
    let z = normal.inverse_cdf(f64::midpoint(1.0, level));
    Survival {
        start,
        left_out: before - lives,
        rounded,
        product_limit: cells.spans.iter().all(|s| s.first == s.last),
        late_entry,
        lives,
        steps: steps(&cells, &maximum, z),
        log_likelihood: maximum.log_likelihood,
        imbalance: maximum.imbalance,
    }
}

/// Lives along effective exposure; those without use tell nothing.
fn rows(lives: &Observations, factors: &[f64]) -> Vec<Row> {
    let n = lives.n_groups;
    let weigh = |u: &[f64]| effective(u, factors.iter().copied());
    (0..lives.len())
        .map(|i| {
            let row = i * n..(i + 1) * n;
            let low = weigh(&lives.low[row.clone()]);
            Row {
                entry: weigh(&lives.entry[row.clone()]),
                low,
                end: low + weigh(&lives.step[row]),
                known: lives.known[i],
                count: lives.count[i],
            }
        })
        .filter(|r| r.entry < r.end)
        .collect()
}

/// The exposure to start from; see [`survival`].
fn start(rows: &[Row]) -> f64 {
    if rows.iter().all(|r| r.entry <= 0.0) {
        return 0.0;
    }
    let risk = Risk::new(rows);
    let (mut largest, mut peak) = (0.0, 0.0);
    for (entry, _) in &risk.entries {
        let after = risk.after(*entry);
        if largest < after {
            (largest, peak) = (after, *entry);
        }
    }
    let least = LEAST_AT_RISK.min(largest / 2.0);
    let thin = rows
        .iter()
        .filter(|r| r.known != End::Censored && r.end <= peak && risk.at(r.end) < least)
        .map(|r| r.end)
        .fold(0.0, f64::max);
    if thin <= 0.0 {
        return 0.0;
    }
    let mut entries = risk.entries.iter().map(|(v, _)| *v);
    entries
        .find(|v| thin <= *v && least <= risk.after(*v))
        .unwrap_or(peak)
}

/// How many lives are at risk at an exposure.
struct Risk {
    /// Entries, and how many lives entered up to there.
    entries: Vec<(f64, f64)>,
    /// Ends, and how many lives ended up to there.
    ends: Vec<(f64, f64)>,
}

impl Risk {
    fn new(rows: &[Row]) -> Self {
        let summed = |value: fn(&Row) -> f64| {
            let mut list: Vec<(f64, f64)> = rows.iter().map(|r| (value(r), r.count)).collect();
            list.sort_by(|a, b| a.0.total_cmp(&b.0));
            let mut sum = 0.0;
            for (_, count) in &mut list {
                sum += *count;
                *count = sum;
            }
            list
        };
        Self {
            entries: summed(|r| r.entry),
            ends: summed(|r| r.end),
        }
    }

    /// Lives at risk of wearing out exactly at `x`.
    fn at(&self, x: f64) -> f64 {
        let up_to = |list: &[(f64, f64)]| {
            let i = list.partition_point(|(v, _)| *v < x);
            i.checked_sub(1).map_or(0.0, |i| list[i].1)
        };
        up_to(&self.entries) - up_to(&self.ends)
    }

    /// Lives at risk just after `x`.
    fn after(&self, x: f64) -> f64 {
        self.at(x.next_up())
    }
}

/// The cells with mass, up to where nothing is left.
fn steps(cells: &Cells, maximum: &Maximum, z: f64) -> Vec<Step> {
    let counts = maximum.expected(cells);
    let variances = maximum.variances(cells);
    let mut out = Vec::new();
    let (mut hazard, mut survival) = (0.0, 1.0);
    for (j, cell) in cells.bounds.iter().enumerate() {
        hazard += maximum.hazard[j];
        let after = f64::exp(-hazard);
        let mass = survival - after;
        survival = after;
        if mass < NO_MASS {
            continue;
        }
        let sd = variances.as_ref().map(|v| v[j].sqrt());
        let limit = |sign: f64| {
            let spread = (sign * z * sd? / hazard).exp();
            Some((-hazard * spread).exp()).filter(|s| 0.0 < after && s.is_finite())
        };
        out.push(Step {
            low: cell.0,
            high: cell.1,
            mass,
            survival: after,
            survival_low: limit(1.0),
            survival_high: limit(-1.0),
            at_risk: counts[j].0,
            worn: counts[j].1,
        });
        if after <= 0.0 {
            break;
        }
    }
    out
}
