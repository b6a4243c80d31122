//! Wear of dry-product spreaders: from usage and replacement records to next season's parts budget.

pub mod cli;
pub mod cost;
pub mod family;
pub mod forecast;
pub mod life;
pub mod model;
pub mod read;
pub mod record;
pub mod report;
pub mod score;
pub mod study;
pub mod units;
pub mod wear;
