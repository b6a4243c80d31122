//! Next season's budget.

use super::money::Sums;
use super::progress::Stage;
use super::{LineStates, Outlook, Policy, Study, StudyError};
use crate::forecast::plan;
use crate::forecast::simulate::{self, LineSamples, Outcome};
use crate::forecast::unit::Line;
use crate::record::Amounts;
use crate::report::{
    BudgetReport, Forecast, MachineLine, MonthLine, PartLine, PlanLine, PolicyLine, ProductLine,
};

impl Study {
    /// Plays the season and sums it up for the machines and families asked for.
    ///
    /// # Errors
    /// As [`Study::outlook`].
    pub fn budget(&self) -> Result<BudgetReport, StudyError> {
        let (outlook, outcome) = self.played()?;
        Ok(self.summed(&outlook, &outcome))
    }

    /// Plays of the season summed up.
    pub(super) fn summed(&self, outlook: &Outlook, outcome: &Outcome) -> BudgetReport {
        let summing = Summing {
            study: self,
            outlook,
            outcome,
            states: outlook.line_states(),
        };
        summing.report()
    }

    /// The season under each policy, whatever was asked for.
    ///
    /// # Errors
    /// As [`Study::outlook`].
    pub fn policies(&self) -> Result<Vec<PolicyLine>, StudyError> {
        let mut outlook = self.outlook()?;
        let run = self.policy_line(&outlook, Policy::Run, 0);
        let due = outlook.in_service.due.len();
        self.replace_as_advised(&mut outlook);
        let changed = outlook.in_service.due.len() - due;
        Ok(vec![
            run,
            self.policy_line(&outlook, Policy::Advised, changed),
        ])
    }

    fn policy_line(&self, outlook: &Outlook, policy: Policy, changed_before: usize) -> PolicyLine {
        self.progress.tell(|| Stage::Playing);
        let outcome = simulate::play(self.game(outlook));
        let summing = Summing {
            study: self,
            outlook,
            outcome: &outcome,
            states: outlook.line_states(),
        };
        let known_total = Forecast::of(&outcome.total);
        PolicyLine {
            policy: policy.name(),
            changed_before,
            total: summing.is_known().then_some(known_total),
            known_total,
            down: summing.known_down(&summing.lines(&summing.places())),
        }
    }

    /// What the season is forecast from, and its plays.
    ///
    /// # Errors
    /// As [`Study::outlook`].
    pub fn played(&self) -> Result<(Outlook, Outcome), StudyError> {
        let mut outlook = self.outlook()?;
        if self.options.policy == Policy::Advised {
            self.replace_as_advised(&mut outlook);
        }
        self.progress.tell(|| Stage::Playing);
        let outcome = simulate::play(self.game(&outlook));
        Ok((outlook, outcome))
    }
}

struct Summing<'a> {
    study: &'a Study,
    outlook: &'a Outlook,
    outcome: &'a Outcome,
    states: LineStates,
}

