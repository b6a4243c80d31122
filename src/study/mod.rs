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

use crate::family::{Families, Family};
use crate::forecast::Season;
use crate::life::Life;
use crate::life::build::{self, Built, Context};
use crate::life::exposure::UseSums;
use crate::life::supersession::Supersession;
use crate::model::assess::{self, Assessment, Wanted};
use crate::record::{Account, Records};
use crate::report::Header;
use crate::wear::Groups;
pub use asked::{Options, Policy, StudyError};
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
