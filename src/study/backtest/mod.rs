//! Past seasons forecast from the records before them, and scored against what happened.

pub mod happened;
mod notes;
pub mod past;

use std::collections::BTreeSet;

use chrono::{Days, NaiveDate};

use super::progress::Stage;
use super::{Options, Outlook, Policy, Study, StudyError};
use crate::forecast::simulate::Outcome;
use crate::forecast::{Season, real_use};
use crate::life::{Ending, Life};
use crate::report::backtest::{BacktestReport, BacktestRow, FamilyScore};
use crate::score::{Calibration, Placing, Score, Scored};
use happened::{Happened, Tally};
use notes::Told;

impl Study {
    /// Forecasts every season that is over and began after a full season of records, from the
    /// records before it alone, and scores the forecasts.
    ///
    /// # Errors
    /// [`StudyError::TooThin`] where there is no such season, or none that can be forecast.
    pub fn backtest(&self) -> Result<BacktestReport, StudyError> {
        self.backtest_of(self.options.season)
    }

    /// The same for one past season, or for all of `None`, whichever season the study asks for.
    ///
    /// # Errors
    /// As [`Study::backtest`].
    pub fn backtest_of(&self, season: Option<i32>) -> Result<BacktestReport, StudyError> {
        let mut told = Told::default();
        let mut rows = Vec::new();
        let seasons = self.seasons_to_score(season)?;
        for (i, season) in seasons.iter().copied().enumerate() {
            self.progress.tell(|| Stage::PastSeason {
                year: season.year,
                number: i + 1,
                of: seasons.len(),
            });
            match self.score(season, &mut told) {
                Ok(scored) => rows.extend(scored),
                Err(StudyError::TooThin(why)) => told.left_out(season, &why),
                Err(error) => return Err(error),
            }
        }
        if rows.is_empty() {
            return Err(StudyError::TooThin(told.nothing_scored()));
        }
        Ok(self.summed_up(rows, told))
    }

    /// The study as it could have been made the day before `season` began, with the season's real
    /// use as its plan. Nothing else dated after that day is in it.
    ///
    /// # Errors
    /// [`StudyError::TooThin`] where nothing that is asked for was in service.
    pub fn before(&self, season: Season) -> Result<Self, StudyError> {
        let as_of = season.start - Days::new(1);
        let mut records = past::known_on(&self.records, as_of);
        let known = |name: &str| records.machines.iter().any(|m| m.name == name);
        let mut machines = self.options.machines.clone();
        machines.retain(|name| known(name));
        let none_left = machines.is_empty() && !self.options.machines.is_empty();
        if none_left || records.positions.is_empty() {
            return Err(StudyError::TooThin(format!(
                "nothing that is asked for was in service on {as_of}"
            )));
        }
        let mut plan = real_use::plan_of(&self.records, season);
        plan.retain(|row| known(&row.machine));
        records.plan = plan;
        let options = Options {
            as_of: Some(as_of),
            season: Some(season.year),
            machines,
            // What happened is told by what wore out: no decision of today is part of it.
            policy: Policy::Run,
            ..self.options.clone()
        };
        let mut study = Self::new(records, self.families.clone(), options)?;
        study.plan_is_real = true;
        Ok(study)
    }

    /// Seasons over on the as-of date that began after at least one full season of records.
    fn seasons_to_score(&self, wanted: Option<i32>) -> Result<Vec<Season>, StudyError> {
        let starts = self.records.settings.season_start();
        let begin = self.records_begin();
        let first = begin.map(|begin| {
            let season = Season::of(begin, starts);
            season.year + if begin <= season.start { 1 } else { 2 }
        });
        let last = Season::last_full(self.as_of, starts).year;
        let asked = |year: &i32| wanted.is_none_or(|wanted| wanted == *year);
        let seasons: Vec<Season> = first
            .into_iter()
            .flat_map(|first| first..=last)
            .filter(asked)
            .map(|year| Season::ending_in(year, starts))
            .collect();
        if seasons.is_empty() {
            return Err(StudyError::TooThin(
                self.too_few_seasons(wanted, begin, first),
            ));
        }
        Ok(seasons)
    }

