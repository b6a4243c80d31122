//! Points that fill a cube evenly (quasi-Monte Carlo): sums over them are known far better than sums over points
//! drawn one by one.

use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use statrs::distribution::{ContinuousCDF, Normal};

/// A Kronecker sequence with a random shift: point `i` is the fractional part of `shift + i * step`, so that each
/// point by itself is uniform. The steps are square roots of primes (Richtmyer, 1951; from memory), which no whole
/// numbers bind to each other; of the primes those for which few small ones nearly do.
pub(super) struct EvenPoints {
    shift: Vec<f64>,
    step: Vec<f64>,
}

impl EvenPoints {
    /// Points of `n` coordinates.
    pub(super) fn new(n: usize, rng: &mut ChaCha8Rng) -> Self {
        Self {
            shift: (0..n).map(|_| rng.random()).collect(),
            step: primes().take(n).map(|p| f64::from(p).sqrt()).collect(),
        }
    }

    /// Point `i`, each coordinate within 0 and 1, exclusive.
    pub(super) fn at(&self, i: u64) -> impl Iterator<Item = f64> + '_ {
        let coordinates = self.shift.iter().zip(&self.step);
        coordinates.map(move |(shift, step)| {
            let u = (shift + i as f64 * step).fract();
            u.clamp(f64::EPSILON, 1.0 - f64::EPSILON)
        })
    }
}

/// Primes, by a search among those below 400: of what two of the steps times up to 6, three times up to 3 and four
/// times up to 2 add up to, the nearest to a whole number is as far from it as can be.
const PRIMES: [u32; 14] = [2, 19, 47, 13, 373, 31, 337, 229, 11, 251, 167, 37, 191, 23];

/// Those, and the larger ones after them.
fn primes() -> impl Iterator<Item = u32> {
    let is_prime = |n: &u32| (2..=n.isqrt()).all(|d| !n.is_multiple_of(d));
    PRIMES.into_iter().chain((400..).filter(is_prime))
}

/// The standard normal number that a share `u` of all are below.
pub(super) fn normal(u: f64) -> f64 {
    Normal::standard().inverse_cdf(u)
}

/// A number of the chi-squared distribution with two degrees of freedom for each of the uniform numbers.
pub(super) fn chi_squared(uniform: impl Iterator<Item = f64>) -> f64 {
    -2.0 * uniform.map(f64::ln).sum::<f64>()
}

#[cfg(test)]
mod tests {
    use rand::SeedableRng;

    use super::*;

    #[test]
    fn steps_are_roots_of_primes_each_once() {
        let first: Vec<u32> = primes().take(40).collect();
        assert!(first.iter().all(|n| (2..*n).all(|d| !n.is_multiple_of(d))));
        assert_eq!(
            first
                .iter()
                .collect::<std::collections::BTreeSet<_>>()
                .len(),
            40
        );
    }

    /// A wave over the cube has a mean of 0, and over points that fill it evenly next to that; where a few steps
    /// add up to next to a whole number, points lie on few planes, and a wave between these stands still.
    #[test]
    fn no_wave_stands_still() {
        const POINTS: u64 = 1 << 10;
        for n in 4..=8 {
            let points = EvenPoints::new(n, &mut ChaCha8Rng::seed_from_u64(7));
            let points: Vec<Vec<f64>> = (0..POINTS).map(|i| points.at(i).collect()).collect();
            for wave in (1..5_usize.pow(4)).map(|k| [k % 5, k / 5 % 5, k / 25 % 5, k / 125]) {
                let angle = |u: &Vec<f64>| -> f64 {
                    let terms = wave.iter().zip(u).map(|(w, u)| (*w as f64 - 2.0) * u);
                    terms.sum::<f64>() * std::f64::consts::TAU
                };
                if wave == [2; 4] {
                    continue;
                }
                let (sin, cos) = points.iter().fold((0.0, 0.0), |(sin, cos), u| {
                    let angle = angle(u);
                    (sin + angle.sin(), cos + angle.cos())
                });
                let height = f64::hypot(sin, cos) / POINTS as f64;
                assert!(height < 0.35, "{n} coordinates, {wave:?}: {height}");
            }
        }
    }

    /// Means over as many points of five coordinates as a family gets are much nearer than those of points drawn one
    /// by one would be, which is 0.0045 for a uniform number.
    #[test]
    fn means_are_known_well() {
        let points = EvenPoints::new(5, &mut ChaCha8Rng::seed_from_u64(7));
        let mean = |f: &dyn Fn(&[f64]) -> f64| {
            let values = (0..4_096).map(|i| f(&points.at(i).collect::<Vec<_>>()));
            values.sum::<f64>() / 4_096.0
        };
        for j in 0..5 {
            assert!((mean(&|u| u[j]) - 0.5).abs() < 0.002, "{j}");
            let square = mean(&|u| normal(u[j]).powi(2));
            assert!((square - 1.0).abs() < 0.02, "{j}: {square}");
        }
        for (j, k) in [(0, 1), (1, 4), (2, 3)] {
            let product = mean(&|u| (u[j] - 0.5) * (u[k] - 0.5));
            assert!(product.abs() < 0.002, "{j} {k}: {product}");
        }
        let six = mean(&|u| chi_squared(u[2..].iter().copied()));
        assert!((six - 6.0).abs() < 0.05, "{six}");
    }
}
