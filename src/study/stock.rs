//! What the parts desk should hold and order.

mod assumptions;
mod customers;
mod idle;
mod line;
mod shelf;
mod used;
mod wanted;

use chrono::{Days, NaiveDate};

use super::progress::Stage;
use super::{LineStates, Outlook, Policy, Study, StudyError};
use crate::cost::in_cents;
use crate::forecast::demand::{self, Demands, Desk, LeadTime};
use crate::forecast::plays::Game;
use crate::forecast::unit::{InService, Line};
use crate::report::stock::{StockLine, StockReport, UsedSeason};
use shelf::Shelf;
use used::Used;
use wanted::Wanted;

/// Promised where the settings say neither a service level nor costs (our own choice).
const PROMISE: f64 = 0.95;

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
            own: customers::own_shares(&demands, &customers, outlook.in_service.lines.len()),
            states: outlook.line_states(),
            lots: lots(&outlook.in_service),
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
    /// By line: pieces that are only ever asked for together, as those of a pair.
    lots: Vec<f64>,
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

/// By line: the largest number that what its places hold is a multiple of. What is done by schedule is poured or
/// counted out, and any of it is of use.
fn lots(service: &InService) -> Vec<f64> {
    let mut lots = vec![0_u64; service.lines.len()];
    let mut add = |line: usize, pieces: f64| {
        let whole = pieces.fract().abs() < 1e-9 && 1.0 <= pieces;
        let (mut lot, mut other) = (lots[line], if whole { pieces as u64 } else { 1 });
        while other != 0 {
            (lot, other) = (other, lot % other);
        }
        lots[line] = lot;
    };
    for unit in &service.units {
        add(unit.line, unit.pieces);
        for single in service.singles[unit.family].iter().flat_map(|s| &s.pieces) {
            add(unit.line, single.min(unit.pieces));
        }
    }
    for (_, line) in &service.scheduled {
        add(*line, 1.0);
    }
    lots.into_iter().map(|lot| lot.max(1) as f64).collect()
}
