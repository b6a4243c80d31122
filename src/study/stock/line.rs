//! One part number of the order list.

use chrono::NaiveDate;

use super::shelf::{self, Held, Stretch};
use super::wanted::Wanted;
use super::{Counter, PROMISE};
use crate::cost::in_cents;
use crate::report::Forecast;
use crate::report::stock::StockLine;
use crate::stock::{self, Demand};

impl Counter<'_> {
    pub(super) fn line(&self, index: usize, wanted: Option<&Wanted<'_>>, order: f64) -> StockLine {
        let line = &self.outlook.in_service.lines[index];
        let listed = self.study.records.part(&line.part);
        let held = self.shelf.of(&line.part);
        let demand = wanted.map(|w| &w.demand);
        let lead = demand.and_then(|_| Demand::of_samples(&self.demands.lead[index]));
        let lead = lead.map(|lead| lead.in_lots(self.lots[index]));
        let pack = listed.map_or(1, |p| p.pack);
        let least = listed.and_then(|p| p.min_order);
        let stock = wanted.map(|w| w.available + order);
        let told = |f: fn(&Demand, f64) -> f64| demand.zip(stock).map(|(d, s)| f(d, s));
        let change = |by: f64| {
            let (costs, demand, stock) = (wanted?.costs?, demand?, stock?);
            (0.0 <= stock + by)
                .then(|| costs.expected(demand, stock + by) - costs.expected(demand, stock))
        };
        let months = self
            .demands
            .months
            .iter()
            .zip(&self.demands.by_month[index]);
        StockLine {
            part: line.part.clone(),
            supersedes: self.older(&line.part),
            family: line.family.clone(),
            description: listed.and_then(|p| p.description.clone()),
            critical: listed.and_then(|p| p.critical),
            price: line.cost.price,
            pack,
            min_order: least,
            lead_days: listed.and_then(|p| p.lead_days),
            used: self.used.as_ref().and_then(|used| used.of(&line.part)),
            needed_before: wanted.and_then(|_| mean(&self.demands.before[index])),
            taken_before: wanted
                .filter(|_| !self.demands.before[index].is_empty())
                .map(|w| w.demand.gone()),
            demand: wanted.map(|_| Forecast::of(&self.demands.season[index])),
            months: if wanted.is_some() {
                months.map(|(m, forecast)| (*m, *forecast)).collect()
            } else {
                Vec::new()
            },
            lead_demand: lead
                .as_ref()
                .map(|_| Forecast::of(&self.demands.lead[index])),
            busiest: self.demands.busiest[index].filter(|_| lead.is_some()),
            reorder_point: lead.as_ref().map(|lead| {
                let quantity = stock::in_packs(1.0, pack, least);
                let point = stock::reorder_point(lead, self.promise().unwrap_or(PROMISE), quantity);
                // Below what the season begins with, or its first day would be one to order on.
                wanted.map_or(point, |w| point.min((w.order_up_to - 1.0).max(0.0)))
            }),
            order_up_to: wanted.map(|w| w.order_up_to),
            decided: wanted.map(|w| w.decided),
            on_hand: held.map(|h| h.on_hand),
            on_order: held.and_then(|h| h.on_order),
            due: held.and_then(Held::due),
            deliveries: held.map_or_else(Vec::new, |h| h.deliveries.clone()),
            short_before_due: wanted.and_then(|_| self.short_before_due(index, held?, order)),
            short_before_order: wanted.and_then(|_| self.short_before_order(index)),
            late: held.and_then(|h| Some(h.on_order? - h.in_time)),
            order_now: wanted.map(|_| order),
            wanted: wanted.map(|w| w.order),
            order_cost: wanted
                .and(line.cost.price)
                .map(|price| in_cents(price * order)),
            fill_rate: demand.zip(stock).and_then(|(d, s)| d.fill_rate(s)),
            no_stock_out: told(Demand::chance_within),
            shortage: told(Demand::short),
            left_over: told(Demand::left_over),
            one_more: change(1.0),
            one_fewer: change(-1.0),
        }
    }

    /// Pieces expected to be short before the last delivery of the season; `None` where none has a
    /// day to come.
    fn short_before_due(&self, index: usize, held: &Held, order: f64) -> Option<f64> {
        let last = held.days(self.begins()).last()?;
        Some(self.short_until(index, last, Some(held), order))
    }

    /// Pieces expected to be asked for before an order of today can be there, beyond the shelf and
    /// earlier deliveries; `None` where the lead time is not known.
    fn short_before_order(&self, index: usize) -> Option<f64> {
        let part = &self.outlook.in_service.lines[index].part;
        let comes = self.study.order_comes(part)?;
        Some(self.short_until(index, comes, self.shelf.of(part), 0.0))
    }

    /// Pieces expected to be short in the season before a day on which some arrive, with `order` ordered today.
    fn short_until(&self, index: usize, until: NaiveDate, held: Option<&Held>, order: f64) -> f64 {
        let comes = self
            .study
            .order_comes(&self.outlook.in_service.lines[index].part);
        let by = |day: NaiveDate| {
            let ordered = comes.is_none_or(|comes| comes <= day);
            held.map_or(0.0, |held| held.by(day)) + if ordered { order } else { 0.0 }
        };
        let at_first = by(self.begins());
        let early = held.map_or(0.0, |held| held.by(self.begins()));
        let before = &self.demands.before[index];
        let days = self.arrivals[index].iter().filter(|day| **day <= until);
        let asked = self.demands.before_arrival[index].iter();
        let stretches = asked.zip(days).scan(at_first, |come, (asked, day)| {
            let more = by(*day) - *come;
            *come += more;
            Some(Stretch { asked, come: more })
        });
        let left = |play: usize| {
            let taken = before.get(play).map_or(0.0, |asked| asked.min(early));
            at_first - taken
        };
        shelf::short(left, &stretches.collect::<Vec<_>>())
    }

    /// The last day before the season's use begins to count.
    pub(super) fn begins(&self) -> NaiveDate {
        self.outlook.season.start.max(self.study.as_of)
    }

    /// Older numbers of a part.
    fn older(&self, part: &str) -> Vec<String> {
        let parts = self.study.records.parts.iter();
        let mut older: Vec<String> = parts
            .filter(|p| p.number != part && self.study.supersession.newest(&p.number) == part)
            .map(|p| p.number.clone())
            .collect();
        older.sort();
        older
    }
}

fn mean(samples: &[f64]) -> Option<f64> {
    (!samples.is_empty()).then(|| samples.iter().sum::<f64>() / samples.len() as f64)
}
