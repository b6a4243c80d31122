//! Everything in service whose end costs money: each part with its age, its path and its line.

mod age;
mod labor;

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use chrono::NaiveDate;

pub use age::{Age, Before};

use super::damage::{self, EventRate, SinglePieces};
use super::day_sizes::DaySizes;
use super::path::{self, FuturePath, View};
use super::plan::Plan;
use super::season::Season;
use crate::cost::{self, PartCost};
use crate::degradation::{FamilyPath, Measured};
use crate::family::Counted;
use crate::life::build::{Built, Context, PartialChange};
use crate::life::{Ending, Life};
use crate::model::assess::Assessment;
use crate::record::Reason;
use crate::units::Measure;

/// A part in service.
#[derive(Clone, Debug, PartialEq)]
pub struct Unit {
    /// Place of its machine in [`InService::machines`].
    pub machine: usize,
    /// Position.
    pub position: String,
    /// Which of several.
    pub slot: Option<String>,
    /// Day it was fitted.
    pub fitted: Option<NaiveDate>,
    /// Place of its family in the assessments.
    pub family: usize,
    /// Place of its line in [`InService::lines`].
    pub line: usize,
    /// Place of its path in [`InService::paths`].
    pub path: usize,
    /// Use so far.
    pub age: Age,
    /// Pieces a replacement takes.
    pub pieces: f64,
    /// Its measured wear; `None` where nobody measured it.
    pub readings: Option<UnitReadings>,
    /// Whether it is at or past its limit: by a reading, or by its age where that is the gauge.
    pub past_limit: bool,
}

/// Measured wear of a part in service.
#[derive(Clone, Debug, PartialEq)]
pub struct UnitReadings {
    /// Place among the measured lives.
    pub measured: usize,
    /// Use since new by the family's groups, and share of the way to the limit.
    pub path: Vec<(Vec<f64>, f64)>,
    /// Use that counts for a part swapped out unrecorded.
    pub skipped: Vec<f64>,
}

/// A part number of the forecast.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// Family.
    pub family: String,
    /// Newest part number.
    pub part: String,
    /// Whether it is changed by schedule.
    pub scheduled: bool,
    /// Price and time.
    pub cost: PartCost,
    /// Field time a wear-out of the family costs.
    pub down_hours: Option<f64>,
    /// Kit of the parts list: what is done together on one machine.
    pub kit: Option<String>,
}

/// A path and the place of its groups in the family's groups.
#[derive(Clone, Debug, PartialEq)]
pub struct SeenPath {
    /// Machine.
    pub machine: usize,
    /// Bin.
    pub bin: Option<String>,
    /// Place of the family in the assessments: its groups are the columns of `path`.
    pub family: usize,
    /// Days to come; one column for each group of the family. Families that go by the same
    /// measure and groups share it.
    pub path: Arc<FuturePath>,
    /// Where it is the rest of another path from the day on which parts are changed: the place of
    /// that path, and the day.
    pub rest_of: Option<(usize, NaiveDate)>,
}

/// The place of a path's days from `date` on: what is fitted then has not seen those before.
pub fn rest_of(paths: &mut Vec<SeenPath>, path: usize, date: NaiveDate) -> usize {
    let first = paths[path].path.dates.first();
    if first.is_none_or(|first| date <= *first) {
        return path;
    }
    add_rest(paths, path, date);
    paths.len() - 1
}

fn add_rest(paths: &mut Vec<SeenPath>, path: usize, date: NaiveDate) {
    let rest = SeenPath {
        path: Arc::new(paths[path].path.from(date)),
        rest_of: Some((path, date)),
        ..paths[path].clone()
    };
    paths.push(rest);
}

/// A due date of scheduled work.
#[derive(Clone, Debug, PartialEq)]
pub struct Due {
    /// Place of its machine.
    pub machine: usize,
    /// Position.
    pub position: String,
    /// Place of its line.
    pub line: usize,
    /// The day.
    pub date: NaiveDate,
    /// Pieces it takes.
    pub pieces: f64,
    /// Whether its labor counts: not where the same hours already count for another part of its kit.
    pub labor: bool,
    /// Place of the path that wore it, of a part that wears and is changed before it is worn out.
    pub worn_on: Option<usize>,
}

