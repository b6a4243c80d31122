//! From records to results: each question a user asks, answered by the rooms before this one.

pub mod advice;
mod asked;
pub mod backtest;
pub mod bare;
mod behind;
pub mod budget;
pub mod compare;
pub mod fits;
mod goodness;
mod kits;
pub mod live;
pub mod lives;
pub mod measured;
pub mod models;
pub mod money;
mod not_logged;
mod notes;
mod outlook;
pub mod page;
pub mod progress;
pub mod remaining;
pub mod stock;
mod teller;

use std::collections::BTreeSet;

use chrono::NaiveDate;

use crate::degradation::Measured;
use crate::family::{Families, Family};
use crate::forecast::Season;
use crate::forecast::day_sizes::DaySizes;
use crate::forecast::plan::{self, Plan, Planning};
use crate::forecast::unit::{self, Gathering, InService};
use crate::life::Life;
use crate::life::build::{self, Built, Context};
use crate::life::exposure::UseSums;
use crate::life::supersession::Supersession;
use crate::model::assess::{self, Assessment, Wanted};
use crate::record::{Account, Records};
use crate::report::Header;
use crate::units::Measure;
use crate::wear::Groups;
pub use asked::{Options, Policy, StudyError};
use kits::KitMates;
pub(crate) use outlook::LineStates;
pub use outlook::Outlook;
use progress::{Progress, Stage};

/// Draws of the parameters of each family.
const DRAWS: usize = 1 << 14;

/// Cautions shown wherever work on a machine is forecast.
pub const CAUTIONS: [&str; 4] = [
    "Before measuring or changing a part: machine off, key out, conveyor and spinners stopped, hydraulic pressure released, stored energy (raised gate, tensioned chain, loaded box) secured",
    "Wear eye protection and a dust mask; chain, fin and disc edges cut",
    "The maker's manual, local codes and licensed practice come first",
    "A forecast is a budget figure: it is no permission to run a part past its limit",
];

/// Records made ready for every question.
#[derive(Clone, Debug)]
pub struct Study {
    /// The records.
    pub records: Records,
    /// The families.
    pub families: Families,
    /// What was asked.
    pub options: Options,
    /// Records after this date are not yet known.
    pub as_of: NaiveDate,
    /// Product groups.
    pub groups: Groups,
    /// Part numbers.
    pub supersession: Supersession,
    /// Daily use up to the as-of date.
    pub sums: UseSums,
    /// The lives.
    pub built: Built,
    /// Who is told how far a question has come; nobody at first.
    pub progress: Progress,
    /// Rows of each table, where it matters that some were set aside; empty at first.
    pub accounts: Vec<Account>,
    /// Rows that are used and most likely slips, in words; empty at first.
    pub doubts: Vec<String>,
    /// Whether the plan is what happened.
    pub plan_is_real: bool,
}

impl Study {
    /// Builds groups, daily use and lives.
    ///
    /// # Errors
    /// [`StudyError`] for a reference group or a filter that the records do not know, and for
    /// records without a machine or a date.
    ///
    /// # Panics
    /// Never: there is a machine, so there is a date.
    pub fn new(records: Records, families: Families, options: Options) -> Result<Self, StudyError> {
        if records.machines.is_empty() || records.positions.is_empty() {
            return Err(StudyError::TooThin(
                "the records hold no machine with a position: fill in `machines` and `positions`"
                    .to_owned(),
            ));
        }
        let in_service = records.machines.iter().map(|m| m.in_service).max();
        let as_of = options
            .as_of
            .or_else(|| records.last_date())
            .or(in_service)
            .expect("there is a machine");
        let wanted = options
            .reference
            .as_deref()
            .or(records.settings.reference_group.as_deref());
        let known = records.usage.known_on(as_of);
        let groups = Groups::new(&records.products, &known, wanted)?;
        let sums = UseSums::new(&known, &groups, as_of);
        let supersession = Supersession::new(&records.parts);
        let mut study = Self {
            records,
            families,
            options,
            as_of,
            groups,
            supersession,
            sums,
            built: Built::default(),
            progress: Progress::default(),
            accounts: Vec::new(),
            doubts: Vec::new(),
            plan_is_real: false,
        };
        study.check_filters()?;
        let not_logged = study.machines_at_work_without_a_log();
        study.sums.leave_unknown(not_logged);
        study.built = build::build(study.context());
        // Lives know by themselves; what a change cost is then that of the number it fitted.
        study.records.name_parts_fitted();
        Ok(study)
    }

