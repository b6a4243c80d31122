//! Life models: the distribution of effective exposure at wear-out, fitted to lives.
//!
//! Every distribution here is one of log location and scale. With `x` the effective exposure,
//!
//! ```text
//! t    = shape * (ln x - ln scale)
//! S(x) = exp(-h(t))
//! ```
//!
//! and the distributions differ only in `h`. Weibull: `h(t) = exp(t)`, so that
//! `S(x) = exp(-(x / scale)^shape)`. Lognormal: `h(t) = -ln(Phi(-t))`, so that `ln x` is normal
//! with mean `ln scale` and standard deviation `1 / shape`. Exponential: Weibull of shape 1.
//!
//! Parameters are handled as `theta = (ln shape, ln scale, ln w_1, ..)`, with `w_g` the wear factor
//! of each group after the reference group. Where levels are compared, such as materials, their log
//! life ratios against level 0 follow.
//!
//! In reading order:
//!
//! - [`assess`]: the way through, from the lives of one family to all that is known of it
//! - [`family_lives`], [`observations`], [`levels`]: what a fit sees of lives
//! - [`kernel`], [`anchor`], [`likelihood`]: each `h`, the parameters, and the likelihood, life by life
//! - `weibull`, `blocks`, `passes`, `vector`: the same for many Weibull lives, fast
//! - [`newton`], [`fit`], [`profile`]: the maximum of the likelihood, and intervals about it
//! - [`posterior`], `drawing`, `even`, [`importance`], [`chain`]: draws of what records and prior leave open
//! - [`health`], [`conflict`]: whether to believe the draws, and whether records and prior agree
//! - [`machines`], `rises`: machines that differ
//! - [`found`]: parts of unknown age
//! - [`goodness`], [`nonparametric`], [`ranks`], [`multiple`]: how well it all fits
//! - `hazards`: hazards of many lives at once, for the forecast

pub mod anchor;
pub mod assess;
mod blocks;
pub mod chain;
pub mod conflict;
mod drawing;
mod even;
pub mod family_lives;
pub mod fit;
pub mod found;
pub mod goodness;
pub(crate) mod hazards;
pub mod health;
pub mod importance;
pub mod kernel;
pub mod levels;
pub mod likelihood;
pub mod machines;
pub mod multiple;
pub mod newton;
pub mod nonparametric;
pub mod observations;
mod passes;
pub mod posterior;
pub mod profile;
pub mod ranks;
mod rises;
mod vector;
mod weibull;

pub use kernel::Distribution;
pub use observations::{Observation, Observations};

/// Wear factors of `theta`, the reference's first; behind them, where levels are compared, their life
/// ratios.
pub fn wear_factors(theta: &[f64]) -> impl Iterator<Item = f64> + '_ {
    std::iter::once(1.0).chain(theta[2..].iter().map(|w| w.exp()))
}
