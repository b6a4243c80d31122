//! How many kilograms came from a bin.

use super::{Daily, GRAMS, KILOGRAMS, LITRES, MILLILITRES, Spot, TaskWork, days};

impl TaskWork<'_, '_> {
    /// Kilograms from one element, in whichever of its units they are reported.
    pub(super) fn mass_of(
        &self,
        element: &str,
        density: Option<f64>,
        notes: &mut Vec<String>,
    ) -> Daily {
        let by = |ddi, factor: f64, notes: &mut Vec<String>| -> Daily {
            let growth = self.growth(ddi, element, notes)?;
            Some(
                growth
                    .by_day
                    .into_iter()
                    .map(|(d, v)| (d, v * factor))
                    .collect(),
            )
        };
        by(KILOGRAMS, 1.0, notes)
            .or_else(|| by(GRAMS, 1e-3, notes))
            .or_else(|| by(LITRES, density? * 1e-6, notes))
            .or_else(|| by(MILLILITRES, density? * 1e-9, notes))
    }

    /// Kilograms from a spot: its own, else those of the bins below it, else from its time log,
    /// else, where it is the machine's only one, what is reported for the machine.
    pub(super) fn mass(
        &self,
        spot: &Spot<'_>,
        alone: bool,
        spots: &[Spot<'_>],
        notes: &mut Vec<String>,
    ) -> Daily {
        let product = spot
            .allocations
            .first()
            .and_then(|a| self.data.products.get(&a.product));
        let density = product.and_then(|p| p.density);
        let Some(element) = spot.element.as_deref() else {
            return self.sum(spot.machine, None, spots, density, notes);
        };
        let own = self.mass_of(element, density, notes);
        let below =
            |notes: &mut Vec<String>| self.sum(spot.machine, Some(element), spots, density, notes);
        own.or_else(|| below(notes))
            .or_else(|| {
                let unit = [(KILOGRAMS, 1.0), (GRAMS, 1e-3)];
                unit.into_iter().find_map(|(ddi, factor)| {
                    let channel = (ddi, element.to_owned());
                    let found = self.logs.has(&channel);
                    let growth = || self.logs.growth(&channel, false, &|_| 0, &mut 0);
                    let scaled = |shares| days(shares).into_iter().map(|(d, v)| (d, v * factor));
                    found.then(|| scaled(growth()).collect())
                })
            })
            .or_else(|| {
                let level = |ddi, factor: f64, notes: &mut Vec<String>| -> Daily {
                    let days = alone.then(|| self.one_level(ddi, spot.machine, notes))??;
                    Some(days.into_iter().map(|(d, v)| (d, v * factor)).collect())
                };
                level(KILOGRAMS, 1.0, notes).or_else(|| level(GRAMS, 1e-3, notes))
            })
    }

    /// Sum over the bins of a machine, or those below an element, that no other product has.
    fn sum(
        &self,
        machine: Option<usize>,
        above: Option<&str>,
        spots: &[Spot<'_>],
        density: Option<f64>,
        notes: &mut Vec<String>,
    ) -> Daily {
        let devices = &self.data.devices;
        let taken = |id: &str| spots.iter().any(|s| s.element.as_deref() == Some(id));
        let mut sum: Daily = None;
        for id in devices.bins(machine?) {
            if taken(id) || above.is_some_and(|above| !devices.is_within(id, above)) {
                continue;
            }
            for (day, kilograms) in self.mass_of(id, density, notes).unwrap_or_default() {
                *sum.get_or_insert_default().entry(day).or_default() += kilograms;
            }
        }
        sum
    }
}