impl Summing<'_> {
    fn report(&self) -> BudgetReport {
        let settings = &self.study.records.settings;
        let season = self.outlook.season;
        let known_total = Forecast::of(&self.outcome.total);
        let total = self.is_known().then_some(known_total);
        let planned = self.planned();
        let per_acre = total.and_then(|t| {
            planned
                .acres
                .filter(|a| 0.0 < *a)
                .map(|acres| t.times(1.0 / acres))
        });
        let places = self.places();
        let lines: Vec<PartLine> = self.lines(&places);
        let (machines, products) = (
            self.machines(),
            self.products(total.is_some() && self.is_shared()),
        );
        let sums = Sums {
            study: self.study,
            outlook: self.outlook,
            outcome: self.outcome,
            acres: planned.acres,
        };
        let money = sums.money((&places, &lines), &machines, &products, total.is_some());
        let known_down = self.known_down(&lines);
        let is_whole = lines.iter().all(|l| l.scheduled || l.down_cost.is_some());
        BudgetReport {
            header: self.study.header(self.notes()),
            season: season.year,
            policy: self.study.options.policy.name(),
            from: season.start.max(self.study.as_of + chrono::Days::new(1)),
            until: season.end,
            currency: settings.currency.clone(),
            units: settings.units,
            plan_source: self.outlook.plan.source,
            total,
            known_total,
            down_total: known_down.filter(|_| is_whole),
            known_down,
            planned,
            per_acre,
            machines,
            products,
            money,
            months: self.months(total.is_some()),
            plan: self.plan(),
            policies: Vec::new(),
            live: None,
            assumptions: self.assumptions(),
            account: self.study.accounts.clone(),
            lines,
        }
    }

    /// Whether every cost is known.
    fn is_known(&self) -> bool {
        self.unknown_machines().is_empty()
    }

    /// Whether the money is shared out among the products: not where nothing is planned of any.
    fn is_shared(&self) -> bool {
        let is_some = |samples: &Vec<f64>| samples.iter().any(|s| 0.0 < *s);
        self.outcome.by_group.iter().any(is_some) || !is_some(&self.outcome.total)
    }

    /// Places of machines with a cost that is not known, ascending.
    fn unknown_machines(&self) -> Vec<usize> {
        let service = &self.outlook.in_service;
        let rate = self.study.records.settings.labor_rate;
        let priced = |line: usize| service.lines[line].cost.is_known(rate);
        let assessments = &self.outlook.assessments;
        let units = service.units.iter();
        let units = units.filter(|u| !(priced(u.line) && service.can_forecast(u, assessments)));
        let due = service.due.iter().filter(|d| !priced(d.line));
        let unclear = service.unclear.iter().map(|(machine, _)| *machine);
        let unknown = units.map(|u| u.machine).chain(due.map(|d| d.machine));
        let unknown = unknown.chain(unclear);
        let machines: std::collections::BTreeSet<usize> = unknown.collect();
        machines.into_iter().collect()
    }

    fn planned(&self) -> Amounts {
        let wanted = |machine: &str| self.study.wants_machine(machine);
        self.outlook.plan.in_season(self.outlook.season, wanted)
    }

    fn planned_on(&self, machine: &str) -> Amounts {
        let season = self.outlook.season;
        if self.outlook.plan.unknown.contains(machine) {
            return Amounts::default();
        }
        let uses = self.outlook.plan.of_machine(machine).iter();
        plan::total(uses.filter(|u| season.holds(u.from)))
    }

    /// Places of the lines in use, by family and part.
    fn places(&self) -> Vec<usize> {
        let lines = &self.outlook.in_service.lines;
        let mut places: Vec<usize> = (0..lines.len())
            .filter(|l| self.states.in_use[*l])
            .collect();
        places.sort_by_key(|l| (&lines[*l].family, &lines[*l].part));
        places
    }

    fn lines(&self, places: &[usize]) -> Vec<PartLine> {
        let service = &self.outlook.in_service;
        let line = |l: &usize| self.part_line(*l, &service.lines[*l], &self.outcome.lines[*l]);
        places.iter().map(line).collect()
    }

    fn part_line(&self, index: usize, line: &Line, samples: &LineSamples) -> PartLine {
        let known = self.states.known[index];
        let told = |samples: &[f64]| known.then(|| Forecast::of(samples));
        let settings = &self.study.records.settings;
        let listed = self.study.records.part(&line.part);
        let failures = samples.failures();
        let planned = failures.iter().zip(&samples.planned);
        let changes: Vec<f64> = planned.map(|(f, p)| f + p).collect();
        let replacements = told(&changes);
        let pieces = told(&samples.pieces);
        let labor = settings.labor_rate.zip(line.cost.labor_hours);
        let down = settings.down_cost_per_hour.zip(line.down_hours);
        PartLine {
            family: line.family.clone(),
            part: line.part.clone(),
            description: listed.and_then(|p| p.description.clone()),
            scheduled: line.scheduled,
            replacements,
            worn: told(&samples.worn),
            damage: told(&samples.damage),
            planned: told(&samples.planned),
            pieces,
            price: line.cost.price,
            price_from_records: line.cost.price_from_records,
            pack: listed.map_or(1, |p| p.pack),
            lead_days: listed.and_then(|p| p.lead_days),
            parts_cost: pieces.zip(line.cost.price).map(|(p, price)| p.times(price)),
            labor_cost: told(&samples.jobs)
                .zip(labor)
                .map(|(jobs, (rate, hours))| jobs.times(rate * hours)),
            down_cost: told(&failures)
                .zip(down)
                .map(|(f, (rate, hours))| f.times(rate * hours)),
        }
    }

    /// Field time lost over the lines that know their own, play by play; `None` where none does.
    fn known_down(&self, lines: &[PartLine]) -> Option<Forecast> {
        if lines.iter().all(|l| l.down_cost.is_none()) {
            return None;
        }
        let rate = self.study.records.settings.down_cost_per_hour?;
        let service = &self.outlook.in_service;
        let mut sums = vec![0.0; self.outcome.total.len()];
        for (line, samples) in service.lines.iter().zip(&self.outcome.lines) {
            let Some(hours) = line.down_hours else {
                continue;
            };
            for (sum, failures) in sums.iter_mut().zip(samples.failures()) {
                *sum += failures * hours * rate;
            }
        }
        Some(Forecast::of(&sums))
    }

    fn machines(&self) -> Vec<MachineLine> {
        let service = &self.outlook.in_service;
        let unknown = self.unknown_machines();
        (0..service.machines.len())
            .filter(|m| self.study.wants_machine(&service.machines[*m]))
            .map(|m| {
                let name = &service.machines[m];
                let known = unknown.binary_search(&m).is_err();
                let known_total = Forecast::of(&self.outcome.machines[m]);
                MachineLine {
                    machine: name.clone(),
                    site: self
                        .study
                        .records
                        .machine(name)
                        .and_then(|m| m.site.clone()),
                    planned: self.planned_on(name),
                    total: known.then_some(known_total),
                    known_total,
                }
            })
            .collect()
    }

    fn products(&self, known: bool) -> Vec<ProductLine> {
        let season = self.outlook.season;
        let groups = self.study.groups.names().iter().enumerate();
        let planned = |g: usize| {
            let uses = self.outlook.plan.uses.iter();
            uses.filter(move |u| {
                u.group == g && season.holds(u.from) && self.study.wants_machine(&u.machine)
            })
        };
        groups
            .filter(|(g, _)| planned(*g).next().is_some())
            .map(|(g, group)| {
                let used = plan::total(planned(g));
                let samples = &self.outcome.by_group[g];
                let known_cost = Forecast::of(samples).expected;
                let cost = known.then_some(known_cost);
                let per = |amount: Option<f64>| {
                    cost.zip(amount.filter(|a| 0.0 < *a))
                        .map(|(cost, amount)| cost / amount)
                };
                ProductLine {
                    group: group.clone(),
                    acres: used.acres,
                    tons: used.tons,
                    cost,
                    known_cost,
                    cost_per_acre: per(used.acres),
                    cost_per_ton: per(used.tons),
                }
            })
            .collect()
    }

    fn months(&self, known: bool) -> Vec<MonthLine> {
        let months = self.outcome.months.iter().zip(&self.outcome.by_month);
        let line = |(month, samples): (&chrono::NaiveDate, &Vec<f64>)| {
            let known_total = Forecast::of(samples);
            MonthLine {
                month: *month,
                total: known.then_some(known_total),
                known_total,
            }
        };
        months.map(line).collect()
    }

    fn plan(&self) -> Vec<PlanLine> {
        let season = self.outlook.season;
        let uses = self.outlook.plan.uses.iter();
        uses.filter(|u| season.holds(u.from) && self.study.wants_machine(&u.machine))
            .map(|u| PlanLine {
                month: u.month,
                machine: u.machine.clone(),
                product: u.product.clone(),
                group: self.study.groups.names()[u.group].clone(),
                bin: u.bin.clone(),
                amounts: u.amounts,
            })
            .collect()
    }

    fn notes(&self) -> Vec<String> {
        let settings = &self.study.records.settings;
        let service = &self.outlook.in_service;
        let mut notes = Vec::new();
        let in_use: Vec<(usize, &Line)> = service
            .lines
            .iter()
            .enumerate()
            .filter(|(l, _)| self.states.in_use[*l])
            .collect();
        let unforeseen: Vec<&str> = in_use
            .iter()
            .filter(|(l, _)| !self.states.known[*l])
            .map(|(_, line)| line.part.as_str())
            .collect();
        let in_use: Vec<&Line> = in_use.into_iter().map(|(_, line)| line).collect();
        let parts = |keep: &dyn Fn(&Line) -> bool| {
            let parts: Vec<&str> = in_use
                .iter()
                .filter(|l| keep(l))
                .map(|l| l.part.as_str())
                .collect();
            parts.join(", ")
        };
        if !unforeseen.is_empty() {
            notes.push(format!(
                "the use that wears them, or their life, is not known, so the total is unknown: {}",
                unforeseen.join(", ")
            ));
        }
        let unpriced = parts(&|l| l.cost.price.is_none());
        if !unpriced.is_empty() {
            notes.push(format!(
                "no price is known for {unpriced}: the total is unknown, what is known is summed apart"
            ));
        }
        let past = parts(&|l| l.cost.price_from_records);
        if !past.is_empty() {
            notes.push(super::notes::past_prices(past));
        }
        if settings.labor_rate.is_none() {
            notes.push("labor is not priced: `labor_rate` is not in settings.toml; totals are of parts alone".to_owned());
        } else {
            let idle = parts(&|l| l.cost.labor_hours.is_none());
            if !idle.is_empty() {
                notes.push(format!(
                    "labor hours are not known for {idle}: the total is unknown, what is known is summed apart"
                ));
            }
        }
        if settings.down_cost_per_hour.is_none() {
            notes.push(
                "lost field time is not priced: `down_cost_per_hour` is not in settings.toml"
                    .to_owned(),
            );
        } else {
            let silent = parts(&|l| !l.scheduled && l.down_hours.is_none());
            if !silent.is_empty() {
                notes.push(format!(
                    "no lost field time is on record for {silent}: its down cost is unknown, and what is known is summed without it"
                ));
            }
        }
        let mut uses = self.outlook.plan.uses.iter();
        if self.study.options.policy == Policy::Advised
            && uses.any(|u| u.until < self.outlook.season.start)
        {
            notes.push(
                "what is changed before the season is decided by today's ages, though other seasons come first: part of it will have been changed by then"
                    .to_owned(),
            );
        }
        notes.extend(self.outlook.notes(&self.study.built));
        notes.extend(self.single_pieces());
        notes
    }

    /// Pieces changed singly are in the money, and in no count of replacements.
    fn single_pieces(&self) -> Option<String> {
        let samples = self.outcome.lines.iter().map(|l| &l.singles);
        let expected: f64 = samples.map(|s| Forecast::of(s).expected).sum();
        (0.0 < expected).then(|| {
            format!(
                "single pieces changed in parts counted as sets go on at their past rate, about {expected:.1} times in the season: they are in pieces and money, not in replacements"
            )
        })
    }

    fn assumptions(&self) -> Vec<(String, String)> {
        let settings = &self.study.records.settings;
        let currency = &settings.currency;
        let money = |value: Option<f64>| {
            value.map_or_else(|| "not given".to_owned(), |v| format!("{currency}{v}"))
        };
        let percent = |value: f64| format!("{:+.1} %", 100.0 * value);
        let prior = if self.study.options.priors {
            "the families' priors and the records together"
        } else {
            "the records alone"
        };
        [
            ("Records known up to", self.study.as_of.to_string()),
            ("Life models", prior.to_owned()),
            ("Price change", percent(settings.price_change)),
            ("Labor rate, an hour", money(settings.labor_rate)),
            (
                "Lost field time, an hour",
                money(settings.down_cost_per_hour),
            ),
            (
                "Where no plan is given, last season changed by",
                percent(settings.plan_change),
            ),
            ("Seasons played", self.outcome.total.len().to_string()),
            (
                "Policy",
                match self.study.options.policy {
                    Policy::Run => "run: nothing is changed before the season that is not worn or due",
                    Policy::Advised => "advised: what is cheaper changed now is changed before the season, its cost counted",
                }
                .to_owned(),
            ),
        ]
        .into_iter()
        .map(|(thing, value)| (thing.to_owned(), value))
        .collect()
    }
}
