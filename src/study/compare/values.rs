//! The values of a column by life at the same effective exposure: a level of the model each.

use std::collections::BTreeMap;

use super::Case;
use super::money::{Work, change_cost, pieces_that_differ};
use crate::life::Life;
use crate::model::anchor::Anchor;
use crate::model::assess::{Assessment, assess_lives};
use crate::model::family_lives::{FamilyLives, family_lives, leveled_lives};
use crate::model::levels;
use crate::model::profile::Quantity;
use crate::report::Estimate;
use crate::report::compare::{CompareFamily, CompareRow};
use crate::study::teller::{ONE, Teller, inverse, times};

/// Values up to which machines may differ within them; beyond, their joint density takes too long.
const MOST_BESIDE_MACHINES: usize = 12;

/// One value and its lives.
struct Level<'a> {
    value: Option<String>,
    lives: Vec<&'a Life>,
    seen: FamilyLives,
    change_cost: Option<f64>,
}

impl Level<'_> {
    /// Exposure of all its lives, every group counting 1.
    fn used(&self) -> f64 {
        let seen = &self.seen.observations;
        (0..seen.len()).map(|i| seen.plain_end(i)).sum()
    }
}

impl Case<'_> {
    /// Every value as a level: the most used of those with a wear-out is what the others are held
    /// against. A value without a wear-out has a row and no figures.
    ///
    /// - `of_parts`: whether the values are of the parts themselves, so that one can be dearer.
    pub(super) fn values(
        &self,
        value_of: &dyn Fn(&Life) -> Option<String>,
        of_parts: bool,
        notes: &mut Vec<String>,
    ) -> CompareFamily {
        // Whether the dearer part pays is asked of one machine, and not of those that carry more of it.
        let pieces = pieces_that_differ(&self.lives).filter(|_| of_parts);
        let mut levels = self.levels(value_of, pieces);
        let is_priced = levels.iter().any(|l| l.change_cost.is_some());
        if let Some(pieces) = pieces.filter(|_| is_priced) {
            notes.push(format!(
                "{}: places differ in how many pieces they hold, so a change is priced at {pieces:.1} of them on every line",
                self.family.name
            ));
        }
        let (mut fitted, silent): (Vec<Level<'_>>, Vec<Level<'_>>) =
            levels.drain(..).partition(|l| 0.0 < l.seen.counts.worn);
        let base = base(&fitted);
        let mut rows = Vec::new();
        if let Some(base) = base {
            fitted[..=base].rotate_right(1);
            let assessment = self.assess_levels(&fitted, notes);
            let (base, others) = fitted.split_first().expect("the base is one of them");
            let row = Rows {
                case: self,
                teller: self.teller(&assessment),
                work: Work::new(
                    self.study,
                    &self.lives,
                    self.all.measure,
                    &assessment.lives.groups,
                ),
                base,
                of_parts,
            };
            rows.push(row.of(0, base));
            rows.extend(others.iter().enumerate().map(|(i, l)| row.of(i + 1, l)));
        }
        rows.extend(silent.iter().map(without_wear));
        // The value that nobody wrote down comes last.
        rows.sort_by_key(|r| (!r.is_base, r.value.is_none(), r.value.clone()));
        CompareFamily {
            family: self.family.name.clone(),
            measure: self.all.measure,
            rows,
        }
    }

    fn levels<'b>(
        &'b self,
        value_of: &dyn Fn(&Life) -> Option<String>,
        pieces: Option<f64>,
    ) -> Vec<Level<'b>> {
        let mut by_value: BTreeMap<Option<String>, Vec<&Life>> = BTreeMap::new();
        for life in &self.lives {
            by_value.entry(value_of(life)).or_default().push(life);
        }
        by_value
            .into_iter()
            .map(|(value, lives)| Level {
                seen: family_lives(&lives, self.all.measure, &self.study.groups, &[]),
                change_cost: change_cost(self.study, self.family, &lives, pieces),
                value,
                lives,
            })
            .collect()
    }

    fn assess_levels(&self, levels: &[Level<'_>], notes: &mut Vec<String>) -> Assessment {
        let leveled: Vec<(&Life, usize)> = levels
            .iter()
            .enumerate()
            .flat_map(|(i, level)| level.lives.iter().map(move |l| (*l, i)))
            .collect();
        let lives = leveled_lives(
            &leveled,
            levels.len(),
            self.all.measure,
            &self.study.groups,
            &self.all.groups,
        );
        let mut wanted = self.wanted();
        if MOST_BESIDE_MACHINES < levels.len() && wanted.machine_effect {
            wanted.machine_effect = false;
            notes.push(format!(
                "{}: with so many values ({}) machines are taken as alike, so what looks like a value's may be its machines'; `compare --by machine` shows these",
                self.family.name,
                levels.len()
            ));
        }
        let assessment = assess_lives(self.family, lives, wanted, Vec::new());
        notes.extend(assessment.notes.iter().cloned());
        assessment
    }
}

