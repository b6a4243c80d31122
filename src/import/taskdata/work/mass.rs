//! How many kilograms came from a bin.

use std::collections::BTreeMap;

use chrono::NaiveDate;

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
        let mass = by(KILOGRAMS, 1.0, notes).or_else(|| by(GRAMS, 1e-3, notes));
        if mass.is_some() {
            return mass;
        }
        // Densities are in milligrams a litre.
        let litres = by(LITRES, 1.0, notes).or_else(|| by(MILLILITRES, 1e-3, notes))?;
        let Some(density) = density else {
            self.no_density(element, notes);
            return None;
        };
        let kilograms = |(day, litres)| (day, litres * density * 1e-6);
        Some(litres.into_iter().map(kilograms).collect())
    }

    fn no_density(&self, element: &str, notes: &mut Vec<String>) {
        notes.push(format!(
            "Task {}, {element}: it counted a volume, and the file gives its product no one density (`PDT`, attribute H); \
             no tons come of it.",
            self.task.id
        ));
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
        let density = self.density(spot);
        let Some(element) = spot.element.as_deref() else {
            return self.sum(spot.machine, None, spots, density, notes);
        };
        let own = self.mass_of(element, density, notes);
        let below =
            |notes: &mut Vec<String>| self.sum(spot.machine, Some(element), spots, density, notes);
        own.or_else(|| below(notes))
            .or_else(|| {
                let of_mass = [(KILOGRAMS, 1.0), (GRAMS, 1e-3)];
                let of_volume = [(LITRES, 1e-6), (MILLILITRES, 1e-9)];
                let is_logged = |ddi| self.logs.has(&(ddi, element.to_owned()));
                if let Some((ddi, factor)) = of_mass.into_iter().find(|(d, _)| is_logged(*d)) {
                    return Some(self.logged_of(ddi, element, factor, notes));
                }
                let (ddi, factor) = of_volume.into_iter().find(|(d, _)| is_logged(*d))?;
                if density.is_none() {
                    self.no_density(element, notes);
                }
                Some(self.logged_of(ddi, element, factor * density?, notes))
            })
            .or_else(|| {
                let level = |ddi, factor: f64, notes: &mut Vec<String>| -> Daily {
                    let days = alone.then(|| self.one_level(ddi, spot.machine, notes))??;
                    Some(days.into_iter().map(|(d, v)| (d, v * factor)).collect())
                };
                level(KILOGRAMS, 1.0, notes).or_else(|| level(GRAMS, 1e-3, notes))
            })
    }

    /// The one density of all products of a spot, in milligrams a litre.
    fn density(&self, spot: &Spot<'_>) -> Option<f64> {
        let of = |id: &String| self.data.products.get(id).and_then(|p| p.density);
        let mut densities = spot.allocations.iter().map(|a| of(&a.product));
        let first = densities.next()??;
        densities
            .all(|other| other.is_some_and(|d: f64| d.total_cmp(&first).is_eq()))
            .then_some(first)
    }

    /// A total from the time log, day by day.
    fn logged_of(
        &self,
        ddi: u16,
        element: &str,
        factor: f64,
        notes: &mut Vec<String>,
    ) -> BTreeMap<NaiveDate, f64> {
        let channel = (ddi, element.to_owned());
        let shares = self.growth_of_log(&channel, false, &|_| 0, notes);
        days(shares)
            .into_iter()
            .map(|(d, v)| (d, v * factor))
            .collect()
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
