//! What the parts desk should hold and order.

mod assumptions;
mod shelf;
mod used;

use super::progress::Stage;
use super::{LineStates, Outlook, Policy, Study, StudyError};
use crate::cost::in_cents;
use crate::forecast::demand::{self, Demands, Desk, LeadTime, without_rounding};
use crate::forecast::plays::Game;
use crate::forecast::unit::Line;
use crate::record::{Critical, Part};
use crate::report::Forecast;
use crate::report::stock::{
    CurvePoint, CustomerNeed, Decided, IdleLine, StockLine, StockReport, UsedSeason,
};
use crate::stock::{self, Candidate, Costs, Demand};
use chrono::{Days, NaiveDate};
use shelf::{Held, Shelf, Stretch};
use used::Used;

/// Promised where the settings say neither a service level nor costs (our own choice).
const PROMISE: f64 = 0.95;
/// Points of the curve of fill rate against money.
const CURVE_POINTS: usize = 40;

/// What a piece short counts by what its failure does, against a machine that stops (our own
/// choice); a part that the list says nothing of counts as one that degrades.
pub(super) fn weight(critical: Option<Critical>) -> f64 {
    match critical {
        Some(Critical::Stops) => 1.0,
        Some(Critical::Degrades) | None => 0.5,
        Some(Critical::Cosmetic) => 0.1,
    }
}

impl Study {
    /// Plays the season for every machine and says what to hold and order.
    ///
    /// # Errors
    /// As [`Study::outlook`].
    pub fn stock(&self) -> Result<StockReport, StudyError> {
        let mut outlook = self.outlook()?;
        if self.options.policy == Policy::Advised {
            self.replace_as_advised(&mut outlook);
        }
        let shelf = Shelf::new(self, outlook.season.end);
        let customers = self.customers();
        let desk = self.desk(&outlook, &shelf, &customers);
        self.progress.tell(|| Stage::Playing);
        let demands = demand::demands(self.game(&outlook), &desk);
        let counter = Counter {
            study: self,
            outlook: &outlook,
            shelf: &shelf,
            used: Used::new(self),
            arrivals: &desk.arrivals,
            demands: &demands,
            own: own_shares(&demands, &customers, outlook.in_service.lines.len()),
            states: outlook.line_states(),
        };
        Ok(counter.report(&customers))
    }

    /// What a season is played from.
    pub(super) fn game<'a>(&'a self, outlook: &'a Outlook) -> Game<'a> {
        Game {
            in_service: &outlook.in_service,
            assessments: &outlook.assessments,
            plan: &outlook.plan,
            groups: &self.groups,
            season: outlook.season,
            as_of: self.as_of,
            labor_rate: self.records.settings.labor_rate,
            seed: self.options.seed,
        }
    }

    /// Names of customers, by name; those of machines without one come first, as `None`.
    fn customers(&self) -> Vec<Option<String>> {
        let machines = self.records.machines.iter();
        let mut names: Vec<Option<String>> = machines.map(|m| m.customer.clone()).collect();
        names.sort();
        names.dedup();
        names
    }

    /// First day on which what is ordered on the as-of date is there, by the median lead time; `None`
    /// where that is not known.
    fn order_comes(&self, part: &str) -> Option<NaiveDate> {
        /// A century: no calendar ends before it.
        const LONGEST: f64 = 36_500.0;
        let days = self.records.part(part)?.lead_days?.ceil();
        Some(self.as_of + Days::new(days.clamp(0.0, LONGEST) as u64))
    }

    fn desk(&self, outlook: &Outlook, shelf: &Shelf<'_>, customers: &[Option<String>]) -> Desk {
        let lines = &outlook.in_service.lines;
        let lead = |line: &Line| {
            let part = self.records.part(&line.part)?;
            Some(LeadTime::new(part.lead_days?, part.lead_days_spread))
        };
        let begins = outlook.season.start.max(self.as_of);
        let arrivals = |line: &Line| {
            let held = shelf.of(&line.part);
            let mut days = held.map_or_else(Vec::new, |held| held.days(begins).collect());
            days.extend(self.order_comes(&line.part).filter(|day| begins < *day));
            days.sort_unstable();
            days.dedup();
            days
        };
        let customer = |name: &String| {
            let machine = self.records.machine(name);
            let customer = machine.and_then(|m| m.customer.clone());
            customers.binary_search(&customer).unwrap_or(0)
        };
        Desk {
            lead: lines.iter().map(lead).collect(),
            arrivals: lines.iter().map(arrivals).collect(),
            customers: outlook.in_service.machines.iter().map(customer).collect(),
        }
    }
}

