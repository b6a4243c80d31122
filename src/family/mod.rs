//! Part families: what a life is measured in, how it is counted, and what is known beforehand.

mod text;

use std::collections::BTreeMap;

use serde::Deserialize;

use crate::units::Measure;

pub use text::FamilyError;

/// Which measure a family's life is counted in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MeasureChoice {
    /// This one.
    Fixed(Measure),
    /// The one under which the records are most probable.
    Best,
}

impl MeasureChoice {
    /// The word in files and JSON.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Fixed(measure) => measure.name(),
            Self::Best => "best",
        }
    }
}

/// Whether a life is a single part's or the whole position's.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Counted {
    /// Every piece has its own life.
    Each,
    /// All pieces of a position are changed together and share one life.
    Set,
}

impl Counted {
    /// The word in files and JSON.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Each => "each",
            Self::Set => "set",
        }
    }
}

/// The life distribution wanted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum DistributionChoice {
    /// `S(x) = exp(-(x / scale)^shape)`.
    #[default]
    Weibull,
    /// Log life is normal.
    Lognormal,
    /// Weibull of shape 1.
    Exponential,
    /// The one the records support best.
    Best,
}

impl DistributionChoice {
    /// The word in files and JSON.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Weibull => "weibull",
            Self::Lognormal => "lognormal",
            Self::Exponential => "exponential",
            Self::Best => "best",
        }
    }
}

/// A positive quantity known to within a factor: 90 % sure to lie in `median / spread .. median * spread`.
///
/// Its logarithm is normal with mean `ln(median)` and standard deviation `ln(spread) / 1.6449`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spread {
    /// The median.
    pub median: f64,
    /// The factor, above 1.
    pub spread: f64,
}

impl Spread {
    /// 95 % point of the standard normal distribution: nine in ten lie within so many standard deviations.
    pub const Z95: f64 = 1.644_853_626_951_472_7;

    /// Mean of the logarithm.
    #[must_use]
    pub fn ln_mean(self) -> f64 {
        self.median.ln()
    }

    /// Standard deviation of the logarithm.
    #[must_use]
    pub fn ln_sd(self) -> f64 {
        self.spread.ln() / Self::Z95
    }
}

/// What is known of a family before its records are seen; `None`: nothing is.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Prior {
    /// Weibull shape; a lognormal life has the same steepness where `1 / sigma` is this over 1.28.
    pub shape: Option<Spread>,
    /// Life by which half have worn out, in the family's measure, at the reference group.
    pub life50: Option<Spread>,
    /// Spread of a wear factor about 1.
    pub wear_factor: Option<f64>,
}

/// A limit on measured wear.
#[derive(Clone, Debug, PartialEq)]
pub struct WearLimit {
    /// What is measured: `elongation`, `thickness`, `play`.
    pub measure: String,
    /// Its unit.
    pub unit: String,
    /// Reading of a new part.
    pub new: f64,
    /// Reading at which it is worn out.
    pub limit: f64,
}

impl WearLimit {
    /// Whether the calendar is the gauge, and a part that long in service is at its limit without a reading.
    #[must_use]
    pub fn is_reached_in(&self, days: i64) -> bool {
        self.measure == "age" && self.unit == "days" && self.limit <= self.new + days as f64
    }
}

/// How often a scheduled family is changed; the first that is reached counts.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Service {
    /// Days between changes; 365 stand for a year, and multiples of it for years.
    pub days: Option<f64>,
    /// Hours of use between changes.
    pub hours: Option<f64>,
    /// Acres between changes.
    pub acres: Option<f64>,
    /// Tons between changes.
    pub tons: Option<f64>,
}

impl Service {
    /// The interval in one measure.
    #[must_use]
    pub fn every(&self, measure: Measure) -> Option<f64> {
        match measure {
            Measure::Acres => self.acres,
            Measure::Tons => self.tons,
            Measure::Hours => self.hours,
            Measure::Days => self.days,
        }
    }
}

