//! The coming season: planned use, what is in service, and what will have to be replaced.
//!
//! In reading order:
//!
//! - [`season`], [`plan`], `typical`, [`real_use`]: which days, and the use expected on them
//! - [`day_sizes`], [`path`]: that use laid out in days of work
//! - [`mod@unit`], [`service`], [`damage`]: what is in service, what falls due, what is struck
//! - `drawn_life`, [`measured`]: one life under one draw, and what readings leave of it
//! - `batch`, `scratch`, `days`, `chance`, `ends`, [`plays`]: what happens in 128 plays at once, and
//!   [`shares`], whose products it is for
//! - [`simulate`], [`demand`], [`replay`], [`summary`]: plays added up for a budget, a parts desk and a
//!   workbook
//! - [`remaining`]: what is left of each part

mod batch;
mod chance;
pub mod damage;
pub mod day_sizes;
mod days;
pub mod demand;
pub(crate) mod drawn_life;
mod ends;
pub mod measured;
pub mod path;
pub mod plan;
pub mod plays;
pub mod real_use;
pub mod remaining;
pub mod replay;
mod scratch;
pub mod season;
pub mod service;
pub mod shares;
pub mod simulate;
pub mod summary;
mod typical;
pub mod unit;

pub use season::Season;
