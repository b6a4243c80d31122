//! What a reader of the order list must know.

use std::collections::BTreeSet;

use chrono::Days;

use super::{Counter, PROMISE};
use crate::forecast::{Season, plan};
use crate::record::Critical;
use crate::report::stock::{Decided, StockLine};
use crate::study::Policy;

impl Counter<'_> {
    pub(super) fn notes(&self, lines: &[StockLine]) -> Vec<String> {
        let settings = &self.study.records.settings;
        let mut notes = Vec::new();
        let parts = |keep: &dyn Fn(&StockLine) -> bool| parts(lines, keep);
        if let Some(unforeseen) = parts(&|l| l.demand.is_none()) {
            notes.push(format!(
                "the use that wears them, or their life, is not known, so no order is worked out: {unforeseen}"
            ));
        }
        let past = |l: &StockLine| {
            let lines = self.outlook.in_service.lines.iter();
            let mut of_part = lines.filter(|line| line.part == l.part);
            of_part.any(|line| line.cost.price_from_records)
        };
        notes.extend(parts(&past).map(crate::study::notes::past_prices));
        if self.study.records.stock.is_empty() {
            notes.push(
                "there is no `stock` table: orders are worked out as if the shelf were empty"
                    .to_owned(),
            );
        } else if let Some(missing) = parts(&|l| l.on_hand.is_none()) {
            notes.push(format!(
                "not in `stock`, ordered as if none were on the shelf: {missing}"
            ));
        }
        if let Some(unpriced) =
            parts(&|l| l.price.is_none() && l.order_now.is_some_and(|n| 0.0 < n))
        {
            notes.push(format!(
                "no price is known for {unpriced}: the order's total is unknown, what is known is summed apart"
            ));
        }
        if let Some(unknown) = parts(&|l| l.lead_days.is_none()) {
            notes.push(format!(
                "no lead time is known, so no reorder point is told: {unknown}"
            ));
        }
        if settings.service_level.is_none() && self.promise().is_some() {
            notes.push(format!(
                "settings.toml has neither `service_level` nor costs of a piece too few and too many: {:.0} % of pieces are to be served from the shelf; a part of which any is needed in fewer than one season of {:.0} is left to be ordered when it is needed",
                100.0 * PROMISE,
                1.0 / (1.0 - PROMISE)
            ));
        }
        notes.extend(parts(&|l| self.is_for_looks(l)).map(|cosmetic| {
            format!("ordered by cost alone, whatever share is promised of the others, since they are `cosmetic`: {cosmetic}")
        }));
        notes.extend(self.advised_first());
        notes.extend(held_back(lines));
        if let Some(promised) = parts(&|l| {
            l.decided == Some(Decided::Promise)
                && l.order_now.is_some_and(|n| 0.0 < n)
                && l.one_fewer.is_some_and(|c| c < 0.0)
        }) {
            notes.push(format!(
                "ordered for the promised share alone, by cost fewer would do: {promised}"
            ));
        }
        let rare = |l: &StockLine| l.demand.is_some_and(|d| d.p95 <= 0.0);
        if let Some(rare) = parts(&|l| rare(l) && l.order_now.is_some_and(|n| 0.0 < n)) {
            notes.push(format!(
                "ordered because `service_level` promises it, though fewer than one season in twenty asks for any; they can wait until one is needed: {rare}"
            ));
        }
        if let Some(joined) = parts(&|l| !l.supersedes.is_empty()) {
            notes.push(format!(
                "older numbers are counted with the newest, on the shelf as in demand: {joined}"
            ));
        }
        notes.extend(on_the_way(lines));
        let told = [
            self.needed_before(lines),
            self.unlike_last_season(lines),
            self.long_leads(lines),
            self.needed_first(lines),
            self.overdue(),
        ];
        notes.extend(told.into_iter().flatten());
        notes.extend(self.outlook.notes(&self.study.built));
        notes
    }

    /// Whether a promise is made of others and not of this part.
    fn is_for_looks(&self, line: &StockLine) -> bool {
        let listed = self.study.records.part(&line.part);
        let cosmetic = listed.is_some_and(|p| p.critical == Some(Critical::Cosmetic));
        cosmetic && line.decided == Some(Decided::Costs) && self.promise().is_some()
    }

    fn advised_first(&self) -> Option<String> {
        (self.study.options.policy == Policy::Advised).then(|| {
            "every change that is advised is made before the season, and what it takes is in the need"
                .to_owned()
        })
    }

    /// What machines need before a season that is yet to begin, and how much of it the shelf lacks.
    fn needed_before(&self, lines: &[StockLine]) -> Option<String> {
        let start = self.outlook.season.start;
        let settings = &self.study.records.settings;
        let needed = lines.iter().any(|l| l.before().is_some());
        let lacking = lines.iter().filter_map(|line| {
            let (lacking, needed) = (line.lacking_before()?, line.needed_before?);
            Some(format!("{} ({lacking:.1} of {needed:.1})", line.part))
        });
        let lacking: Vec<String> = lacking.collect();
        let rest = if lacking.is_empty() {
            String::new()
        } else {
            format!(
                "; the shelf and what comes until then are expected not to do, and this order is not meant for it, so order now what is left of the season under way needs (`--season {}`): {}",
                Season::after(self.study.as_of, settings.season_start()).year,
                lacking.join(", ")
            )
        };
        needed.then(|| {
            format!(
                "season {} begins on {start}; what machines need before that day is taken off the shelf first, and `Have` and the order allow for it{rest}",
                self.outlook.season.year
            )
        })
    }

    /// Which needs are far from what the last full season took.
    fn unlike_last_season(&self, lines: &[StockLine]) -> Option<String> {
        let used = self.used.as_ref()?;
        // What is left of a season is no match for a whole one.
        let season = self.outlook.season;
        let left = (season.end - season.start.max(self.study.as_of)).num_days();
        if 10 * left < 9 * (season.end - season.start).num_days() {
            return None;
        }
        let told = lines.iter().filter_map(|line| {
            let (taken, need) = (line.used?, line.demand?.expected);
            let is_far = used.is_far_from(&line.part, need);
            is_far.then(|| format!("{} ({taken:.0} used, {need:.0} needed)", line.part))
        });
        let told: Vec<String> = told.collect();
        let wanted = |machine: &str| self.study.wants_machine(machine);
        let planned = self.outlook.plan.in_season(season, wanted);
        let times = used.times(planned);
        let times = times.map_or_else(String::new, |(measure, times)| {
            format!(
                " (what is planned is {times:.2} times its {})",
                measure.name()
            )
        });
        (!told.is_empty()).then(|| {
            format!(
                "far from what season {}{times} took, and farther than chance alone takes it; look at the plan, at machines that have come to the age of their parts, and at how many wear-outs the life rests on (`fit`), before you order: {}",
                used.season.year,
                told.join(", ")
            )
        })
    }

    /// Which lead times end after the season.
    fn long_leads(&self, lines: &[StockLine]) -> Option<String> {
        let season = self.outlook.season;
        let days = (season.end - self.study.as_of).num_days() as f64;
        let is_long = |line: &&StockLine| {
            line.lead_demand.is_some() && line.lead_days.is_some_and(|lead| days < lead)
        };
        let long: Vec<&str> = (lines.iter().filter(is_long))
            .map(|line| line.part.as_str())
            .collect();
        (!long.is_empty()).then(|| {
            format!(
                "the lead time is longer than what is left of season {}, and demand over it is counted up to {} alone; `--season {}` looks on: {}",
                season.year,
                season.end,
                season.year + 1,
                long.join(", ")
            )
        })
    }

    /// Which parts an order of today comes too late for, at first.
    fn needed_first(&self, lines: &[StockLine]) -> Option<String> {
        let told = lines.iter().filter_map(|line| {
            let pieces = line.needed_first()?;
            let comes = self.study.order_comes(&line.part)?;
            let comes = comes.min(self.outlook.season.end + Days::new(1));
            Some(format!("{} ({pieces:.1} pieces before {comes})", line.part))
        });
        let told: Vec<String> = told.collect();
        (!told.is_empty()).then(|| {
            format!(
                "the shares served take the order as there from the first day; before it can come more is needed than shelf and earlier deliveries hold, so have these sent fast: {}",
                told.join(", ")
            )
        })
    }

    /// Deliveries that should have come before the as-of date.
    fn overdue(&self) -> Option<String> {
        let known = |part: &str| {
            let lines = &self.outlook.in_service.lines;
            (lines.iter().zip(&self.states.in_use)).any(|(l, in_use)| *in_use && l.part == part)
        };
        let held = self.shelf.held.iter().filter(|(part, _)| known(part));
        let told = held.flat_map(|(part, held)| {
            let deliveries = held
                .deliveries
                .iter()
                .filter_map(|d| Some((d.due?, d.pieces)));
            let overdue = deliveries.filter(|(due, _)| *due < self.study.as_of);
            overdue.map(move |(due, pieces)| format!("{part} ({pieces} of them due {due})"))
        });
        let told: Vec<String> = told.collect();
        (!told.is_empty()).then(|| {
            format!(
                "on order and due before {}, counted as if it came now; check whether it is on the shelf already, or still to come: {}",
                self.study.as_of,
                told.join(", ")
            )
        })
    }

    pub(super) fn assumptions(&self) -> Vec<(String, String)> {
        let settings = &self.study.records.settings;
        let percent = |value: Option<f64>| {
            value.map_or_else(|| "not given".to_owned(), |v| format!("{:.1} %", 100.0 * v))
        };
        let promise = match (settings.service_level, self.promise()) {
            (Some(level), _) => format!("{:.1} % of the season's pieces", 100.0 * level),
            (None, Some(level)) => format!("{:.1} %, as nothing is set", 100.0 * level),
            (None, None) => "none: costs alone decide".to_owned(),
        };
        let mut lines = vec![
            ("Records known up to", self.study.as_of.to_string()),
            ("Served from the shelf, at least", promise),
            (
                "A piece too few costs, of its price",
                percent(settings.rush_cost),
            ),
            ("Lost field time of a piece too few", self.down_time()),
            ("Holding a piece for a year, of its price", percent(settings.holding_rate)),
            ("Lost on a returned piece, of its price", percent(settings.return_rate)),
            ("Price change", percent(Some(settings.price_change))),
            (
                "A piece short counts",
                "1 where the machine stops, 0.5 where it works on worse or nothing is said, 0.1 for looks; our own weights"
                    .to_owned(),
            ),
            (
                "Seasons played",
                self.demands.season.first().map_or(0, Vec::len).to_string(),
            ),
            ("Policy", self.study.options.policy.name().to_owned()),
        ];
        if let Some(limit) = settings.budget_limit {
            lines.push((
                "Money to spend, at most",
                format!("{}{limit:.0}", settings.currency),
            ));
        }
        lines
            .into_iter()
            .map(|(thing, value)| (thing.to_owned(), value))
            .collect()
    }

    /// Whose lost hours a piece too few costs.
    fn down_time(&self) -> String {
        let settings = &self.study.records.settings;
        let machines = &self.study.records.machines;
        match settings.down_cost_per_hour {
            None => "not given".to_owned(),
            Some(_) if machines.iter().all(|m| m.customer.is_some()) => {
                "not counted: every machine is a customer's".to_owned()
            }
            Some(rate) => format!(
                "{}{rate} an hour, on machines without a customer alone",
                settings.currency
            ),
        }
    }
}

