//! Sentences that results begin with, or end on.

use std::collections::BTreeSet;

use super::Study;
use crate::family::Families;
use crate::forecast::Season;
use crate::forecast::plan::{self, Plan, PlannedUse};
use crate::forecast::unit::{Age, InService, Unit};
use crate::life::{Ending, Life};
use crate::model::assess::Assessment;
use crate::record::{Account, Machine, PlanRow, Table, example};
use crate::units::Measure;

impl Study {
    /// Says where lives of several materials are taken together: of the parts fitted, and of the
    /// numbers that take their place.
    pub(super) fn materials_note(&self, family: &str, lives: &[&Life]) -> Option<String> {
        let newest = |life: &&Life| self.records.part(&life.part)?.material.as_ref();
        let now = lives.iter().filter_map(newest);
        let fitted = lives.iter().filter_map(|life| life.material.as_ref());
        let materials: BTreeSet<&String> = fitted.chain(now).collect();
        let kinds: BTreeSet<String> = materials.iter().map(|m| m.to_lowercase()).collect();
        (1 < kinds.len()).then(|| {
            let names: Vec<&str> = materials.iter().map(|m| m.as_str()).collect();
            format!(
                "{family}: lives of the materials {} are taken together; if `compare --by material` shows that they differ, make one of them a family of its own: save {} in `models` of your records with a new family name in it, and give that name to its parts",
                names.join(", "),
                model_file(family)
            )
        })
    }

    /// Says that no use is on record at all: ages by use are then unknown, not small.
    pub(super) fn no_use_note(&self) -> Option<String> {
        self.records.usage.is_empty().then(|| {
            "no usage is on record: what a part has worn so far is known by days alone, and lives are those of the families; add the usage log, or meter readings, to the folder".to_owned()
        })
    }

    /// Says that no replacement is on record at all: nothing is then known to have worn out.
    pub(super) fn no_replacements_note(&self) -> Option<String> {
        self.records.replacements.is_empty().then(|| {
            "no replacement is on record: no part is known to have worn out, and lives are those of the families; add the table `replacements` to the folder".to_owned()
        })
    }

    /// Says which families are counted in a measure that the log leaves out, and what to do about it.
    pub(super) fn unmeasured(&self, assessments: &[Assessment]) -> Vec<String> {
        let mut notes = Vec::new();
        for measure in Measure::OF_USE {
            let is_of = |a: &&Assessment| a.measure_known && a.lives.measure == measure;
            let of_measure = assessments.iter().filter(is_of);
            let families: Vec<&str> = of_measure.map(|a| a.family.name.as_str()).collect();
            let Some(first) = families.first() else {
                continue;
            };
            if self.records.usage.is_empty() || self.groups.is_in_log(measure) {
                continue;
            }
            let mut others = Measure::OF_USE.into_iter();
            let other = others.find(|other| self.groups.is_in_log(*other));
            let other = other.map_or_else(String::new, |other| {
                let other = other.name();
                format!(
                    "; or count them in {other}: save {} in `models` of your records, with `measure = \"{other}\"` and a `life50` in {other}",
                    model_file(first)
                )
            });
            let measure = measure.name();
            notes.push(format!(
                "no {measure} are on record, and lives of {} are counted in {measure}, so what they need is not known: add a column `{measure}` to the usage log and to the plan, or readings of a meter of {measure} in `meters`{other}",
                families.join(", ")
            ));
        }
        notes
    }

    /// Scheduled work of which nobody knows when it was last done.
    pub(super) fn last_done_unknown(&self, service: &InService) -> Option<String> {
        // What use to come is not known either is told as unknown.
        let unclear: BTreeSet<(&str, &str)> = service
            .unclear
            .iter()
            .map(|(machine, line)| {
                let family = &service.lines[*line].family;
                (service.machines[*machine].as_str(), family.as_str())
            })
            .collect();
        let is_unknown = |life: &&Life| {
            if unclear.contains(&(life.machine.as_str(), life.family.as_str())) {
                return false;
            }
            let asked = self.wants_machine(&life.machine) && self.wants_family(&life.family);
            let service = self.families.get(&life.family).service;
            asked
                && life.ended == Ending::Running
                && service.is_some_and(|service| {
                    let by_days = service.days.is_some() && life.fitted.is_none();
                    let of_use = |m: Measure| life.filled[m.index()].end.is_none();
                    let mut measures = Measure::OF_USE.into_iter();
                    by_days || measures.any(|m| service.every(m).is_some() && of_use(m))
                })
        };
        let lives = self.built.lives.iter().filter(is_unknown);
        let work: BTreeSet<String> = lives
            .map(|life| format!("{} of {}", life.position, life.machine))
            .collect();
        (!work.is_empty()).then(|| {
            format!(
                "nobody knows when it was last done, or what the machine did since, so it is taken as due at once: {}",
                plan::list(&work)
            )
        })
    }