/// Everything in service.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct InService {
    /// Names of machines with anything in service or planned.
    pub machines: Vec<String>,
    /// Parts that wear.
    pub units: Vec<Unit>,
    /// Part numbers.
    pub lines: Vec<Line>,
    /// Paths.
    pub paths: Vec<SeenPath>,
    /// Damage by family, in the order of the assessments.
    pub damage: Vec<EventRate>,
    /// Single pieces changed in sets by family, in the order of the assessments; `None` where
    /// there were none.
    pub singles: Vec<Option<SinglePieces>>,
    /// Paths of measured wear by family, likewise.
    pub wear_paths: Vec<Option<FamilyPath>>,
    /// Machine and line of schedules that rest on use that is not known.
    pub unclear: BTreeSet<(usize, usize)>,
    /// Machine and line of every part that is changed by schedule, also where nothing falls due.
    pub scheduled: BTreeSet<(usize, usize)>,
    /// Scheduled work that falls due in what is left of the season.
    pub due: Vec<Due>,
    /// Scheduled work that falls due before the season begins, and is in none of its figures.
    pub due_before: Vec<Due>,
    /// Sentences for the results.
    pub notes: Vec<String>,
}

/// What the gathering looks things up in.
#[derive(Clone, Copy, Debug)]
pub struct Gathering<'a> {
    /// Records, families, groups, sums, part numbers, as-of date.
    pub context: Context<'a>,
    /// The lives.
    pub built: &'a Built,
    /// One for each wearing family, by name.
    pub assessments: &'a [Assessment],
    /// What inspections tell.
    pub measured: &'a Measured,
    /// Use to come.
    pub plan: &'a Plan,
    /// Use of a season that is whole, where that forecast is not.
    pub whole: Option<&'a (Season, Plan)>,
    /// Sizes of days on record.
    pub sizes: &'a DaySizes,
    /// Machines of which nothing is recorded: their parts may be of any age.
    pub silent: &'a BTreeSet<String>,
    /// The season forecast.
    pub season: Season,
    /// Last day laid out.
    pub until: NaiveDate,
}

impl InService {
    /// Takes other days to come: those of every path, and of what is left of some from the day on which
    /// parts are changed. Paths of one machine, bin and family keep their places.
    pub fn with_paths(&mut self, paths: Vec<SeenPath>) {
        let rests: Vec<_> = self.paths.iter().filter_map(|p| p.rest_of).collect();
        self.paths = paths;
        for (path, date) in rests {
            add_rest(&mut self.paths, path, date);
        }
    }

    /// Whether all that a part's forecast rests on is known: its use to come, and its family's life.
    #[must_use]
    pub fn can_forecast(&self, unit: &Unit, assessments: &[Assessment]) -> bool {
        self.paths[unit.path].path.is_known() && assessments[unit.family].draws.is_some()
    }
}

/// Gathers everything in service on the as-of date.
#[must_use]
pub fn gather(gathering: Gathering<'_>) -> InService {
    let mut gatherer = Gatherer {
        gathering,
        out: InService::default(),
        lines: BTreeMap::new(),
        paths: BTreeMap::new(),
        days: BTreeMap::new(),
    };
    gatherer.machines();
    gatherer.damage();
    gatherer
        .out
        .wear_paths
        .clone_from(&gathering.measured.paths);
    for (place, life) in gathering.built.lives.iter().enumerate() {
        if life.ended == Ending::Running {
            gatherer.add(place, life);
        }
    }
    gatherer.out
}

struct Gatherer<'a> {
    gathering: Gathering<'a>,
    out: InService,
    lines: BTreeMap<(String, String), usize>,
    paths: BTreeMap<(usize, Option<String>, usize), usize>,
    days: BTreeMap<DaysKey, Arc<FuturePath>>,
}

/// What days to come go by: machine, bin, measure, clock of damage, places of the groups.
type DaysKey = (usize, Option<String>, Measure, Measure, Vec<Option<usize>>);

