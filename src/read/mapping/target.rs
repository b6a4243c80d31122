//! What a header of the user stands for: a column, its unit, what a load is.

use toml::de::DeValue;

use super::text::entries;
use super::{Target, quoted, words};
use crate::read::header::{AmountColumns, Spec, normal};
use crate::record::Table;
use crate::units::{HEADER_UNITS, HeaderUnit, Measure};

/// Forms of a target, in words.
pub(super) const TARGET: &str = "a column in quotes, `{ column = \"tons\", unit = \"lb\" }`, \
    `{ column = \"tons\", load = 6.5 }`, or a list of these";

/// A kind of value, in words.
pub(super) fn kind(value: &DeValue<'_>) -> String {
    match value {
        DeValue::String(text) => quoted(text),
        DeValue::Integer(number) => format!("the number {}", number.as_str()),
        DeValue::Float(number) => format!("the number {}", number.as_str()),
        DeValue::Boolean(value) => format!("{value}"),
        DeValue::Datetime(_) => "a date".to_owned(),
        DeValue::Array(_) => "a list".to_owned(),
        DeValue::Table(_) => "a section".to_owned(),
    }
}

pub(super) fn literal(value: &DeValue<'_>) -> Option<String> {
    match value {
        DeValue::String(text) => Some(text.trim().to_owned()),
        DeValue::Integer(number) => Some(number.as_str().to_owned()),
        DeValue::Float(number) => Some(number.as_str().to_owned()),
        _ => None,
    }
}

/// The unit that a header of a table carries.
fn unit_of(spec: &Spec, column: &str) -> Option<HeaderUnit> {
    let column = normal(column);
    let word = match spec.amounts {
        AmountColumns::None => return None,
        AmountColumns::Use { .. } => column.as_str(),
        AmountColumns::Before => column.strip_suffix("before")?,
    };
    HEADER_UNITS.into_iter().find(|unit| unit.word == word)
}

/// A column of a table by its own spelling.
pub(super) fn canonical(spec: &Spec, column: &str) -> Option<String> {
    let wanted = normal(column);
    let named = spec.columns.iter().find(|(name, _)| normal(name) == wanted);
    if let Some((name, _)) = named {
        return Some((*name).to_owned());
    }
    let unit = unit_of(spec, column)?;
    let before = matches!(spec.amounts, AmountColumns::Before);
    Some(format!(
        "{}{}",
        unit.word,
        if before { "_before" } else { "" }
    ))
}

pub(super) fn read_target(
    value: &DeValue<'_>,
    spec: &Spec,
    table: Table,
) -> Result<Target, (String, String)> {
    let no_column = |name: &str| {
        let like = words::nearest(name, spec.columns.iter().map(|(n, _)| *n));
        let hint = like.map_or_else(String::new, |l| format!("perhaps `{l}`; "));
        (
            format!("the column {} that the table does not take", quoted(name)),
            format!(
                "{hint}{}; `{{ keep_as = \"{}\" }}` keeps it as a column of your own",
                spec.takes(),
                name.trim()
            ),
        )
    };
    let mut target = Target {
        column: String::new(),
        unit: None,
        load: None,
        factor: 1.0,
        season: false,
        kept: false,
    };
    let keys = match value {
        DeValue::String(name) => {
            target.column = canonical(spec, name).ok_or_else(|| no_column(name))?;
            return Ok(target);
        }
        DeValue::Table(keys) => keys,
        other => return Err((kind(other), TARGET.to_owned())),
    };
    for (key, _, value) in entries(keys) {
        let value = value.get_ref();
        let wrong =
            |expected: &str| Err((format!("`{key}` = {}", kind(value)), expected.to_owned()));
        match (key, value.as_str()) {
            ("column", Some(name)) => {
                target.column = canonical(spec, name).ok_or_else(|| no_column(name))?;
            }
            ("keep_as", Some(name))
                if canonical(spec, name).is_none() && !name.trim().is_empty() =>
            {
                name.trim().clone_into(&mut target.column);
                target.kept = true;
            }
            ("keep_as", _) => return wrong("a name that is no column of the table, in quotes"),
            ("unit", Some(unit)) => target.unit = Some(unit.to_owned()),
            ("load", _) => match literal(value).and_then(|n| n.parse::<f64>().ok()) {
                Some(load) if load.is_finite() && 0.0 < load && load < 1e6 => {
                    target.load = Some(load);
                }
                _ => {
                    return wrong(
                        "how much one load is in the unit of the column, such as `load = 6.5`",
                    );
                }
            },
            ("season", _) => match value.as_bool() {
                Some(on) => target.season = on,
                None => return wrong("`season = true`"),
            },
            _ => return wrong("`column`, `unit`, `load`, `season` or `keep_as`"),
        }
    }
    finish_target(target, spec, table)
}

/// Checks what belongs together, and works out the factor.
fn finish_target(
    mut target: Target,
    spec: &Spec,
    table: Table,
) -> Result<Target, (String, String)> {
    let wrong = |found: &str, expected: &str| Err((found.to_owned(), expected.to_owned()));
    if target.column.is_empty() {
        return wrong("no `column`", TARGET);
    }
    if target.season && !(table == Table::Replacements && target.column == "date") {
        return wrong(
            "`season`",
            "`season = true` with `column = \"date\"` in replacements only",
        );
    }
    let own = unit_of(spec, &target.column).filter(|_| !target.kept);
    if let Some(word) = &target.unit {
        let given = unit_factor(word);
        let Some((given, own)) = given
            .zip(own)
            .filter(|((measure, _), own)| *measure == own.measure)
        else {
            let words: Vec<&str> = HEADER_UNITS.iter().map(|u| u.word).collect();
            return Err((
                format!(
                    "`unit` = {} for the column `{}`",
                    quoted(word),
                    target.column
                ),
                format!(
                    "a unit of the same kind as an amount of use: {}, minutes",
                    words.join(", ")
                ),
            ));
        };
        target.factor = given.1 / own.factor;
    }
    if let Some(load) = target.load {
        if target.unit.is_some() || own.is_none_or(|u| u.measure != Measure::Tons) {
            return wrong(
                "`load`",
                "`load` without `unit`, with a column of mass such as `tons`",
            );
        }
        target.factor = load;
    }
    Ok(target)
}

/// What a unit measures, and how much of the internal unit it is.
fn unit_factor(word: &str) -> Option<(Measure, f64)> {
    if normal(word) == "minutes" {
        return Some((Measure::Hours, 1.0 / 60.0));
    }
    let unit = HEADER_UNITS.into_iter().find(|u| u.word == normal(word))?;
    Some((unit.measure, unit.factor))
}
