//! `settings.toml`: prices, season and units. Text in, values out; no file is opened here.

use serde::Deserialize;

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
    /// Not TOML, an unknown key, or a value of the wrong kind; the text names line and key.
    #[error("{0}")]
    Toml(String),
    /// A value out of its range.
    #[error("`{key}` is {found}, expected {expected}")]
    Range {
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
    /// [`SettingsError`] for text that is not TOML, an unknown key or a value out of range.
    pub fn from_toml(text: &str) -> Result<Self, SettingsError> {
        let settings: Self = toml::from_str(text)
            .map_err(|e| SettingsError::Toml(e.to_string().trim().to_owned()))?;
        settings.check()?;
        Ok(settings)
    }

    /// Month and day on which a season starts.
    #[must_use]
    pub fn season_start(&self) -> (u32, u32) {
        parse_month_day(&self.season_starts).unwrap_or((11, 1))
    }

    fn check(&self) -> Result<(), SettingsError> {
        const MONEY: &str = "a number from 0 to 1e15";
        const CHANGE: &str = "a share from -1 to 10, such as 0.04 for 4 % more";
        const SHARE: &str = "a share of the price from 0 to 10, such as 0.15 for 15 %";
        if parse_month_day(&self.season_starts).is_none() {
            return Err(SettingsError::Range {
                key: "season_starts",
                found: format!("`{}`", self.season_starts),
                expected: "month and day such as `11-01`, and not 29 February",
            });
        }
        let within = [
            ("labor_rate", self.labor_rate, (0.0, 1e15), MONEY),
            (
                "down_cost_per_hour",
                self.down_cost_per_hour,
                (0.0, 1e15),
                MONEY,
            ),
            ("budget_limit", self.budget_limit, (0.0, 1e15), MONEY),
            (
                "price_change",
                Some(self.price_change),
                (-0.999, 10.0),
                CHANGE,
            ),
            ("plan_change", Some(self.plan_change), (-1.0, 10.0), CHANGE),
            ("holding_rate", self.holding_rate, (0.0, 10.0), SHARE),
            ("rush_cost", self.rush_cost, (0.0, 10.0), SHARE),
            ("return_rate", self.return_rate, (0.0, 10.0), SHARE),
        ];
        for (key, value, (least, most), expected) in within {
            if value.is_some_and(|v| !(least..=most).contains(&v)) {
                return Err(SettingsError::Range {
                    key,
                    found: format!("{}", value.unwrap_or(f64::NAN)),
                    expected,
                });
            }
        }
        if self.service_level.is_some_and(|v| !(0.0 < v && v < 1.0)) {
            return Err(SettingsError::Range {
                key: "service_level",
                found: format!("{}", self.service_level.unwrap_or(f64::NAN)),
                expected: "a number between 0 and 1 such as 0.95",
            });
        }
        Ok(())
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