impl<'a> Gatherer<'a> {
    fn machines(&mut self) {
        let planned = self.gathering.plan.uses.iter().map(|u| u.machine.clone());
        let lives = &self.gathering.built.lives;
        let running = lives.iter().filter(|l| l.ended == Ending::Running);
        self.out.machines = planned.chain(running.map(|l| l.machine.clone())).collect();
        self.out.machines.sort();
        self.out.machines.dedup();
    }

    fn damage(&mut self) {
        for assessment in self.gathering.assessments {
            let of_family = self.gathering.built.lives.iter();
            let lives: Vec<&Life> = of_family
                .filter(|l| l.family == assessment.family.name)
                .collect();
            let clock = damage::clock(&lives, self.gathering.plan);
            let damage = EventRate::of(&lives, clock, |l| l.ended == Ending::Damage);
            self.out.damage.push(damage);
            let singles = self.singles(&assessment.family.name, &lives, clock);
            self.out.singles.push(singles);
        }
    }

    /// Pieces changed singly because they had to be: not by decision.
    fn singles(&self, family: &str, lives: &[&Life], clock: Measure) -> Option<SinglePieces> {
        let forced = |c: &&PartialChange| {
            c.family == family && !matches!(c.reason, Reason::Planned | Reason::Upgrade)
        };
        let partial = self.gathering.built.partial.iter().filter(forced);
        // Where one is all there is, it is the set.
        let mut sets = lives.to_vec();
        sets.retain(|life| 1.0 < life.pieces);
        // A set whose use nobody knows tells nothing of how often.
        let is_told = |change: &&PartialChange| {
            let known = |life: &&&Life| life.observed[clock.index()].is_some();
            sets.iter().filter(known).any(|life| change.is_of(life))
        };
        let told = partial.clone().filter(is_told).count();
        let pieces: Vec<f64> = partial.map(|change| change.quantity).collect();
        (!pieces.is_empty()).then(|| SinglePieces {
            rate: EventRate::new(told, &sets, clock),
            pieces,
        })
    }

    fn add(&mut self, place: usize, life: &'a Life) {
        let Ok(machine) = self.out.machines.binary_search(&life.machine) else {
            return;
        };
        let context = self.gathering.context;
        let Some(position) = context.records.position(&life.machine, &life.position) else {
            return;
        };
        let family = context.families.get(&life.family);
        let as_set = family.counted == Counted::Set;
        let line = self.line(life, as_set, family.service.is_some());
        if let Some(service) = family.service {
            self.out.scheduled.insert((machine, line));
            let bin = position.bin.as_deref();
            let view = self.view(machine, bin, Measure::Days, Measure::Hours);
            let Some(due) = super::service::due(life, service, self.gathering, view) else {
                self.out.unclear.insert((machine, line));
                return;
            };
            let due = due.into_iter().map(|date| Due {
                machine,
                position: life.position.clone(),
                line,
                date,
                pieces: life.pieces,
                labor: true,
                worn_on: None,
            });
            let season = self.gathering.season;
            let (now, before): (Vec<Due>, Vec<Due>) = due.partition(|d| season.holds(d.date));
            self.out.due.extend(now);
            self.out.due_before.extend(before);
            return;
        }
        let assessments = self.gathering.assessments;
        let Ok(family) = assessments.binary_search_by(|a| a.family.name.cmp(&life.family)) else {
            return;
        };
        let path = self.path(machine, position.bin.clone(), family);
        let assessment = &assessments[family];
        let ahead = &self.out.paths[path].path;
        let age = Age::of(
            self.gathering,
            life,
            position.bin.as_deref(),
            assessment,
            ahead,
        );
        self.out.units.push(Unit {
            machine,
            position: life.position.clone(),
            slot: life.slot.clone(),
            fitted: life.fitted,
            family,
            line,
            path,
            age,
            pieces: life.pieces,
            readings: self.readings(place),
            past_limit: self.is_past_limit(place, life, assessment),
        });
    }

    fn is_past_limit(&self, place: usize, life: &Life, assessment: &Assessment) -> bool {
        let lives = &self.gathering.measured.inspected.lives;
        let measured = lives.binary_search_by_key(&place, |m| m.life);
        let limit = assessment.family.wear.as_ref();
        let days = life
            .fitted
            .map(|day| (self.gathering.context.as_of - day).num_days());
        measured.is_ok_and(|i| lives[i].past_limit().is_some())
            || limit
                .zip(days)
                .is_some_and(|(limit, days)| limit.is_reached_in(days))
    }

