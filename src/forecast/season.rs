//! Seasons: season YEAR is the one that ends in YEAR.

use chrono::{Datelike, Days, NaiveDate};

/// One season, first and last day included.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Season {
    /// The year in which it ends.
    pub year: i32,
    /// First day.
    pub start: NaiveDate,
    /// Last day.
    pub end: NaiveDate,
}

impl Season {
    /// The season that ends in `year`, where seasons start on `(month, day)`.
    ///
    /// # Panics
    /// When `(month, day)` is not a day of every year; settings are checked for that.
    #[must_use]
    pub fn ending_in(year: i32, (month, day): (u32, u32)) -> Self {
        let on =
            |year: i32| NaiveDate::from_ymd_opt(year, month, day).expect("a day of every year");
        let first_year = if (month, day) == (1, 1) {
            year
        } else {
            year - 1
        };
        let start = on(first_year);
        Self {
            year,
            start,
            end: on(first_year + 1) - Days::new(1),
        }
    }

    /// The season a day lies in.
    #[must_use]
    pub fn of(date: NaiveDate, starts: (u32, u32)) -> Self {
        (date.year()..=date.year() + 1)
            .map(|year| Self::ending_in(year, starts))
            .find(|season| season.holds(date))
            .unwrap_or_else(|| Self::ending_in(date.year(), starts))
    }

    /// The first season that ends after `date`.
    #[must_use]
    pub fn after(date: NaiveDate, starts: (u32, u32)) -> Self {
        Self::of(date + Days::new(1), starts)
    }

    /// The last season that is over on `date`.
    #[must_use]
    pub fn last_full(date: NaiveDate, starts: (u32, u32)) -> Self {
        Self::ending_in(Self::after(date, starts).year - 1, starts)
    }

    /// The season after it.
    #[must_use]
    pub fn next(self, starts: (u32, u32)) -> Self {
        Self::ending_in(self.year + 1, starts)
    }

    /// The days it has of the month of `date`.
    #[must_use]
    pub fn of_month(&self, date: NaiveDate) -> Option<DaySpan> {
        let month = DaySpan::month(date);
        let span = DaySpan {
            from: month.from.max(self.start),
            until: month.until.min(self.end),
        };
        (span.from <= span.until).then_some(span)
    }

    /// Whether a day lies in it.
    #[must_use]
    pub fn holds(&self, date: NaiveDate) -> bool {
        self.start <= date && date <= self.end
    }
}

/// Days of one month, first and last included.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DaySpan {
    /// First day.
    pub from: NaiveDate,
    /// Last day.
    pub until: NaiveDate,
}

impl DaySpan {
    /// The whole month of `date`.
    #[must_use]
    pub fn month(date: NaiveDate) -> Self {
        let from = month_of(date);
        Self {
            from,
            until: months_later(from, 1) - Days::new(1),
        }
    }

    /// How many.
    #[must_use]
    pub fn days(self) -> i64 {
        (self.until - self.from).num_days() + 1
    }
}

/// First day of the month of `date`.
///
/// # Panics
/// Never: every month has a first day.
#[must_use]
pub fn month_of(date: NaiveDate) -> NaiveDate {
    date.with_day(1).expect("every month has a first day")
}

/// First day of the month `months` later.
///
/// # Panics
/// Beyond the calendar of 262,000 years.
#[must_use]
pub fn months_later(month: NaiveDate, months: i32) -> NaiveDate {
    let count = month.year() * 12 + month.month0().cast_signed() + months;
    NaiveDate::from_ymd_opt(
        count.div_euclid(12),
        count.rem_euclid(12).cast_unsigned() + 1,
        1,
    )
    .expect("within the calendar")
}

/// The same day `years` later; the last of February stays that.
///
/// # Panics
/// Beyond the calendar of 262,000 years.
#[must_use]
pub fn moved_years(date: NaiveDate, years: i32) -> NaiveDate {
    let month = DaySpan::month(months_later(month_of(date), 12 * years));
    if date == DaySpan::month(date).until {
        return month.until;
    }
    (month.from + Days::new(u64::from(date.day0()))).min(month.until)
}
