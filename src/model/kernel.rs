//! The cumulative hazard of each distribution on its standard scale, with derivatives.

use std::f64::consts::{FRAC_1_SQRT_2, PI};

use statrs::function::erf;
use statrs::function::gamma::{digamma, ln_gamma};

/// A life distribution; see [`crate::model`] for the parameters.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Distribution {
    /// `h(t) = exp(t)`.
    Weibull,
    /// `h(t) = -ln(Phi(-t))`.
    Lognormal,
    /// Weibull with the shape held at 1.
    Exponential,
}

/// A function of `t` and its first two derivatives.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Jet {
    /// Value.
    pub value: f64,
    /// First derivative.
    pub d1: f64,
    /// Second derivative.
    pub d2: f64,
}

/// Values and first two derivatives of `k` in `ln(anchor life) = ln(scale) + k(ln shape)`.
pub type Offset = Jet;

impl Distribution {
    /// The word in files and JSON.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Weibull => "weibull",
            Self::Lognormal => "lognormal",
            Self::Exponential => "exponential",
        }
    }

    /// Whether the shape is estimated.
    #[must_use]
    pub fn has_shape(self) -> bool {
        self != Self::Exponential
    }

    /// Whether `h(t) = exp(t)`, so that sums over many lives can go the short way.
    #[must_use]
    pub fn is_weibull(self) -> bool {
        match self {
            Self::Weibull | Self::Exponential => true,
            Self::Lognormal => false,
        }
    }

    /// `h`, `h'`, `h''` at `t`.
    #[must_use]
    pub fn cumulative(self, t: f64) -> Jet {
        match self {
            Self::Weibull | Self::Exponential => {
                let h = t.exp();
                Jet {
                    value: h,
                    d1: h,
                    d2: h,
                }
            }
            Self::Lognormal => {
                let m = normal_hazard(t);
                Jet {
                    value: -ln_normal_survival(t),
                    d1: m,
                    d2: m * (m - t),
                }
            }
        }
    }

    /// Differences of `h`, `h'`, `h''` between `t` and `t + step`, exact as `step` goes to 0.
    #[must_use]
    pub fn rise(self, t: f64, step: f64) -> Jet {
        match self {
            Self::Weibull | Self::Exponential => {
                let h = t.exp() * step.exp_m1();
                Jet {
                    value: h,
                    d1: h,
                    d2: h,
                }
            }
            Self::Lognormal if step < 1e-4 => {
                // Midpoint rule: the error is of third order in the step.
                let mid = t + step / 2.0;
                let m = normal_hazard(mid);
                let d1 = m * (m - mid);
                let d2 = d1 * (m - mid) + m * (d1 - 1.0);
                Jet {
                    value: m * step + d2 * step.powi(3) / 24.0,
                    d1: d1 * step,
                    d2: d2 * step,
                }
            }
            Self::Lognormal => {
                let (a, b) = (self.cumulative(t), self.cumulative(t + step));
                Jet {
                    value: b.value - a.value,
                    d1: b.d1 - a.d1,
                    d2: b.d2 - a.d2,
                }
            }
        }
    }

    /// `ln h'`, and its first two derivatives.
    #[must_use]
    pub fn ln_rate(self, t: f64) -> Jet {
        match self {
            Self::Weibull | Self::Exponential => Jet {
                value: t,
                d1: 1.0,
                d2: 0.0,
            },
            Self::Lognormal => {
                let m = normal_hazard(t);
                Jet {
                    value: m.ln(),
                    d1: m - t,
                    d2: m * (m - t) - 1.0,
                }
            }
        }
    }

    /// The `t` at which the cumulative hazard is `h`, for `h > 0`.
    #[must_use]
    pub fn inverse(self, h: f64) -> f64 {
        match self {
            Self::Weibull | Self::Exponential => h.ln(),
            Self::Lognormal => inverse_normal_hazard(h),
        }
    }

    /// Offset from log scale to the logarithm of the life by which a share `p` is worn out.
    #[must_use]
    pub fn quantile_offset(self, p: f64, ln_shape: f64) -> Offset {
        let k = self.inverse(-(-p).ln_1p()) * (-ln_shape).exp();
        Jet {
            value: k,
            d1: -k,
            d2: k,
        }
    }

    /// Offset from log scale to the logarithm of the mean life.
    #[must_use]
    pub fn mean_offset(self, ln_shape: f64) -> Offset {
        let u = (-ln_shape).exp();
        match self {
            Self::Weibull | Self::Exponential => {
                let (psi, psi1) = (digamma(1.0 + u), trigamma(1.0 + u));
                Jet {
                    value: ln_gamma(1.0 + u),
                    d1: -psi * u,
                    d2: psi * u + psi1 * u * u,
                }
            }
            Self::Lognormal => Jet {
                value: u * u / 2.0,
                d1: -u * u,
                d2: 2.0 * u * u,
            },
        }
    }
}

/// Second derivative of the logarithm of the gamma function, for `x >= 1`.
///
/// Recurrence to `x >= 10`, then the asymptotic series (Abramowitz & Stegun 6.4.12).
fn trigamma(mut x: f64) -> f64 {
    let mut sum = 0.0;
    while x < 10.0 {
        sum += 1.0 / (x * x);
        x += 1.0;
    }
    let y = 1.0 / (x * x);
    sum + 1.0 / x + y / 2.0 + y / x * (1.0 / 6.0 - y * (1.0 / 30.0 - y * (1.0 / 42.0 - y / 30.0)))
}

/// `ln(Phi(-t))`, without loss for large `|t|`.
fn ln_normal_survival(t: f64) -> f64 {
    if 5.0 < t {
        -t * t / 2.0 - (2.0 * PI).sqrt().ln() - normal_hazard(t).ln()
    } else if t < -1.0 {
        (-erf::erfc(-t * FRAC_1_SQRT_2) / 2.0).ln_1p()
    } else {
        (erf::erfc(t * FRAC_1_SQRT_2) / 2.0).ln()
    }
}

/// Hazard of the standard normal distribution, `phi(t) / Phi(-t)`.
fn normal_hazard(t: f64) -> f64 {
    if 5.0 < t {
        // Laplace's continued fraction: t + 1/(t + 2/(t + 3/(t + ..))).
        let mut tail = t;
        for k in (1..=60).rev() {
            tail = t + f64::from(k) / tail;
        }
        return tail;
    }
    let density = (-t * t / 2.0).exp() / (2.0 * PI).sqrt();
    density / (erf::erfc(t * FRAC_1_SQRT_2) / 2.0)
}

/// The `t` with `-ln(Phi(-t)) = h`.
fn inverse_normal_hazard(h: f64) -> f64 {
    // A start from the inverse error function where it resolves, then Newton steps on `h`.
    let survival = (-h).exp();
    let mut t = if h < 1e-12 {
        -(-2.0 * h.ln()).sqrt()
    } else if 30.0 < h {
        (2.0 * h).sqrt()
    } else if survival < 0.5 {
        std::f64::consts::SQRT_2 * erf::erfc_inv(2.0 * survival)
    } else {
        -std::f64::consts::SQRT_2 * erf::erfc_inv(-2.0 * (-h).exp_m1())
    };
    for _ in 0..8 {
        let now = Distribution::Lognormal.cumulative(t);
        // On the logarithm the curve is nearly straight at both ends.
        let step = (now.value.ln() - h.ln()) * now.value / now.d1;
        if !step.is_finite() {
            break;
        }
        t -= step;
        if step.abs() < 1e-14 * t.abs().max(1.0) {
            break;
        }
    }
    t
}