    /// First day on which records of a machine asked for are whole.
    fn records_begin(&self) -> Option<NaiveDate> {
        let machines = self.records.machines.iter();
        let wanted = machines.filter(|m| self.wants_machine(&m.name));
        wanted.map(|m| m.records_from.max(m.in_service)).min()
    }

    fn too_few_seasons(
        &self,
        wanted: Option<i32>,
        begin: Option<NaiveDate>,
        first: Option<i32>,
    ) -> String {
        let starts = self.records.settings.season_start();
        let wish = wanted.map_or_else(String::new, |year| {
            format!("season {year} cannot be scored: ")
        });
        let begin = begin.map_or_else(String::new, |date| format!("; they begin on {date}"));
        let first = first.map_or_else(String::new, |year| {
            let season = Season::ending_in(year, starts);
            format!(
                ", so the first season that can be scored is {year}, once it is over on {}",
                season.end
            )
        });
        let hint = self.nearly_over_note();
        let hint = hint.map_or_else(String::new, |hint| format!("; {hint}"));
        format!(
            "{wish}a backtest needs a season that is over on {} and a full season of records before it{begin}{first}{hint}",
            self.as_of
        )
    }

    /// Says how to score a season that is over but for a few days without records.
    fn nearly_over_note(&self) -> Option<String> {
        /// As in a budget (our own choice).
        const FEW: i64 = 60;
        let season = Season::after(self.as_of, self.records.settings.season_start());
        let days = (season.end - self.as_of).num_days();
        (days < FEW).then(|| {
            format!(
                "season {} is not scored, as nothing is on record after {} and it ends on {}; where it is over, add `--as-of {}`",
                season.year, self.as_of, season.end, season.end
            )
        })
    }

    /// Forecasts one season and holds it against what happened.
    fn score(&self, season: Season, told: &mut Told) -> Result<Vec<BacktestRow>, StudyError> {
        let mut past = self.before(season)?;
        let silent = past.scheduled_among(&self.never_logged());
        past.ask_without(&silent, self)?;
        let (outlook, outcome) = past.played()?;
        let happened = Happened {
            all: self,
            past: &past,
        };
        let last = Season::ending_in(season.year - 1, self.records.settings.season_start());
        let tallies = Tallies {
            actual: happened.in_season(season),
            last: happened.in_season(last),
            average: happened.average_before(season),
        };
        told.hear(self, &past, season, &tallies.actual, &outlook);
        let scored = |family: &str| {
            let samples = changes(&outlook, &outcome, family);
            tallies.scored(&samples, |tally| tally.count(family))
        };
        let mut names = families(&past, &tallies.actual);
        names.extend(silent.iter().cloned());
        let unknown = unknown_families(&outlook);
        told.unknown.extend(unknown.iter().cloned());
        let mut rows: Vec<BacktestRow> = names
            .into_iter()
            .map(|family| BacktestRow {
                season: season.year,
                scored: (!silent.contains(&family) && !unknown.contains(&family))
                    .then(|| scored(&family)),
                family: Some(family),
            })
            .collect();
        told.never_logged(silent);
        let service = &outlook.in_service;
        let used = service.units.iter().map(|u| u.line);
        let priced = used
            .chain(service.due.iter().map(|d| d.line))
            .any(|line| service.lines[line].cost.price.is_some());
        let money = || tallies.scored(&rounded(&outcome.total), |t| to_a_millionth(t.money));
        rows.push(BacktestRow {
            season: season.year,
            family: None,
            scored: (priced && unknown.is_empty()).then(money),
        });
        Ok(rows)
    }

    /// Families changed by schedule of which no change is on record, anywhere and ever: nobody writes
    /// them down, so that whether one was done is not known.
    fn never_logged(&self) -> BTreeSet<String> {
        let scheduled = |family: &str| self.families.get(family).service.is_some();
        let lives = || self.built.lives.iter().filter(|l| scheduled(&l.family));
        let is_logged = |life: &&Life| !matches!(life.ended, Ending::Running | Ending::Retired);
        let partial = self.built.partial.iter().map(|change| &change.family);
        let whole = lives().filter(is_logged).map(|life| &life.family);
        let logged: BTreeSet<&String> = whole.chain(partial).collect();
        lives()
            .map(|life| &life.family)
            .filter(|family| !logged.contains(family))
            .cloned()
            .collect()
    }

