//! Product groups by their wear factors, and what wear each of them costs.

use super::Case;
use super::money::{Spread, Work, change_cost};
use crate::family::Family;
use crate::forecast::summary::quantile;
use crate::life::Life;
use crate::model::anchor::Anchor;
use crate::model::assess::{Assessment, assess_lives};
use crate::model::family_lives::family_lives;
use crate::model::goodness::factor_p;
use crate::model::levels;
use crate::model::profile::Quantity;
use crate::report::Estimate;
use crate::report::compare::{CompareFamily, CompareRow, ProductTotal};
use crate::report::fits::at_odds;
use crate::study::teller::{ONE, Teller, inverse};
use crate::study::{DRAWS, Study};
use crate::units::Measure;

impl Case<'_> {
    /// A row a product group that was spread on the family's machines.
    pub(super) fn products(&self, totals: &mut Totals, notes: &mut Vec<String>) -> CompareFamily {
        let assessment = assess_lives(self.family, self.all.clone(), self.wanted(), Vec::new());
        notes.extend(assessment.notes.iter().cloned());
        let by_calendar = self.all.measure == Measure::Days;
        let work = Work::new(
            self.study,
            &self.lives,
            self.all.measure,
            &assessment.lives.groups,
        );
        let rows = Rows {
            case: self,
            teller: self.teller(&assessment),
            change: change_cost(self.study, self.family, &self.lives, None).filter(|c| 0.0 < *c),
            work: work.as_ref(),
        };
        let names = self.study.groups.names();
        let seen: Vec<usize> = if by_calendar {
            let spread = |g: &usize| work.as_ref().is_some_and(|w| 0.0 < w.acres[*g]);
            (0..names.len()).filter(spread).collect()
        } else {
            let place = |n: &String| names.binary_search(n).ok();
            assessment.lives.groups.iter().filter_map(place).collect()
        };
        let made = seen.iter().enumerate().map(|(i, place)| {
            let index = if by_calendar { None } else { Some(i) };
            rows.of(index, *place, totals)
        });
        let made = made.collect();
        CompareFamily {
            family: self.family.name.clone(),
            measure: self.all.measure,
            rows: made,
        }
    }
}

/// Makes the rows of one family.
struct Rows<'a> {
    case: &'a Case<'a>,
    teller: Teller<'a>,
    change: Option<f64>,
    work: Option<&'a Work>,
}

