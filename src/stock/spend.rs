//! Limited money: pack by pack where it prevents most shortage.
//!
//! The expected shortage of a part falls by less with each further piece, so taking the pack that
//! prevents most for its price, again and again, is the best that any spending up to that point
//! can do (marginal analysis).

use super::Demand;
use super::policy::in_packs;

/// A part that money can be spent on.
#[derive(Clone, Debug, PartialEq)]
pub struct Candidate<'a> {
    /// What will be asked for.
    pub demand: &'a Demand,
    /// On the shelf and on the way.
    pub available: f64,
    /// No more than this is wanted in all.
    pub wanted: f64,
    /// Sold in multiples of.
    pub pack: u32,
    /// The supplier's least.
    pub least: Option<f64>,
    /// Price of a piece, above 0.
    pub price: f64,
    /// What a piece short counts.
    pub weight: f64,
}

impl Candidate<'_> {
    /// The order after `order`, or the first one: a pack more, as long as more is wanted, and so many that a
    /// pair is whole where half of one is of no use.
    fn next(&self, order: f64) -> Option<f64> {
        let pack = f64::from(self.pack.max(1));
        let mut more = if 0.0 < order {
            order + pack
        } else {
            in_packs(pack, self.pack, self.least)
        };
        let lots = |order: f64| self.demand.lots(self.available + order);
        while lots(more) <= lots(order) && self.available + more < self.wanted {
            more += pack;
        }
        (self.available + order < self.wanted).then_some(more)
    }

    /// Weighted pieces short with an order.
    fn short(&self, order: f64) -> f64 {
        self.weight * self.demand.short(self.available + order)
    }
}

/// One purchase on the way.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Step {
    /// Place of the part.
    pub candidate: usize,
    /// Its order after the step.
    pub order: f64,
    /// Money spent so far.
    pub spent: f64,
    /// Share of all expected demand served so far, by price.
    pub fill_rate: f64,
}

/// What is bought, and the way there.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Spending {
    /// Pieces by part.
    pub orders: Vec<f64>,
    /// Every purchase in order, also those beyond the limit.
    pub steps: Vec<Step>,
    /// Share of all expected demand served before anything is bought, by price; `None` where none
    /// is expected.
    pub fill_rate_before: Option<f64>,
}

/// Buys pack by pack what prevents most weighted shortage for its price.
///
/// - `limit`: money at most; purchases beyond it are in the steps and not in the orders. A pack
///   that no longer fits is passed over for a smaller one.
#[must_use]
pub fn spend(candidates: &[Candidate<'_>], limit: Option<f64>) -> Spending {
    let value = |c: &Candidate<'_>| c.price * c.demand.expected();
    let expected: f64 = candidates.iter().map(value).sum();
    let mut served: f64 = candidates
        .iter()
        .map(|c| value(c) - c.price * c.demand.short(c.available))
        .sum();
    let mut spending = Spending {
        orders: vec![0.0; candidates.len()],
        steps: Vec::new(),
        fill_rate_before: (0.0 < expected).then(|| served / expected),
    };
    let mut orders = vec![0.0; candidates.len()];
    let mut spent = 0.0;
    let mut bought = 0.0;
    while let Some((best, order)) = best_purchase(candidates, &orders) {
        let candidate = &candidates[best];
        let price = candidate.price * (order - orders[best]);
        let prevented = (candidate.short(orders[best]) - candidate.short(order)) / candidate.weight;
        spent += price;
        served += candidate.price * prevented;
        // Bought only where every smaller purchase of the part was bought as well.
        let whole = spending.orders[best].total_cmp(&orders[best]).is_eq();
        if whole && limit.is_none_or(|limit| bought + price <= limit + 1e-9) {
            spending.orders[best] = order;
            bought += price;
        }
        orders[best] = order;
        spending.steps.push(Step {
            candidate: best,
            order,
            spent,
            fill_rate: served / expected,
        });
    }
    spending
}

/// The part whose next pack prevents most for its price; the first of equals.
fn best_purchase(candidates: &[Candidate<'_>], orders: &[f64]) -> Option<(usize, f64)> {
    let mut best: Option<(f64, usize, f64)> = None;
    for (i, candidate) in candidates.iter().enumerate() {
        let Some(order) = candidate.next(orders[i]) else {
            continue;
        };
        let price = candidate.price * (order - orders[i]);
        let worth = (candidate.short(orders[i]) - candidate.short(order)) / price;
        if best.is_none_or(|(most, _, _)| most < worth) {
            best = Some((worth, i, order));
        }
    }
    best.map(|(_, i, order)| (i, order))
}
