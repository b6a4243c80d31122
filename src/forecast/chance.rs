//! Numbers of chance for plays by the batch.

use rand::Rng as _;
use rand_chacha::ChaCha8Rng;

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

#[cfg(test)]
mod tests {
    use rand::SeedableRng as _;
    use rand_chacha::ChaCha8Rng;

    use super::{uniform, words};

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
}
