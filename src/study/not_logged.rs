//! Machines that were at work while nobody wrote down what they did.

use std::collections::BTreeSet;

use super::Study;
use crate::forecast::plan;
use crate::forecast::season::Season;

impl Study {
    /// Machines in service for a whole season and more of which no use is recorded, while it is of
    /// others: nobody wrote it down.
    pub(super) fn machines_at_work_without_a_log(&self) -> BTreeSet<String> {
        if self.sums.machines().next().is_none() {
            return BTreeSet::new();
        }
        let now = Season::of(self.as_of, self.records.settings.season_start());
        let machines = self.records.machines.iter().filter(|m| {
            (self.as_of - m.records_from.max(m.in_service)).num_days() > 366
                && m.in_service < now.start
                && !self.sums.has(&m.name)
        });
        machines.map(|m| m.name.clone()).collect()
    }

    /// Those of them of which no replacement is recorded either. Their parts are of unknown age, and
    /// tell a fit nothing.
    #[must_use]
    pub fn silent_machines(&self) -> BTreeSet<String> {
        let mut silent = self.sums.not_logged().clone();
        for change in &self.records.replacements {
            if change.date <= self.as_of {
                silent.remove(&change.machine);
            }
        }
        silent
    }

    /// Says which machines nothing is recorded of.
    #[must_use]
    pub fn silent_note(&self) -> Option<String> {
        let silent = self.silent_machines();
        (!silent.is_empty()).then(|| {
            format!(
                "nothing is recorded of {}: their parts are taken as those of a machine at work ever since it came into service, and the life models rest on the other machines",
                plan::list(&silent)
            )
        })
    }

    /// Says of which machines changes are recorded and no use.
    pub(super) fn not_logged_note(&self) -> Option<String> {
        let silent = self.silent_machines();
        let changed: BTreeSet<String> = self
            .sums
            .not_logged()
            .difference(&silent)
            .cloned()
            .collect();
        (!changed.is_empty()).then(|| {
            format!(
                "no use is on record of {}, though replacements are: what their parts have behind them is taken from the work to come, and tells the life models nothing",
                plan::list(&changed)
            )
        })
    }
}
