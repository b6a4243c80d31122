//! Totals of a whole machine, which a file may give at several levels of it: device, function, bins.

use chrono::NaiveDateTime;

use super::super::device::Kind;
use super::super::split::{Channel, Shares};
use super::super::totals::Growth;
use super::{Daily, TaskWork, days};

/// Part of a total by which it may differ from its time log, as both are written at other moments.
const TOLERANCE: f64 = 0.02;

impl TaskWork<'_, '_> {
    /// Growth of a total that the task wrote. It is asked for time and again, and may need a look
    /// through the time logs, so it is worked out once.
    pub(super) fn growth(
        &self,
        ddi: u16,
        element: &str,
        notes: &mut Vec<String>,
    ) -> Option<Growth> {
        let channel = (ddi, element.to_owned());
        if let Some(known) = self.grown.borrow().get(&channel) {
            return known.clone();
        }
        let growth = self.worked_out(ddi, element, notes);
        self.grown.borrow_mut().insert(channel, growth.clone());
        growth
    }

    fn worked_out(&self, ddi: u16, element: &str, notes: &mut Vec<String>) -> Option<Growth> {
        let readings = self.series.get(&(ddi, element))?;
        let logged = self.nightly(ddi, element);
        let parts = |(stretch, value): &(usize, i32)| (self.parts_of(*stretch, &logged), *value);
        let growth = Growth::new(&readings.iter().map(parts).collect::<Vec<_>>());
        let what = format!("Task {}, {element}, total {ddi:04X}", self.task.id);
        if growth.increments {
            notes.push(format!(
                "{what}: the values neither grow nor fall much, as if each were what one stretch added; \
                 whether they add up cannot be told, so the total counts as unknown. Ask whoever set up the controller."
            ));
            return None;
        }
        if let Some(logged) = self.counted_on(ddi, element, &growth, notes) {
            return Some(logged);
        }
        if growth.restarted {
            notes.push(format!(
                "{what}: the counter fell on the way, as after a loss of power; what it showed since then was added."
            ));
        }
        Some(growth)
    }

    /// What a time log says of a total whose counter fell between two of the values of the task: these
    /// cannot know of it, and are less than was spread.
    fn counted_on(
        &self,
        ddi: u16,
        element: &str,
        growth: &Growth,
        notes: &mut Vec<String>,
    ) -> Option<Growth> {
        let channel = (ddi, element.to_owned());
        if self.logs.falls(&channel) == 0 {
            return None;
        }
        let by_day = days(self.growth_of_log(&channel, false, &|_| 0, notes));
        let logged: f64 = by_day.values().sum();
        let total = growth.total();
        if logged <= total * (1.0 + TOLERANCE) {
            return None;
        }
        notes.push(format!(
            "Task {}, {element}, total {ddi:04X}: its values come to {total}, and its time log, in which the counter fell on \
             the way, to {logged}; the log is used.",
            self.task.id
        ));
        Some(Growth {
            by_day,
            ..Growth::default()
        })
    }

    /// Growth of a total in the time logs; that its counter fell is noted.
    pub(super) fn growth_of_log(
        &self,
        channel: &Channel,
        from_zero: bool,
        span: &dyn Fn(NaiveDateTime) -> usize,
        notes: &mut Vec<String>,
    ) -> Shares {
        let falls = self.logs.falls(channel);
        if 0 < falls {
            let (ddi, element) = channel;
            let times = if falls == 1 { "once" } else { "several times" };
            notes.push(format!(
                "Task {}, {element}, total {ddi:04X} in its time log: the counter fell {times} on the way, as after a loss \
                 of power; what it showed since then was added.",
                self.task.id
            ));
        }
        self.logs.growth(channel, from_zero, span)
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
            .or_else(|| self.logged(ddi, machine, notes))
    }

    /// A quantity of the whole machine from the time log, where no totals were written.
    fn logged(&self, ddi: u16, machine: Option<usize>, notes: &mut Vec<String>) -> Daily {
        let channel = self.level_of_log(ddi, machine)?;
        Some(days(self.growth_of_log(&channel, false, &|_| 0, notes)))
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
