//! What a part in service has behind it.

use chrono::{Days, NaiveDate};

use super::Gathering;
use crate::forecast::path::FuturePath;
use crate::life::Life;
use crate::model::assess::Assessment;
use crate::units::Measure;

/// Use a part already has, by group in the order of its family's groups.
#[derive(Clone, Debug, PartialEq)]
pub enum Age {
    /// This much.
    Known(Vec<f64>),
    /// Nobody knows: this much is on record, and what it had before is guessed at.
    AtLeast {
        /// Use on record.
        used: Vec<f64>,
        /// Use before that.
        before: Before,
    },
}

/// What is known of the use that a part had before what is on record.
#[derive(Clone, Debug, PartialEq)]
pub enum Before {
    /// Nothing.
    Anything,
    /// About this much, by group: it was fitted on a known day.
    OfPart(Vec<f64>),
    /// The machine's was about this much, by group; the part is any of those that it had.
    OfMachine(Vec<f64>),
}

impl Age {
    /// Use on record, by group.
    #[must_use]
    pub fn on_record(&self) -> &[f64] {
        let (Self::Known(used) | Self::AtLeast { used, .. }) = self;
        used
    }

    /// - `ahead`: days to come, by which a machine without any use on record is taken to have worked.
    pub(super) fn of(
        gathering: Gathering<'_>,
        life: &Life,
        bin: Option<&str>,
        assessment: &Assessment,
        ahead: &FuturePath,
    ) -> Self {
        let silent = gathering.silent.contains(&life.machine);
        let known = known(life, assessment).filter(|_| !silent);
        known.unwrap_or_else(|| {
            Guess {
                gathering,
                life,
                bin,
                assessment,
                ahead,
                silent,
            }
            .age()
        })
    }
}

fn known(life: &Life, assessment: &Assessment) -> Option<Age> {
    let measure = assessment.lives.measure;
    let end = life.filled[measure.index()].end?;
    life.fitted?;
    let use_of = |name: &String| {
        let used = life.groups.get(name).and_then(|g| g.end.get(measure));
        used.unwrap_or(0.0)
    };
    Some(Age::Known(match measure {
        Measure::Days => vec![end],
        _ => assessment.lives.groups.iter().map(use_of).collect(),
    }))
}

struct Guess<'a> {
    gathering: Gathering<'a>,
    life: &'a Life,
    bin: Option<&'a str>,
    assessment: &'a Assessment,
    ahead: &'a FuturePath,
    /// Whether nothing is on record of the machine, so that its parts may have been changed.
    silent: bool,
}

