//! What happened to the machines' plans, in sentences.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;

use super::PlanSource;
use super::again::SILENT;
use crate::units::Measure;

/// What happened to the machines' plans, for the notes.
#[derive(Default)]
pub(super) struct Told {
    /// Whether any of them has a plan for the season asked for.
    pub(super) planned: bool,
    /// By the season that is repeated.
    pub(super) repeated: BTreeMap<i32, BTreeSet<String>>,
    /// By the season that is repeated.
    pub(super) silent: BTreeMap<i32, BTreeSet<String>>,
    pub(super) still: BTreeSet<String>,
    pub(super) partial: BTreeSet<String>,
    /// Machines of whose first season, not over yet, the plan has the rest.
    pub(super) begun: BTreeSet<String>,
    pub(super) without: BTreeSet<String>,
    pub(super) typical: BTreeSet<String>,
    /// Machines of whose repeated season some use is unknown.
    pub(super) in_part: BTreeSet<String>,
    /// Machines planned far below their last full season: by which measure, and what share of it.
    pub(super) short: BTreeMap<String, (Measure, f64)>,
    pub(super) shared_out: BTreeSet<String>,
    /// Months of the plan of which a season has some days to come alone: how many, of how many.
    pub(super) months_in_part: BTreeMap<NaiveDate, (i64, i64)>,
    /// Months of the plan of which a season without any other has a few days.
    pub(super) cut: BTreeSet<NaiveDate>,
    /// Machines that leave the fleet before a season is over, each with the date.
    pub(super) retired: BTreeSet<String>,
    /// Rows of the plan of months after that date.
    pub(super) beyond: usize,
    pub(super) filled: usize,
    /// Rows without any amount: month, machine and product.
    pub(super) empty: BTreeSet<String>,
    /// Rows that lack a measure which past use of their product does not tell either, with the measures.
    pub(super) untold: BTreeSet<String>,
}

impl Told {
    /// Whether any machine's use comes from a season on record, its own or others'.
    pub(super) fn repeats(&self) -> bool {
        let machines = [&self.still, &self.partial, &self.begun, &self.typical];
        !self.silent.is_empty()
            || !self.repeated.is_empty()
            || machines.iter().any(|m| !m.is_empty())
    }

    fn short_note(&self) -> Option<String> {
        let of = |(machine, (measure, share)): (&String, &(Measure, f64))| {
            format!(
                "{machine} ({:.0} % of the {})",
                100.0 * share,
                measure.name()
            )
        };
        let machines: BTreeSet<String> = self.short.iter().map(of).collect();
        (!machines.is_empty()).then(|| {
            format!(
                "the plan is less than half of the last full season, and stands for all of this one: add the months and products that are missing, if any are, for {}",
                list(&machines)
            )
        })
    }

    pub(super) fn notes(self, source: PlanSource, plan_change: f64) -> Vec<String> {
        let change = if plan_change == 0.0 {
            String::new()
        } else {
            format!(", changed by {:+.1} %", 100.0 * plan_change)
        };
        let mut notes = Vec::new();
        for (season, machines) in &self.repeated {
            let why = match source {
                PlanSource::Plan => "not in the plan of this season",
                PlanSource::LastSeason => "no plan for this season",
            };
            notes.push(format!(
                "{why}: the last full season, {season}, is repeated{change} for {}",
                list(machines)
            ));
        }
        for (season, machines) in &self.silent {
            notes.push(format!(
                "no plan, and no use on record in the last full season: season {season} is repeated{change} for {}; give what stands still its `retired` date, or plan rows of 0",
                list(machines)
            ));
        }
        if !self.still.is_empty() {
            notes.push(format!(
                "no plan, and no use on record for more than {SILENT} seasons, so taken to stand still: {}",
                list(&self.still)
            ));
        }
        if !self.partial.is_empty() {
            notes.push(format!(
                "no plan and no full season on record: what was last used is repeated{change} for {}",
                list(&self.partial)
            ));
        }
        if !self.begun.is_empty() {
            notes.push(format!(
                "no plan and no full season on record: the season under way is repeated{change}, as far as it is on record, and the rest as it is planned or as other machines work, for {}",
                list(&self.begun)
            ));
        }
        if !self.in_part.is_empty() {
            notes.push(format!(
                "what they did in part of the season that is repeated is not known, so the plan has the rest of it alone and is too low: {}; write `plan` rows for them",
                list(&self.in_part)
            ));
        }
        if !self.typical.is_empty() {
            notes.push(format!(
                "no plan, and no season on record to repeat: what the other machines did on average last season is taken{change} for {}",
                list(&self.typical)
            ));
        }
        if !self.without.is_empty() {
            notes.push(format!(
                "no plan, and no season on record to repeat, so nothing is forecast by use: {}",
                list(&self.without)
            ));
        }
        notes.extend(self.short_note());
        if !self.retired.is_empty() {
            notes.push(format!(
                "`retired` before the season is over, so neither use nor work is forecast after that day: {}",
                list(&self.retired)
            ));
        }
        if 0 < self.beyond {
            notes.push(format!(
                "{} of the plan in months after a machine is retired: left out",
                rows(self.beyond)
            ));
        }
        if !self.months_in_part.is_empty() {
            let months = self.months_in_part.iter();
            let months =
                months.map(|(m, (days, of))| format!("{} ({days} of {of})", m.format("%Y-%m")));
            notes.push(format!(
                "months of the plan count by their days that are to come in the season: {}",
                list(&months.collect())
            ));
        }
        if !self.cut.is_empty() {
            let months: BTreeSet<String> = self
                .cut
                .iter()
                .map(|m| m.format("%Y-%m").to_string())
                .collect();
            notes.push(format!(
                "months of the plan that lie for the most part in another season than the days asked for, which are planned from a past season: {}",
                list(&months)
            ));
        }
        if !self.shared_out.is_empty() {
            notes.push(format!(
                "the plan names no bin where parts sit in bins: shared out as past use was, or in equal parts where there was none, for {}",
                list(&self.shared_out)
            ));
        }
        notes.extend(self.incomplete_rows());
        notes
    }

    /// Rows of the plan that leave amounts out.
    fn incomplete_rows(&self) -> Vec<String> {
        let mut notes = Vec::new();
        if 0 < self.filled {
            notes.push(format!(
                "{} of planned use without acres, tons or hours: filled in from past rates of the product group",
                rows(self.filled)
            ));
        }
        if !self.empty.is_empty() {
            notes.push(format!(
                "{} of planned use without any amount, so that what wears by it is unknown: add acres, tons or hours for {}",
                rows(self.empty.len()),
                list(&self.empty)
            ));
        }
        if !self.untold.is_empty() {
            notes.push(format!(
                "{} of planned use without a measure that no past use of its product tells, so that what wears by it is unknown: add what is named for {}",
                rows(self.untold.len()),
                list(&self.untold)
            ));
        }
        notes
    }
}

fn rows(count: usize) -> String {
    match count {
        1 => "1 row".to_owned(),
        rows => format!("{rows} rows"),
    }
}

/// Names in a sentence: all of a few, the first of many.
pub(crate) fn list(names: &BTreeSet<String>) -> String {
    const FEW: usize = 12;
    let first: Vec<&str> = names.iter().take(FEW).map(String::as_str).collect();
    match names.len().saturating_sub(FEW) {
        0 => first.join(", "),
        more => format!("{} and {more} more", first.join(", ")),
    }
}
