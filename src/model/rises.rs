//! Sums of `ln(1 - exp(-hazard * s))`: the probabilities of Weibull lives to wear out in the rise of
//! their cumulative hazard over a day or since they were last looked at, as a function of the
//! multiplier `s` that a machine's effect puts on every hazard. Nearly all the time of integrating
//! machine effects goes into them.

/// Rises kept for one machine.
///
/// Small ones share one series, `ln x - x/2 + x^2/24 - x^4/2880 + ..` (Bernoulli numbers), which is a
/// polynomial of the multiplier: no loop over them. Of the others the logarithms are taken together.
#[derive(Default)]
pub(super) struct Rises {
    /// Hazards and weights of small rises, largest hazard, sum of weights.
    small: Vec<(f64, f64)>,
    largest: f64,
    weight: f64,
    /// Sum, by weight, of the logs of small hazards.
    ln: Product,
    /// Sums, by weight, of powers 1, 2, 4, 6, 8 and 10 of small hazards.
    powers: [f64; 6],
    /// Hazards and weights of the others.
    large: Vec<(f64, f64)>,
}

/// Hazards below this are kept together: below [`SERIES`] for multipliers up to 5.
const SMALL: f64 = 0.14;
/// Up to here the series is good to 1e-12.
const SERIES: f64 = 0.7;
/// Of powers 1, 2, 4, 6, 8, 10: exponent and coefficient, `B_2n / (2n (2n)!)` after the first.
const TERMS: [(f64, f64); 6] = [
    (1.0, -1.0 / 2.0),
    (2.0, 1.0 / 24.0),
    (4.0, -1.0 / 2_880.0),
    (6.0, 1.0 / 181_440.0),
    (8.0, -1.0 / 9_676_800.0),
    (10.0, 1.0 / 479_001_600.0),
];

/// A sum of logarithms, those of single lives taken as the logarithm of a product.
struct Product {
    sum: f64,
    factor: f64,
}

impl Default for Product {
    fn default() -> Self {
        Self {
            sum: 0.0,
            factor: 1.0,
        }
    }
}

impl Product {
    /// Adds `weight * ln(value)`, for a value between 0 and 1.
    fn add(&mut self, value: f64, weight: f64) {
        // The weight of a single life, and a product that stays far from underflow.
        if weight.total_cmp(&1.0).is_eq() && 1e-100 < value {
            self.factor *= value;
            if self.factor < 1e-150 {
                self.sum += self.factor.ln();
                self.factor = 1.0;
            }
        } else {
            self.sum += weight * value.ln();
        }
    }

    fn total(&self) -> f64 {
        self.sum + self.factor.ln()
    }
}

impl Rises {
    pub(super) fn clear(&mut self) {
        self.small.clear();
        self.large.clear();
        (self.largest, self.weight) = (0.0, 0.0);
        self.ln = Product::default();
        self.powers = [0.0; 6];
    }

    /// Adds a rise of the cumulative hazard, above 0.
    pub(super) fn push(&mut self, hazard: f64, weight: f64) {
        if SMALL <= hazard {
            self.large.push((hazard, weight));
            return;
        }
        self.small.push((hazard, weight));
        self.largest = self.largest.max(hazard);
        self.weight += weight;
        self.ln.add(hazard, weight);
        let square = hazard * hazard;
        let mut power = weight;
        self.powers[0] += weight * hazard;
        for sum in &mut self.powers[1..] {
            power *= square;
            *sum += power;
        }
    }

    /// Puts the logs of small hazards together, once all are pushed.
    pub(super) fn close(&mut self) {
        self.ln = Product {
            sum: self.ln.total(),
            factor: 1.0,
        };
    }

    /// The sum of `weight * ln(1 - exp(-hazard * s))`, with its first two derivatives by
    /// `ln s = shift`.
    pub(super) fn at(&self, s: f64, shift: f64) -> (f64, f64, f64) {
        let (value, d1, d2) = one_by_one(&self.large, s);
        let small = if SERIES <= self.largest * s {
            one_by_one(&self.small, s)
        } else {
            self.together(s, shift)
        };
        (value + small.0, d1 + small.1, d2 + small.2)
    }

    fn together(&self, s: f64, shift: f64) -> (f64, f64, f64) {
        let mut sum = (self.ln.sum + self.weight * shift, self.weight, 0.0);
        let square = s * s;
        let mut power = 1.0;
        for (i, ((exponent, coefficient), hazards)) in TERMS.iter().zip(self.powers).enumerate() {
            power = if i == 0 { s } else { power * square };
            let term = coefficient * power * hazards;
            sum.0 += term;
            sum.1 += exponent * term;
            sum.2 += exponent * exponent * term;
            if i == 0 {
                power = 1.0;
            }
        }
        sum
    }
}

/// Each by its own exponential, the logarithms together.
fn one_by_one(rises: &[(f64, f64)], s: f64) -> (f64, f64, f64) {
    let mut ln = Product::default();
    let (mut d1, mut d2) = (0.0, 0.0);
    for &(hazard, weight) in rises {
        let x = hazard * s;
        let worn = -(-x).exp_m1();
        // 1 / (e^x - 1).
        let q = (1.0 - worn) / worn;
        ln.add(worn, weight);
        d1 += weight * q * x;
        d2 += weight * (q * x - q * (1.0 + q) * x * x);
    }
    (ln.total(), d1, d2)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plain(rises: &[(f64, f64)], s: f64) -> f64 {
        let each = rises.iter().map(|(h, w)| w * (-(-h * s).exp_m1()).ln());
        each.sum()
    }

    /// Hazards of days, of shop visits, and beyond; multipliers far to either side.
    #[test]
    fn rises_together_are_rises_one_by_one() {
        let each = [
            (1e-9, 1.0),
            (1e-4, 1.0),
            (0.003, 2.0),
            (0.05, 1.0),
            (0.139, 1.0),
            (0.3, 1.0),
            (2.0, 3.0),
            (40.0, 1.0),
        ];
        let mut rises = Rises::default();
        for (hazard, weight) in each {
            rises.push(hazard, weight);
        }
        rises.close();
        for shift in [-4.0_f64, -0.5, 0.0, 0.7, 1.6, 2.5] {
            let told = rises.at(shift.exp(), shift);
            let at = |d: f64| plain(&each, (shift + d).exp());
            assert!((told.0 - at(0.0)).abs() < 1e-11 * at(0.0).abs(), "{shift}");
            let step = 1e-4;
            let d1 = (at(step) - at(-step)) / (2.0 * step);
            let d2 = (at(step) - 2.0 * at(0.0) + at(-step)) / (step * step);
            assert!(
                (told.1 - d1).abs() < 1e-6 * d1.abs().max(1.0),
                "{shift}: {d1}"
            );
            assert!(
                (told.2 - d2).abs() < 1e-5 * d2.abs().max(1.0),
                "{shift}: {d2}"
            );
        }
    }

    #[test]
    fn many_lives_do_not_underflow() {
        let mut rises = Rises::default();
        for _ in 0..10_000 {
            rises.push(1e-7, 1.0);
            rises.push(0.5, 1.0);
        }
        rises.close();
        let expected = plain(&[(1e-7, 10_000.0), (0.5, 10_000.0)], 1.0);
        assert!((rises.at(1.0, 0.0).0 - expected).abs() < 1e-9 * expected.abs());
    }
}
