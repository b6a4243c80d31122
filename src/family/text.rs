//! The text of a model file to a [`Family`].

mod complaint;

use serde::Deserialize;

use super::{
    Counted, DistributionChoice, Family, MeasureChoice, Prior, Service, Spread, WearLimit,
};
use crate::units::Measure;

/// What is wrong with a model file.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FamilyError {
    /// Not TOML, an unknown or missing key, or a value of the wrong kind.
    #[error("{}{why}", place(*line, key.as_deref()))]
    Text {
        /// Line of the file, from 1; `None` where the trouble is with the whole file.
        line: Option<usize>,
        /// The key, where one is near.
        key: Option<String>,
        /// What is wrong.
        why: String,
    },
    /// A value that cannot be.
    #[error("{}found {found}; expected {expected}", place(Some(*line), Some(key)))]
    Value {
        /// Line of the file, from 1.
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
        "{}`[service]` and `[prior]` are both given; a family is changed by schedule or by wear, keep one",
        place(Some(*line), Some(key))
    )]
    ServiceAndPrior {
        /// Line of the later of the two.
        line: usize,
        /// The later of the two.
        key: &'static str,
    },
}

/// The words for a place in the file.
fn place(line: Option<usize>, key: Option<&str>) -> String {
    match (line, key) {
        (Some(line), Some(key)) => format!("line {line}, key `{key}`: "),
        (Some(line), None) => format!("line {line}: "),
        (None, Some(key)) => format!("key `{key}`: "),
        (None, None) => String::new(),
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FileText {
    family: toml::Spanned<String>,
    #[serde(default)]
    description: String,
    #[serde(default)]
    measure: MeasureText,
    counted: Option<Counted>,
    #[serde(default)]
    distribution: DistributionChoice,
    source: Option<String>,
    caution: Option<String>,
    prior: Option<toml::Spanned<PriorText>>,
    wear: Option<WearText>,
    service: Option<toml::Spanned<ServiceText>>,
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

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PriorText {
    shape: Option<SpreadText>,
    life50: Option<SpreadText>,
    wear_factor: Option<FactorText>,
    /// Where the figures come from; the file's own `source` serves as well.
    source: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct SpreadText {
    median: toml::Spanned<f64>,
    spread: toml::Spanned<f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FactorText {
    spread: toml::Spanned<f64>,
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
    let file: FileText = toml::from_str(text).map_err(|error| complaint::of(text, &error))?;
    if let (Some(service), Some(prior)) = (&file.service, &file.prior) {
        let (service, prior) = (service.span().start, prior.span().start);
        return Err(FamilyError::ServiceAndPrior {
            line: line_at(text, service.max(prior)),
            key: if service < prior { "prior" } else { "service" },
        });
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
        file.prior.as_ref().and_then(|p| p.get_ref().source.clone()),
        file.wear.as_ref().and_then(|w| w.source.clone()),
        file.service
            .as_ref()
            .and_then(|s| s.get_ref().source.clone()),
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
        // Scheduled work is done at one go, where nothing else is said.
        counted: file.counted.unwrap_or(match file.service {
            Some(_) => Counted::Set,
            None => Counted::Each,
        }),
        distribution: file.distribution,
        prior: file
            .prior
            .map_or(Ok(Prior::default()), |p| prior(text, p.get_ref()))?,
        source: Some(source).filter(|s| !s.is_empty()),
        caution: file.caution,
        wear: file.wear.map(|w| wear(text, w)).transpose()?,
        service: file
            .service
            .map(|s| service(text, s.get_ref()))
            .transpose()?,
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
            .map(|w| check_spread(text, "wear_factor", &w.spread))
            .transpose()?,
    })
}

fn spread(
    text: &str,
    key: &'static str,
    value: Option<&SpreadText>,
) -> Result<Option<Spread>, FamilyError> {
    let Some(value) = value else { return Ok(None) };
    let median = *value.median.get_ref();
    if !(median.is_finite() && 0.0 < median) {
        return Err(FamilyError::Value {
            line: line_at(text, value.median.span().start),
            key,
            found: format!("median = {median}"),
            expected: "a median above 0",
        });
    }
    let spread = check_spread(text, key, &value.spread)?;
    Ok(Some(Spread { median, spread }))
}

fn check_spread(
    text: &str,
    key: &'static str,
    spread: &toml::Spanned<f64>,
) -> Result<f64, FamilyError> {
    let value = *spread.get_ref();
    if value.is_finite() && 1.0 < value {
        return Ok(value);
    }
    Err(FamilyError::Value {
        line: line_at(text, spread.span().start),
        key,
        found: format!("spread = {value}"),
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