    /// Says whose plan is left out, as the machine is yet to come into service.
    pub(super) fn yet_to_come(&self, season: Season) -> Option<String> {
        let comes = |machine: &&Machine| {
            let planned =
                |row: &PlanRow| row.machine == machine.name && season.of_month(row.month).is_some();
            self.as_of < machine.in_service
                && self.wants_machine(&machine.name)
                && self.records.plan.iter().any(planned)
        };
        let machines = self.records.machines.iter().filter(comes);
        let names: BTreeSet<String> = machines.map(|m| m.name.clone()).collect();
        (!names.is_empty()).then(|| {
            format!(
                "the plan of {} is left out, with its parts, fluids and filters: `in_service` lies after {}; for a forecast that holds it, set that date back to the day from which its parts are there",
                plan::list(&names),
                self.as_of
            )
        })
    }

    /// Says that rows which show how were left in.
    pub(super) fn examples(&self) -> Option<String> {
        let is_in = self.records.machines.iter().any(example::is_left);
        is_in.then(|| {
            format!(
                "the example `{}` counts as a machine of yours; delete the yellow rows of the workbook",
                example::MACHINE
            )
        })
    }

    /// A season that is nearly over is seldom the one meant.
    pub(super) fn short_season(&self, season: Season, plan: &Plan) -> Option<String> {
        let from = season.start.max(self.as_of);
        let days = (season.end - from).num_days();
        let next = format!("for the next one add `--season {}`", season.year + 1);
        let year = season.year;
        // What is not known may be some.
        let some = |m: Measure, u: &PlannedUse| u.amounts.get(m).is_none_or(|a| 0.0 < a);
        let used = |u: &PlannedUse| {
            season.holds(u.from) && Measure::OF_USE.into_iter().any(|m| some(m, u))
        };
        if !plan.uses.iter().any(used) && plan.is_known && from == self.as_of {
            return Some(format!(
                "no use is expected in the {days} days that are left of season {year}; {next}"
            ));
        }
        (days < 90).then(|| match days {
            1 => format!("only a day of season {year} is left; {next}"),
            _ => format!("only {days} days of season {year} are left; {next}"),
        })
    }
}

/// Where the text of a family's model file is to be had.
fn model_file(family: &str) -> String {
    if Families::built_in_text(family).is_some() {
        format!("what `wearcast models {family} --file` prints")
    } else {
        "its model file, or one of your own,".to_owned()
    }
}

/// Which rows are in every figure, and most likely slips.
pub(super) fn doubts(doubts: &[String]) -> Option<String> {
    const FEW: usize = 3;
    let more = match doubts.len().saturating_sub(FEW) {
        0 => String::new(),
        more => format!("; and {more} more"),
    };
    let first: Vec<&str> = doubts.iter().take(FEW).map(String::as_str).collect();
    (!first.is_empty()).then(|| {
        format!(
            "rows that look like slips, or rest on a guess, count in every figure; `wearcast check` says what is expected: {}{more}",
            first.join("; ")
        )
    })
}

/// Which rows are in no figure: what they would have said is missing from every one.
pub(super) fn set_aside(accounts: &[Account]) -> Option<String> {
    let short: Vec<&Account> = accounts.iter().filter(|a| 0 < a.set_aside).collect();
    let tables = short.iter().map(|a| {
        let (table, rows) = (a.table.name(), a.set_aside);
        format!("{table} {rows} of {}", a.read)
    });
    let tables: Vec<String> = tables.collect();
    let places = [Table::Machines, Table::Positions];
    let parts_left_out = short.iter().any(|a| places.contains(&a.table));
    let what = if parts_left_out {
        "; the parts that sit there are in no figure, so the sums are too low"
    } else {
        ""
    };
    (!tables.is_empty()).then(|| {
        format!(
            "rows with problems are set aside: {}{what}; `wearcast check` lists them",
            tables.join(", ")
        )
    })
}

/// Scheduled work that is to be done before the season.
pub(super) fn due_before(in_service: &InService) -> Option<String> {
    let work: BTreeSet<String> = in_service
        .due_before
        .iter()
        .map(|due| {
            let machine = &in_service.machines[due.machine];
            format!("{} of {machine} ({})", due.position, due.date)
        })
        .collect();
    (!work.is_empty()).then(|| {
        format!(
            "scheduled work that is due before the season is taken to be done then, and is in no figure of it: {}",
            plan::list(&work)
        )
    })
}

/// How many parts are of no known age.
pub(super) fn unknown_ages(units: &[Unit]) -> Option<String> {
    let is_unknown = |unit: &&Unit| matches!(unit.age, Age::AtLeast { .. });
    let count = units.iter().filter(is_unknown).count();
    (0 < count).then(|| {
        format!(
            "parts in service whose use so far is not all on record: {count}; before the records their machine is taken to have worked as it does on record, and where it is no older than those they are of any age that their family allows"
        )
    })
}

/// Where the parts list says no price.
pub(super) fn past_prices(parts: impl std::fmt::Display) -> String {
    format!("the parts list has no price for {parts}: what past pieces cost is used")
}
