//! Wear of dry-product spreaders: from usage and replacement records to next season's parts budget.
//!
//! The modules in reading order; each uses only those above it:
//!
//! - [`units`]: acres, tons, hours, days, and the one table that converts to them
//! - `registers`: loops over many numbers, as wide as the processor can
//! - [`record`]: what an owner writes down, as plain types, and the checks across tables
//! - [`family`]: parts that share a life model: measure, counting, distribution, prior
//! - [`wear`]: product groups, and which of them counts as 1
//! - [`life`]: records to installed lives, with everything that hides when a part wore out
//! - [`model`]: lives to a life distribution and wear factors, and what the records leave open
//! - [`degradation`]: measured wear: readings on their way to the limit, and the use left until then
//! - [`cost`]: what one replacement costs, as far as the parts list and the records tell
//! - [`forecast`]: the coming season, played many times
//! - [`decide`]: run a part or replace it in the shop
//! - [`stock`]: how many pieces the parts desk should have
//! - [`score`]: forecasts against what happened
//! - [`plot`]: figures as data, drawn as SVG text
//! - [`report`]: results as plain structs, and their forms for people and programs
//! - [`study`]: each question a user asks, put together from the modules above
//! - [`read`]: files to records; every row is used, or listed with what is wrong with it
//! - [`import`]: files of open standards to rows of the records, each row once
//! - [`cli`]: the command line
//!
//! From [`units`] to [`study`] there is no file, clock, environment or printing: dates, seeds and
//! settings are arguments. The same records, options and seed give the same bytes.
//!
//! # Example
//!
//! Five sets of fins, counted in tons of potash and tons of lime. Three wore out, each somewhere
//! between the last look and its removal; two are still good and say that fins can last at least so long.
//!
//! ```
//! use wearcast::model::observations::End;
//! use wearcast::model::{Distribution, Observation, Observations, fit};
//!
//! let life = |known, low: [f64; 2], end: [f64; 2]| Observation {
//!     entry: vec![0.0, 0.0],
//!     low: low.to_vec(),
//!     end: end.to_vec(),
//!     known,
//!     count: 1.0,
//!     machine: None,
//! };
//! let lives = Observations::new(
//!     2, // groups: potash, which counts as 1, and lime
//!     vec![
//!         life(End::Between, [5_600.0, 300.0], [5_700.0, 300.0]),
//!         life(End::Between, [1_900.0, 1_800.0], [1_900.0, 1_950.0]),
//!         life(End::Between, [4_100.0, 700.0], [4_150.0, 700.0]),
//!         life(End::Censored, [900.0, 900.0], [900.0, 900.0]),
//!         life(End::Censored, [3_000.0, 0.0], [3_000.0, 0.0]),
//!     ],
//! );
//!
//! let fitted = fit::maximum_likelihood(Distribution::Weibull, &lives)?;
//! let lime = fitted.theta[2].exp(); // a ton of lime wears like so many tons of potash
//! assert!(1.0 < fitted.shape(), "the older, the likelier to wear out");
//! assert!(5_000.0 < fitted.scale() && fitted.scale() < 8_000.0);
//! assert!(1.5 < lime && lime < 3.5);
//! # Ok::<(), wearcast::model::fit::FitError>(())
//! ```

pub mod cli;
pub mod cost;
pub mod decide;
pub mod degradation;
pub mod family;
pub mod forecast;
pub mod import;
pub mod life;
pub mod model;
pub mod plot;
pub mod read;
pub mod record;
mod registers;
pub mod report;
pub mod score;
pub mod stock;
pub mod study;
pub mod units;
pub mod wear;
