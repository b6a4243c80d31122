//! The coming season: planned use, what is in service, and what will have to be replaced.

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
