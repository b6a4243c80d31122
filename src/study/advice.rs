//! Run or replace: the advice for every part in service.

use rayon::prelude::*;

use super::{Outlook, Study};
use crate::decide::{Advice, Costs, Programme};
use crate::forecast::play::Life;
use crate::forecast::unit::{Age, Due, Line, Unit};
use crate::model::assess::Assessment;

/// Draws the programme is solved for; the rest would cost time and change nothing that shows.
const DRAWS: usize = 60;
/// Interest a year where the settings say no `holding_rate` (our own choice).
const INTEREST: f64 = 0.08;

/// What to do with one part, and what it saves.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Advised {
    /// What to do.
    pub advice: Advice,
    /// Expected cost of running on less that of replacing now, this season and all that follow.
    pub saving: f64,
}

/// What speaks for replacing one part now.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Judged {
    /// What the decision saves, by equally probable parameters: the part's own, or its kit's.
    pub(super) savings: Vec<f64>,
    /// The part's own part of it, on average.
    pub(super) saving: f64,
    /// Whether the ages are known.
    pub(super) age_known: bool,
}

impl Study {
    /// Advice for each part in service, in their order; `None` where a price, the labor or the use
    /// to come is not known.
    #[must_use]
    pub fn advise(&self, outlook: &Outlook) -> Vec<Option<Advised>> {
        let service = &outlook.in_service;
        let mut by_kind: std::collections::BTreeMap<(usize, usize), Vec<usize>> =
            std::collections::BTreeMap::new();
        for (i, unit) in service.units.iter().enumerate() {
            by_kind.entry((unit.path, unit.line)).or_default().push(i);
        }
        let kinds: Vec<((usize, usize), Vec<usize>)> = by_kind.into_iter().collect();
        let told: Vec<Vec<(usize, Option<Judged>)>> = kinds
            .par_iter()
            .map(|(_, units)| self.judge_kind(outlook, units))
            .collect();
        let mut judged: Vec<Option<Judged>> = vec![None; service.units.len()];
        for (i, told) in told.into_iter().flatten() {
            judged[i] = told;
        }
        self.decide_kits(service, &mut judged);
        let advised = |j: Judged| Advised {
            advice: Advice::of(&j.savings, j.age_known),
            saving: j.saving,
        };
        judged.into_iter().map(|j| j.map(advised)).collect()
    }

    /// Advice for parts that share path and line, so that one programme serves them all.
    fn judge_kind(&self, outlook: &Outlook, units: &[usize]) -> Vec<(usize, Option<Judged>)> {
        let service = &outlook.in_service;
        let first = &service.units[units[0]];
        let nothing = || units.iter().map(|i| (*i, None)).collect();
        let Some(costs) = self.costs(&service.lines[first.line], first.pieces) else {
            return nothing();
        };
        if !service.can_forecast(first, &outlook.assessments) {
            return nothing();
        }
        let programmes = self.programmes(outlook, first, costs);
        if programmes.is_empty() {
            return nothing();
        }
        let of = |i: &usize| {
            let unit = &service.units[*i];
            let (Age::Known(used) | Age::AtLeast(used)) = &unit.age;
            let savings: Vec<f64> = programmes
                .iter()
                .map(|(life, p)| p.saving(life.effective(used)))
                .collect();
            let judged = Judged {
                saving: savings.iter().sum::<f64>() / savings.len() as f64,
                savings,
                age_known: matches!(unit.age, Age::Known(_)),
            };
            (*i, Some(judged))
        };
        units.iter().map(of).collect()
    }

    fn programmes(&self, outlook: &Outlook, unit: &Unit, costs: Costs) -> Vec<(Life, Programme)> {
        let assessment: &Assessment = &outlook.assessments[unit.family];
        let Some(draws) = &assessment.draws else {
            return Vec::new();
        };
        let service = &outlook.in_service;
        let machine = assessment.lives.place_of(&service.machines[unit.machine]);
        let season = service.paths[unit.path].path.in_season();
        let discount = 1.0
            / (1.0
                + self
                    .records
                    .settings
                    .holding_rate
                    .unwrap_or(INTEREST)
                    .max(0.01));
        let mut rng = super::bare::stream(self.options.seed, "advice");
        (0..draws.len().min(DRAWS))
            .filter_map(|draw| {
                let life = Life::new(draws, draw, machine, &mut rng, 0.0);
                let exposure = life.effective(&season);
                (0.0 < exposure).then(|| {
                    let programme = Programme::solve(|x| life.hazard(x), exposure, costs, discount);
                    (life, programme)
                })
            })
            .collect()
    }

    /// In the shop and in season; lost field time counts as far as it is priced.
    fn costs(&self, line: &Line, pieces: f64) -> Option<Costs> {
        let settings = &self.records.settings;
        if !line.cost.is_known(settings.labor_rate) {
            return None;
        }
        let planned = line.cost.of_change(pieces, settings.labor_rate);
        let rush = settings.rush_cost.unwrap_or(0.0) * line.cost.price? * pieces;
        let down = settings
            .down_cost_per_hour
            .zip(line.down_hours)
            .map_or(0.0, |(r, h)| r * h);
        Some(Costs {
            planned,
            in_season: planned + rush + down,
        })
    }

    /// Replaces every part for which that is advised, on the first day forecast.
    pub(super) fn replace_as_advised(&self, outlook: &mut Outlook) {
        let advice = self.advise(outlook);
        let date = outlook.season.start.max(self.as_of + chrono::Days::new(1));
        let service = &mut outlook.in_service;
        for (unit, advised) in service.units.iter_mut().zip(advice) {
            if advised.is_none_or(|a| a.advice != Advice::ReplaceNow) {
                continue;
            }
            let (Age::Known(used) | Age::AtLeast(used)) = &unit.age;
            unit.age = Age::Known(vec![0.0; used.len()]);
            service.due.push(Due {
                machine: unit.machine,
                position: unit.position.clone(),
                line: unit.line,
                date,
                pieces: unit.pieces,
                labor: true,
            });
        }
        service.share_labor();
    }
}