impl Rows<'_> {
    /// - `index`: of the group among the family's; `None` where the family ages by the calendar.
    /// - `place`: of the group among all.
    fn of(&self, index: Option<usize>, place: usize, totals: &mut Totals) -> CompareRow {
        let study = self.case.study;
        let name = &study.groups.names()[place];
        let counts = self.counts(name, index.is_none());
        let factor = index.and_then(|i| self.factor(i));
        let cost_per_acre = self.cost(index, place, totals);
        let per_ton = self.work.and_then(|w| {
            let (acres, tons) = (w.acres[place], w.tons[place]);
            (tons.is_finite() && 0.0 < tons).then(|| acres / tons)
        });
        let likeliest = self.teller.assessment.likeliest.as_ref().ok();
        let p_value = index
            .filter(|i| 0 < *i)
            .and_then(|i| likeliest.and_then(|fit| factor_p(fit, self.teller.lives(), i)));
        let note = match index {
            None => Some("ages by the calendar, alike under every product"),
            Some(i) if factor.is_none() && 0 < i => {
                Some("nothing has worn out that saw it, so its wear cannot be told")
            }
            Some(_) if factor.zip(p_value).is_some_and(|(f, p)| at_odds(&f, p)) => Some(
                "p takes all machines as alike and the records alone, the range does not; where they differ, believe the range",
            ),
            Some(_) if self.change.is_none() => {
                Some("a price or labor hours of its parts are not known, so no cost")
            }
            Some(_) => None,
        };
        CompareRow {
            value: Some(name.clone()),
            is_base: index == Some(0),
            lives: counts.0,
            worn: counts.1,
            wear_factor: factor,
            life_ratio: factor.and_then(inverse),
            life50: self.median(index.unwrap_or(0)),
            change_cost: self.change,
            cost_per_acre,
            cost_per_ton: cost_per_acre
                .zip(per_ton)
                .map(|(cost, acres)| crate::study::teller::times(cost, acres)),
            p_value,
            note: note.map(str::to_owned),
            ..CompareRow::default()
        }
    }

    /// Lives in the fit that saw the group, and how many of them wore out.
    fn counts(&self, group: &str, all: bool) -> (f64, f64) {
        let case = self.case;
        let measure = case.all.measure;
        let saw = |l: &&&Life| {
            let used = l.groups.get(group).and_then(|g| g.end.get(measure));
            all || used.is_some_and(|u| 0.0 < u)
        };
        let lives: Vec<&Life> = case.lives.iter().filter(saw).copied().collect();
        let counts = family_lives(&lives, measure, &case.study.groups, &[]).counts;
        (counts.lives, counts.worn)
    }

    fn ln_factor(index: usize) -> impl Fn(&[f64]) -> f64 {
        move |theta| if index == 0 { 0.0 } else { theta[index + 1] }
    }

    fn factor(&self, index: usize) -> Option<Estimate> {
        if index == 0 {
            return Some(ONE);
        }
        if self.teller.priors {
            return self.teller.told(Self::ln_factor(index));
        }
        self.teller.profile(Quantity::Factor(index))
    }

    /// Half are worn out by this if nothing but the group is spread.
    fn median(&self, index: usize) -> Option<Estimate> {
        let lives = self.teller.lives();
        if !self.teller.priors {
            let told = index == 0 || lives.worn_under(index);
            return told
                .then(|| self.teller.profile_median(&lives.with_reference(index)))
                .flatten();
        }
        let factor = Self::ln_factor(index);
        let median = Anchor::Quantile(0.5);
        self.teller
            .told(|theta| self.teller.ln_life(median, theta) - factor(theta))
    }

    fn cost(&self, index: Option<usize>, place: usize, totals: &mut Totals) -> Option<Estimate> {
        let ln = self.work.zip(self.change).and_then(|(work, change)| {
            // What ages by the calendar is spread over all acres alike.
            let (used, acres) = match index {
                None => (work.by_group[0], work.all_acres()),
                Some(i) => (work.by_group[i], work.acres[place]),
            };
            let per_acre = change * used / acres;
            let factor = Self::ln_factor(index.unwrap_or(0));
            let teller = self.teller;
            let of_group = Some(index.unwrap_or(0));
            let ln = move |draw: Option<usize>, theta: &[f64]| {
                let life = teller.ln_life(Anchor::Mean, theta);
                let effect = |machine: &str| teller.effect(draw, machine);
                per_acre.ln() + factor(theta) + work.ln_changes(of_group, life, theta, effect)
            };
            (per_acre.is_finite() && 0.0 < per_acre).then_some(ln)
        });
        // A product that no part of the family has seen adds nothing to what all of them cost.
        let is_seen = |w: &Work| index.is_none_or(|i| 0.0 < w.by_group[i]);
        if self.work.is_none_or(is_seen) {
            let acres = self.work.map(|work| work.acres[place]);
            totals.add(place, self.teller.assessment, ln.as_ref(), acres);
        }
        self.teller.told_by_draw(ln?)
    }
}

/// Cost per acre of each product group, over families.
pub(super) struct Totals {
    priors: bool,
    level: f64,
    names: Vec<String>,
    /// Under any of the families; `None` where some acres are unknown.
    spread: Option<Spread>,
    groups: Vec<Option<Sum>>,
}

