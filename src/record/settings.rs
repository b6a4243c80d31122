//! `settings.toml`: prices, season and units. Text in, values out; no file is opened here.

mod keys;

use std::collections::BTreeSet;
use std::ops::Range;

use serde::Deserialize;
use toml::Spanned;
use toml::de::{DeTable, Deserializer};

use crate::units::Units;

/// An owner's settings; what is `None` was not said.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Settings {
    /// Currency sign or code printed with money.
    pub currency: String,
    /// Units results are printed in.
    pub units: Units,
    /// `MM-DD` on which a season starts; season YEAR ends in YEAR.
    pub season_starts: String,
    /// Money for an hour of work.
    pub labor_rate: Option<f64>,
    /// Money an hour of lost field time costs.
    pub down_cost_per_hour: Option<f64>,
    /// 0.04 = prices of the coming season are 4 % dearer than the parts list.
    pub price_change: f64,
    /// 0.10 = where last season is repeated for want of a plan, 10 % more of it.
    pub plan_change: f64,
    /// The product group whose wear factor is 1.
    pub reference_group: Option<String>,
    /// Fill rate the parts desk wants.
    pub service_level: Option<f64>,
    /// Cost of holding stock for a year, as a fraction of price.
    pub holding_rate: Option<f64>,
    /// Fraction of price added when bought in season.
    pub rush_cost: Option<f64>,
    /// Fraction of price lost on a returned part.
    pub return_rate: Option<f64>,
    /// Most money the parts desk may spend.
    pub budget_limit: Option<f64>,
    /// How dates are written where not ISO 8601, in `strftime` letters such as `%m/%d/%Y`.
    pub date_format: Option<String>,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            currency: "$".to_owned(),
            units: Units::Us,
            season_starts: "11-01".to_owned(),
            labor_rate: None,
            down_cost_per_hour: None,
            price_change: 0.0,
            plan_change: 0.0,
            reference_group: None,
            service_level: None,
            holding_rate: None,
            rush_cost: None,
            return_rate: None,
            budget_limit: None,
            date_format: None,
        }
    }
}

/// What is wrong with a settings file.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SettingsError {
    /// Not TOML; one line that names line and column.
    #[error("{0}")]
    Toml(String),
    /// A key that there is not.
    #[error("line {line}: `{key}` is no setting, expected {expected}")]
    Key {
        /// Its line, from 1.
        line: usize,
        /// As it stands there.
        key: String,
        /// What may stand there.
        expected: String,
    },
    /// A value of the wrong kind or out of its range.
    #[error("`{key}` is {found}, expected {expected}")]
    Value {
        /// The key.
        key: &'static str,
        /// Its value.
        found: String,
        /// What it should be.
        expected: &'static str,
    },
}

impl Settings {
    /// Reads the text of a settings file.
    ///
    /// # Errors
    /// [`SettingsError`] for text that is not TOML, an unknown key or a value out of range: all
    /// there are.
    pub fn from_toml(text: &str) -> Result<Self, Vec<SettingsError>> {
        let (settings, errors) = Self::sound_of_toml(text);
        if errors.is_empty() {
            Ok(settings)
        } else {
            Err(errors)
        }
    }

