//! Results as tables for people, 80 columns wide or more.

mod backtest;
mod budget;
mod check;
mod compare;
mod fits;
mod grid;
mod imports;
mod lives;
mod models;
mod problems;
mod remaining;
mod stock;
pub(in crate::report) mod words;

pub use backtest::backtest;
pub use budget::budget;
pub use check::{check, messages};
pub use compare::compare;
pub use fits::fits;
pub use imports::imports;
pub use lives::lives;
pub use models::models;
pub use remaining::remaining;
pub use stock::stock;

pub use words::harmless;

use super::Header;
use words::wrapped;

/// Notes and, where work on a machine is forecast, cautions.
fn close(out: &mut String, header: &Header, cautions: bool, width: usize) {
    if !header.notes.is_empty() {
        out.push_str("\nNotes\n");
        for note in &header.notes {
            out.push_str(&wrapped(note, "  - ", "    ", width));
        }
    }
    if cautions && !header.cautions.is_empty() {
        out.push_str("\nBefore you work on a machine\n");
        for caution in &header.cautions {
            out.push_str(&wrapped(caution, "  ! ", "    ", width));
        }
    }
}
