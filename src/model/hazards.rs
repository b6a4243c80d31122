//! Cumulative hazards of many lives at once.
use super::kernel::Distribution;
use super::vector::{exp_moderate, ln_moderate, single};
use crate::registers::widest;

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

/// Exposures, one of each life.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Exposures<'a> {
    /// The numbers.
    pub(crate) each: &'a [f64],
    /// Whether they are all the same, so that one logarithm does.
    pub(crate) alike: bool,
}

/// Numbers that limits are worked out of at a time.
pub(crate) const WIDTH: usize = 16;
/// Most lives whose limits are worked out at a time.
const MANY: usize = 128;

/// Room for numbers in single precision.
#[derive(Debug)]
pub(crate) struct Halves([[f32; MANY]; 5]);

impl Default for Halves {
    fn default() -> Self {
        Self([[0.0; MANY]; 5])
    }
}

impl Lives<'_> {
    /// Cumulative hazards at exposures `x`, into `at`, of the same length or shorter.
    pub(crate) fn at(self, x: Exposures<'_>, at: &mut [f64]) {
        let n = at.len();
        match self.distribution {
            Distribution::Weibull | Distribution::Exponential => widest(
                #[inline(always)]
                || {
                    let (shape, ln_scale, each) =
                        (&self.shape[..n], &self.ln_scale[..n], &x.each[..n]);
                    if x.alike {
                        let ln_x = x.each.first().map_or(0.0, |x| ln_moderate(*x));
                        for i in 0..n {
                            at[i] = exp_moderate(shape[i] * (ln_x - ln_scale[i]));
                        }
                    } else {
                        for i in 0..n {
                            at[i] = exp_moderate(shape[i] * (ln_moderate(each[i]) - ln_scale[i]));
                        }
                    }
                },
            ),
            Distribution::Lognormal => {
                for (i, at) in at.iter_mut().enumerate() {
                    *at = self.lognormal(i, x.each[i]);
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

    /// Random words up to which a life may end: uniform numbers whose first 32 bits are beyond are above the
    /// chance that something happens over `ahead` more, be it by the hazard or by one of `strikes`.
    ///
    /// It is worked out in half the figures and rounded up; of a lognormal life nothing is claimed. There are
    /// whole sixteens of lives, [`MANY`] at most.
    pub(crate) fn limits(
        self,
        (from, ahead): (Exposures<'_>, Exposures<'_>),
        strikes: &[f64],
        halves: &mut Halves,
        limits: &mut [u32],
    ) {
        if !self.distribution.is_weibull() {
            limits.fill(u32::MAX);
            return;
        }
        assert!(limits.len().is_multiple_of(WIDTH), "{}", limits.len());
        widest(
            #[inline(always)]
            || {
                let n = limits.len();
                let of = |exposures: Exposures<'_>| if exposures.alike { WIDTH.min(n) } else { n };
                let columns = [
                    (self.shape, n),
                    (self.ln_scale, n),
                    (from.each, of(from)),
                    (ahead.each, of(ahead)),
                    (strikes, n),
                ];
                for (half, (column, n)) in halves.0.iter_mut().zip(columns) {
                    for (half, number) in half[..n].iter_mut().zip(&column[..n]) {
                        *half = *number as f32;
                    }
                }
                let [shape, ln_scale, from_each, ahead_each, strikes] =
                    halves.0.each_ref().map(|half| half.as_chunks::<WIDTH>().0);
                let (mut ln_from, mut ln_end) = ([0.0; WIDTH], [0.0; WIDTH]);
                for (k, limits) in limits.as_chunks_mut::<WIDTH>().0.iter_mut().enumerate() {
                    let of = |exposures: Exposures<'_>| if exposures.alike { 0 } else { k };
                    let (from_each, ahead_each) = (from_each[of(from)], ahead_each[of(ahead)]);
                    if k == 0 || !from.alike {
                        for i in 0..WIDTH {
                            ln_from[i] = single::ln(from_each[i]);
                        }
                    }
                    if k == 0 || !(from.alike && ahead.alike) {
                        for i in 0..WIDTH {
                            ln_end[i] = single::ln(from_each[i] + ahead_each[i]);
                        }
                    }
                    for i in 0..WIDTH {
                        let life = (shape[k][i], ln_scale[k][i]);
                        limits[i] = limit(life, (ln_from[i], ln_end[i]), strikes[k][i]);
                    }
                }
            },
        );
    }

    /// Exposures at which the cumulative hazards are `h`, in its place; where they never are, beyond any use.
    pub(crate) fn exposures(self, h: &mut [f64]) {
        match self.distribution {
            Distribution::Weibull | Distribution::Exponential => widest(
                #[inline(always)]
                || {
                    let n = h.len();
                    let (shape, ln_scale) = (&self.shape[..n], &self.ln_scale[..n]);
                    for i in 0..n {
                        let x = exp_moderate(ln_scale[i] + ln_moderate(h[i]) / shape[i]);
                        h[i] = if h[i] < f64::INFINITY { x } else { h[i] };
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

/// Numbers times another, into `out`.
pub(crate) fn scaled(numbers: &[f64], by: f64, out: &mut [f64]) {
    widest(
        #[inline(always)]
        || {
            for (out, number) in out.iter_mut().zip(numbers) {
                *out = number * by;
            }
        },
    );
}

/// The word that belongs to the chance of an end between two exposures, or a little more.
#[inline(always)]
fn limit((shape, ln_scale): (f32, f32), (ln_from, ln_end): (f32, f32), strikes: f32) -> u32 {
    /// Errors of shapes, logarithms and powers add up to less than a third of it, for every one
    /// that logarithms and their product with the shape are of.
    const SLACK: f32 = 2e-6;
    /// The last number below 2.
    const MOST: f32 = 2.0 - f32::EPSILON;
    let at = single::exp(shape * (ln_from - ln_scale));
    let end = single::exp(shape * (ln_end - ln_scale));
    let slack = SLACK * (1.0 + shape * (ln_end.abs() + ln_scale.abs()));
    let most = (end - at) + slack * end + strikes;
    // 1 - exp(-x) is at most x - x^2/2 + x^3/6.
    let chance = most * (1.0 - most * (0.5 - most * (1.0 / 6.0)));
    // From 1 to 2 the fraction's bits count evenly.
    let lifted = 1.0 + (chance * (1.0 + SLACK) + f32::EPSILON);
    let lifted = if lifted < MOST { lifted } else { MOST };
    lifted.to_bits() << 9 | 0x1ff
}

/// Standard exponential numbers in place of numbers between 0 and 1 of which each is as likely as any other.
pub(crate) fn exponentials(uniform: &mut [f64]) {
    widest(
        #[inline(always)]
        || {
            for u in uniform.iter_mut() {
                // Their grid is coarse enough for the difference to be exact.
                *u = -ln_moderate(1.0 - *u);
            }
        },
    );
}

#[cfg(test)]
mod tests {
    use super::{Distribution, Exposures, Halves, Lives, exponentials};

    /// Closed forms: `(x / scale)^shape`, and for the lognormal `-ln(1 - Phi(z))` at its median.
    #[test]
    fn hazards_are_those_of_the_closed_forms() {
        let (shape, ln_scale) = ([2.5, 1.0, 3.0], [1_000_f64.ln(), 50_f64.ln(), 700_f64.ln()]);
        let lives = |distribution| Lives {
            distribution,
            shape: &shape,
            ln_scale: &ln_scale,
        };
        let mut at = [f64::NAN; 3];
        lives(Distribution::Weibull).at(each(&[800.0, 25.0, 350.0], false), &mut at);
        for (at, expected) in at.iter().zip([0.8_f64.powf(2.5), 0.5, 0.125]) {
            assert!((at - expected).abs() < 1e-13, "{at}, {expected}");
        }
        lives(Distribution::Weibull).at(each(&[0.0; 3], true), &mut at);
        assert!(at.iter().all(|at| (0.0..1e-300).contains(at)), "{at:?}");
        let mut alone = [f64::NAN; 3];
        lives(Distribution::Weibull).at(each(&[350.0, 1.0, 1.0], true), &mut alone);
        lives(Distribution::Weibull).at(each(&[350.0; 3], false), &mut at);
        assert_eq!(alone.map(f64::to_bits), at.map(f64::to_bits));
        lives(Distribution::Lognormal).at(each(&[1_000.0, 0.0, 700.0], false), &mut at);
        for (at, expected) in at.iter().zip([2_f64.ln(), 0.0, 2_f64.ln()]) {
            assert!((at - expected).abs() < 1e-12, "{at}, {expected}");
        }
    }

    fn each(each: &[f64], alike: bool) -> Exposures<'_> {
        Exposures { each, alike }
    }

    /// Lives of every kind against their chance in full: never below, and seldom far above.
    #[test]
    fn no_life_ends_above_its_limit() {
        let shapes = [0.2, 0.7, 1.0, 2.3, 6.0, 40.0];
        let ln_scales = [-7.0, -0.3, 0.0, 4.0, 9.5, 18.0];
        let spread = [-30.0, -6.0, -1.0, -0.2, 0.0, 0.1, 1.0, 4.0_f64];
        let strikes = [0.0, 1e-9, 0.02, 0.3, 0.0, 1e-4, 7.0, 0.0];
        let (mut wide, mut all, mut halves) = (0, 0, Halves::default());
        for (shape, ln_scale) in shapes.iter().flat_map(|s| ln_scales.map(|l| (*s, l))) {
            for from in spread
                .map(|s| (ln_scale + s).exp())
                .into_iter()
                .chain([0.0])
            {
                let ahead =
                    [0.0, 1e-6, 0.01, 0.2, 1.0, 30.0, 1e4, 1e9].map(|share| share * ln_scale.exp());
                let (mut at, mut end, mut limits) = ([0.0; 8], [0.0; 8], [0; 16]);
                let lives = Lives {
                    distribution: Distribution::Weibull,
                    shape: &[shape; 16],
                    ln_scale: &[ln_scale; 16],
                };
                lives.at(each(&[from; 8], true), &mut at);
                lives.at(each(&ahead.map(|ahead| from + ahead), false), &mut end);
                let twice =
                    |eight: [f64; 8]| -> [f64; 16] { std::array::from_fn(|i| eight[i % 8]) };
                let (froms, aheads, strikes) = ([from; 16], twice(ahead), twice(strikes));
                let exposures = (each(&froms, true), each(&aheads, false));
                lives.limits(exposures, &strikes, &mut halves, &mut limits);
                let mut alone = [0; 32];
                let twice = Lives {
                    shape: &[shape; 32],
                    ln_scale: &[ln_scale; 32],
                    ..lives
                };
                for i in 0..8 {
                    let (from, ahead) = ([from; 32], [aheads[i]; 32]);
                    let exposures = (each(&from, true), each(&ahead, true));
                    twice.limits(exposures, &[strikes[i]; 32], &mut halves, &mut alone);
                    assert_eq!(alone, [limits[i]; 32]);
                }
                for i in 0..8 {
                    let chance = -(at[i] - end[i] - strikes[i]).exp_m1();
                    let limit = f64::from(limits[i]) + 1.0;
                    assert!(
                        chance * 4_294_967_296.0 <= limit,
                        "{shape} {ln_scale} {from}: {chance} {limit}"
                    );
                    wide += usize::from(at[i] < 2.0 && 0.1 < limit / 4_294_967_296.0 - chance);
                    all += 1;
                }
            }
        }
        assert!(wide * 20 < all, "{wide} of {all}");
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
            lives.at(each(&x, false), &mut h);
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
