//! Totals of a whole machine, which a file may give at several levels of it: device, function, bins.

use super::super::device::Kind;
use super::super::split::Channel;
use super::super::totals::Growth;
use super::{Daily, TaskWork, days};

impl TaskWork<'_, '_> {
    pub(super) fn growth(
        &self,
        ddi: u16,
        element: &str,
        notes: &mut Vec<String>,
    ) -> Option<Growth> {
        let growth = Growth::new(self.series.get(&(ddi, element))?);
        let what = format!("Task {}, {element}, total {ddi:04X}", self.task.id);
        if growth.increments {
            notes.push(format!(
                "{what}: the values neither grow nor fall much, as if each were what one stretch added; \
                 whether they add up cannot be told, so the total counts as unknown. Ask whoever set up the controller."
            ));
            return None;
        }
        if growth.restarted {
            notes.push(format!(
                "{what}: the counter fell on the way, as after a loss of power; what it showed since then was added."
            ));
        }
        Some(growth)
    }

    /// A quantity of the whole machine that may be reported at several levels: from one of them.
    pub(super) fn one_level(
        &self,
        ddi: u16,
        machine: Option<usize>,
        notes: &mut Vec<String>,
    ) -> Daily {
        let of_machine = |id: &&str| machine.is_some() && self.machine_of(id) == machine;
        let ids: Vec<&str> = self
            .series
            .range((ddi, "")..)
            .take_while(|((number, _), _)| *number == ddi)
            .map(|((_, id), _)| *id)
            .filter(of_machine)
            .collect();
        let mut best: Option<(u8, f64, Growth)> = None;
        for id in ids {
            let Some(growth) = self.growth(ddi, id, notes) else {
                continue;
            };
            let rank = rank(self.data.devices.element(id).map(|e| e.kind));
            let total = growth.total();
            // A level that reports nothing gives way to one that does.
            let rank = if total <= 0.0 { 0 } else { rank };
            if best
                .as_ref()
                .is_none_or(|(r, t, _)| (*r, *t) < (rank, total))
            {
                best = Some((rank, total, growth));
            }
        }
        if let Some((1, _, _)) = best {
            notes.push(format!(
                "Task {}: total {ddi:04X} is given for bins or sections only; the largest of them stands for the machine.",
                self.task.id
            ));
        }
        best.map(|(_, _, growth)| growth.by_day)
            .or_else(|| self.logged(ddi, machine))
    }

    /// A quantity of the whole machine from the time log, where no totals were written.
    fn logged(&self, ddi: u16, machine: Option<usize>) -> Daily {
        let channel = self.level_of_log(ddi, machine)?;
        Some(days(self.logs.growth(&channel, false, &|_| 0, &mut 0)))
    }

    /// The level of the time logs that stands for the machine.
    pub(super) fn level_of_log(&self, ddi: u16, machine: Option<usize>) -> Option<Channel> {
        machine?;
        let channels = self.logs.channels(ddi).into_iter();
        channels
            .filter(|(_, id)| self.machine_of(id) == machine)
            .max_by_key(|(_, id)| rank(self.data.devices.element(id).map(|e| e.kind)))
    }
}

/// Functions speak for the machine, then the device; what bins or sections say may be a part.
fn rank(kind: Option<Kind>) -> u8 {
    match kind {
        Some(Kind::Function) => 3,
        Some(Kind::Device) => 2,
        _ => 1,
    }
}
