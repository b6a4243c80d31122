//! The log-likelihood of Weibull lives, fast: sums over blocks of lives, and what they come to.
//!
//! Lives are taken in fixed runs of blocks, and the sums of the runs are added in their order. Where there
//! are enough of them, runs are shared out among threads, which changes nothing of that: the
//! number of threads never reaches a result.

use std::cell::RefCell;

use rayon::prelude::*;

use super::blocks::{Blocks, Segment};
use super::likelihood::Derivatives;
use super::observations::Observations;
use super::passes::{self, At, Buffers, n_sums, place};

/// Blocks of a run.
const RUN: usize = 64;
/// Lives from which threads pay.
const MANY: usize = 50_000;
/// Log-likelihoods below this are out of reach: derivatives there may have left the range of
/// numbers, one beside the other.
const OUT_OF_REACH: f64 = -1e100;

/// Kept from one evaluation to the next, so that none of them allocates.
struct Work {
    buffers: Buffers,
    factors: Vec<f64>,
    /// Of one run.
    run: Vec<f64>,
    /// Level after level.
    sums: Vec<f64>,
}

thread_local! {
    /// Borrowed only where no other work of the thread can come between.
    static WORK: RefCell<Work> = RefCell::new(Work {
        buffers: Buffers::new(),
        factors: Vec::new(),
        run: Vec::new(),
        sums: Vec::new(),
    });
}

/// Value, gradient and Hessian at `theta`, with `shift` added to the log scale.
pub(super) fn evaluate(lives: &Observations, theta: &[f64], shift: f64, out: &mut Derivatives) {
    out.clear();
    with_sums(lives, theta, shift, true, |sums| {
        let n = n_sums(lives.n_groups);
        for (level, sums) in sums.chunks_exact(n).enumerate() {
            gather(sums, lives.n_groups, level, theta, out);
        }
    });
    let n = theta.len();
    for i in 0..n {
        for j in 0..i {
            out.hessian[j * n + i] = out.hessian[i * n + j];
        }
    }
    if lives.blocks.impossible {
        out.value = f64::NEG_INFINITY;
    }
    out.value = within_reach(out.value);
}

/// The value alone.
pub(super) fn value(lives: &Observations, theta: &[f64], shift: f64) -> f64 {
    if lives.blocks.impossible {
        return f64::NEG_INFINITY;
    }
    let value = with_sums(lives, theta, shift, false, |sums| {
        let levels = sums.chunks_exact(n_sums(lives.n_groups));
        levels
            .map(|s| s[place::VALUE] + theta[0] * s[place::EXACT])
            .sum()
    });
    within_reach(value)
}

/// Negative infinity also in place of what is not a number.
fn within_reach(value: f64) -> f64 {
    if OUT_OF_REACH < value {
        value
    } else {
        f64::NEG_INFINITY
    }
}

/// Hands the sums of every level to `then`.
fn with_sums<T>(
    lives: &Observations,
    theta: &[f64],
    shift: f64,
    slopes: bool,
    then: impl FnOnce(&[f64]) -> T,
) -> T {
    let n_groups = lives.n_groups;
    let (shape, ln_scale) = (theta[0].exp(), theta[1] + shift);
    let (factors, ratios) = theta[2..].split_at(n_groups - 1);
    let factors = std::iter::once(1.0).chain(factors.iter().map(|w| w.exp()));
    let scale_of = |level: usize| ln_scale + level.checked_sub(1).map_or(0.0, |l| ratios[l]);
    let n = n_sums(n_groups);
    if MANY <= lives.len() && 1 < rayon::current_num_threads() {
        let factors: Vec<f64> = factors.collect();
        let at = |level: usize| At {
            shape,
            ln_scale: scale_of(level),
            factors: &factors,
        };
        let mut sums = shared_out(lives, n, at, slopes);
        add_rates(lives, n, at, &mut sums);
        return then(&sums);
    }
    WORK.with_borrow_mut(|work| {
        work.factors.clear();
        work.factors.extend(factors);
        work.run.resize(n, 0.0);
        work.sums.clear();
        work.sums.resize(n * lives.n_levels, 0.0);
        for segment in &lives.blocks.segments {
            let at = At {
                shape,
                ln_scale: scale_of(segment.level),
                factors: &work.factors,
            };
            let sums = &mut work.sums[segment.level * n..(segment.level + 1) * n];
            for run in runs(segment) {
                work.run.fill(0.0);
                passes::add(segment, run, at, slopes, &mut work.buffers, &mut work.run);
                add(sums, &work.run);
            }
        }
        let at = |level: usize| At {
            shape,
            ln_scale: scale_of(level),
            factors: &work.factors,
        };
        add_rates(lives, n, at, &mut work.sums);
        then(&work.sums)
    })
}