/// What is known of one line, and what is wanted of it.
struct Wanted<'a> {
    line: &'a Line,
    listed: Option<&'a Part>,
    demand: Demand,
    costs: Option<Costs>,
    decided: Decided,
    order_up_to: f64,
    available: f64,
    order: f64,
}

struct Counter<'a> {
    study: &'a Study,
    outlook: &'a Outlook,
    shelf: &'a Shelf<'a>,
    used: Option<Used<'a>>,
    /// By line: days on which pieces arrive, the order's among them.
    arrivals: &'a [Vec<NaiveDate>],
    demands: &'a Demands,
    /// By line: what share of the pieces needed are for machines of the desk's own.
    own: Vec<f64>,
    states: LineStates,
}

impl<'a> Counter<'a> {
    fn report(&self, customers: &[Option<String>]) -> StockReport {
        let settings = &self.study.records.settings;
        let season = self.outlook.season;
        let service = &self.outlook.in_service;
        let wanted: Vec<Option<Wanted<'a>>> = (0..service.lines.len())
            .map(|l| self.wanted(l, &service.lines[l]))
            .collect();
        let (orders, curve) = self.spending(&wanted);
        let mut lines: Vec<StockLine> = wanted
            .iter()
            .enumerate()
            .filter(|(l, _)| self.states.in_use[*l])
            .map(|(l, w)| self.line(l, w.as_ref(), orders[l]))
            .collect();
        lines.sort_by(|a, b| (&a.family, &a.part).cmp(&(&b.family, &b.part)));
        let known_total = in_cents(lines.iter().filter_map(|l| l.order_cost).sum());
        let whole = lines
            .iter()
            .all(|l| l.order_now.is_some_and(|n| n <= 0.0) || l.order_cost.is_some());
        let mut report = StockReport {
            season: season.year,
            from: season.start.max(self.study.as_of + Days::new(1)),
            until: season.end,
            used_season: self.used.as_ref().map(|used| UsedSeason {
                year: used.season.year,
                machines: used.machines,
                covered: used.covered,
            }),
            policy: self.study.options.policy.name(),
            currency: settings.currency.clone(),
            units: settings.units,
            service_level: self.promise(),
            price_change: settings.price_change,
            budget_limit: settings.budget_limit,
            idle: self.idle(&wanted),
            customers: self.needs(customers),
            curve,
            order_total: whole.then_some(known_total),
            known_total,
            wanted_total: in_cents(
                wanted
                    .iter()
                    .flatten()
                    .filter_map(|w| Some(w.order * w.line.cost.price?))
                    .sum(),
            ),
            fill_rate: served(&lines),
            header: self.study.header(self.notes(&lines)),
            assumptions: self.assumptions(),
            account: self.study.accounts.clone(),
            lines,
        };
        report.header.notes.extend(report.price_words());
        report
    }

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
    fn promise(&self) -> Option<f64> {
        let settings = &self.study.records.settings;
        let priced = settings.rush_cost.is_some()
            && (settings.holding_rate.is_some() || settings.return_rate.is_some());
        settings.service_level.or((!priced).then_some(PROMISE))
    }

