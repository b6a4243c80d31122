//! Labor that parts of one kit share.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use super::{Due, InService};

impl InService {
    /// Lets the work due on one machine and day share its labor within a kit: the longest job counts,
    /// which is all that is changed in one position, and the others are done in it.
    pub fn share_labor(&mut self) {
        type Jobs<'a> = BTreeMap<&'a str, f64>;
        let mut jobs: BTreeMap<(usize, &str, NaiveDate), Jobs<'_>> = BTreeMap::new();
        for due in &self.due {
            let line = &self.lines[due.line];
            let Some(kit) = &line.kit else { continue };
            // Unknown hours come first, so that they are not forgotten.
            let hours = line.cost.labor_hours.unwrap_or(f64::INFINITY);
            let of_kit = jobs.entry((due.machine, kit, due.date)).or_default();
            *of_kit.entry(&due.position).or_default() += hours;
        }
        let longest = |due: &Due| {
            let kit = self.lines[due.line].kit.as_deref()?;
            let jobs = &jobs[&(due.machine, kit, due.date)];
            // Of equals the first by name.
            let longest = jobs.iter().rev().max_by(|a, b| a.1.total_cmp(b.1))?;
            Some(*longest.0 == due.position.as_str())
        };
        let labor: Vec<bool> = self
            .due
            .iter()
            .map(|d| longest(d).unwrap_or(true))
            .collect();
        for (due, labor) in self.due.iter_mut().zip(labor) {
            due.labor = labor;
        }
    }
}
