//! Numbers of chance for plays by the batch.

use rand::{Rng as _, RngExt as _};
use rand_chacha::ChaCha8Rng;

use super::batch::BATCH;

/// Uniform numbers between 0 and 1, neither of them among these; at most a batch.
pub(super) fn uniforms(numbers: &mut [f64], rng: &mut ChaCha8Rng) {
    /// Bits of 1, and half of the step between the numbers from 1 to 2.
    const ONE: u64 = 1_f64.to_bits();
    const HALF_STEP: f64 = f64::EPSILON / 2.0;
    let mut bytes = [0; 8 * BATCH];
    rng.fill_bytes(&mut bytes[..8 * numbers.len()]);
    for (number, word) in numbers.iter_mut().zip(bytes.as_chunks::<8>().0) {
        let one_to_two = f64::from_bits(u64::from_le_bytes(*word) >> 12 | ONE);
        *number = one_to_two - 1.0 + HALF_STEP;
    }
}

/// Two independent standard exponential numbers, given that at least one stays below its limit; `None` for
/// one that does not.
///
/// - `e`: a standard exponential number below `a + b`. Up to `a` it is the first number itself; what it
///   has beyond is the second, since such a number has no memory.
pub(super) fn each_of(e: f64, a: f64, b: f64, rng: &mut ChaCha8Rng) -> (Option<f64>, Option<f64>) {
    if a < e {
        return (None, Some(e - a));
    }
    let uniform: f64 = rng.random();
    if b <= uniform {
        return (Some(e), None);
    }
    let other = -(-uniform).ln_1p();
    (Some(e), (other <= b).then_some(other))
}

#[cfg(test)]
mod tests {
    use rand::SeedableRng as _;
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution as _, Exp1};

    use super::{each_of, uniforms};

    /// Mean 1/2 and variance 1/12, and never an end of the range.
    #[test]
    fn uniform_numbers_are_uniform() {
        let mut rng = ChaCha8Rng::seed_from_u64(2);
        let mut numbers = [0.0; 96];
        let (mut sum, mut squares, mut n) = (0.0, 0.0, 0.0);
        for _ in 0..2_000 {
            uniforms(&mut numbers, &mut rng);
            assert!(numbers.iter().all(|u| 0.0 < *u && *u < 1.0));
            sum += numbers.iter().sum::<f64>();
            squares += numbers.iter().map(|u| (u - 0.5).powi(2)).sum::<f64>();
            n += numbers.len() as f64;
        }
        assert!((sum / n - 0.5).abs() < 0.003, "{}", sum / n);
        assert!((squares / n - 1.0 / 12.0).abs() < 0.001, "{}", squares / n);
    }

    /// Shares of the four cases and means below the limits, by hand from the exponential law.
    #[test]
    fn ends_are_as_frequent_as_two_independent_ones_are() {
        let (a, b) = (0.7_f64, 0.2_f64);
        let (p, q) = (-(-a).exp_m1(), -(-b).exp_m1());
        let either = p + q - p * q;
        let mut rng = ChaCha8Rng::seed_from_u64(1);
        let n = 200_000;
        let (mut both, mut only_a, mut sum_a, mut sum_b, mut n_b) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for _ in 0..n {
            let e = loop {
                let e: f64 = Exp1.sample(&mut rng);
                if e < a + b {
                    break e;
                }
            };
            let (x, y) = each_of(e, a, b, &mut rng);
            assert!(x.is_none_or(|x| x <= a) && y.is_none_or(|y| y <= b));
            assert!(x.is_some() || y.is_some());
            both += f64::from(u8::from(x.is_some() && y.is_some()));
            only_a += f64::from(u8::from(x.is_some() && y.is_none()));
            sum_a += x.unwrap_or(0.0);
            sum_b += y.unwrap_or(0.0);
            n_b += f64::from(u8::from(y.is_some()));
        }
        let n = f64::from(n);
        // Mean of a standard exponential number below a limit.
        let mean = |limit: f64| 1.0 - limit / limit.exp_m1();
        for (seen, expected) in [
            (both / n, p * q / either),
            (only_a / n, p * (1.0 - q) / either),
            (sum_a / (both + only_a), mean(a)),
            (sum_b / n_b, mean(b)),
        ] {
            assert!((seen - expected).abs() < 0.004, "{seen}, {expected}");
        }
    }
}