    fn check_filters(&self) -> Result<(), StudyError> {
        let check = |what: &'static str, wanted: &[String], mut known: Vec<&str>| {
            known.sort_unstable();
            known.dedup();
            match wanted.iter().find(|name| !known.contains(&name.as_str())) {
                None => Ok(()),
                Some(name) => Err(StudyError::Filter {
                    what,
                    name: name.clone(),
                    known: known.join(", "),
                }),
            }
        };
        let families = self
            .records
            .parts
            .iter()
            .map(|p| p.family.as_str())
            .collect();
        check("family", &self.options.families, families)?;
        let machines = self
            .records
            .machines
            .iter()
            .map(|m| m.name.as_str())
            .collect();
        check("machine", &self.options.machines, machines)
    }

    /// What lives are built from.
    #[must_use]
    pub fn context(&self) -> Context<'_> {
        Context {
            records: &self.records,
            families: &self.families,
            groups: &self.groups,
            sums: &self.sums,
            supersession: &self.supersession,
            as_of: self.as_of,
        }
    }

    /// Whether a family is asked for.
    #[must_use]
    pub fn wants_family(&self, name: &str) -> bool {
        let wanted = &self.options.families;
        wanted.is_empty() || wanted.iter().any(|f| f == name)
    }

    /// Whether a machine is asked for.
    #[must_use]
    pub fn wants_machine(&self, name: &str) -> bool {
        let wanted = &self.options.machines;
        wanted.is_empty() || wanted.iter().any(|m| m == name)
    }

    /// The lives asked for.
    #[must_use]
    pub fn lives(&self) -> Vec<&Life> {
        let wanted = |l: &&Life| self.wants_family(&l.family) && self.wants_machine(&l.machine);
        self.built.lives.iter().filter(wanted).collect()
    }

    /// Families whose parts wear, by name: those of the parts list that sit, or sat, in a position.
    #[must_use]
    pub fn wearing_families(&self) -> Vec<Family> {
        let mut names: Vec<&str> = self.built.lives.iter().map(|l| l.family.as_str()).collect();
        names.sort_unstable();
        names.dedup();
        names
            .into_iter()
            .map(|name| self.families.get(name))
            .filter(|f| f.service.is_none())
            .collect()
    }

    /// Assesses every wearing family asked for from the lives for which `keep` holds; groups in `also` get
    /// a factor even where no life saw them. No parameters are drawn for `draws` of 0.
    #[must_use]
    pub fn assess(
        &self,
        also: &[String],
        draws: usize,
        keep: impl Fn(&Life) -> bool,
    ) -> Vec<Assessment> {
        let wanted = self.wanted(draws, false);
        self.assess_families(|family| self.wants_family(family), also, wanted, keep)
    }

    /// How draws of the parameters are wanted.
    ///
    /// - `found`: whether parts of unknown age count.
    pub(super) fn wanted(&self, draws: usize, found: bool) -> Wanted {
        Wanted {
            priors: self.options.priors,
            machine_effect: self.options.priors && self.options.machine_effect,
            found,
            draws,
            seed: self.options.seed,
        }
    }

    fn assess_families(
        &self,
        wants: impl Fn(&str) -> bool,
        also: &[String],
        wanted: Wanted,
        keep: impl Fn(&Life) -> bool,
    ) -> Vec<Assessment> {
        let silent = self.silent_machines();
        let mut families = self.wearing_families();
        families.retain(|family| wants(&family.name));
        let of = families.len();
        families
            .iter()
            .enumerate()
            .map(|(i, family)| {
                self.progress.tell(|| Stage::Fitting {
                    number: i + 1,
                    of,
                    family: family.name.clone(),
                });
                let lives: Vec<&Life> = self
                    .built
                    .lives
                    .iter()
                    .filter(|l| l.family == family.name && keep(l) && !silent.contains(&l.machine))
                    .collect();
                let also = if wanted.found {
                    self.with_groups_behind(also, family, &lives)
                } else {
                    also.to_vec()
                };
                let mut assessment = assess::assess(family, &lives, &self.groups, &also, wanted);
                let materials = self.materials_note(&family.name, &lives);
                assessment.notes.extend(materials);
                assessment
            })
            .collect()
    }

    /// The season asked for.
    ///
    /// # Errors
    /// [`StudyError::SeasonOver`] when it ends on or before the as-of date.
    pub fn season(&self) -> Result<Season, StudyError> {
        let starts = self.records.settings.season_start();
        let season = match self.options.season {
            Some(year) => Season::ending_in(year, starts),
            None => Season::after(self.as_of, starts),
        };
        if season.end <= self.as_of {
            return Err(StudyError::SeasonOver {
                season: season.year,
                as_of: self.as_of,
            });
        }
        Ok(season)
    }

    /// Everything a forecast rests on.
    ///
    /// # Errors
    /// As [`Self::season`], and [`StudyError::TooThin`] where nothing is in service or a family
    /// cannot be forecast.
    pub fn outlook(&self) -> Result<Outlook, StudyError> {
        let season = self.season()?;
        let plan = plan::build(self.planning(), season);
        let mut planned: Vec<String> = plan
            .uses
            .iter()
            .map(|u| self.groups.names()[u.group].clone())
            .collect();
        planned.sort();
        planned.dedup();
        let silent = self.silent_machines();
        let beside = self.mate_families();
        let wants = |family: &str| self.wants_family(family) || beside.contains(family);
        let assessments = self.assess_families(wants, &planned, self.wanted(DRAWS, true), |_| true);
        let seed = self.options.seed;
        let measured = Measured::of(self.context(), &self.built, &assessments, &silent, seed);
        let mut outlook = Outlook {
            season,
            plan,
            whole: self.next_in_full(season),
            sizes: DaySizes::new(&self.sums),
            silent,
            assessments,
            measured,
            in_service: InService::default(),
            kit_mates: KitMates::default(),
        };
        let mut in_service = unit::gather(self.gathering(&outlook, &outlook.plan));
        in_service.notes.extend(self.yet_to_come(season));
        in_service.notes.extend(self.silent_note());
        in_service.notes.extend(self.not_logged_note());
        in_service.notes.extend(self.no_use_note());
        in_service.notes.extend(self.no_replacements_note());
        in_service
            .notes
            .extend(self.unmeasured(&outlook.assessments));
        in_service.share_labor();
        let mates = self.filter(&mut in_service);
        in_service
            .notes
            .extend(notes::unknown_ages(&in_service.units));
        let undated = self.last_done_unknown(&in_service);
        in_service.notes.extend(undated);
        in_service.notes.extend(notes::due_before(&in_service));
        in_service
            .notes
            .splice(0..0, self.short_season(season, &outlook.plan));
        if in_service.units.is_empty() && in_service.scheduled.is_empty() {
            return Err(StudyError::TooThin(
                "nothing that is asked for is in service on the as-of date".to_owned(),
            ));
        }
        self.check_draws(&in_service, &outlook.assessments)?;
        Self::check_plan(&in_service, &outlook.assessments, &outlook.plan, season)?;
        outlook.in_service = in_service;
        outlook.kit_mates = mates;
        Ok(outlook)
    }

    /// The plan of the season after one that is mostly over, where parts of machines without a log have what
    /// they did by the work to come.
    fn next_in_full(&self, season: Season) -> Option<(Season, Plan)> {
        let is_logged = self.sums.machines().next().is_some() && self.sums.not_logged().is_empty();
        (!is_logged && season.start <= self.as_of).then(|| {
            let next = season.next(self.records.settings.season_start());
            (next, plan::build(self.planning(), next))
        })
    }

    /// What parts in service are gathered from, up to the end of the season.
    fn gathering<'a>(&'a self, outlook: &'a Outlook, plan: &'a Plan) -> Gathering<'a> {
        Gathering {
            context: self.context(),
            built: &self.built,
            assessments: &outlook.assessments,
            measured: &outlook.measured,
            plan,
            whole: outlook.whole.as_ref(),
            sizes: &outlook.sizes,
            silent: &outlook.silent,
            season: outlook.season,
            until: outlook.season.end,
        }
    }

    fn planning(&self) -> Planning<'_> {
        Planning {
            records: &self.records,
            groups: &self.groups,
            sums: &self.sums,
            as_of: self.as_of,
            asked: &self.options.machines,
            is_real: self.plan_is_real,
        }
    }

    /// What is in service as another season sees it.
    fn gathered(
        &self,
        outlook: &Outlook,
        plan: &Plan,
        season: Season,
        until: NaiveDate,
    ) -> InService {
        unit::gather(Gathering {
            season,
            until,
            ..self.gathering(outlook, plan)
        })
    }

    /// Leaves only the parts in service that are asked for; the others of their kits.
    fn filter(&self, in_service: &mut InService) -> KitMates {
        let (machines, lines) = (&in_service.machines, &in_service.lines);
        let machines: Vec<bool> = machines.iter().map(|m| self.wants_machine(m)).collect();
        let lines: Vec<bool> = lines.iter().map(|l| self.wants_family(&l.family)).collect();
        let wanted = |machine: usize, line: usize| machines[machine] && lines[line];
        in_service.due_before.retain(|d| wanted(d.machine, d.line));
        in_service.scheduled.retain(|(m, l)| wanted(*m, *l));
        in_service.unclear.retain(|(m, l)| wanted(*m, *l));
        kits::keep_asked(in_service, wanted)
    }

    /// Parts that wear by use need use to come.
    fn check_plan(
        in_service: &InService,
        assessments: &[Assessment],
        plan: &Plan,
        season: Season,
    ) -> Result<(), StudyError> {
        let by_use = |family: usize| assessments[family].lives.measure != Measure::Days;
        if plan.is_known || !in_service.units.iter().any(|u| by_use(u.family)) {
            return Ok(());
        }
        Err(StudyError::TooThin(format!(
            "no use is known for season {}: `plan` has no rows for it and no earlier season is on record; fill in `plan`",
            season.year
        )))
    }

    /// Something must be known of the life of something in service.
    fn check_draws(
        &self,
        in_service: &InService,
        assessments: &[Assessment],
    ) -> Result<(), StudyError> {
        let silent: Vec<&str> = assessments
            .iter()
            .enumerate()
            .filter(|(i, a)| a.draws.is_none() && in_service.units.iter().any(|u| u.family == *i))
            .map(|(_, a)| a.family.name.as_str())
            .collect();
        let all = in_service
            .units
            .iter()
            .all(|u| assessments[u.family].draws.is_none());
        if silent.is_empty() || !all {
            return Ok(());
        }
        Err(StudyError::TooThin(format!(
            "nothing can be said of the life of {}: {}",
            silent.join(", "),
            self.why_silent()
        )))
    }

    /// Why a family has no draws, and what to do.
    #[must_use]
    pub fn why_silent(&self) -> &'static str {
        if self.options.priors {
            "no wear-out and no use on record, and no prior of its median life in a model file"
        } else {
            "no wear-out on record, or no part that was ever seen still good; leave out `--no-priors`"
        }
    }

    /// What every result says of itself.
    #[must_use]
    pub fn header(&self, mut notes: Vec<String>) -> Header {
        let mut seen = BTreeSet::new();
        notes.retain(|note| seen.insert(note.clone()));
        notes.splice(0..0, notes::doubts(&self.doubts));
        notes.splice(0..0, self.examples());
        notes.splice(0..0, notes::set_aside(&self.accounts));
        Header {
            as_of: Some(self.as_of),
            seed: self.options.seed,
            level: self.options.level,
            machines: self.options.machines.clone(),
            families: self.options.families.clone(),
            notes,
            cautions: CAUTIONS.iter().map(|c| (*c).to_owned()).collect(),
        }
    }
}
