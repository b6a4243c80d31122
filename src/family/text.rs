//! The text of a model file to a [`Family`].

use serde::Deserialize;

use super::{
    Counted, DistributionChoice, Family, MeasureChoice, Prior, Service, Spread, WearLimit,
};
use crate::units::Measure;

/// What is wrong with a model file.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum FamilyError {
    /// Not TOML, an unknown key, or a value of the wrong kind; the text names line and key.
    #[error("{0}")]
    Toml(String),
    /// A value that cannot be.
    #[error("line {line}, `{key}` is {found}, expected {expected}")]
    Value {
        /// Line of the file, from 1; 0 where the key stands nowhere.
        line: usize,
        /// The key.
        key: &'static str,
        /// Its value.
        found: String,
        /// What it should be.
        expected: &'static str,
    },
    /// `[service]` and `[prior]` exclude each other.
    #[error(
        "`[service]` and `[prior]` are both given; a family is changed by schedule or by wear, keep one"
    )]
    ServiceAndPrior,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FileText {
    family: toml::Spanned<String>,
    #[serde(default)]
    description: String,
    #[serde(default)]
    measure: MeasureText,
    #[serde(default)]
    counted: CountedText,
    #[serde(default)]
    distribution: DistributionText,
    source: Option<String>,
    caution: Option<String>,
    prior: Option<PriorText>,
    wear: Option<WearText>,
    service: Option<ServiceText>,
}

#[derive(Clone, Copy, Default, Deserialize)]
#[serde(rename_all = "lowercase")]
enum MeasureText {
    Acres,
    Tons,
    Hours,
    Days,
    #[default]
    Best,
}

#[derive(Clone, Copy, Default, Deserialize)]
#[serde(rename_all = "lowercase")]
enum CountedText {
    #[default]
    Each,
    Set,
}