/// The most used level of those that are written down, or else of all.
fn base(levels: &[Level<'_>]) -> Option<usize> {
    let all: f64 = levels.iter().map(Level::used).sum();
    // Use that differs by rounding alone is the same: then the one with more wear-outs.
    let key = |l: &Level<'_>| {
        let share = (1e6 * l.used() / all).round();
        (l.value.is_some(), share, l.seen.counts.worn)
    };
    // The first of those that are used alike: sorted by value, so that no order of rows matters.
    (0..levels.len()).rev().max_by(|a, b| {
        let (a, b) = (key(&levels[*a]), key(&levels[*b]));
        let worn = a.2.total_cmp(&b.2);
        a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)).then(worn)
    })
}

fn without_wear(level: &Level<'_>) -> CompareRow {
    let note = if level.seen.counts.lives <= 0.0 {
        "none of its lives can be used: when they began, or their use, is not known"
    } else {
        "nothing of it has worn out yet, so its life cannot be told"
    };
    CompareRow {
        value: level.value.clone(),
        lives: level.seen.counts.lives,
        change_cost: level.change_cost,
        note: Some(note.to_owned()),
        ..CompareRow::default()
    }
}

/// Makes the rows of levels with wear-outs.
struct Rows<'a> {
    case: &'a Case<'a>,
    teller: Teller<'a>,
    work: Option<Work>,
    base: &'a Level<'a>,
    /// Whether the values are of the parts themselves.
    of_parts: bool,
}

