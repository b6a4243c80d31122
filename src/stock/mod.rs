//! The parts desk: how many pieces to have, from the distribution of how many will be asked for.
//!
//! - `demand`: a distribution of pieces, and what a stock against it leaves short or left over.
//! - `policy`: how many to have for a promised fill rate, and for the least expected cost.
//! - `spend`: where limited money prevents most shortage.

mod demand;
mod policy;
mod spend;

pub use demand::Demand;
pub use policy::{Costs, in_packs, newsvendor, reorder_point, rq_fill_rate};
pub use spend::{Candidate, Spending, Step, spend};
