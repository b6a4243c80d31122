//! Measured wear beside the forecasts: the limit comes first.

use super::{Outlook, Study};
use crate::degradation::MeasuredLife;
use crate::family::WearLimit;
use crate::forecast::summary;
use crate::forecast::unit::Unit;
use crate::report::Estimate;
use crate::report::remaining::MeasuredLine;

impl Outlook {
    /// Readings of a part in service, and the limit they are held to.
    fn readings_of(&self, unit: &Unit) -> Option<(&MeasuredLife, &WearLimit)> {
        let place = unit.readings.as_ref()?.measured;
        let limit = self.assessments[unit.family].family.wear.as_ref()?;
        Some((&self.measured.inspected.lives[place], limit))
    }

    /// A sentence for each part in service that has been read at or past its limit.
    #[must_use]
    pub fn past_limits(&self) -> Vec<String> {
        let service = &self.in_service;
        let sentence = |unit: &Unit| {
            let (life, limit) = self.readings_of(unit)?;
            let past = life.past_limit()?;
            let slot = unit.slot.as_ref().map(|s| format!(", {s}"));
            Some(format!(
                "replace now: {}: {}{} is past its limit, {} {} {} on {} against {} {}, whatever the forecast says",
                service.machines[unit.machine],
                unit.position,
                slot.unwrap_or_default(),
                limit.measure,
                past.value,
                limit.unit,
                past.date,
                limit.limit,
                limit.unit,
            ))
        };
        service.units.iter().filter_map(sentence).collect()
    }
}

impl Study {
    /// What a line says of a part's readings.
    ///
    /// - `rates`: wear for one unit of use, as shares of the way to the limit, sorted.
    pub(super) fn measured_line(
        &self,
        outlook: &Outlook,
        unit: &Unit,
        rates: &[f64],
    ) -> Option<MeasuredLine> {
        let (life, limit) = outlook.readings_of(unit)?;
        let last = life.readings.last()?;
        let scale = 1_000.0 * (limit.limit - limit.new);
        let at = |p: f64| scale * summary::quantile(rates, p);
        let tail = 0.5 * (1.0 - self.options.level);
        let (low, high) = (at(tail), at(1.0 - tail));
        Some(MeasuredLine {
            measure: limit.measure.clone(),
            unit: limit.unit.clone(),
            reading: last.value,
            date: last.date,
            new: limit.new,
            limit: limit.limit,
            past_limit: life.past_limit().map(|r| r.date),
            readings: life.readings.len(),
            rate_per_1000: (!rates.is_empty()).then(|| Estimate {
                estimate: at(0.5),
                low: Some(low.min(high)),
                high: Some(low.max(high)),
            }),
            used: !rates.is_empty(),
        })
    }
}
