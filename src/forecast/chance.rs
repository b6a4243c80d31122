//! Numbers of chance for plays by the batch.

use rand::Rng as _;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution as _, Exp1};

/// Random words.
pub(super) fn words(words: &mut [u32], rng: &mut ChaCha8Rng) {
    rng.fill_bytes(bytemuck::cast_slice_mut(words));
    for word in words {
        *word = u32::from_le(*word);
    }
}

/// A uniform number between 0 and 1, neither of them among these, of two random words: the first has its
/// first 32 bits.
#[inline]
pub(super) fn uniform(word: u32, more: u32) -> f64 {
    /// Bits of 1, and half of the step between the numbers from 1 to 2.
    const ONE: u64 = 1_f64.to_bits();
    const HALF_STEP: f64 = f64::EPSILON / 2.0;
    let bits = u64::from(word) << 32 | u64::from(more);
    f64::from_bits(bits >> 12 | ONE) - 1.0 + HALF_STEP
}

/// Two independent standard exponential numbers of one, `e`: that of wear, and that of strikes where it is
/// below those to be expected, infinite elsewhere.
///
/// Such a number has no memory: what it has beyond the strikes is again one, and the wear's own.
#[inline]
pub(super) fn divided(e: f64, strikes: f64, rng: &mut ChaCha8Rng) -> (f64, f64) {
    if e < strikes {
        (Exp1.sample(rng), e)
    } else {
        (e - strikes, f64::INFINITY)
    }
}

#[cfg(test)]
mod tests {
    use rand::SeedableRng as _;
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution as _, Exp1};

    use super::{divided, uniform, words};

    /// Mean 1/2 and variance 1/12, and never an end of the range.
    #[test]
    fn uniform_numbers_are_uniform() {
        let mut rng = ChaCha8Rng::seed_from_u64(2);
        let mut halves = [[0; 96]; 2];
        let (mut sum, mut squares, mut n) = (0.0, 0.0, 0.0);
        for _ in 0..2_000 {
            for half in &mut halves {
                words(half, &mut rng);
            }
            let [first, second] = &halves;
            let numbers: Vec<f64> = (first.iter().zip(second))
                .map(|(word, more)| uniform(*word, *more))
                .collect();
            let above = first.iter().map(|word| f64::from(*word) / 2_f64.powi(32));
            assert!(above.zip(&numbers).all(|(least, u)| {
                let room = u - least;
                0.0 < room && room < 2.4e-10
            }));
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
        let mut rng = ChaCha8Rng::seed_from_u64(1);
        let n = 400_000;
        let (mut both, mut only_a, mut sum_a, mut sum_b, mut n_b) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for _ in 0..n {
            let (x, y) = divided(Exp1.sample(&mut rng), b, &mut rng);
            assert!(0.0 <= x && (y < b || y == f64::INFINITY));
            both += f64::from(u8::from(x < a && y < b));
            only_a += f64::from(u8::from(x < a && b <= y));
            sum_a += if x < a { x } else { 0.0 };
            sum_b += if y < b { y } else { 0.0 };
            n_b += f64::from(u8::from(y < b));
        }
        let n = f64::from(n);
        // Mean of a standard exponential number below a limit.
        let mean = |limit: f64| 1.0 - limit / limit.exp_m1();
        for (seen, expected) in [
            (both / n, p * q),
            (only_a / n, p * (1.0 - q)),
            (sum_a / (both + only_a), mean(a)),
            (sum_b / n_b, mean(b)),
        ] {
            assert!((seen - expected).abs() < 0.003, "{seen}, {expected}");
        }
    }
}
