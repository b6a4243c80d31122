//! How many pieces to have: for a promised fill rate, or for the least expected cost.
//!
//! # Source
//! Newsvendor and (r, Q): Snyder & Shen, *Fundamentals of Supply Chain Theory*, 2nd ed. (2019),
//! chapters 4 and 5; Hadley & Whitin, *Analysis of Inventory Systems* (1963), chapter 4. Tests
//! hold both to values of general-purpose libraries in tests/reference.

use super::Demand;
use super::demand::ROUNDING;

/// Money of being wrong by one piece.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Costs {
    /// A piece too few: bought dearer in season, time lost.
    pub under: f64,
    /// A piece too many: held for a season, returned at a loss.
    pub over: f64,
}

impl Costs {
    /// Share of seasons in which it pays to have enough.
    #[must_use]
    pub fn critical_ratio(self) -> f64 {
        self.under / (self.under + self.over)
    }

    /// Expected money of having `stock`.
    #[must_use]
    pub fn expected(self, demand: &Demand, stock: f64) -> f64 {
        self.under * demand.short(stock) + self.over * demand.left_over(stock)
    }
}

/// Whole stock of least expected cost: the least that is enough with the probability of the
/// critical ratio.
#[must_use]
pub fn newsvendor(demand: &Demand, costs: Costs) -> f64 {
    demand.least_for_chance(costs.critical_ratio())
}

/// Share of pieces served at once when `quantity` is ordered each time stock on hand and on order
/// falls to `reorder`: `1 - (n(r) - n(r + Q)) / Q` with `n(x)` the expected pieces of lead-time
/// demand above `x`.
///
/// - `lead`: demand over the lead time.
#[must_use]
pub fn rq_fill_rate(lead: &Demand, reorder: f64, quantity: f64) -> f64 {
    1.0 - (lead.short(reorder) - lead.short(reorder + quantity)) / quantity
}

/// Least whole stock at which to order `quantity` more for a fill rate of at least `rate`, which
/// is below 1.
#[must_use]
pub fn reorder_point(lead: &Demand, rate: f64, quantity: f64) -> f64 {
    // Of an order that makes no lot whole nothing is ever served.
    let quantity = lead.whole(quantity);
    lead.least(|reorder| rate - ROUNDING <= rq_fill_rate(lead, reorder, quantity))
}

/// Pieces to order when `wanted` are: whole packs, and no fewer than the supplier sells.
#[must_use]
pub fn in_packs(wanted: f64, pack: u32, least: Option<f64>) -> f64 {
    if wanted <= 0.0 {
        return 0.0;
    }
    let pack = f64::from(pack.max(1));
    // A hair above a whole number of packs is rounding, not a piece.
    let packs = |pieces: f64| (pieces / pack - 1e-9).ceil() * pack;
    packs(wanted.max(least.unwrap_or(0.0))).max(0.0)
}