/// Parts that share a life model.
#[derive(Clone, Debug, PartialEq)]
pub struct Family {
    /// Its name in the parts list.
    pub name: String,
    /// Words for people.
    pub description: String,
    /// What a life is measured in.
    pub measure: MeasureChoice,
    /// What a life is a life of.
    pub counted: Counted,
    /// The life distribution.
    pub distribution: DistributionChoice,
    /// What is known beforehand.
    pub prior: Prior,
    /// Where the prior's figures come from.
    pub source: Option<String>,
    /// What to mind when measuring or changing it.
    pub caution: Option<String>,
    /// A limit on measured wear.
    pub wear: Option<WearLimit>,
    /// Changed by schedule rather than by wear.
    pub service: Option<Service>,
    /// Whether a model file stands behind it.
    pub from_file: bool,
}

impl Family {
    /// Reads the text of a model file.
    ///
    /// # Errors
    /// [`FamilyError`], naming line and key.
    pub fn from_toml(text: &str) -> Result<Self, FamilyError> {
        text::parse(text)
    }

    /// What a family gets that has no model file: the measure the records choose, a life of its
    /// own for each piece, a Weibull life and a weak prior on the shape alone.
    #[must_use]
    pub fn without_file(name: &str) -> Self {
        Self {
            name: name.to_owned(),
            description: String::new(),
            measure: MeasureChoice::Best,
            counted: Counted::Each,
            distribution: DistributionChoice::Weibull,
            prior: Prior {
                shape: Some(Spread {
                    median: 2.0,
                    spread: 3.0,
                }),
                life50: None,
                wear_factor: None,
            },
            source: None,
            caution: None,
            wear: None,
            service: None,
            from_file: false,
        }
    }
}

/// Families by name.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Families {
    by_name: BTreeMap<String, Family>,
}

/// The model files that are part of the program.
const BUILT_IN: &[&str] = &[
    include_str!("../../models/chain-oil.toml"),
    include_str!("../../models/chute-liner.toml"),
    include_str!("../../models/conveyor-belt.toml"),
    include_str!("../../models/conveyor-chain-stainless.toml"),
    include_str!("../../models/conveyor-chain.toml"),
    include_str!("../../models/divider-liner.toml"),
    include_str!("../../models/frame-bushing.toml"),
    include_str!("../../models/gearcase-oil.toml"),
    include_str!("../../models/gearcase-seal.toml"),
    include_str!("../../models/hydraulic-filter.toml"),
    include_str!("../../models/hydraulic-fluid.toml"),
    include_str!("../../models/hydraulic-hose.toml"),
    include_str!("../../models/hydraulic-motor.toml"),
    include_str!("../../models/oiler-nozzle.toml"),
    include_str!("../../models/sensor.toml"),
    include_str!("../../models/shaft-bearing.toml"),
    include_str!("../../models/spinner-bearing.toml"),
    include_str!("../../models/spinner-disc.toml"),
    include_str!("../../models/spinner-fin.toml"),
    include_str!("../../models/sprocket.toml"),
];

impl Families {
    /// The families that are part of the program.
    ///
    /// # Panics
    /// Never: a test reads every built-in file.
    #[must_use]
    pub fn built_in() -> Self {
        let mut families = Self::default();
        for text in BUILT_IN {
            families.insert(Family::from_toml(text).expect("built-in model files are valid"));
        }
        families
    }

    /// The text of the file of a family that is part of the program.
    #[must_use]
    pub fn built_in_text(name: &str) -> Option<&'static str> {
        let is_of = |text: &&&str| Family::from_toml(text).is_ok_and(|family| family.name == name);
        BUILT_IN.iter().find(is_of).copied()
    }

    /// Adds a family; one of the same name is replaced.
    pub fn insert(&mut self, family: Family) {
        self.by_name.insert(family.name.clone(), family);
    }

    /// The family of that name, or what a family without a file gets.
    #[must_use]
    pub fn get(&self, name: &str) -> Family {
        self.by_name
            .get(name)
            .cloned()
            .unwrap_or_else(|| Family::without_file(name))
    }

    /// Whether a model file stands behind that name.
    #[must_use]
    pub fn has(&self, name: &str) -> bool {
        self.by_name.contains_key(name)
    }

    /// Every family, by name.
    pub fn iter(&self) -> impl Iterator<Item = &Family> {
        self.by_name.values()
    }
}