    /// Which of these families are in service and asked for.
    fn scheduled_among(&self, families: &BTreeSet<String>) -> BTreeSet<String> {
        let lives = self.lives().into_iter();
        lives
            .filter(|l| l.ended == Ending::Running && families.contains(&l.family))
            .map(|l| l.family.clone())
            .collect()
    }

    /// Asks for all that `all` asks for but these families.
    fn ask_without(&mut self, silent: &BTreeSet<String>, all: &Study) -> Result<(), StudyError> {
        if silent.is_empty() {
            return Ok(());
        }
        let others = all.lives().into_iter().map(|life| &life.family);
        let others: BTreeSet<&String> = others.filter(|f| !silent.contains(*f)).collect();
        if others.is_empty() {
            let names: Vec<&str> = silent.iter().map(String::as_str).collect();
            return Err(StudyError::TooThin(notes::not_logged(&names)));
        }
        self.options.families = others.into_iter().cloned().collect();
        Ok(())
    }

    fn summed_up(&self, rows: Vec<BacktestRow>, told: Told) -> BacktestReport {
        let of = |keep: &dyn Fn(Option<&str>) -> bool| -> Vec<&Scored> {
            rows.iter()
                .filter(|row| keep(row.family.as_deref()))
                .filter_map(|row| row.scored.as_ref())
                .collect()
        };
        let counts = of(&|family| family.is_some());
        let money = of(&|family| family.is_none());
        let is_scored = |row: &&BacktestRow| row.scored.is_some();
        let names = rows.iter().filter(is_scored);
        let names: BTreeSet<&str> = names.filter_map(|r| r.family.as_deref()).collect();
        let families = names.into_iter().map(|name| FamilyScore {
            family: name.to_owned(),
            score: Score::of(&of(&|family| family == Some(name))),
        });
        let calibration = |scored: &[&Scored]| {
            let placings: Vec<Placing> = scored.iter().map(|s| s.placing).collect();
            Calibration::of(&placings)
        };
        BacktestReport {
            header: self.header(told.notes(self, &rows)),
            currency: self.records.settings.currency.clone(),
            families: families.collect(),
            replacements: Score::of(&counts),
            money: Score::of(&money),
            calibration: calibration(&counts),
            money_calibration: calibration(&money),
            rows,
        }
    }
}

/// What happened, and what the budgets without a model said.
struct Tallies {
    actual: Tally,
    last: Tally,
    average: Tally,
}

impl Tallies {
    fn scored(&self, samples: &[f64], of: impl Fn(&Tally) -> f64) -> Scored {
        Scored::of(samples, of(&self.actual), of(&self.last), of(&self.average))
    }
}

/// Families in service when the forecast was made, and those changed since in the same positions.
fn families(past: &Study, actual: &Tally) -> BTreeSet<String> {
    let lives = past.lives().into_iter();
    lives
        .filter(|l| l.ended == Ending::Running)
        .map(|l| l.family.clone())
        .chain(actual.counts.keys().cloned())
        .collect()
}

/// Replacements of a family, play by play.
fn changes(outlook: &Outlook, outcome: &Outcome, family: &str) -> Vec<f64> {
    let mut sums = vec![0.0; outcome.total.len()];
    let lines = outlook.in_service.lines.iter().zip(&outcome.lines);
    for (_, samples) in lines.filter(|(line, _)| line.family == family) {
        for column in [&samples.worn, &samples.damage, &samples.planned] {
            for (sum, value) in sums.iter_mut().zip(column) {
                *sum += value;
            }
        }
    }
    sums
}

/// Sums made in another order differ in their last digits, which must not decide whether a sum
/// lies within an interval.
fn to_a_millionth(money: f64) -> f64 {
    (money * 1e6).round() / 1e6
}

fn rounded(samples: &[f64]) -> Vec<f64> {
    samples.iter().map(|v| to_a_millionth(*v)).collect()
}

/// Families of which something in service cannot be forecast.
fn unknown_families(outlook: &Outlook) -> BTreeSet<String> {
    let service = &outlook.in_service;
    let states = outlook.line_states();
    let lines = service
        .lines
        .iter()
        .zip(states.in_use.iter().zip(&states.known));
    lines
        .filter(|(_, (in_use, known))| **in_use && !**known)
        .map(|(line, _)| line.family.clone())
        .collect()
}
