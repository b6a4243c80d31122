//! What happened in a season, counted and priced as a forecast counts and prices it.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use crate::cost::{self, PartCost};
use crate::family::Counted;
use crate::forecast::Season;
use crate::life::Ending;
use crate::record::{Machine, Reason};
use crate::study::Study;

/// Replacements and money of a season.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Tally {
    /// Replacements by family.
    pub counts: BTreeMap<String, f64>,
    /// Parts and labor of them.
    pub money: f64,
    /// Changes by decision, which are neither forecast nor counted.
    pub decisions: usize,
    /// Changes of some pieces of a set: money, but no replacement of the set.
    pub partial: usize,
}

impl Tally {
    /// Replacements of a family.
    #[must_use]
    pub fn count(&self, family: &str) -> f64 {
        self.counts.get(family).copied().unwrap_or(0.0)
    }

    fn add(&mut self, other: &Self, share: f64) {
        for (family, count) in &other.counts {
            *self.counts.entry(family.clone()).or_default() += count * share;
        }
        self.money += other.money * share;
        self.decisions += other.decisions;
        self.partial += other.partial;
    }
}

/// Looks up what happened to the positions that a forecast knew, at the forecast's prices.
#[derive(Clone, Copy, Debug)]
pub struct Happened<'a> {
    /// All the records.
    pub all: &'a Study,
    /// What the forecast knew.
    pub past: &'a Study,
}

impl<'a> Happened<'a> {
    /// Machines in service when the forecast was made.
    pub fn machines(self) -> impl Iterator<Item = &'a Machine> {
        let machines = self.past.records.machines.iter();
        machines.filter(move |m| m.retired.is_none() && self.past.wants_machine(&m.name))
    }

    /// What happened in a season, over the machines.
    #[must_use]
    pub fn in_season(self, season: Season) -> Tally {
        self.over_machines(|machine| self.of_machine(machine, season))
    }

    /// The budget 'as the average of the seasons before `season`': the mean of each machine's
    /// seasons that are whole on record, or of what there is where none is.
    #[must_use]
    pub fn average_before(self, season: Season) -> Tally {
        self.over_machines(|machine| {
            let seasons = self.seasons_before(machine, season);
            let share = 1.0 / seasons.len().max(1) as f64;
            let mut mean = Tally::default();
            for past in seasons {
                mean.add(&self.of_machine(machine, past), share);
            }
            mean
        })
    }

    fn over_machines(self, of: impl Fn(&Machine) -> Tally) -> Tally {
        let mut sum = Tally::default();
        for machine in self.machines() {
            sum.add(&of(machine), 1.0);
        }
        sum
    }

    fn seasons_before(self, machine: &Machine, season: Season) -> Vec<Season> {
        let starts = self.all.records.settings.season_start();
        let begin = machine.records_from.max(machine.in_service);
        let seasons: Vec<Season> = (Season::of(begin, starts).year..season.year)
            .map(|year| Season::ending_in(year, starts))
            .collect();
        let whole: Vec<Season> = seasons
            .iter()
            .copied()
            .filter(|s| begin <= s.start)
            .collect();
        if whole.is_empty() { seasons } else { whole }
    }

    /// What happened to one machine in a season.
    fn of_machine(self, machine: &Machine, season: Season) -> Tally {
        /// Money of labor by position.
        type Jobs<'a> = BTreeMap<&'a str, f64>;
        let mut tally = Tally::default();
        // Scheduled work of one kit on one day: the longest job holds the others, as in the forecast.
        let mut kits: BTreeMap<(Option<NaiveDate>, &str), Jobs<'_>> = BTreeMap::new();
        let known = |name: &str, position: &str| {
            name == machine.name && self.past.records.position(name, position).is_some()
        };
        for life in &self.all.built.lives {
            let here = known(&life.machine, &life.position)
                && self.past.wants_family(&life.family)
                && life.removed.is_some_and(|date| season.holds(date));
            if !here || life.ended == Ending::Retired {
                continue;
            }
            if !self.counts(life.ended, &life.family) {
                tally.decisions += 1;
                continue;
            }
            *tally.counts.entry(life.family.clone()).or_default() += 1.0;
            let kit = self
                .past
                .records
                .part(&life.part)
                .and_then(|p| p.kit.as_deref());
            if let Some(kit) = kit.filter(|_| self.scheduled(&life.family)) {
                let cost = self.cost(&life.part, &life.family);
                // All of a position are one job, and the longest job is the kit's.
                let jobs = kits.entry((life.removed, kit)).or_default();
                *jobs.entry(&life.position).or_default() += cost.of_change(0.0, self.labor_rate());
                tally.money += cost.of_change(life.pieces, None);
            } else {
                tally.money += self.money(&life.part, &life.family, life.pieces);
            }
        }
        let longest = |jobs: &Jobs<'_>| jobs.values().copied().fold(0.0, f64::max);
        tally.money += kits.values().map(longest).sum::<f64>();
        for change in &self.all.built.partial {
            let here = known(&change.machine, &change.position)
                && self.past.wants_family(&change.family)
                && season.holds(change.date);
            let forced = !matches!(change.reason, Reason::Planned | Reason::Upgrade);
            if here && forced {
                tally.partial += 1;
                tally.money += self.money(&change.part, &change.family, change.quantity);
            }
        }
        tally
    }

    /// Whether a forecast under policy `run` counts such an ending: wear and damage, and every
    /// change of what is changed by schedule.
    fn counts(self, ended: Ending, family: &str) -> bool {
        match ended {
            Ending::Worn | Ending::Broken | Ending::Damage => true,
            Ending::Planned | Ending::Upgrade => self.scheduled(family),
            Ending::Retired | Ending::Running => false,
        }
    }

    fn scheduled(self, family: &str) -> bool {
        self.past.families.get(family).service.is_some()
    }

    /// Money of one change, as a forecast made then prices it.
    fn money(self, part: &str, family: &str, pieces: f64) -> f64 {
        self.cost(part, family).of_change(pieces, self.labor_rate())
    }

    fn cost(self, part: &str, family: &str) -> PartCost {
        cost::part_cost(
            &self.past.records,
            &self.past.supersession,
            part,
            self.past.families.get(family).counted == Counted::Set,
            self.past.as_of,
        )
    }

    fn labor_rate(self) -> Option<f64> {
        self.past.records.settings.labor_rate
    }
}
