//! How many of a part to have and to order.

use super::{Counter, PROMISE};
use crate::forecast::demand::without_rounding;
use crate::forecast::unit::Line;
use crate::record::{Critical, Part};
use crate::report::stock::{CurvePoint, Decided};
use crate::stock::{self, Candidate, Costs, Demand};

/// Points of the curve of fill rate against money.
const CURVE_POINTS: usize = 40;

/// What a piece short counts by what its failure does, against a machine that stops (our own
/// choice); a part that the list says nothing of counts as one that degrades.
fn weight(critical: Option<Critical>) -> f64 {
    match critical {
        Some(Critical::Stops) => 1.0,
        Some(Critical::Degrades) | None => 0.5,
        Some(Critical::Cosmetic) => 0.1,
    }
}

/// What is known of one line, and what is wanted of it.
pub(super) struct Wanted<'a> {
    pub(super) line: &'a Line,
    pub(super) listed: Option<&'a Part>,
    pub(super) demand: Demand,
    pub(super) costs: Option<Costs>,
    pub(super) decided: Decided,
    pub(super) order_up_to: f64,
    pub(super) available: f64,
    pub(super) order: f64,
}

impl<'a> Counter<'a> {
    /// Money of a piece too few and too many; `None` where the settings price neither. A customer's
    /// lost hours are not the desk's money.
    fn costs(&self, index: usize, critical: Option<Critical>) -> Option<Costs> {
        let settings = &self.study.records.settings;
        let line = &self.outlook.in_service.lines[index];
        let price = line.cost.price?;
        let stands = settings.down_cost_per_hour.zip(line.down_hours);
        let stop = stands.map(|(rate, hours)| self.own[index] * weight(critical) * rate * hours);
        let rush = settings.rush_cost.map(|r| r * price);
        let (holding, loss) = (settings.holding_rate, settings.return_rate);
        if rush.is_none() || (holding.is_none() && loss.is_none()) {
            return None;
        }
        let costs = Costs {
            under: rush.unwrap_or(0.0) + stop.unwrap_or(0.0),
            over: (holding.unwrap_or(0.0) + loss.unwrap_or(0.0)) * price,
        };
        (0.0 < costs.under).then_some(costs)
    }

    /// The promised fill rate; `None` where costs alone decide.
    pub(super) fn promise(&self) -> Option<f64> {
        let settings = &self.study.records.settings;
        let priced = settings.rush_cost.is_some()
            && (settings.holding_rate.is_some() || settings.return_rate.is_some());
        settings.service_level.or((!priced).then_some(PROMISE))
    }

    pub(super) fn wanted(&self, index: usize, line: &'a Line) -> Option<Wanted<'a>> {
        if !self.states.known[index] {
            return None;
        }
        let lot = self.lots[index];
        let season = Demand::of_samples(&self.demands.season[index])?.in_lots(lot);
        let held = self.shelf.of(&line.part);
        // What is short before the season is had from elsewhere, and not from this order.
        let demand = match self.demands.before[index].as_slice() {
            [] => season.clone(),
            before => {
                let shelf = held.map_or(0.0, |held| held.by(self.begins()));
                Demand::with_before(&self.demands.season[index], before, shelf, lot)?
            }
        };
        let listed = self.study.records.part(&line.part);
        let critical = listed.and_then(|p| p.critical);
        let costs = self.costs(index, critical);
        let by_costs = costs.map(|c| stock::newsvendor(&demand, c));
        // A promise for a part of looks only would buy what nobody waits for.
        let promise = self
            .promise()
            .or(costs.is_none().then_some(PROMISE))
            .filter(|_| costs.is_none() || critical != Some(Critical::Cosmetic));
        let by_promise = promise.map(|p| match self.study.records.settings.service_level {
            // What not one season in twenty asks for is ordered when it is asked for, where nobody
            // promised otherwise.
            None if p < season.chance_within(0.0) => 0.0,
            _ => demand.least_for_fill(p),
        });
        let (order_up_to, decided) = match (by_promise, by_costs) {
            (Some(promise), Some(costs)) if promise < costs => (costs, Decided::Costs),
            (Some(promise), _) => (promise, Decided::Promise),
            (None, costs) => (costs.unwrap_or(0.0), Decided::Costs),
        };
        let available = held.map_or(0.0, |h| without_rounding(h.on_hand + h.in_time));
        let order = stock::in_packs(
            order_up_to - available,
            listed.map_or(1, |p| p.pack),
            listed.and_then(|p| p.min_order),
        );
        Some(Wanted {
            line,
            listed,
            demand,
            costs,
            decided,
            order_up_to,
            available,
            order,
        })
    }

    /// Orders by line, and what money buys.
    pub(super) fn spending(&self, wanted: &[Option<Wanted<'_>>]) -> (Vec<f64>, Vec<CurvePoint>) {
        let limit = self.study.records.settings.budget_limit;
        let priced: Vec<(usize, f64, &Wanted<'_>)> = wanted
            .iter()
            .enumerate()
            .filter_map(|(l, w)| w.as_ref().map(|w| (l, w)))
            .filter_map(|(l, w)| Some((l, w.line.cost.price.filter(|p| 0.0 < *p)?, w)))
            .collect();
        let candidates: Vec<Candidate<'_>> = priced
            .iter()
            .map(|(_, price, w)| Candidate {
                demand: &w.demand,
                available: w.available,
                wanted: w.order_up_to,
                pack: w.listed.map_or(1, |p| p.pack),
                least: w.listed.and_then(|p| p.min_order),
                price: *price,
                weight: weight(w.listed.and_then(|p| p.critical)),
            })
            .collect();
        let spending = stock::spend(&candidates, limit);
        let mut orders: Vec<f64> = wanted
            .iter()
            .map(|w| w.as_ref().map_or(0.0, |w| w.order))
            .collect();
        if limit.is_some() {
            for ((l, _, _), order) in priced.iter().zip(&spending.orders) {
                orders[*l] = *order;
            }
        }
        let before = spending.fill_rate_before.map(|fill_rate| CurvePoint {
            money: 0.0,
            fill_rate,
        });
        let stride = spending.steps.len().div_ceil(CURVE_POINTS).max(1);
        let last = spending.steps.len().saturating_sub(1);
        let steps = spending.steps.iter().enumerate();
        let curve = before.into_iter().chain(
            steps
                .filter(|(i, _)| (i + 1) % stride == 0 || *i == last)
                .map(|(_, step)| CurvePoint {
                    money: step.spent,
                    fill_rate: step.fill_rate,
                }),
        );
        (orders, curve.collect())
    }
}