    fn wanted(&self, index: usize, line: &'a Line) -> Option<Wanted<'a>> {
        if !self.states.known[index] {
            return None;
        }
        let demand = Demand::of_samples(&self.demands.season[index])?;
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
            None if p < demand.chance_within(0.0) => 0.0,
            _ => demand.least_for_fill(p),
        });
        let (order_up_to, decided) = match (by_promise, by_costs) {
            (Some(promise), Some(costs)) if promise < costs => (costs, Decided::Costs),
            (Some(promise), _) => (promise, Decided::Promise),
            (None, costs) => (costs.unwrap_or(0.0), Decided::Costs),
        };
        let held = self.shelf.of(&line.part);
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
    fn spending(&self, wanted: &[Option<Wanted<'_>>]) -> (Vec<f64>, Vec<CurvePoint>) {
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

    fn line(&self, index: usize, wanted: Option<&Wanted<'_>>, order: f64) -> StockLine {
        let line = &self.outlook.in_service.lines[index];
        let listed = self.study.records.part(&line.part);
        let held = self.shelf.of(&line.part);
        let demand = wanted.map(|w| &w.demand);
        let lead = demand.and_then(|_| Demand::of_samples(&self.demands.lead[index]));
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
                let point = stock::reorder_point(lead, quantity, self.promise().unwrap_or(PROMISE));
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

    /// Pieces expected to be short before a day on which some arrive, with `order` ordered today.
    fn short_until(&self, index: usize, until: NaiveDate, held: Option<&Held>, order: f64) -> f64 {
        let comes = self
            .study
            .order_comes(&self.outlook.in_service.lines[index].part);
        let by = |day: NaiveDate| {
            let ordered = comes.is_none_or(|comes| comes <= day);
            held.map_or(0.0, |held| held.by(day)) + if ordered { order } else { 0.0 }
        };
        let at_first = by(self.begins());
        let days = self.arrivals[index].iter().filter(|day| **day <= until);
        let asked = self.demands.before_arrival[index].iter();
        let stretches = asked.zip(days).scan(at_first, |come, (asked, day)| {
            let more = by(*day) - *come;
            *come += more;
            Some(Stretch { asked, come: more })
        });
        shelf::short(at_first, &stretches.collect::<Vec<_>>())
    }

    /// The last day before the season's use begins to count.
    fn begins(&self) -> NaiveDate {
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

    /// Parts on the shelf that nothing takes, or far fewer than lie there.
    fn idle(&self, wanted: &[Option<Wanted<'_>>]) -> Vec<IdleLine> {
        // With some machines only, what the others take would look idle.
        if !self.study.options.machines.is_empty() {
            return Vec::new();
        }
        let level = 1.0 + self.study.records.settings.price_change;
        let mut idle: Vec<IdleLine> = Vec::new();
        for (part, held) in &self.shelf.held {
            let lines = &self.outlook.in_service.lines;
            let index = lines.iter().position(|l| l.part == *part);
            let index = index.filter(|l| self.states.in_use[*l]);
            // What cannot be forecast is not called idle.
            let (beyond, expected) = match index.map(|l| wanted[l].as_ref()) {
                Some(None) => continue,
                Some(Some(w)) => {
                    let enough = w.demand.least_for_chance(0.9).max(w.order_up_to);
                    (held.on_hand - enough, Some(w.demand.expected()))
                }
                None => (held.on_hand, None),
            };
            if beyond <= 0.0 {
                continue;
            }
            let listed = self.study.records.part(part);
            if listed.is_some_and(|p| !self.study.wants_family(&p.family)) {
                continue;
            }
            let price = index
                .and_then(|l| lines[l].cost.price)
                .or_else(|| listed.and_then(|p| p.price).map(|p| in_cents(p * level)));
            idle.push(IdleLine {
                part: (*part).to_owned(),
                family: listed.map(|p| p.family.clone()),
                description: listed.and_then(|p| p.description.clone()),
                on_hand: held.on_hand,
                idle: beyond,
                expected,
                money: price.map(|p| p * beyond),
            });
        }
        idle.sort_by(|a, b| {
            let money = |l: &IdleLine| l.money.unwrap_or(-1.0);
            money(b).total_cmp(&money(a)).then(a.part.cmp(&b.part))
        });
        idle
    }

    fn needs(&self, customers: &[Option<String>]) -> Vec<CustomerNeed> {
        let lines = &self.outlook.in_service.lines;
        let needs = self.demands.by_customer.iter();
        let mut needs: Vec<CustomerNeed> = needs
            .filter(|((_, line), _)| self.states.known[*line])
            .map(|((customer, line), need)| CustomerNeed {
                customer: customers.get(*customer).cloned().flatten(),
                part: lines[*line].part.clone(),
                family: lines[*line].family.clone(),
                expected: need.expected,
                chance: need.chance,
            })
            .collect();
        needs.sort_by(|a, b| {
            (a.customer.is_none(), &a.customer)
                .cmp(&(b.customer.is_none(), &b.customer))
                .then(b.expected.total_cmp(&a.expected))
                .then(a.part.cmp(&b.part))
        });
        needs
    }
}

/// By line: what share of the expected pieces are for machines without a customer.
fn own_shares(demands: &Demands, customers: &[Option<String>], lines: usize) -> Vec<f64> {
    let mut pieces = vec![(0.0, 0.0); lines];
    for ((customer, line), need) in &demands.by_customer {
        let (own, all) = &mut pieces[*line];
        *all += need.expected;
        if customers.get(*customer).is_none_or(Option::is_none) {
            *own += need.expected;
        }
    }
    let share = |(own, all): (f64, f64)| if 0.0 < all { own / all } else { 0.0 };
    pieces.into_iter().map(share).collect()
}

/// Share of all expected pieces served, each counting as much as it costs.
fn served(lines: &[StockLine]) -> Option<f64> {
    let known = || {
        lines.iter().filter_map(|l| {
            let price = l.price?;
            Some((price * l.demand?.expected, price * l.shortage?))
        })
    };
    let expected: f64 = known().map(|k| k.0).sum();
    let short: f64 = known().map(|k| k.1).sum();
    (0.0 < expected).then(|| 1.0 - short / expected)
}
