//! Measured wear: readings of a part on its way from new to its limit, and what they say of the
//! time that is left.
//!
//! A reading is taken as a share `z` of the way from `new` (0) to `limit` (1), so that wear that
//! rises (play, elongation) and wear that falls (thickness) are one. With `x` the effective
//! exposure since new, a part of log rate `u` shows
//!
//! ```text
//! z(x) = exp(u) * x^p + error,      error normal with standard deviation s
//! ```
//!
//! A part is changed when its wear is at `C` times the limit; `ln C` is normal with mean `h`, the
//! habit, and standard deviation `w`, the wander. Wander stands for all that keeps a part of
//! known rate from ending on the dot: owners who change a little before or after the limit, and
//! paths that do not hold their rate. So its life `L` obeys `u + p ln L = ln C`, and however many
//! readings there are, they never make a life known to better than `w / p`.
//!
//! - [`readings`]: inspections to readings of lives; every row is used or listed with its reason
//! - [`swap`]: wear that went back to near new: a part was swapped and nobody wrote it down
//! - [`family_path`]: `p`, `s`, `h`, `w` of a family, from all of its lives with readings
//! - [`crossing`]: the life of one part, from the family's life distribution and its own readings
//!
//! # Source
//! Lu & Meeker (1993), *Technometrics* 35, 161-174, and Meeker & Escobar (1998), *Statistical
//! Methods for Reliability Data*, chapter 13, from memory: general path models with a random rate
//! for each unit and normal measuring error; life is the first crossing of the limit. Scatter of
//! the limit and the tie to a life distribution fitted elsewhere are our own.

pub mod crossing;
pub mod family_path;
mod measured;
pub mod readings;
pub mod scale;
pub mod swap;

pub use crossing::{Crossing, LifePrior};
pub use family_path::{FamilyPath, PathDraw};
pub use measured::Measured;
pub use readings::{Inspected, MeasuredLife, Reading};
