//! Scheduled work: due after so many days, hours, acres or tons, whichever comes first.

use chrono::{Days, Months, NaiveDate};

use super::path::{self, View};
use super::unit::Gathering;
use crate::family::Service;
use crate::life::Life;
use crate::units::Measure;

/// Days on which the work falls due between the as-of date and the end of the season, or the last
/// day of the view where that comes first; those before the season too. Work that is overdue falls
/// due on the day after the as-of date. `None` where it goes by use that is not known.
#[must_use]
pub fn due(
    life: &Life,
    service: Service,
    gathering: Gathering<'_>,
    view: View<'_>,
) -> Option<Vec<NaiveDate>> {
    let season = gathering.season;
    let clocks: Vec<Clock> = Measure::OF_USE
        .iter()
        .filter_map(|m| Clock::new(*m, life, service, gathering, view))
        .collect();
    if clocks.iter().any(|c| !c.known) {
        return None;
    }
    let mut dates = Vec::new();
    let mut last: Option<NaiveDate> = life.fitted;
    let mut used: Vec<f64> = clocks.iter().map(|c| -c.already).collect();
    let mut date = view.as_of + Days::new(1);
    let end = season.end.min(view.until);
    while date <= end {
        let by_days = match (service.days, last) {
            (Some(every), Some(last)) => is_over(every, last, date),
            // Nobody knows when it was last done, so it is due.
            (Some(_), None) => true,
            (None, _) => false,
        };
        let by_use = clocks
            .iter()
            .zip(&used)
            .any(|(c, used)| c.every <= c.at(date) - used);
        if by_days || by_use {
            dates.push(date);
            last = Some(date);
            used = clocks.iter().map(|c| c.at(date)).collect();
        }
        date = date + Days::new(1);
    }
    Some(dates)
}

/// Whether `every` days after `last` are over on `date`.
///
/// 365 days stand for a year, and 730 for two: such work falls due on the same date again. Counted by
/// the day it would come one day sooner after each leap day, and twice in a season that holds one.
fn is_over(every: f64, last: NaiveDate, date: NaiveDate) -> bool {
    const YEAR: f64 = 365.0;
    const MONTHS: f64 = 12.0;
    let years = every / YEAR;
    if 0.0 < years && years.fract() == 0.0 {
        // Beyond the last date there is, it never falls due.
        let again = last.checked_add_months(Months::new((MONTHS * years) as u32));
        return again.is_some_and(|again| again <= date);
    }
    every <= (date - last).num_days() as f64
}

/// Use to come in one measure.
struct Clock {
    every: f64,
    /// Use since the last change, as far as it is on record.
    already: f64,
    /// Whether all of the use to come is known.
    known: bool,
    dates: Vec<NaiveDate>,
    cumulative: Vec<f64>,
}

impl Clock {
    fn new(
        measure: Measure,
        life: &Life,
        service: Service,
        gathering: Gathering<'_>,
        view: View<'_>,
    ) -> Option<Self> {
        let every = service.every(measure)?;
        let path = path::lay_out(gathering.plan, gathering.sizes, View { measure, ..view });
        let cumulative = (0..path.dates.len())
            .map(|k| path.at(k).iter().sum())
            .collect();
        let already = life.filled[measure.index()].end.unwrap_or(every);
        Some(Self {
            every,
            already,
            known: path.is_known(),
            dates: path.dates,
            cumulative,
        })
    }

    /// Use since the as-of date at the end of `date`.
    fn at(&self, date: NaiveDate) -> f64 {
        let k = self.dates.partition_point(|d| *d <= date);
        if k == 0 { 0.0 } else { self.cumulative[k - 1] }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> NaiveDate {
        text.parse().expect("a date")
    }

    /// Season 2028 has 366 days: from 1 November 2027 to 31 October 2028.
    #[test]
    fn yearly_work_falls_due_on_the_same_date_again_also_over_a_leap_day() {
        let (first, last) = (day("2027-11-01"), day("2028-10-31"));
        assert!(!is_over(365.0, first, last));
        assert!(is_over(365.0, first, day("2028-11-01")));
        assert!(!is_over(730.0, first, day("2029-10-31")));
        assert!(is_over(730.0, first, day("2029-11-01")));
        assert!(is_over(365.0, day("2028-02-29"), day("2029-02-28")));
    }

    #[test]
    fn other_numbers_of_days_are_counted_by_the_day() {
        let from = day("2027-11-01");
        assert!(!is_over(90.0, from, day("2028-01-29")));
        assert!(is_over(90.0, from, day("2028-01-30")));
        assert!(is_over(364.0, from, day("2028-10-30")));
        assert!(!is_over(f64::MAX, from, day("2028-10-30")));
    }
}