/// Adds what exact ends of one group tell beside having survived so far.
fn add_rates<'a>(lives: &Observations, n: usize, at: impl Fn(usize) -> At<'a>, sums: &mut [f64]) {
    for rates in &lives.blocks.rates {
        let at = at(rates.level);
        let z = rates.ln_ends - at.ln_scale * rates.count;
        let sums = &mut sums[rates.level * n..(rates.level + 1) * n];
        passes::add_rates((rates.count, z), at, sums);
    }
}

/// The same sums by many threads.
fn shared_out<'a>(
    lives: &Observations,
    n: usize,
    at: impl Fn(usize) -> At<'a> + Sync,
    slopes: bool,
) -> Vec<f64> {
    let all = all_runs(&lives.blocks);
    let mut of_runs = vec![0.0; n * all.len()];
    of_runs
        .par_chunks_exact_mut(n)
        .zip(&all)
        .for_each(|(sums, (segment, run))| {
            WORK.with_borrow_mut(|work| {
                let at = at(segment.level);
                passes::add(segment, run.clone(), at, slopes, &mut work.buffers, sums);
            });
        });
    let mut sums = vec![0.0; n * lives.n_levels];
    for (run, (segment, _)) in of_runs.chunks_exact(n).zip(&all) {
        add(&mut sums[segment.level * n..(segment.level + 1) * n], run);
    }
    sums
}

fn runs(segment: &Segment) -> impl Iterator<Item = std::ops::Range<usize>> {
    let blocks = segment.blocks();
    (0..blocks)
        .step_by(RUN)
        .map(move |from| from..(from + RUN).min(blocks))
}

fn all_runs(blocks: &Blocks) -> Vec<(&Segment, std::ops::Range<usize>)> {
    let segments = blocks.segments.iter();
    segments
        .flat_map(|s| runs(s).map(move |run| (s, run)))
        .collect()
}

fn add(sums: &mut [f64], more: &[f64]) {
    for (sum, more) in sums.iter_mut().zip(more) {
        *sum += more;
    }
}

/// Adds the lives of one level, lower triangle only. What they say of the log scale they also
/// say of their level's ratio.
fn gather(sums: &[f64], n_groups: usize, level: usize, theta: &[f64], out: &mut Derivatives) {
    let n = theta.len();
    let shape = theta[0].exp();
    let (by_group, mut form) = sums[place::COUNT..].split_at(3 * (n_groups - 1));
    // First derivatives by `t`, times what `t` changes by.
    let (by_shape, by_scale) = (shape * sums[place::FIRST_Z], -shape * sums[place::FIRST]);
    let twice = sums[place::SECOND];
    let mixed = by_scale - sums[place::SECOND_Z];
    let own = (0 < level).then(|| n_groups + level);
    out.value += sums[place::VALUE] + theta[0] * sums[place::EXACT];
    out.gradient[0] += by_shape + sums[place::EXACT];
    out.gradient[1] += by_scale;
    let h = &mut out.hessian;
    h[0] += by_shape + sums[place::SECOND_ZZ];
    h[n] += mixed;
    h[n + 1] += twice;
    if let Some(own) = own {
        out.gradient[own] += by_scale;
        h[own * n] += mixed;
        h[own * n + 1] += twice;
        h[own * n + own] += twice;
    }
    for g in 2..=n_groups {
        let theirs = &by_group[3 * (g - 2)..3 * (g - 1)];
        out.gradient[g] += theirs[0];
        h[g * n] += theirs[0] + theirs[2];
        h[g * n + 1] -= theirs[1];
        if let Some(own) = own {
            h[own * n + g] -= theirs[1];
        }
        let (row, rest) = form.split_at(g - 1);
        for (j, form) in row.iter().enumerate() {
            h[g * n + 2 + j] += form;
        }
        h[g * n + g] += theirs[0];
        form = rest;
    }
}

#[cfg(test)]
#[path = "weibull/tests.rs"]
mod tests;
