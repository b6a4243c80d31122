//! Everything a forecast rests on, and what holds of each of its lines.

use std::collections::BTreeSet;

use chrono::NaiveDate;

use super::kits::{self, KitMates};
use super::{DRAWS, Study, StudyError, notes};
use crate::degradation::Measured;
use crate::forecast::Season;
use crate::forecast::day_sizes::DaySizes;
use crate::forecast::plan::{self, Plan, Planning};
use crate::forecast::unit::{self, Gathering, InService};
use crate::life::build::Built;
use crate::model::assess::Assessment;
use crate::units::Measure;

/// Everything a forecast rests on.
#[derive(Clone, Debug)]
pub struct Outlook {
    /// The season.
    pub season: Season,
    /// Use to come.
    pub plan: Plan,
    /// Use of a season that is whole, where the one forecast is not and ages may rest on it.
    pub whole: Option<(Season, Plan)>,
    /// Sizes of the days on record.
    pub sizes: DaySizes,
    /// Machines of which nothing is recorded.
    pub silent: BTreeSet<String>,
    /// One for each wearing family, by name.
    pub assessments: Vec<Assessment>,
    /// What inspections tell.
    pub measured: Measured,
    /// Everything in service that is asked for.
    pub in_service: InService,
    /// What is not asked for, but done together with some that is.
    pub(super) kit_mates: KitMates,
}

/// What holds of each line, in the order of those in service.
#[derive(Clone, Debug, Default)]
pub(crate) struct LineStates {
    /// Whether anything of it is in service on machines asked for.
    pub(crate) in_use: Vec<bool>,
    /// Whether the use that wears it, and its life, are known.
    pub(crate) known: Vec<bool>,
}

impl Outlook {
    /// Goes through everything in service once.
    pub(crate) fn line_states(&self) -> LineStates {
        let service = &self.in_service;
        let mut states = LineStates {
            in_use: vec![false; service.lines.len()],
            known: vec![true; service.lines.len()],
        };
        for unit in &service.units {
            states.in_use[unit.line] = true;
            states.known[unit.line] &= service.can_forecast(unit, &self.assessments);
        }
        for (_, line) in &service.scheduled {
            states.in_use[*line] = true;
        }
        for (_, line) in &service.unclear {
            states.in_use[*line] = true;
            states.known[*line] = false;
        }
        states
    }

    /// Notes of every step so far.
    #[must_use]
    pub fn notes(&self, built: &Built) -> Vec<String> {
        let mut notes = self.past_limits();
        notes.extend(self.plan.notes.iter().cloned());
        notes.extend(self.in_service.notes.iter().cloned());
        notes.extend(built.notes.iter().cloned());
        notes.extend(self.measured.inspected.notes.iter().cloned());
        let in_service = |i: usize| self.in_service.units.iter().any(|u| u.family == i);
        for (i, assessment) in self.assessments.iter().enumerate() {
            if in_service(i) {
                notes.extend(super::goodness::misfit(assessment));
                notes.extend(assessment.notes.iter().cloned());
            }
        }
        notes
    }
}

impl Study {
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
    pub(super) fn gathering<'a>(&'a self, outlook: &'a Outlook, plan: &'a Plan) -> Gathering<'a> {
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

    pub(super) fn planning(&self) -> Planning<'_> {
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
    pub(super) fn gathered(
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
    pub(super) fn filter(&self, in_service: &mut InService) -> KitMates {
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
}
