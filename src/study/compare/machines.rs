//! Machines by their effects on life, shrunk towards the typical machine by how little is known.

use super::Case;
use super::money::{Work, change_cost};
use crate::life::Life;
use crate::model::anchor::Anchor;
use crate::model::assess::{Assessment, assess_lives};
use crate::model::family_lives::{family_lives, leveled_lives};
use crate::model::fit;
use crate::model::levels;
use crate::report::Estimate;
use crate::report::compare::{CompareFamily, CompareRow};
use crate::study::teller::{Teller, inverse};

impl Case<'_> {
    /// A row a machine.
    pub(super) fn machines(&self, notes: &mut Vec<String>) -> CompareFamily {
        let assessment = assess_lives(self.family, self.all.clone(), self.wanted(), Vec::new());
        notes.extend(assessment.notes.iter().cloned());
        let groups = &assessment.lives.groups;
        let work = Work::new(self.study, &self.lives, self.all.measure, groups);
        let machines = assessment.lives.machines.iter().enumerate();
        let rows = machines
            .map(|(place, machine)| self.machine(machine, place, &assessment, work.as_ref()))
            .collect();
        CompareFamily {
            family: self.family.name.clone(),
            measure: self.all.measure,
            rows,
        }
    }

    fn machine(
        &self,
        machine: &str,
        place: usize,
        assessment: &Assessment,
        work: Option<&Work>,
    ) -> CompareRow {
        let of_it = |l: &&&Life| l.machine == machine;
        let lives: Vec<&Life> = self.lives.iter().filter(of_it).copied().collect();
        let counts = family_lives(&lives, self.all.measure, &self.study.groups, &[]).counts;
        let change_cost = change_cost(self.study, self.family, &lives, None);
        let effects = Effects {
            teller: self.teller(assessment),
            place,
        };
        let ratio = effects.told(|_, effect| effect);
        let median = Anchor::Quantile(0.5);
        let teller = effects.teller;
        let chance_longer = assessment
            .draws
            .as_ref()
            .filter(|_| ratio.is_some())
            .map(|draws| {
                let longer = draws.sorted_effects(place);
                longer.iter().filter(|e| 0.0 < **e).count() as f64 / draws.len() as f64
            });
        CompareRow {
            value: Some(machine.to_owned()),
            lives: counts.lives,
            worn: counts.worn,
            life_ratio: ratio,
            wear_factor: ratio.and_then(inverse),
            life50: effects.told(|theta, effect| teller.ln_life(median, theta) + effect),
            cost_per_acre: work.zip(change_cost.filter(|c| 0.0 < *c)).and_then(
                |(work, change)| {
                    effects.told(|theta, effect| {
                        let life = teller.ln_life(Anchor::Mean, theta) + effect;
                        change.ln() + work.exposure_per_acre(theta).ln() - work.ln_cycle(life, theta)
                    })
                },
            ),
            change_cost,
            chance_longer,
            p_value: self.against_others(machine, assessment),
            note: ratio.is_none().then(|| {
                "the machines are taken as alike: only one has lives, or the records do not tell them apart".to_owned()
            }),
            ..CompareRow::default()
        }
    }

    /// Likelihood-ratio p-value of this machine having no life of its own, the others taken as alike.
    fn against_others(&self, machine: &str, assessment: &Assessment) -> Option<f64> {
        let leveled: Vec<(&Life, usize)> = self
            .lives
            .iter()
            .map(|l| (*l, usize::from(l.machine == machine)))
            .collect();
        let lives = leveled_lives(
            &leveled,
            2,
            self.all.measure,
            &self.study.groups,
            &self.all.groups,
        );
        let lives = lives.observations;
        if !(lives.worn_at(0) && lives.worn_at(1)) {
            return None;
        }
        let fit = fit::maximum_likelihood(assessment.distribution, &lives).ok()?;
        levels::p_value(&fit, &lives, 1, false)
    }
}

/// The effect of one machine, draw by draw.
struct Effects<'a> {
    teller: Teller<'a>,
    place: usize,
}

impl Effects<'_> {
    /// A quantity of the parameters and the effect, as a logarithm; `None` where machines are alike.
    fn told(&self, ln: impl Fn(&[f64], f64) -> f64) -> Option<Estimate> {
        let draws = self.teller.assessment.draws.as_ref()?;
        draws.spread(0)?;
        let values = (0..draws.len())
            .map(|i| ln(draws.get(i), draws.effect(i, Some(self.place), 0.0)).exp())
            .collect();
        Some(self.teller.middle(values))
    }
}
