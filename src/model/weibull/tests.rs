use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::super::kernel::Distribution;
use super::super::likelihood::{Derivatives, Likelihood};
use super::super::observations::{End, Observation, Observations};

/// Lives of every kind, with steps down to a billionth of what was used before.
fn lives(n: usize, groups: usize, levels: usize, seed: u64) -> Observations {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let one = |rng: &mut ChaCha8Rng| {
        let mut more = |size: f64| -> Vec<f64> {
            let some = |rng: &mut ChaCha8Rng| {
                let used = rng.random::<f64>() < 0.8;
                if used {
                    size * rng.random::<f64>()
                } else {
                    0.0
                }
            };
            (0..groups).map(|_| some(rng)).collect()
        };
        let plus = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a + b).collect();
        let (entry, good, mut step) = (more(100.0), more(500.0), more(200.0));
        step[0] += 1.0;
        let kind: f64 = rng.random();
        let entry = if kind < 0.3 { entry } else { vec![0.0; groups] };
        let tiny = 10_f64.powf(-9.0 * rng.random::<f64>());
        for s in &mut step {
            *s *= tiny;
        }
        let low: Vec<f64> = if rng.random::<f64>() < 0.2 {
            vec![0.0; groups]
        } else {
            plus(&entry, &good)
        };
        let entry = if low[0] < entry[0] {
            low.clone()
        } else {
            entry
        };
        let known = [End::Censored, End::Between, End::At][rng.random_range(0..3)];
        let life = Observation {
            entry,
            end: plus(&low, &step),
            low,
            known,
            count: f64::from(rng.random_range(1_u8..4)),
            machine: None,
        };
        (life, rng.random_range(0..levels))
    };
    Observations::leveled(groups, levels, (0..n).map(|_| one(&mut rng)).collect())
}

fn close(name: &str, own: f64, wanted: f64, size: f64) {
    assert!(
        (own - wanted).abs() <= 1e-10 * size.max(1.0),
        "{name}: {own} for {wanted}"
    );
}

/// The other way is general code, life by life, for any distribution.
#[test]
fn fast_sums_are_those_of_life_by_life() {
    for (groups, levels, seed) in [(1, 1, 1), (1, 3, 2), (2, 1, 3), (4, 2, 4), (7, 1, 5)] {
        for n in [1, 5, 8, 70, 900] {
            let lives = lives(n, groups, levels, seed);
            for distribution in [Distribution::Weibull, Distribution::Exponential] {
                let likelihood = Likelihood {
                    distribution,
                    lives: &lives,
                };
                let wide = likelihood.n_parameters();
                let mut theta: Vec<f64> = (0..wide).map(|i| 0.3 - 0.17 * i as f64).collect();
                theta[1] = 6.3;
                if distribution == Distribution::Exponential {
                    theta[0] = 0.0;
                }
                let mut own = Derivatives::zero(wide);
                let mut wanted = Derivatives::zero(wide);
                likelihood.evaluate_at(&theta, 0.25, &mut own);
                likelihood.evaluate_life_by_life(&theta, 0.25, &mut wanted);
                assert!(wanted.value.is_finite());
                // Sums of many numbers are as exact as the largest of them.
                let size = wanted.value.abs() + wanted.hessian[0].abs();
                close("value", own.value, wanted.value, size);
                for (a, b) in own.gradient.iter().zip(&wanted.gradient) {
                    close("gradient", *a, *b, size);
                }
                for (a, b) in own.hessian.iter().zip(&wanted.hessian) {
                    close("hessian", *a, *b, size);
                }
                close(
                    "value alone",
                    likelihood.value_at(&theta, 0.25),
                    own.value,
                    size,
                );
            }
        }
    }
}

#[test]
fn threads_change_no_bit() {
    let lives = lives(super::MANY + 500, 3, 2, 6);
    assert!(super::MANY <= lives.len());
    let likelihood = Likelihood {
        distribution: Distribution::Weibull,
        lives: &lives,
    };
    let theta = [0.4, 6.3, 0.2, -0.3, 0.1];
    let with = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .expect("a pool");
        pool.install(|| {
            let mut out = Derivatives::zero(theta.len());
            likelihood.evaluate(&theta, &mut out);
            let all = out.gradient.iter().chain(&out.hessian);
            let mut bits: Vec<u64> = all.map(|x| x.to_bits()).collect();
            bits.push(out.value.to_bits());
            bits.push(likelihood.value(&theta).to_bits());
            bits
        })
    };
    let one = with(1);
    assert_eq!(one, with(2));
    assert_eq!(one, with(5));
}

#[test]
fn a_worn_life_without_use_is_impossible_and_a_censored_one_says_nothing() {
    let none = |known| Observation {
        entry: vec![0.0],
        low: vec![0.0],
        end: vec![0.0],
        known,
        count: 1.0,
        machine: None,
    };
    let value = |known| {
        let lives = Observations::new(1, vec![none(known)]);
        let likelihood = Likelihood {
            distribution: Distribution::Weibull,
            lives: &lives,
        };
        let mut out = Derivatives::zero(2);
        likelihood.evaluate(&[0.0, 1.0], &mut out);
        out.value
    };
    assert!(value(End::Censored).abs() < f64::MIN_POSITIVE);
    assert!(value(End::At) < f64::MIN && value(End::Between) < f64::MIN);
}

/// Hazards past what numbers hold: no derivative is worse than unknown where the value is known.
#[test]
fn far_from_the_lives_values_are_finite_with_all_derivatives_or_out_of_reach() {
    for groups in [1, 3] {
        let lives = lives(200, groups, 1, 8);
        let likelihood = Likelihood {
            distribution: Distribution::Weibull,
            lives: &lives,
        };
        for ln_shape in [-4.0, -1.0, 0.0, 1.0, 2.0, 3.0, 5.0, 7.0] {
            for ln_scale in [-300.0, -20.0, 0.0, 3.0, 6.0, 8.0, 20.0, 300.0] {
                let mut theta = vec![0.5; likelihood.n_parameters()];
                (theta[0], theta[1]) = (ln_shape, ln_scale);
                let mut out = Derivatives::zero(theta.len());
                likelihood.evaluate(&theta, &mut out);
                assert!(!out.value.is_nan() && out.value < f64::MAX);
                let mut all = out.gradient.iter().chain(&out.hessian);
                assert!(
                    !out.value.is_finite() || all.all(|x| x.is_finite()),
                    "{ln_shape} {ln_scale}: {out:?}"
                );
            }
        }
    }
}

/// Said to have worn out without any use: no parameters make that possible, whichever way it is asked.
#[test]
fn a_wear_out_without_use_is_impossible_by_value_and_by_slopes() {
    for known in [End::At, End::Between] {
        let life = |known, end: f64| Observation {
            entry: vec![0.0],
            low: vec![0.0],
            end: vec![end],
            known,
            count: 1.0,
            machine: None,
        };
        let lives = vec![
            life(known, 0.0),
            life(End::Censored, 0.0),
            life(End::Between, 9.0),
        ];
        let lives = Observations::new(1, lives);
        for distribution in [Distribution::Weibull, Distribution::Lognormal] {
            let likelihood = Likelihood {
                distribution,
                lives: &lives,
            };
            let mut slopes = Derivatives::zero(2);
            likelihood.evaluate(&[0.5, 2.0], &mut slopes);
            let value = likelihood.value(&[0.5, 2.0]);
            for told in [slopes.value, value] {
                assert!(
                    told.is_infinite() && told < 0.0,
                    "{distribution:?} {known:?}: {told}"
                );
            }
        }
    }
}
