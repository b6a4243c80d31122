//! Run or replace: the advice for every part in service.

use std::collections::BTreeMap;

use rayon::prelude::*;

use super::progress::Stage;
use super::{Outlook, Study};
use crate::decide::{Advice, Costs, Programme, Season};
use crate::forecast::drawn_life::DrawnLife;
use crate::forecast::plan;
use crate::forecast::unit::{Age, Due, InService, Line, SeenPath, Unit, rest_of};
use crate::model::assess::Assessment;

/// Draws the programme is solved for in a small fleet, whose few wear-outs leave much open; and in a
/// large one, where they leave less and each draw costs time.
const DRAWS: [usize; 2] = [200, 60];
/// Positions of a small fleet, at most.
const SMALL: usize = 200;
/// Draws for the chance that readings leave.
const SEEN_DRAWS: usize = 400;
/// Chance of reaching the limit this season from which a measured part is worth a look (our own choice).
const NEAR: f64 = 1.0 / 3.0;
/// Interest a year where the settings say no `holding_rate` (our own choice).
const INTEREST: f64 = 0.08;

/// What to do with one part, and what it saves.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Advised {
    /// What to do.
    pub advice: Advice,
    /// Expected cost of running on less that of replacing now, this season and all that follow;
    /// `None` where a price or the labor is not known.
    pub saving: Option<f64>,
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
    /// Advice for each part in service, in their order, and for their kit mates; `None` where a price, the labor or the use
    /// to come is not known, unless readings speak for themselves: a part past its limit is
    /// replaced, one that may well reach it this season is looked at.
    #[must_use]
    pub fn advise(&self, outlook: &Outlook) -> Vec<Option<Advised>> {
        if !outlook.kit_mates.units.is_empty() {
            let mut whole = outlook.clone();
            let units = &mut whole.in_service.units;
            units.append(&mut whole.kit_mates.units);
            return self.advise(&whole);
        }
        self.progress.tell(|| Stage::Advising);
        let next = self.next_season(outlook);
        let service = &outlook.in_service;
        let mut by_kind: BTreeMap<(usize, usize, u64), Vec<usize>> = BTreeMap::new();
        for (i, unit) in service.units.iter().enumerate() {
            let kind = (unit.path, unit.line, unit.pieces.to_bits());
            by_kind.entry(kind).or_default().push(i);
        }
        let kinds: Vec<Vec<usize>> = by_kind.into_values().collect();
        let shares = self.kit_shares(outlook);
        let share = |unit: &Unit| {
            let kit = service.lines[unit.line].kit.clone();
            let share = kit.and_then(|kit| shares.get(&(unit.machine, kit)));
            share.copied().unwrap_or(1.0)
        };
        let told: Vec<Vec<(usize, Option<Judged>)>> = kinds
            .par_iter()
            .map(|units| {
                let share = share(&service.units[units[0]]);
                self.judge_kind(outlook, next.as_ref(), units, share)
            })
            .collect();
        let mut judged: Vec<Option<Judged>> = vec![None; service.units.len()];
        for (i, told) in told.into_iter().flatten() {
            judged[i] = told;
        }
        Self::decide_kits(service, &mut judged);
        let advised = |j: Judged| Advised {
            advice: Advice::of(&j.savings, j.age_known),
            // Of a part of unknown age it would be that of a new one.
            saving: j.age_known.then_some(j.saving),
        };
        let decided = judged.into_iter().map(|j| j.map(advised));
        let told = decided.zip(&service.units).map(|(advised, unit)| {
            if unit.readings.is_some() || unit.past_limit {
                self.by_readings(outlook, next.as_ref(), unit, advised)
            } else {
                advised
            }
        });
        let mut told: Vec<Option<Advised>> = told.collect();
        super::kits::follow_the_limit(service, &mut told);
        told
    }

    /// Advice for parts that share path, line and number of pieces, so that one programme serves them all.
    ///
    /// - `next`: as of [`Self::next_season`].
    /// - `share`: what they take of their own labor before a season, done with their kit.
    fn judge_kind(
        &self,
        outlook: &Outlook,
        next: Option<&InService>,
        units: &[usize],
        share: f64,
    ) -> Vec<(usize, Option<Judged>)> {
        let service = &outlook.in_service;
        let first = &service.units[units[0]];
        let nothing = || units.iter().map(|i| (*i, None)).collect();
        let Some(costs) = self.costs(&service.lines[first.line], first.pieces, share) else {
            return nothing();
        };
        if !service.can_forecast(first, &outlook.assessments) {
            return nothing();
        }
        let programmes = self.programmes(outlook, next, units, costs);
        if programmes.is_empty() {
            return nothing();
        }
        let of = |i: &usize| {
            let unit = &service.units[*i];
            let used = unit.age.on_record();
            let seen = self.seen_chance(outlook, next, unit);
            let season = Self::ahead(outlook, next, unit);
            let savings: Vec<f64> = programmes
                .iter()
                .map(|(life, p)| {
                    let age = life.effective(used);
                    let ahead = life.effective(&season);
                    p.saving(seen.map_or(age, |chance| life.age_of_chance(chance, ahead)))
                })
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

    /// Chance that a part reaches its end in the season, by its readings and its family; `None`
    /// without readings that tell anything.
    fn seen_chance(&self, outlook: &Outlook, next: Option<&InService>, unit: &Unit) -> Option<f64> {
        unit.readings.as_ref()?;
        let service = &outlook.in_service;
        let assessment = &outlook.assessments[unit.family];
        let draws = assessment.draws.as_ref()?;
        let paths = service.wear_paths[unit.family].as_ref()?;
        let machine = assessment.lives.place_of(&service.machines[unit.machine]);
        let season = Self::ahead(outlook, next, unit);
        let mut rng = super::bare::stream(self.options.seed, "readings");
        let count = draws.len().min(SEEN_DRAWS);
        let mut chance = 0.0;
        for draw in 0..count {
            let life = DrawnLife::new(draws, draw, machine, &mut rng);
            let crossing = life.crossing(unit, paths.get(draw))?;
            chance += crossing.worn_after(life.effective(&season));
        }
        Some(chance / count as f64)
    }

    /// The limit before the programme: what has reached it is replaced, what may reach it is looked at.
    fn by_readings(
        &self,
        outlook: &Outlook,
        next: Option<&InService>,
        unit: &Unit,
        advised: Option<Advised>,
    ) -> Option<Advised> {
        let of = |advice: Advice| Advised {
            advice,
            saving: advised.and_then(|a| a.saving),
        };
        if unit.past_limit {
            return Some(of(Advice::ReplaceNow));
        }
        let undecided = advised.is_none_or(|a| a.advice == Advice::Run);
        let known = outlook.in_service.can_forecast(unit, &outlook.assessments);
        let near = || {
            let chance = self.seen_chance(outlook, next, unit);
            chance.is_some_and(|c| NEAR <= c)
        };
        if undecided && known && near() {
            return Some(of(Advice::Inspect));
        }
        advised
    }

    /// What is in service as the season after one that has begun sees it: what is left of this one says
    /// nothing of the years to come.
    fn next_season(&self, outlook: &Outlook) -> Option<InService> {
        let season = outlook.season;
        (season.start <= self.as_of).then(|| {
            let next = season.next(self.records.settings.season_start());
            let plan = plan::build(self.planning(), next);
            self.gathered(outlook, &plan, next, next.end)
        })
    }

    /// The path of a part over a whole season: the next one where this one has begun.
    fn whole_season<'b>(
        outlook: &'b Outlook,
        next: Option<&'b InService>,
        unit: &Unit,
    ) -> &'b SeenPath {
        let service = &outlook.in_service;
        let here = &service.paths[unit.path];
        let machine = &service.machines[unit.machine];
        // Another season may know other machines, and then counts them otherwise.
        let is_same = |of: &InService, path: &SeenPath| {
            of.machines[path.machine] == *machine
                && (path.family, &path.bin) == (here.family, &here.bin)
        };
        let next = next.and_then(|next| next.paths.iter().find(|path| is_same(next, path)));
        next.filter(|next| next.path.is_known()).unwrap_or(here)
    }

    /// Use by group in what is left of the season, or in the next one where nothing is.
    fn ahead(outlook: &Outlook, next: Option<&InService>, unit: &Unit) -> Vec<f64> {
        let left = outlook.in_service.paths[unit.path].path.in_season();
        if 0.0 < left.iter().sum::<f64>() {
            return left;
        }
        Self::whole_season(outlook, next, unit).path.in_season()
    }

    fn programmes(
        &self,
        outlook: &Outlook,
        next: Option<&InService>,
        units: &[usize],
        costs: Costs,
    ) -> Vec<(DrawnLife<'static>, Programme)> {
        let unit = &outlook.in_service.units[units[0]];
        let assessment: &Assessment = &outlook.assessments[unit.family];
        let Some(draws) = &assessment.draws else {
            return Vec::new();
        };
        let service = &outlook.in_service;
        let machine = assessment.lives.place_of(&service.machines[unit.machine]);
        let here = &service.paths[unit.path];
        let name = &service.machines[unit.machine];
        let retired = self.records.machine(name).and_then(|m| m.retired);
        let leaves = retired.is_some_and(|date| date <= outlook.season.end);
        let whole = Self::whole_season(outlook, next, unit);
        let season = whole.path.in_season();
        // Where a season has begun, what is left of it.
        let left = (outlook.season.end - self.as_of).num_days() as f64;
        let all = (outlook.season.end - outlook.season.start).num_days() as f64;
        let left = (left / all).min(1.0);
        let discount = 1.0
            / (1.0
                + self
                    .records
                    .settings
                    .holding_rate
                    .unwrap_or(INTEREST)
                    .max(0.01));
        let mut rng = super::bare::stream(self.options.seed, "advice");
        (0..draws.len().min(self.programme_draws()))
            .filter_map(|draw| {
                let life = DrawnLife::new(draws, draw, machine, &mut rng);
                let effective = |used: &[f64]| life.effective(used);
                let hazard = |x: f64| life.hazard(x);
                let used = units.iter().map(|i| service.units[*i].age.on_record());
                let age = used.map(effective).fold(0.0, f64::max);
                let mut first = here.path.days_that_count(effective);
                let exposure = effective(&season);
                // Nothing is planned after the season under way: nothing comes after it.
                if leaves || exposure <= 0.0 {
                    let is_used = 0.0 < first.iter().sum::<f64>();
                    let last =
                        is_used.then(|| Programme::of_the_last_season(hazard, &first, costs, age));
                    return last.map(|programme| (life, programme));
                }
                let days = whole.path.equal_days(effective);
                let season = Season { exposure, days };
                let years = Programme::solve(hazard, season, costs, discount);
                let mut left = left;
                // Nothing is left of it: the next one begins.
                if first.iter().sum::<f64>() <= 0.0 {
                    (first, left) = (whole.path.days_that_count(effective), 1.0);
                }
                let programme = years.after(hazard, &first, discount.powf(left), age);
                Some((life, programme))
            })
            .collect()
    }

    /// By all that is on record, so that asking for one machine gives it the same advice.
    fn programme_draws(&self) -> usize {
        let [small, large] = DRAWS;
        if self.records.positions.len() <= SMALL {
            small
        } else {
            large
        }
    }

    /// In the shop and in season; lost field time counts as far as it is priced.
    fn costs(&self, line: &Line, pieces: f64, share: f64) -> Option<Costs> {
        let settings = &self.records.settings;
        if !line.cost.is_known(settings.labor_rate) {
            return None;
        }
        let alone = line.cost.of_change(pieces, settings.labor_rate);
        let shared = settings.labor_rate.map(|rate| rate * share);
        Some(Costs {
            planned: line.cost.of_change(pieces, shared),
            in_season: alone + self.stop_costs(line, pieces).iter().flatten().sum::<f64>(),
        })
    }

    /// Parts and labor of changing it by itself; `None` where a price or the labor is not known.
    pub(super) fn change_cost(&self, line: &Line, pieces: f64) -> Option<f64> {
        let rate = self.records.settings.labor_rate;
        let known = line.cost.is_known(rate);
        known.then(|| line.cost.of_change(pieces, rate))
    }

    /// What wearing out in season costs more than the same work before it; `None` where nothing of it
    /// is priced, or an hour of lost time is and nobody wrote down how long a stop takes.
    pub(super) fn stop_cost(&self, line: &Line, pieces: f64) -> Option<f64> {
        let [rush, down] = self.stop_costs(line, pieces);
        if down.is_none() && self.records.settings.down_cost_per_hour.is_some() {
            return None;
        }
        (rush.is_some() || down.is_some()).then(|| rush.unwrap_or(0.0) + down.unwrap_or(0.0))
    }

    /// The part's higher price and the lost time, as far as they are known.
    fn stop_costs(&self, line: &Line, pieces: f64) -> [Option<f64>; 2] {
        let settings = &self.records.settings;
        let rush = settings.rush_cost.zip(line.cost.price);
        let down = settings.down_cost_per_hour.zip(line.down_hours);
        [
            rush.map(|(rate, price)| rate * price * pieces),
            down.map(|(rate, hours)| rate * hours),
        ]
    }

    /// Replaces every part for which that is advised, on the first day forecast.
    pub(super) fn replace_as_advised(&self, outlook: &mut Outlook) {
        let advice = self.advise(outlook);
        Self::change_as_advised(outlook, &advice, self.as_of);
    }

    /// The same by advice that is there already.
    pub(super) fn change_as_advised(
        outlook: &mut Outlook,
        advice: &[Option<Advised>],
        as_of: chrono::NaiveDate,
    ) {
        let date = outlook.season.start.max(as_of + chrono::Days::new(1));
        let (service, mates) = (&mut outlook.in_service, &mut outlook.kit_mates);
        let (of_service, of_mates) = advice.split_at(service.units.len());
        let mut rests = BTreeMap::new();
        for (units, due, advice) in [
            (&mut service.units, &mut service.due, of_service),
            (&mut mates.units, &mut mates.due, of_mates),
        ] {
            for (unit, advised) in units.iter_mut().zip(advice) {
                if advised.is_none_or(|a| a.advice != Advice::ReplaceNow) {
                    continue;
                }
                let used = unit.age.on_record();
                unit.age = Age::Known(vec![0.0; used.len()]);
                unit.readings = None;
                unit.path = *rests
                    .entry(unit.path)
                    .or_insert_with_key(|path| rest_of(&mut service.paths, *path, date));
                due.push(Due {
                    machine: unit.machine,
                    position: unit.position.clone(),
                    line: unit.line,
                    date,
                    pieces: unit.pieces,
                    labor: true,
                    worn_on: Some(unit.path),
                });
            }
        }
        super::kits::share_labor(service, &mates.due);
    }
}
