//! A product changed in a bin on the way: only a time log can say how much there was of each.

use chrono::NaiveDate;

use super::{AREA, GRAMS, KILOGRAMS, SECONDS, Spot, TaskWork};
use crate::import::taskdata::Work;
use crate::import::taskdata::split::{Shares, spans};

impl TaskWork<'_, '_> {
    /// Splits a bin whose product was changed on the way; false where nothing says how.
    pub(super) fn by_log(
        &self,
        spot: &Spot<'_>,
        works: &mut Vec<Work>,
        notes: &mut Vec<String>,
    ) -> bool {
        let names = || self.product(spot).unwrap_or_default();
        let unsplit = |notes: &mut Vec<String>| {
            notes.push(format!(
                "Task {}: the product was changed on the way and no time log says how much of each there was; \
                 the whole stands under `{}`.",
                self.task.id,
                names()
            ));
            false
        };
        let (Some(element), Some(spans)) = (&spot.element, spans(&spot.allocations)) else {
            return unsplit(notes);
        };
        let units = [(KILOGRAMS, 1.0), (GRAMS, 1e-3)];
        let mass = units.map(|(ddi, factor)| ((ddi, element.clone()), factor));
        let Some((channel, factor)) = mass.into_iter().find(|(c, _)| self.logs.has(c)) else {
            return unsplit(notes);
        };
        let span = |at| {
            let found = spans
                .iter()
                .position(|(_, until)| until.is_none_or(|until| at <= until));
            found.unwrap_or(spans.len() - 1)
        };
        let kilograms = self.growth_of_log(&channel, true, &span, notes);
        let mut level = |ddi| {
            let channel = self.level_of_log(ddi, spot.machine)?;
            Some(self.growth_of_log(&channel, true, &span, notes))
        };
        let (area, seconds) = (level(AREA), level(SECONDS));
        self.check_split(element, factor * kilograms.values().sum::<f64>(), notes);
        // One row for a product and a day, however often it came back.
        let mut rows: Vec<(&str, NaiveDate, Work)> = Vec::new();
        for (key, mass) in &kilograms {
            let (product, day) = (spans[key.0].0, key.1);
            let at = |shares: &Option<Shares>| shares.as_ref().and_then(|s| s.get(key).copied());
            let place = rows.iter().position(|(p, d, _)| (*p, *d) == (product, day));
            let place = place.unwrap_or_else(|| {
                let mut work = self.work(spot, day, self.data.product_name(product));
                work.kilograms = Some(0.0);
                work.square_metres = area.as_ref().map(|_| 0.0);
                work.hours = seconds.as_ref().map(|_| 0.0);
                rows.push((product, day, work));
                rows.len() - 1
            });
            let work = &mut rows[place].2;
            let add = |sum: &mut Option<f64>, more: f64| *sum = sum.map(|sum| sum + more);
            add(&mut work.kilograms, mass * factor);
            add(&mut work.square_metres, at(&area).unwrap_or(0.0));
            add(&mut work.hours, at(&seconds).unwrap_or(0.0) / 3600.0);
        }
        works.extend(rows.into_iter().map(|(_, _, work)| work));
        true
    }

    /// The log's shares must add up to the task's total.
    fn check_split(&self, element: &str, kilograms: f64, notes: &mut Vec<String>) {
        let mut written = |ddi, factor: f64| {
            let growth = self.growth(ddi, element, notes)?;
            Some(factor * growth.total())
        };
        let total = written(KILOGRAMS, 1.0).or_else(|| written(GRAMS, 1e-3));
        let Some(total) = total else {
            return;
        };
        if 0.02 * total < (total - kilograms).abs() {
            notes.push(format!(
                "Task {}: its time log comes to {kilograms} kg and its total to {total} kg; the log was used, \
                 as the product was changed on the way.",
                self.task.id
            ));
        }
    }
}