/// The sum over families so far.
#[derive(Clone)]
struct Sum {
    /// By draw; a single value without priors.
    values: Vec<f64>,
    /// Variance without priors: families are estimated apart.
    variance: f64,
    /// Whether any family's cost is unknown.
    unknown: bool,
}

impl Totals {
    /// Of the families that are asked for.
    pub(super) fn new(study: &Study, families: &[Family]) -> Self {
        let is_asked = |life: &&Life| {
            study.wants_machine(&life.machine) && families.iter().any(|f| f.name == life.family)
        };
        let lives: Vec<&Life> = study.built.lives.iter().filter(is_asked).collect();
        let names = study.groups.names().to_vec();
        Self {
            priors: study.options.priors,
            level: study.options.level,
            spread: Spread::under(study, &lives),
            groups: vec![None; names.len()],
            names,
        }
    }

    fn add(
        &mut self,
        place: usize,
        assessment: &Assessment,
        ln: Option<&impl Fn(Option<usize>, &[f64]) -> f64>,
        acres: Option<f64>,
    ) {
        let of_all = self.spread.as_ref().map(|spread| spread.acres[place]);
        let count = if self.priors { DRAWS } else { 1 };
        let sum = self.groups[place].get_or_insert_with(|| Sum {
            values: vec![0.0; count],
            variance: 0.0,
            unknown: false,
        });
        let draws = assessment.draws.as_ref();
        let likeliest = assessment.likeliest.as_ref().ok();
        let (Some(ln), Some(share), true) = (
            ln,
            acres.zip(of_all).map(|(acres, all)| acres / all),
            if self.priors {
                draws.is_some()
            } else {
                likeliest.is_some()
            },
        ) else {
            sum.unknown = true;
            return;
        };
        if let Some(draws) = draws.filter(|_| self.priors) {
            // Draws of different families are independent, whatever order they are added in.
            for (i, value) in sum.values.iter_mut().enumerate() {
                let draw = i % draws.len();
                *value += share * ln(Some(draw), draws.get(draw)).exp();
            }
        } else if let Some((value, sd)) =
            likeliest.and_then(|fit| levels::delta(fit, |theta| ln(None, theta)))
        {
            sum.values[0] += share * value.exp();
            sum.variance += (share * value.exp() * sd).powi(2);
        } else {
            sum.unknown = true;
        }
    }

    /// The sums; unknown where any family's part of it is.
    pub(super) fn told(self) -> Vec<ProductTotal> {
        let (priors, level) = (self.priors, self.level);
        let spread = self.spread;
        let per_ton = |place: usize| {
            let spread = spread.as_ref()?;
            let (acres, tons) = (spread.acres[place], spread.tons[place]);
            (0.0 < tons).then(|| acres / tons)
        };
        let lines = self.names.into_iter().zip(self.groups).enumerate();
        lines
            .filter_map(|(place, (group, sum))| {
                let sum = sum?;
                let cost = (!sum.unknown).then(|| estimate(&sum, priors, level));
                Some(ProductTotal {
                    group,
                    cost_per_acre: cost,
                    cost_per_ton: cost
                        .zip(per_ton(place))
                        .map(|(c, acres)| crate::study::teller::times(c, acres)),
                })
            })
            .collect()
    }
}

fn estimate(sum: &Sum, priors: bool, level: f64) -> Estimate {
    if !priors {
        let value = sum.values[0];
        let reach = crate::study::teller::reach(level) * sum.variance.sqrt() / value;
        return Estimate {
            estimate: value,
            low: Some(value * (-reach).exp()),
            high: Some(value * reach.exp()),
        };
    }
    let mut sorted = sum.values.clone();
    sorted.sort_by(f64::total_cmp);
    let tail = (1.0 - level) / 2.0;
    Estimate {
        estimate: quantile(&sorted, 0.5),
        low: Some(quantile(&sorted, tail)),
        high: Some(quantile(&sorted, 1.0 - tail)),
    }
}