    /// The keys of a settings file that can be used, all others as if they were not said, and
    /// everything that is wrong with those.
    #[must_use]
    pub fn sound_of_toml(text: &str) -> (Self, Vec<SettingsError>) {
        let lines = Lines::of(text);
        let (table, broken) = DeTable::parse_recoverable(text);
        let mut errors = Vec::new();
        // What follows on a line that is no TOML is told by its first error.
        let mut broken_lines = BTreeSet::new();
        for error in &broken {
            let start = error.span().map_or(0, |span| span.start);
            if broken_lines.insert(lines.number(start)) {
                errors.push(lines.told(start, error.message()));
            }
        }
        let whole = table.span();
        let read = |keys: DeTable<'_>| {
            Self::deserialize(Deserializer::from(Spanned::new(whole.clone(), keys)))
        };
        let mut sound = DeTable::new();
        for (key, value) in table.into_inner() {
            let ends = [key.span().start, value.span().start];
            if ends
                .iter()
                .any(|at| broken_lines.contains(&lines.number(*at)))
            {
                continue;
            }
            // Alone, so that one wrong key does not hide the next.
            if read(DeTable::from_iter([(key.clone(), value.clone())])).is_ok() {
                sound.insert(key, value);
                continue;
            }
            errors.push(match keys::known(key.get_ref()) {
                Some((key, expected)) => SettingsError::Value {
                    key,
                    found: lines.written(value.span()),
                    expected,
                },
                None => SettingsError::Key {
                    line: lines.number(ends[0]),
                    expected: keys::instead_of(key.get_ref()),
                    key: key.into_inner().into_owned(),
                },
            });
        }
        let mut settings = read(sound).unwrap_or_default();
        errors.extend(settings.leave_out_of_range());
        (settings, errors)
    }

    /// Month and day on which a season starts.
    #[must_use]
    pub fn season_start(&self) -> (u32, u32) {
        parse_month_day(&self.season_starts).unwrap_or((11, 1))
    }

    /// Puts values out of their range back to what they are where nothing is said, and says which.
    fn leave_out_of_range(&mut self) -> Vec<SettingsError> {
        const MONEY: &str = "a number from 0 to 1e15";
        const CHANGE: &str = "a share from -0.999 to 10, such as 0.04 for 4 % more";
        const SHARE: &str = "a share of the price from 0 to 10, such as 0.15 for 15 %";
        const LEVEL: &str = "a number between 0 and 1 such as 0.95";
        let unsaid = Self::default();
        let mut errors = Vec::new();
        if parse_month_day(&self.season_starts).is_none() {
            errors.push(SettingsError::Value {
                key: "season_starts",
                found: format!("`{}`", self.season_starts),
                expected: "month and day such as `11-01`, and not 29 February",
            });
            self.season_starts = unsaid.season_starts;
        }
        let mut change = |key, value: &mut f64, least| {
            if !(least..=10.0).contains(value) {
                errors.push(range(key, *value, CHANGE));
                *value = 0.0;
            }
        };
        change("price_change", &mut self.price_change, -0.999);
        change("plan_change", &mut self.plan_change, -1.0);
        let mut within = |key, value: &mut Option<f64>, most, expected| {
            if let Some(wrong) = value.take_if(|v| !(0.0..=most).contains(v)) {
                errors.push(range(key, wrong, expected));
            }
        };
        within("labor_rate", &mut self.labor_rate, 1e15, MONEY);
        let hour = &mut self.down_cost_per_hour;
        within("down_cost_per_hour", hour, 1e15, MONEY);
        within("budget_limit", &mut self.budget_limit, 1e15, MONEY);
        within("holding_rate", &mut self.holding_rate, 10.0, SHARE);
        within("rush_cost", &mut self.rush_cost, 10.0, SHARE);
        within("return_rate", &mut self.return_rate, 10.0, SHARE);
        let level = &mut self.service_level;
        if let Some(wrong) = level.take_if(|v| !(0.0 < *v && *v < 1.0)) {
            errors.push(range("service_level", wrong, LEVEL));
        }
        errors
    }
}

fn range(key: &'static str, found: f64, expected: &'static str) -> SettingsError {
    SettingsError::Value {
        key,
        found: found.to_string(),
        expected,
    }
}

/// Where the lines of a text begin.
struct Lines<'t> {
    text: &'t str,
    starts: Vec<usize>,
}

impl<'t> Lines<'t> {
    fn of(text: &'t str) -> Self {
        let breaks = text.bytes().enumerate().filter(|(_, b)| *b == b'\n');
        let starts = std::iter::once(0).chain(breaks.map(|(at, _)| at + 1));
        Self {
            text,
            starts: starts.collect(),
        }
    }

    /// The line of a byte, from 1.
    fn number(&self, byte: usize) -> usize {
        self.starts.partition_point(|start| *start <= byte)
    }

    /// What the parser says of a byte, with its line and column.
    fn told(&self, byte: usize, message: &str) -> SettingsError {
        let line = self.number(byte);
        let before = self.text.get(self.starts[line - 1]..byte);
        let column = before.map_or(0, |before| before.chars().count()) + 1;
        let said = message.lines().rev().find(|line| !line.trim().is_empty());
        let said = said.unwrap_or_default();
        SettingsError::Toml(format!("line {line}, column {column}: {said}"))
    }

    /// What is written in some bytes, as far as a line holds it.
    fn written(&self, bytes: Range<usize>) -> String {
        /// Longer than any sound value.
        const LONGEST: usize = 40;
        let written = self.text.get(bytes).unwrap_or_default();
        let mut short: String = written.chars().take(LONGEST).collect();
        if short.len() < written.len() {
            short.push('…');
        }
        short.lines().next().unwrap_or_default().to_owned()
    }
}

/// `MM-DD` of a day that every year has.
fn parse_month_day(text: &str) -> Option<(u32, u32)> {
    let (month, day) = text.split_once('-')?;
    let two_digits = |t: &str| t.len() == 2 && t.bytes().all(|b| b.is_ascii_digit());
    if !two_digits(month) || !two_digits(day) {
        return None;
    }
    let (month, day) = (month.parse().ok()?, day.parse().ok()?);
    chrono::NaiveDate::from_ymd_opt(2001, month, day).map(|_| (month, day))
}