#[derive(Clone, Copy, Default, Deserialize)]
#[serde(rename_all = "lowercase")]
enum DistributionText {
    #[default]
    Weibull,
    Lognormal,
    Exponential,
    Best,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PriorText {
    shape: Option<toml::Spanned<SpreadText>>,
    life50: Option<toml::Spanned<SpreadText>>,
    wear_factor: Option<toml::Spanned<FactorText>>,
    /// Where the figures come from; the file's own `source` serves as well.
    source: Option<String>,
}

#[derive(Clone, Copy, Deserialize)]
#[serde(deny_unknown_fields)]
struct SpreadText {
    median: f64,
    spread: f64,
}

#[derive(Clone, Copy, Deserialize)]
#[serde(deny_unknown_fields)]
struct FactorText {
    spread: f64,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct WearText {
    measure: String,
    unit: String,
    new: f64,
    limit: toml::Spanned<f64>,
    source: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ServiceText {
    every: toml::Spanned<EveryText>,
    source: Option<String>,
}

#[derive(Clone, Copy, Deserialize)]
#[serde(deny_unknown_fields)]
struct EveryText {
    days: Option<f64>,
    hours: Option<f64>,
    acres: Option<f64>,
    tons: Option<f64>,
}

/// Line of a byte, from 1.
fn line_at(text: &str, byte: usize) -> usize {
    text.get(..byte).unwrap_or(text).matches('\n').count() + 1
}

pub(super) fn parse(text: &str) -> Result<Family, FamilyError> {
    let file: FileText =
        toml::from_str(text).map_err(|e| FamilyError::Toml(e.to_string().trim().to_owned()))?;
    if file.service.is_some() && file.prior.is_some() {
        return Err(FamilyError::ServiceAndPrior);
    }
    let name = file.family.get_ref().trim().to_owned();
    if name.is_empty() {
        return Err(FamilyError::Value {
            line: line_at(text, file.family.span().start),
            key: "family",
            found: "empty".to_owned(),
            expected: "the family's name as the parts list has it",
        });
    }
    let sources = [
        file.source,
        file.prior.as_ref().and_then(|p| p.source.clone()),
        file.wear.as_ref().and_then(|w| w.source.clone()),
        file.service.as_ref().and_then(|s| s.source.clone()),
    ];
    let source = sources.into_iter().flatten().collect::<Vec<_>>().join("; ");
    Ok(Family {
        name,
        description: file.description,
        measure: match file.measure {
            MeasureText::Acres => MeasureChoice::Fixed(Measure::Acres),
            MeasureText::Tons => MeasureChoice::Fixed(Measure::Tons),
            MeasureText::Hours => MeasureChoice::Fixed(Measure::Hours),
            MeasureText::Days => MeasureChoice::Fixed(Measure::Days),
            MeasureText::Best => MeasureChoice::Best,
        },
        counted: match file.counted {
            CountedText::Each => Counted::Each,
            CountedText::Set => Counted::Set,
        },
        distribution: match file.distribution {
            DistributionText::Weibull => DistributionChoice::Weibull,
            DistributionText::Lognormal => DistributionChoice::Lognormal,
            DistributionText::Exponential => DistributionChoice::Exponential,
            DistributionText::Best => DistributionChoice::Best,
        },
        prior: file
            .prior
            .map_or(Ok(Prior::default()), |p| prior(text, &p))?,
        source: Some(source).filter(|s| !s.is_empty()),
        caution: file.caution,
        wear: file.wear.map(|w| wear(text, w)).transpose()?,
        service: file.service.map(|s| service(text, &s)).transpose()?,
        from_file: true,
    })
}

fn prior(text: &str, prior: &PriorText) -> Result<Prior, FamilyError> {
    Ok(Prior {
        shape: spread(text, "shape", prior.shape.as_ref())?,
        life50: spread(text, "life50", prior.life50.as_ref())?,
        wear_factor: prior
            .wear_factor
            .as_ref()
            .map(|w| {
                let line = line_at(text, w.span().start);
                check_spread(line, "wear_factor", w.get_ref().spread)
            })
            .transpose()?,
    })
}

fn spread(
    text: &str,
    key: &'static str,
    value: Option<&toml::Spanned<SpreadText>>,
) -> Result<Option<Spread>, FamilyError> {
    let Some(value) = value else { return Ok(None) };
    let line = line_at(text, value.span().start);
    let SpreadText { median, spread } = *value.get_ref();
    if !(median.is_finite() && 0.0 < median) {
        return Err(FamilyError::Value {
            line,
            key,
            found: format!("median = {median}"),
            expected: "a median above 0",
        });
    }
    check_spread(line, key, spread)?;
    Ok(Some(Spread { median, spread }))
}

fn check_spread(line: usize, key: &'static str, spread: f64) -> Result<f64, FamilyError> {
    if spread.is_finite() && 1.0 < spread {
        return Ok(spread);
    }
    Err(FamilyError::Value {
        line,
        key,
        found: format!("spread = {spread}"),
        expected: "a spread above 1: 90 % sure to lie within median / spread .. median * spread",
    })
}

fn wear(text: &str, wear: WearText) -> Result<WearLimit, FamilyError> {
    let limit = *wear.limit.get_ref();
    // Exactly equal means no wear is allowed, which is surely a slip; no rounding is involved.
    #[expect(clippy::float_cmp, reason = "equality as written in the file is meant")]
    let no_room = limit == wear.new;
    if no_room || !limit.is_finite() || !wear.new.is_finite() {
        return Err(FamilyError::Value {
            line: line_at(text, wear.limit.span().start),
            key: "limit",
            found: format!("{limit}"),
            expected: "a limit that differs from `new`",
        });
    }
    Ok(WearLimit {
        measure: wear.measure,
        unit: wear.unit,
        new: wear.new,
        limit,
    })
}

fn service(text: &str, service: &ServiceText) -> Result<Service, FamilyError> {
    let EveryText {
        days,
        hours,
        acres,
        tons,
    } = *service.every.get_ref();
    let given = [days, hours, acres, tons];
    if given.iter().all(Option::is_none)
        || given.iter().flatten().any(|v| !(v.is_finite() && 0.0 < *v))
    {
        return Err(FamilyError::Value {
            line: line_at(text, service.every.span().start),
            key: "every",
            found: "none, or one that is not above 0".to_owned(),
            expected: "at least one of days, hours, acres, tons, each above 0",
        });
    }
    Ok(Service {
        days,
        hours,
        acres,
        tons,
    })
}