impl Rows<'_> {
    fn of(&self, index: usize, level: &Level<'_>) -> CompareRow {
        let ratio = self.ratio(index);
        let mut row = CompareRow {
            value: level.value.clone(),
            is_base: index == 0,
            lives: level.seen.counts.lives,
            worn: level.seen.counts.worn,
            life_ratio: ratio,
            wear_factor: ratio.and_then(inverse),
            life50: self.median(index),
            change_cost: level.change_cost,
            cost_per_acre: self.cost(index, level),
            ..CompareRow::default()
        };
        if index == 0 {
            row.cost_ratio = row.cost_per_acre.map(|_| ONE);
        } else {
            self.against_base(index, level, &mut row);
        }
        row.note = note(index, level, &row);
        row
    }

    fn ln_ratio(&self, index: usize) -> impl Fn(&[f64]) -> f64 {
        let place = (index != 0).then(|| self.teller.place(index));
        move |theta| place.map_or(0.0, |p| theta[p])
    }

    /// Log ratio of what a change lasts: of cycles, or of lives where the work is not known or no draws
    /// are made.
    fn ln_lasting(&self, index: usize) -> impl Fn(&[f64]) -> f64 {
        let ratio = self.ln_ratio(index);
        let work = self.work.as_ref().filter(|_| self.teller.priors);
        move |theta| {
            let of_life = ratio(theta);
            work.map_or(of_life, |work| {
                let life = self.teller.ln_life(Anchor::Mean, theta);
                work.ln_cycle(life + of_life, theta) - work.ln_cycle(life, theta)
            })
        }
    }

    /// What the work costs against the base, were a change to cost the same.
    fn cost_by_wear(&self, index: usize, row: &CompareRow) -> Option<Estimate> {
        if index == 0 || !self.teller.priors {
            return row.wear_factor;
        }
        let lasting = self.ln_lasting(index);
        self.teller.told(|theta| -lasting(theta))
    }

    fn ratio(&self, index: usize) -> Option<Estimate> {
        if index == 0 {
            return Some(ONE);
        }
        if self.teller.priors {
            return self.teller.told(self.ln_ratio(index));
        }
        self.teller.profile(Quantity::Level(index))
    }

    fn median(&self, index: usize) -> Option<Estimate> {
        if !self.teller.priors {
            return self
                .teller
                .profile_median(&self.teller.lives().with_base(index));
        }
        let ratio = self.ln_ratio(index);
        let median = Anchor::Quantile(0.5);
        self.teller
            .told(|theta| self.teller.ln_life(median, theta) + ratio(theta))
    }

    fn cost(&self, index: usize, level: &Level<'_>) -> Option<Estimate> {
        let work = self.work.as_ref()?;
        let change = level.change_cost.filter(|c| 0.0 < *c)?;
        let ratio = self.ln_ratio(index);
        self.teller.told_by_draw(|draw, theta| {
            let life = self.teller.ln_life(Anchor::Mean, theta) + ratio(theta);
            let effect = |machine: &str| self.teller.effect(draw, machine);
            let changes = work.ln_changes(None, life, theta, effect);
            change.ln() + work.exposure_per_acre(theta).ln() + changes
        })
    }

    fn against_base(&self, index: usize, level: &Level<'_>, row: &mut CompareRow) {
        let assessment = self.teller.assessment;
        let machine_effect = self.case.wanted().machine_effect;
        row.p_value = assessment
            .likeliest
            .as_ref()
            .ok()
            .and_then(|fit| levels::p_value(fit, self.teller.lives(), index, machine_effect));
        row.chance_longer = self.chance_above(index, 0.0);
        let costs = self
            .base
            .change_cost
            .zip(level.change_cost)
            .filter(|(base, own)| self.of_parts && 0.0 < *base && 0.0 < *own);
        let price = costs.map(|(base, own)| own / base);
        // Sites and machines do not set what a change costs: there, cost goes by wear alone.
        let known = price.or((!self.of_parts).then_some(1.0));
        row.cost_ratio = known.and_then(|p| Some(times(self.cost_by_wear(index, row)?, p)));
        // Prices that differ by rounding alone are the same.
        row.dearer = price.filter(|p| 1e-9 < (p - 1.0).abs()).map(|p| 1.0 < p);
        row.chance_dearer_pays = row.dearer.zip(price).and_then(|(dearer, price)| {
            let pays = self.chance_above(index, price.ln())?;
            Some(if dearer { pays } else { 1.0 - pays })
        });
        row.more_to_settle = self.more_to_settle(index, level, price.unwrap_or(1.0).ln());
    }

    /// Chance that a change lasts longer than the base's by more than a factor, of which the logarithm is
    /// given.
    fn chance_above(&self, index: usize, ln_ratio: f64) -> Option<f64> {
        if !self.teller.priors {
            let fit = self.teller.assessment.likeliest.as_ref().ok()?;
            return levels::chance_above(fit, self.teller.lives(), index, ln_ratio);
        }
        let draws = self.teller.assessment.draws.as_ref()?;
        let own = self.ln_lasting(index);
        let above = draws.iter().filter(|theta| ln_ratio < own(theta)).count();
        Some(above as f64 / draws.len() as f64)
    }

    /// Wear-outs more, of both together, until the interval of the log cost ratio (of the log life
    /// ratio, where both cost the same or a price is unknown) would leave 0 out if the estimate is
    /// right and its width goes on falling with the square root of their number.
    fn more_to_settle(&self, index: usize, level: &Level<'_>, break_even: f64) -> Option<f64> {
        /// More than anybody will see: the two cost the same as far as records can ever tell.
        const NEVER: f64 = 10_000.0;
        let (center, sd) = self.teller.center(self.ln_lasting(index))?;
        let worn = self.base.seen.counts.worn + level.seen.counts.worn;
        let share = self.teller.reach() * sd / (center - break_even).abs();
        let more = (worn * share * share - worn).ceil().max(0.0);
        (more < NEVER).then_some(more)
    }
}

/// What a reader of a row with figures must know.
fn note(index: usize, level: &Level<'_>, row: &CompareRow) -> Option<String> {
    if row.life50.is_none() {
        return Some(if level.seen.counts.worn < 2.0 {
            "one wear-out alone sets no limits on its life".to_owned()
        } else {
            "the records set no limits on its life; `--reference` another product may find some"
                .to_owned()
        });
    }
    if level.change_cost.is_none() {
        return Some("a price or labor hours of its parts are not known, so no cost".to_owned());
    }
    let thin = level.seen.counts.worn < 2.0 && index != 0;
    thin.then(|| "a single wear-out: a first impression, no more".to_owned())
}