impl Guess<'_> {
    fn age(&self) -> Age {
        let context = self.gathering.context;
        let machine = context.records.machine(&self.life.machine);
        let records_from = machine.map_or(self.life.since, |m| m.records_from);
        let a_day = self.a_day(records_from);
        let in_days = |days: f64| -> Option<Vec<f64>> {
            let a_day = a_day.as_ref()?;
            Some(a_day.iter().map(|used| used * days).collect())
        };
        let (since, until) = if self.silent {
            (context.as_of, context.as_of)
        } else {
            (self.life.since, records_from)
        };
        let used = self.on_record(since);
        let used = used.or_else(|| in_days(days(since, context.as_of)));
        let used = used.unwrap_or_else(|| vec![0.0; self.assessment.lives.groups.len()]);
        let fitted = self.life.fitted.filter(|_| !self.silent);
        let in_service = machine.map(|m| m.in_service).filter(|from| *from < until);
        let before = match (fitted, in_service) {
            (Some(fitted), _) => in_days(days(fitted, until)).map(Before::OfPart),
            (None, Some(from)) => in_days(days(from, until)).map(Before::OfMachine),
            (None, None) => None,
        };
        Age::AtLeast {
            used,
            before: before.unwrap_or(Before::Anything),
        }
    }

    /// Use from a day on, days whose amount is not known taken to be like the others; `None` where none is
    /// known.
    fn on_record(&self, since: NaiveDate) -> Option<Vec<f64>> {
        let context = self.gathering.context;
        let lives = &self.assessment.lives;
        if lives.measure == Measure::Days {
            return Some(vec![days(since, context.as_of)]);
        }
        let path = context.sums.path(&self.life.machine, self.bin);
        let from = path.days_until(since - Days::new(1));
        let to = path.days_until(context.as_of).max(from);
        let unknown = path.unknown_days(lives.measure, from, to)?;
        let mut used = path.recorded(lives.measure, from, to);
        let known = to - from - unknown.len();
        if unknown.is_empty() {
            // A log without any day of the machine has it standing still.
            return Some(self.of_family(&used));
        } else if known == 0 {
            return None;
        }
        let mut of_known = used.clone();
        for day in unknown {
            let in_part = path.recorded(lives.measure, day, day + 1);
            (of_known.iter_mut().zip(in_part)).for_each(|(sum, used)| *sum -= used);
        }
        let of_all = (to - from) as f64 / known as f64;
        for (used, of_known) in used.iter_mut().zip(of_known) {
            *used = used.max(of_known * of_all);
        }
        Some(self.of_family(&used))
    }

    /// Use by all groups as use by the family's.
    fn of_family(&self, used: &[f64]) -> Vec<f64> {
        let groups = self.gathering.context.groups;
        let places = groups.places(&self.assessment.lives.groups);
        let of = |place: &Option<usize>| place.map_or(0.0, |place| used[place]);
        places.iter().map(of).collect()
    }

    /// The machine's use on a day of the calendar: of the last whole years on record, or else of a year that is
    /// on record in part and goes on as planned.
    fn a_day(&self, records_from: NaiveDate) -> Option<Vec<f64>> {
        const YEAR: f64 = 365.25;
        /// Days of a plan that stand for a year.
        const MOST_OF_A_YEAR: f64 = 300.0;
        let as_of = self.gathering.context.as_of;
        if self.assessment.lives.measure == Measure::Days {
            return Some(vec![1.0]);
        }
        let share =
            |used: &[f64], days: f64| -> Vec<f64> { used.iter().map(|u| u / days).collect() };
        let is_some = |used: &[f64]| 0.0 < used.iter().sum::<f64>();
        let context = self.gathering.context;
        let path = context.sums.path(&self.life.machine, self.bin);
        let measure = self.assessment.lives.measure;
        if let Some(a_day) = path.a_day(measure, records_from, as_of) {
            return Some(self.of_family(&a_day));
        }
        let logged = self.on_record(records_from).unwrap_or_default();
        let until = (as_of + Days::new(YEAR as u64)).min(self.gathering.season.end);
        if !self.ahead.is_known_until(until) {
            let on_record = days(records_from, as_of).max(YEAR);
            return is_some(&logged).then(|| share(&logged, on_record));
        }
        let ahead = self.ahead.dates.partition_point(|date| *date <= until);
        let ahead = ahead
            .checked_sub(1)
            .map_or(&[][..], |last| self.ahead.at(last));
        if is_some(&logged) {
            let both = logged.iter().enumerate();
            let both = both.map(|(g, used)| used + ahead.get(g).copied().unwrap_or(0.0));
            let both: Vec<f64> = both.collect();
            return Some(share(&both, days(records_from, until).max(YEAR)));
        }
        let year = if MOST_OF_A_YEAR < days(as_of, until) {
            ahead.to_vec()
        } else {
            self.in_a_whole_season()?
        };
        is_some(&year).then(|| share(&year, YEAR))
    }

    /// What a whole season is planned to have; `None` where that is not known.
    fn in_a_whole_season(&self) -> Option<Vec<f64>> {
        let (season, plan) = self.gathering.whole?;
        let measure = self.assessment.lives.measure;
        let mut used = vec![0.0; self.gathering.context.groups.names().len()];
        for planned in plan.of_machine(&self.life.machine) {
            let sees = self.bin.is_none() || planned.bin.as_deref() == self.bin;
            if sees && season.holds(planned.from) {
                used[planned.group] += planned.amounts.get(measure)?;
            }
        }
        Some(self.of_family(&used))
    }
}

/// Days from one date to another; 0 backwards.
fn days(from: NaiveDate, to: NaiveDate) -> f64 {
    (to - from).num_days().max(0) as f64
}