/// Part numbers of the lines for which `keep` holds; `None` where there are none.
fn parts(lines: &[StockLine], keep: impl Fn(&StockLine) -> bool) -> Option<String> {
    let names = lines.iter().filter(|l| keep(l)).map(|l| l.part.clone());
    let names: BTreeSet<String> = names.collect();
    (!names.is_empty()).then(|| plan::list(&names))
}

/// What is on order and comes late, or nobody knows when.
fn on_the_way(lines: &[StockLine]) -> Vec<String> {
    let mut notes = Vec::new();
    let undated = |l: &StockLine| l.deliveries.iter().any(|d| d.due.is_none());
    if let Some(undated) = parts(lines, undated) {
        notes.push(format!(
            "on order without a `due` day, counted as if it were there on the first: {undated}"
        ));
    }
    if let Some(beyond) = parts(lines, |l| l.late.is_some_and(|n| 0.0 < n)) {
        notes.push(format!(
            "on order, due after the season and not counted for it: {beyond}"
        ));
    }
    let late = parts(lines, |l| {
        let comes = l.on_order > l.late;
        let short = l.short_before_due.zip(l.demand);
        comes && short.is_some_and(|(short, demand)| 0.05 * demand.expected < short)
    });
    if let Some(late) = late {
        notes.push(format!(
            "what is on order comes late in the season; more than one piece in twenty may be short before it does: {late}"
        ));
    }
    notes
}

/// Which orders `budget_limit` holds back.
fn held_back(lines: &[StockLine]) -> Option<String> {
    let held = lines.iter().filter_map(|line| {
        let more = line.held_back()?;
        Some(format!("{} ({more:.0} more wanted)", line.part))
    });
    let held: BTreeSet<String> = held.collect();
    (!held.is_empty()).then(|| {
        format!(
            "`budget_limit` holds back orders: the money goes where it prevents most shortage, and `Have` is what would be held without a limit: {}",
            plan::list(&held)
        )
    })
}
