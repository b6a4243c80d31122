//! Lives to fit: read where somebody made them, else drawn from the same distributions.
//!
//! Everything is invented. `B`: Weibull lives of shape 1.8 and scale 1,000, 40 % seen to end exactly,
//! 30 % between inspections 150 apart, 30 % censored, 20 % entered late. `C`: use of several groups,
//! shape 1.9 and scale 1,500 in effective use, 70 % worn between two inspections, 30 % censored.

use std::path::PathBuf;

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Exp1, Gamma};
use wearcast::model::observations::End;
use wearcast::model::{Observation, Observations};

/// Where files made elsewhere lie, if anywhere.
fn folder() -> Option<PathBuf> {
    std::env::var_os("WEARCAST_BENCH_DATA").map(PathBuf::from)
}

fn life(entry: Vec<f64>, low: Vec<f64>, end: Vec<f64>, known: End) -> Observation {
    Observation {
        entry,
        low,
        end,
        known,
        count: 1.0,
        machine: None,
    }
}

/// `lower, upper, entry` of each life: equal where the end is exact, no upper where it is censored.
fn spans(n: usize) -> Vec<(f64, Option<f64>, f64)> {
    if let Some(folder) = folder() {
        let file = folder.join(format!("weibull_{n}.csv"));
        let mut rows = csv::Reader::from_path(&file).expect("the file of that many lives");
        let numbers = rows.records().map(|row| {
            let row = row.expect("a row");
            let number = |i: usize| row[i].parse::<f64>().expect("a number");
            let upper = Some(number(1)).filter(|u| 0.0 <= *u);
            (number(0), upper, number(2))
        });
        return numbers.collect();
    }
    let mut rng = ChaCha8Rng::seed_from_u64(20_260_101);
    let one = |rng: &mut ChaCha8Rng| {
        let entry = if rng.random::<f64>() < 0.2 {
            rng.random_range(50.0..500.0)
        } else {
            0.0
        };
        let more: f64 = Exp1.sample(rng);
        let end = 1_000.0 * ((entry / 1_000.0_f64).powf(1.8) + more).powf(1.0 / 1.8);
        match rng.random::<f64>() {
            kind if kind < 0.4 => (end, Some(end), entry),
            kind if kind < 0.7 => {
                let visit = (end / 150.0).floor();
                (entry.max(visit * 150.0), Some((visit + 1.0) * 150.0), entry)
            }
            _ => (
                entry + rng.random_range(0.05..1.0) * (end - entry),
                None,
                entry,
            ),
        }
    };
    (0..n).map(|_| one(&mut rng)).collect()
}

/// `n` lives of one group; all of them seen from new where `late` is false.
pub fn of_one_group(n: usize, late: bool) -> Observations {
    let lives = spans(n).into_iter().map(|(low, upper, entry)| {
        let entry = vec![if late { entry } else { 0.0 }];
        match upper {
            None => life(entry, vec![low], vec![low], End::Censored),
            Some(end) if low < end => life(entry, vec![low], vec![end], End::Between),
            Some(end) => life(entry, vec![end], vec![end], End::At),
        }
    });
    Observations::new(1, lives.collect())
}

/// `n` lives seen from new that ended exactly, in the middle of what is known of them, or were censored.
pub fn exact(n: usize) -> Observations {
    let lives = spans(n).into_iter().map(|(low, upper, _)| {
        let end = upper.map_or(low, |u| f64::midpoint(low, u));
        let known = if upper.is_some() {
            End::At
        } else {
            End::Censored
        };
        life(vec![0.0], vec![end], vec![end], known)
    });
    Observations::new(1, lives.collect())
}

/// Shares of `n` groups that add up to 1: a Dirichlet draw with parameter 0.8.
fn shares(n: usize, rng: &mut ChaCha8Rng) -> Vec<f64> {
    let gamma = Gamma::new(0.8, 1.0).expect("a gamma distribution");
    let parts: Vec<f64> = (0..n).map(|_| gamma.sample(rng)).collect();
    let whole: f64 = parts.iter().sum();
    parts.into_iter().map(|p| p / whole).collect()
}

/// `n` lives of several groups.
pub fn of_groups(n: usize, groups: usize) -> Observations {
    if let Some(folder) = folder() {
        return read_groups(&folder.join(format!("cumexp_{n}_{groups}.f64")), groups);
    }
    let mut rng = ChaCha8Rng::seed_from_u64(20_260_101);
    let factor = |g: usize| match g {
        0 => 1.0,
        g => (-1.2 + 2.3 * (g as f64 - 1.0) / (groups as f64 - 2.0)).exp(),
    };
    let one = |rng: &mut ChaCha8Rng| {
        let mix = shares(groups, rng);
        let more: f64 = Exp1.sample(rng);
        let per: f64 = mix.iter().enumerate().map(|(g, m)| m * factor(g)).sum();
        let end = 1_500.0 * more.powf(1.0 / 1.9) / per;
        let gap = 1_500.0 * rng.random_range(0.05..0.4);
        let censored = rng.random::<f64>() < 0.3;
        let seen = if censored {
            rng.random_range(0.1..1.0) * end
        } else {
            (end - rng.random::<f64>() * gap).max(0.0)
        };
        let low: Vec<f64> = mix.iter().map(|m| m * seen).collect();
        let stray = shares(groups, rng);
        let step = mix.iter().zip(stray).map(|(m, s)| (m + 0.02 * s) * gap);
        let high = low.iter().zip(step).map(|(l, s)| l + s).collect();
        grouped(low, high, censored)
    };
    Observations::new(groups, (0..n).map(|_| one(&mut rng)).collect())
}

fn grouped(low: Vec<f64>, high: Vec<f64>, censored: bool) -> Observation {
    let entry = vec![0.0; low.len()];
    if censored {
        life(entry, low.clone(), low, End::Censored)
    } else {
        life(entry, low, high, End::Between)
    }
}

/// Plain numbers, a row a life: use when last seen good, use when seen worn, and whether censored.
fn read_groups(file: &std::path::Path, groups: usize) -> Observations {
    let bytes = std::fs::read(file).expect("the file of that many lives");
    let numbers: Vec<f64> = bytes
        .as_chunks::<8>()
        .0
        .iter()
        .map(|b| f64::from_le_bytes(*b))
        .collect();
    let lives = numbers.chunks_exact(2 * groups + 1).map(|row| {
        let (low, rest) = row.split_at(groups);
        grouped(low.to_vec(), rest[..groups].to_vec(), 0.0 < rest[groups])
    });
    Observations::new(groups, lives.collect())
}
