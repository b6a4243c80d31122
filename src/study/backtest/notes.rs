//! What a reader of a backtest must know.

use std::collections::BTreeSet;

use chrono::Days;

use super::happened::Tally;
use crate::forecast::{Season, plan};
use crate::report::backtest::BacktestRow;
use crate::study::{Outlook, Policy, Study};

/// What came up while seasons were scored.
#[derive(Default)]
pub(super) struct Told {
    left_out: Vec<String>,
    newcomers: Vec<String>,
    retired: Vec<String>,
    /// Seasons before which the records of a machine were not whole, by machine.
    short: BTreeSet<String>,
    unpriced: BTreeSet<String>,
    never_logged: BTreeSet<String>,
    /// Families whose use to come, or life, is not known.
    pub(super) unknown: BTreeSet<String>,
    decisions: usize,
    partial: usize,
}

impl Told {
    pub(super) fn left_out(&mut self, season: Season, why: &str) {
        self.left_out
            .push(format!("season {} is left out: {why}", season.year));
    }

    /// Scheduled work that nobody writes down, left out of a season.
    pub(super) fn never_logged(&mut self, families: BTreeSet<String>) {
        self.never_logged.extend(families);
    }

    /// Why nothing could be scored.
    pub(super) fn nothing_scored(&self) -> String {
        self.left_out.join("; ")
    }

    pub(super) fn hear(
        &mut self,
        all: &Study,
        past: &Study,
        season: Season,
        actual: &Tally,
        outlook: &Outlook,
    ) {
        self.decisions += actual.decisions;
        self.partial += actual.partial;
        for machine in &all.records.machines {
            if !all.wants_machine(&machine.name) {
                continue;
            }
            let begin = machine.records_from.max(machine.in_service);
            let label = format!("{} in {}", machine.name, season.year);
            if season.holds(begin) && begin != season.start {
                self.newcomers.push(label.clone());
            } else if begin <= past.as_of
                && Season::of(past.as_of, all.records.settings.season_start()).start < begin
            {
                self.short.insert(label.clone());
            }
            if machine.retired.is_some_and(|date| season.holds(date)) {
                self.retired.push(label);
            }
        }
        let service = &outlook.in_service;
        let used = service.units.iter().map(|u| u.line);
        let unpriced = used
            .chain(service.due.iter().map(|d| d.line))
            .map(|line| &service.lines[line])
            .filter(|line| line.cost.price.is_none())
            .map(|line| line.part.clone());
        self.unpriced.extend(unpriced);
    }

    pub(super) fn notes(self, study: &Study, rows: &[BacktestRow]) -> Vec<String> {
        let seasons: BTreeSet<i32> = rows.iter().map(|r| r.season).collect();
        let mut notes = method(study, rows);
        if 0 < self.decisions {
            notes.push(format!(
                "{} changed by decision (planned, upgrade) in these seasons: not counted, since no forecast under policy `run` foresees decisions; such a part can no longer wear out, so what happened lies a little low beside the forecast",
                counted(self.decisions, "part was", "parts were")
            ));
        }
        if 0 < self.partial {
            notes.push(format!(
                "{} no replacement of the set: in the money, forecast at their past rate and as happened, and in no count",
                counted(
                    self.partial,
                    "change of some pieces of a set is",
                    "changes of some pieces of a set are"
                )
            ));
        }
        let list = |names: Vec<String>| names.join(", ");
        if !self.newcomers.is_empty() {
            notes.push(format!(
                "came after the season had begun and are left out of it, forecast and outcome: {}",
                list(self.newcomers)
            ));
        }
        if !self.retired.is_empty() {
            notes.push(format!(
                "retired in the season, which the forecast could not know but by its use: {}",
                list(self.retired)
            ));
        }
        if !self.short.is_empty() {
            notes.push(format!(
                "the season before is not whole on record: `as last season` is what was recorded of it for {}",
                list(self.short.into_iter().collect())
            ));
        }
        if !self.unpriced.is_empty() {
            notes.push(format!(
                "no price is known for {}: left out of TOTAL, forecast and outcome",
                list(self.unpriced.into_iter().collect())
            ));
        }
        if !self.unknown.is_empty() {
            notes.push(format!(
                "not forecast and not scored, as the use that wears them, or their life, was not known: {}; the money of those seasons is not scored either",
                plan::list(&self.unknown)
            ));
        }
        if !self.never_logged.is_empty() {
            let names: Vec<&str> = self.never_logged.iter().map(String::as_str).collect();
            notes.push(format!(
                "{}: left out of the scores and of TOTAL, forecast and outcome",
                not_logged(&names)
            ));
        }
        if seasons.len() < 10 {
            notes.push(format!(
                "seasons scored: {}; chance has a large share in scores of so few",
                seasons.len()
            ));
        }
        notes.extend(self.left_out);
        notes.extend(study.nearly_over_note());
        if study.options.policy == Policy::Advised {
            notes.push("`--policy advised` is about a season to come: past ones are forecast as under `run`, beside what happened".to_owned());
        }
        notes
    }
}

/// That nobody knows whether this work was done.
pub(super) fn not_logged(families: &[&str]) -> String {
    format!(
        "no change of {} is on record, so nobody knows whether this scheduled work was done",
        families.join(", ")
    )
}

/// `1 part was`, `2 parts were`.
fn counted(count: usize, one: &str, many: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { many })
}

/// How it was done, whatever the records.
fn method(study: &Study, rows: &[BacktestRow]) -> Vec<String> {
    let starts = study.records.settings.season_start();
    let last = rows.iter().map(|r| r.season).max();
    let before = last.map(|year| Season::ending_in(year, starts).start - Days::new(1));
    let example = before.map_or_else(String::new, |date| {
        format!(
            "; `fit --as-of {date}` shows what was known before season {}",
            last.unwrap_or(0)
        )
    });
    vec![
        format!(
            "each season is forecast from what was on record the day before it began, with the season's real use by month as its plan, which no budget has (a part of the skill is that); nothing else dated later is used{example}"
        ),
        "counted, in forecast and outcome: parts worn, broken and damaged, and scheduled work, on the machines in service when the season began".to_owned(),
        "TOTAL is money for parts and labor; forecast, outcome and the budgets beside it are priced at the same prices (today's list and rates), so that dearer parts do not count as an error".to_owned(),
        "`as last season` and `average` repeat the last season, or the mean of each machine's full seasons so far, as one figure; its score is its absolute error".to_owned(),
        "skill is 1 - score / score of the other budget, each summed over rows: over the families' counts, and over the seasons' money apart, for counts and money do not add up".to_owned(),
    ]
}
