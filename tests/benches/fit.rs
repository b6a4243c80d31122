//! How long fits take, and how that grows with the number of lives.
//!
//! `cargo bench --bench fit` measures by the clock. `cargo bench --bench fit -- --plain` prints a row a
//! case, with the log-likelihood reached and processor seconds; `fit.py` beside this
//! file runs it next to general-purpose tools. `-- --passes N` goes over a million lives N times, for
//! a count of instructions.

#![expect(
    clippy::disallowed_methods,
    clippy::print_stdout,
    reason = "a bench reads its data and prints what it found"
)]

#[path = "fit/data.rs"]
mod data;
mod watch;

use std::time::{Duration, Instant};

use divan::{Bencher, black_box};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use wearcast::model::anchor::{Anchor, Anchored};
use wearcast::model::fit::{self, Fit};
use wearcast::model::likelihood::{Derivatives, Likelihood};
use wearcast::model::newton::Search;
use wearcast::model::{Distribution, Observations};

use watch::Watch;

const SIZES: [usize; 5] = [100, 1_000, 10_000, 100_000, 1_000_000];
const GROUPS: [usize; 3] = [3, 6, 10];
const RESAMPLES: usize = 1_000;

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    let after = |name: &str| {
        let at = arguments.iter().position(|a| a == name)?;
        Some(arguments.get(at + 1).cloned().unwrap_or_default())
    };
    if let Some(most) = after("--plain") {
        plain(most.parse().unwrap_or(1_000_000));
    } else if let Some(passes) = after("--passes") {
        let groups = after("--groups").map_or(1, |g| g.parse().expect("a number of groups"));
        go_over(passes.parse().expect("a number of passes"), groups);
    } else {
        divan::main();
    }
}

fn weibull(lives: &Observations) -> Fit {
    fit::maximum_likelihood(Distribution::Weibull, lives).expect("a maximum")
}

/// Exact, interval and censored lives, some of them entered late.
#[divan::bench(args = SIZES)]
fn one_group(bencher: Bencher, n: usize) {
    let lives = data::of_one_group(n, true);
    bencher.bench(|| weibull(black_box(&lives)));
}

/// Wear factors of all groups but one, with shape and scale.
#[divan::bench(args = SIZES[1..].iter().flat_map(|n| GROUPS.map(|g| format!("{n} {g}"))))]
fn several_groups(bencher: Bencher, case: &str) {
    let (n, groups) = case.split_once(' ').expect("two numbers");
    let number = |text: &str| text.parse().expect("a number");
    let lives = data::of_groups(number(n), number(groups));
    bencher.bench(|| weibull(black_box(&lives)));
}

/// A thousand resampled fits.
#[divan::bench(args = [30, 300])]
fn resamples(bencher: Bencher, n: usize) {
    let lives = data::exact(n);
    bencher.bench(|| resampled(black_box(&lives), &weibull(&lives), 1));
}

/// From lives to the columns that a fit goes over.
#[divan::bench(args = [1_000, 100_000])]
fn columns(bencher: Bencher, n: usize) {
    bencher.bench(|| data::of_one_group(n, true));
}

/// `(ln shape, ln scale)` of lives drawn again and again from the same ones: each resample has a
/// random stream of its own, so that the number of threads never changes a result.
fn resampled(lives: &Observations, full: &Fit, seed: u64) -> Vec<[f64; 2]> {
    // Which of the different lives each life is.
    let which: Vec<usize> = (lives.counts().iter().enumerate())
        .flat_map(|(i, count)| std::iter::repeat_n(i, *count as usize))
        .collect();
    (0..RESAMPLES)
        .into_par_iter()
        .with_min_len(RESAMPLES / 8)
        .map_init(
            || (lives.clone(), Search::new(2), vec![0.0; lives.len()]),
            |(lives, search, counts), number| {
                let mut rng = ChaCha8Rng::seed_from_u64(seed);
                rng.set_stream(number as u64);
                counts.fill(0.0);
                for _ in 0..which.len() {
                    let life = rng.random_range(0..which.len() as u32);
                    counts[which[life as usize]] += 1.0;
                }
                lives.recount(counts);
                let objective = Anchored {
                    likelihood: Likelihood {
                        distribution: Distribution::Weibull,
                        lives,
                    },
                    anchor: Anchor::Scale,
                    priors: Vec::new(),
                    half_event_at: None,
                };
                search
                    .climb(&objective, &full.theta, &full.free)
                    .expect("a maximum");
                [search.theta()[0], search.theta()[1]]
            },
        )
        .collect()
}

/// Median of five measurements of at least a third of a second each.
fn seconds<T>(mut work: impl FnMut() -> T) -> f64 {
    let start = Instant::now();
    black_box(work());
    let least = Duration::from_millis(300).as_secs_f64();
    let repeats = (least / start.elapsed().as_secs_f64()).ceil().max(1.0) as usize;
    let mut all: Vec<f64> = (0..5)
        .map(|_| {
            let watch = Watch::start();
            for _ in 0..repeats {
                black_box(work());
            }
            watch.stop() / repeats as f64
        })
        .collect();
    all.sort_by(f64::total_cmp);
    all[2]
}

/// A row a case, up to `most` lives.
fn plain(most: usize) {
    println!("line,n,groups,threads,seconds,loglik");
    let row = |line: &str, n: usize, groups: usize, seconds: f64, loglik: f64| {
        let threads = rayon::current_num_threads();
        println!("{line},{n},{groups},{threads},{seconds:.9},{loglik:.4}");
    };
    for n in SIZES.into_iter().filter(|n| *n <= most) {
        for (line, late) in [("B trunc", true), ("B notrunc", false)] {
            let lives = data::of_one_group(n, late);
            let found = weibull(&lives).log_likelihood();
            row(line, n, 1, seconds(|| weibull(black_box(&lives))), found);
        }
        for groups in GROUPS.into_iter().filter(|_| 1_000 <= n) {
            let lives = data::of_groups(n, groups);
            let found = weibull(&lives).log_likelihood();
            row(
                "C",
                n,
                groups,
                seconds(|| weibull(black_box(&lives))),
                found,
            );
        }
    }
    for n in [30, 300] {
        let lives = data::exact(n);
        let full = weibull(&lives);
        let taken = seconds(|| resampled(black_box(&lives), &full, 1));
        row("E", n, 1, taken, full.log_likelihood());
    }
}

/// Value and derivatives over and over, and how long one life takes.
fn go_over(passes: usize, groups: usize) {
    const LIVES: usize = 1_000_000;
    let lives = if groups == 1 {
        data::of_one_group(LIVES, true)
    } else {
        data::of_groups(LIVES, groups)
    };
    let likelihood = Likelihood {
        distribution: Distribution::Weibull,
        lives: &lives,
    };
    let mut theta = vec![0.1; likelihood.n_parameters()];
    (theta[0], theta[1]) = (0.6, 7.0);
    let mut out = Derivatives::zero(theta.len());
    let watch = Watch::start();
    for _ in 0..passes {
        likelihood.evaluate(black_box(&theta), &mut out);
        black_box(&out);
    }
    let each = watch.stop() * 1e9 / passes.max(1) as f64;
    println!(
        "{passes} passes over {} different lives of {groups} groups: {:.2} ns a life a pass",
        lives.len(),
        each / lives.len() as f64
    );
}