    fn readings(&self, place: usize) -> Option<UnitReadings> {
        let lives = &self.gathering.measured.inspected.lives;
        let measured = lives.binary_search_by_key(&place, |m| m.life).ok()?;
        let of = &lives[measured];
        Some(UnitReadings {
            measured,
            path: of.path(),
            skipped: of.skipped.clone(),
        })
    }

    fn line(&mut self, life: &Life, as_set: bool, scheduled: bool) -> usize {
        let key = (life.family.clone(), life.part.clone());
        if let Some(line) = self.lines.get(&key) {
            return *line;
        }
        let context = self.gathering.context;
        let cost = cost::part_cost(
            context.records,
            context.supersession,
            &life.part,
            as_set,
            context.as_of,
        );
        let lives = self.gathering.built.lives.iter();
        let of_family = lives.filter(|l| l.family == life.family);
        let down_hours = cost::down_hours(context.records, of_family, as_set);
        let line = self.out.lines.len();
        self.out.lines.push(Line {
            family: life.family.clone(),
            part: life.part.clone(),
            scheduled,
            cost,
            down_hours: down_hours.filter(|_| !scheduled),
            kit: context.records.part(&life.part).and_then(|p| p.kit.clone()),
        });
        self.lines.insert(key, line);
        line
    }

    fn view<'b>(
        &'b self,
        machine: usize,
        bin: Option<&'b str>,
        measure: Measure,
        clock: Measure,
    ) -> View<'b> {
        let name = &self.out.machines[machine];
        let records = self.gathering.context.records;
        let retired = records.machine(name).and_then(|m| m.retired);
        let until = self.gathering.until;
        View {
            machine: name,
            bin,
            measure,
            clock,
            n_groups: self.gathering.context.groups.names().len(),
            as_of: self.gathering.context.as_of,
            season: self.gathering.season,
            // What stands in the yard neither works nor is worked on.
            until: retired.map_or(until, |date| until.min(date)),
        }
    }

    fn path(&mut self, machine: usize, bin: Option<String>, family: usize) -> usize {
        let key = (machine, bin.clone(), family);
        if let Some(path) = self.paths.get(&key) {
            return *path;
        }
        let path = self.days_to_come(machine, bin.as_deref(), family);
        let index = self.out.paths.len();
        self.out.paths.push(SeenPath {
            machine,
            bin,
            family,
            path,
            rest_of: None,
        });
        self.paths.insert(key, index);
        index
    }

    /// Days to come as a family sees them, laid out once for all families that see them alike.
    fn days_to_come(
        &mut self,
        machine: usize,
        bin: Option<&str>,
        family: usize,
    ) -> Arc<FuturePath> {
        let lives = &self.gathering.assessments[family].lives;
        let clock = self.out.damage[family].clock;
        let columns = self.gathering.context.groups.places(&lives.groups);
        let key = (
            machine,
            bin.map(str::to_owned),
            lives.measure,
            clock,
            columns,
        );
        if let Some(path) = self.days.get(&key) {
            return Arc::clone(path);
        }
        let view = self.view(machine, bin, lives.measure, clock);
        let whole = path::lay_out(self.gathering.plan, self.gathering.sizes, view);
        let path = Arc::new(narrowed(whole, &key.4));
        self.days.insert(key, Arc::clone(&path));
        path
    }
}

/// A path with only the family's groups, in its order.
fn narrowed(path: FuturePath, columns: &[Option<usize>]) -> FuturePath {
    if columns.iter().all(Option::is_none) {
        return path;
    }
    let cumulative = (0..path.dates.len())
        .flat_map(|k| {
            let day = path.at(k);
            columns
                .iter()
                .map(|c| c.map_or(0.0, |c| day[c]))
                .collect::<Vec<_>>()
        })
        .collect();
    FuturePath {
        cumulative,
        n_groups: columns.len(),
        ..path
    }
}
