//! Cumulative hazards of many lives at once.
use super::kernel::Distribution;
use super::vector::{self, exp_moderate, ln};

/// Many lives of one distribution: shapes, and logarithms of scales.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Lives<'a> {
    /// The distribution.
    pub(crate) distribution: Distribution,
    /// Shapes.
    pub(crate) shape: &'a [f64],
    /// Logarithms of the scales.
    pub(crate) ln_scale: &'a [f64],
}

impl Lives<'_> {
    /// Cumulative hazards at exposures `x`, into `at`, of the same length.
    pub(crate) fn at(self, x: &[f64], at: &mut [f64]) {
        match self.distribution {
            Distribution::Weibull | Distribution::Exponential => vector::dispatch(
                #[inline(always)]
                || {
                    let n = at.len();
                    let (shape, ln_scale, x) = (&self.shape[..n], &self.ln_scale[..n], &x[..n]);
                    for i in 0..n {
                        at[i] = exp_moderate(shape[i] * (ln(x[i]) - ln_scale[i]));
                    }
                },
            ),
            Distribution::Lognormal => {
                for (i, at) in at.iter_mut().enumerate() {
                    *at = self.lognormal(i, x[i]);
                }
            }
        }
    }

    fn lognormal(self, i: usize, x: f64) -> f64 {
        if x <= 0.0 {
            return 0.0;
        }
        let t = self.shape[i] * (x.ln() - self.ln_scale[i]);
        self.distribution.cumulative(t).value
    }

    /// Cumulative hazards at exposures `from`, into `at`, and how far they rise over `ahead` more,
    /// into `rise`; all of one length.
    pub(crate) fn rises(self, from: &[f64], ahead: &[f64], at: &mut [f64], rise: &mut [f64]) {
        match self.distribution {
            Distribution::Weibull | Distribution::Exponential => vector::dispatch(
                #[inline(always)]
                || {
                    let n = at.len();
                    let (shape, ln_scale) = (&self.shape[..n], &self.ln_scale[..n]);
                    let (from, ahead, rise) = (&from[..n], &ahead[..n], &mut rise[..n]);
                    for i in 0..n {
                        at[i] = exp_moderate(shape[i] * (ln(from[i]) - ln_scale[i]));
                    }
                    for i in 0..n {
                        let end = exp_moderate(shape[i] * (ln(from[i] + ahead[i]) - ln_scale[i]));
                        rise[i] = end - at[i];
                    }
                },
            ),
            Distribution::Lognormal => {
                for i in 0..at.len() {
                    at[i] = self.lognormal(i, from[i]);
                    rise[i] = self.lognormal(i, from[i] + ahead[i]) - at[i];
                }
            }
        }
    }

    /// Exposures at which the cumulative hazards are `h`, in its place; where they never are, beyond any use.
    pub(crate) fn exposures(self, h: &mut [f64]) {
        match self.distribution {
            Distribution::Weibull | Distribution::Exponential => vector::dispatch(
                #[inline(always)]
                || {
                    let n = h.len();
                    let (shape, ln_scale) = (&self.shape[..n], &self.ln_scale[..n]);
                    for i in 0..n {
                        h[i] = exp_moderate(ln_scale[i] + ln(h[i]) / shape[i]);
                    }
                },
            ),
            Distribution::Lognormal => {
                for (i, h) in h.iter_mut().enumerate().filter(|(_, h)| h.is_finite()) {
                    let t = self.distribution.inverse(*h);
                    *h = (self.ln_scale[i] + t / self.shape[i]).exp();
                }
            }
        }
    }
}

/// Standard exponential numbers in place of numbers between 0 and 1 of which each is as likely as any other.
pub(crate) fn exponentials(uniform: &mut [f64]) {
    vector::dispatch(
        #[inline(always)]
        || {
            for u in uniform.iter_mut() {
                // Their grid is coarse enough for the difference to be exact.
                *u = -ln(1.0 - *u);
            }
        },
    );
}

#[cfg(test)]
mod tests {
    use super::{Distribution, Lives, exponentials};

    /// Closed forms: `(x / scale)^shape`, and for the lognormal `-ln(1 - Phi(z))` at its median.
    #[test]
    fn hazards_are_those_of_the_closed_forms() {
        let (shape, ln_scale) = ([2.5, 1.0, 3.0], [1_000_f64.ln(), 50_f64.ln(), 700_f64.ln()]);
        let (from, ahead) = ([800.0, 0.0, 350.0], [400.0, 25.0, 0.0]);
        let (mut at, mut rise) = ([0.0; 3], [0.0; 3]);
        let lives = |distribution| Lives {
            distribution,
            shape: &shape,
            ln_scale: &ln_scale,
        };
        lives(Distribution::Weibull).rises(&from, &ahead, &mut at, &mut rise);
        let expected = [0.8_f64.powf(2.5), 0.0, 0.125];
        for (at, expected) in at.iter().zip(expected) {
            assert!((at - expected).abs() < 1e-13, "{at}, {expected}");
        }
        let expected = [1.2_f64.powf(2.5) - 0.8_f64.powf(2.5), 0.5, 0.0];
        for (rise, expected) in rise.iter().zip(expected) {
            assert!((rise - expected).abs() < 1e-13, "{rise}, {expected}");
        }
        let mut alone = [f64::NAN; 3];
        lives(Distribution::Weibull).at(&from, &mut alone);
        assert_eq!(alone.map(f64::to_bits), at.map(f64::to_bits));
        lives(Distribution::Lognormal).rises(&[1_000.0, 0.0, 700.0], &[0.0; 3], &mut at, &mut rise);
        for (at, expected) in at.iter().zip([2_f64.ln(), 0.0, 2_f64.ln()]) {
            assert!((at - expected).abs() < 1e-12, "{at}, {expected}");
        }
    }

    /// There and back, and what is never reached.
    #[test]
    fn exposures_are_where_the_hazards_are() {
        let (shape, ln_scale) = ([2.5, 0.7, 3.0], [1_000_f64.ln(), 50_f64.ln(), 700_f64.ln()]);
        for distribution in [Distribution::Weibull, Distribution::Lognormal] {
            let lives = Lives {
                distribution,
                shape: &shape,
                ln_scale: &ln_scale,
            };
            let x = [800.0, 3.0, 2_000.0];
            let mut h = [0.0; 3];
            lives.at(&x, &mut h);
            lives.exposures(&mut h);
            for (found, x) in h.iter().zip(x) {
                assert!((found - x).abs() < 1e-12 * x, "{found}, {x}");
            }
            let mut never = [f64::INFINITY; 3];
            lives.exposures(&mut never);
            assert!(never.iter().all(|x| 1e300 < *x));
        }
    }

    #[test]
    fn exponential_numbers_are_those_of_the_closed_form() {
        let uniform = [
            f64::EPSILON / 2.0,
            1e-9_f64,
            0.25,
            0.5,
            1.0 - f64::EPSILON / 2.0,
        ];
        // On the grid of the numbers drawn.
        let uniform =
            uniform.map(|u| (u / f64::EPSILON).floor() * f64::EPSILON + f64::EPSILON / 2.0);
        let mut e = uniform;
        exponentials(&mut e);
        for (e, u) in e.iter().zip(uniform) {
            let exact = -(-u).ln_1p();
            assert!((e - exact).abs() <= 1e-15 * exact, "{e}, {exact}");
        }
    }
}
