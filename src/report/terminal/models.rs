//! Part families: a table of all, or one explained.

use std::fmt::Write as _;

use super::close;
use super::grid::{Grid, Lean};
use super::words::{about, capital, interval, whole, wrapped};
use crate::family::{Counted, DistributionChoice, MeasureChoice, Service, WearLimit};
use crate::report::Estimate;
use crate::report::models::{ModelLine, ModelsReport};
use crate::units::Measure;

/// The families.
#[must_use]
pub fn models(report: &ModelsReport, width: usize) -> String {
    let mut out = String::new();
    if report.in_full {
        for line in &report.families {
            explain(&mut out, line, width);
        }
    } else {
        list(&mut out, &report.families, width);
    }
    close(&mut out, &report.header, false, width);
    out
}

fn list(out: &mut String, families: &[ModelLine], width: usize) {
    let (scheduled, worn): (Vec<&ModelLine>, Vec<&ModelLine>) =
        families.iter().partition(|line| line.service.is_some());
    if !worn.is_empty() {
        out.push_str("Changed when worn\n");
        out.push_str(&worn_out(&worn, width));
    }
    if !scheduled.is_empty() {
        out.push_str("\nChanged by schedule\n");
        out.push_str(&by_schedule(&scheduled, width));
    }
    let limits = limits(families, width);
    if !limits.is_empty() {
        out.push_str("\nWorn out at a measured limit\n");
        out.push_str(&limits);
    }
}

fn worn_out(lines: &[&ModelLine], width: usize) -> String {
    let mut grid = Grid::new(
        &[
            ("Family", Lean::Left),
            ("Life of", Lean::Left),
            ("Half last", Lean::Right),
            ("90 % sure", Lean::Right),
            ("Shape", Lean::Right),
        ],
        width,
    );
    for line in lines {
        let half = match line.life50 {
            Some(life) => format!("{} {}", about(life.estimate), short(line.measure)),
            None => format!("? {}", short(line.measure)),
        };
        grid.row([
            line.family.clone(),
            line.counted.name().to_owned(),
            half,
            interval(line.life50.as_ref(), about),
            line.shape.map(|s| shape(s.estimate)).unwrap_or_default(),
        ]);
    }
    grid.text()
}

fn by_schedule(lines: &[&ModelLine], width: usize) -> String {
    let mut grid = Grid::new(&[("Family", Lean::Left), ("Every", Lean::Left)], width);
    for line in lines {
        let every = line.service.map(|s| every(&s)).unwrap_or_default();
        grid.row([line.family.clone(), every]);
    }
    grid.text()
}

fn short(measure: MeasureChoice) -> &'static str {
    match measure {
        MeasureChoice::Fixed(measure) => measure.name(),
        MeasureChoice::Best => "(best)",
    }
}

/// Empty where no family has one.
fn limits(families: &[ModelLine], width: usize) -> String {
    let mut grid = Grid::new(
        &[
            ("Family", Lean::Left),
            ("Measured", Lean::Left),
            ("When new", Lean::Right),
            ("Limit", Lean::Right),
        ],
        width,
    );
    let mut any = false;
    for line in families {
        let Some(wear) = &line.wear else { continue };
        any = true;
        grid.row([
            line.family.clone(),
            wear.measure.clone(),
            reading(wear.new, &wear.unit),
            reading(wear.limit, &wear.unit),
        ]);
    }
    if any { grid.text() } else { String::new() }
}

fn shape(value: f64) -> String {
    format!("{value:.1}")
}

fn reading(value: f64, unit: &str) -> String {
    format!("{} {unit}", figure(value))
}

/// A figure as it was put in, with a separator at the thousands of whole numbers.
fn figure(value: f64) -> String {
    if value.fract() == 0.0 {
        whole(value)
    } else {
        value.to_string()
    }
}

/// `365 days or 500 hours`.
fn every(service: &Service) -> String {
    let parts: Vec<String> = Measure::ALL
        .into_iter()
        .filter_map(|m| {
            service
                .every(m)
                .map(|v| format!("{} {}", figure(v), m.name()))
        })
        .collect();
    parts.join(" or ")
}

fn explain(out: &mut String, line: &ModelLine, width: usize) {
    let origin = if line.built_in {
        "part of the program"
    } else {
        "from a model file of your own"
    };
    let _ = writeln!(out, "{} ({origin})", line.family);
    if !line.description.is_empty() {
        out.push_str(&wrapped(&line.description, "  ", "  ", width));
    }
    if let Some(service) = &line.service {
        section(out, "Schedule", &[schedule(service)], width);
    } else {
        section(out, "What a life is", &counted(line), width);
        section(out, "Before any records", &prior(line), width);
    }
    if let Some(wear) = &line.wear {
        section(out, "Limit", &[limit_in_full(wear)], width);
    }
    let source = line
        .source
        .as_deref()
        .unwrap_or("the model file does not say");
    let sources: Vec<String> = source.split("; ").map(str::to_owned).collect();
    section(out, "Where the figures come from", &sources, width);
    if let Some(caution) = &line.caution {
        out.push_str("\nBefore you work on a machine\n");
        out.push_str(&wrapped(caution, "  ! ", "    ", width));
    }
}

fn section(out: &mut String, heading: &str, sentences: &[String], width: usize) {
    let _ = writeln!(out, "\n{heading}");
    for sentence in sentences {
        out.push_str(&wrapped(sentence, "  - ", "    ", width));
    }
}

fn schedule(service: &Service) -> String {
    let first = if every(service).contains(" or ") {
        ", whichever comes first"
    } else {
        ""
    };
    format!("due every {}{first}", every(service))
}

fn counted(line: &ModelLine) -> Vec<String> {
    let of = match line.counted {
        Counted::Each => "each part by itself: every piece of a position has its own life",
        Counted::Set => {
            "the whole set: all pieces of a position are changed together and share one life"
        }
    };
    let clock = match line.measure {
        MeasureChoice::Fixed(Measure::Acres) => "acres spread",
        MeasureChoice::Fixed(Measure::Tons) => "tons spread",
        MeasureChoice::Fixed(Measure::Hours) => "hours of use",
        MeasureChoice::Fixed(Measure::Days) => "calendar days since it was fitted",
        MeasureChoice::Best => {
            "acres, tons, hours or days, whichever your records speak for most clearly"
        }
    };
    let distribution = match line.distribution {
        DistributionChoice::Best => {
            "the distribution that your records speak for most clearly".to_owned()
        }
        fixed => format!("a {} distribution", capital(fixed.name())),
    };
    vec![
        of.to_owned(),
        format!("counted in {clock}"),
        format!("lives follow {distribution}"),
    ]
}

fn prior(line: &ModelLine) -> Vec<String> {
    let mut told = vec![match &line.life50 {
        Some(life) => {
            let unit = match line.measure {
                MeasureChoice::Fixed(measure) => measure.name(),
                MeasureChoice::Best => "of the measure chosen",
            };
            format!(
                "half of them last about {} {unit}; 90 % sure it is {}",
                about(life.estimate),
                between(life, about)
            )
        }
        None => "how long they last is left to your records".to_owned(),
    }];
    // A life without memory has no shape to speak of.
    if line.distribution != DistributionChoice::Exponential {
        told.push(match &line.shape {
            Some(prior) => format!(
                "shape about {}, 90 % sure {}: {}",
                shape(prior.estimate),
                between(prior, shape),
                pattern(prior.estimate)
            ),
            None => "the shape is left to your records".to_owned(),
        });
    }
    if let Some(factor) = &line.wear_factor {
        let factor = factor.high.unwrap_or(factor.estimate);
        told.push(format!(
            "a product may wear them faster or slower than the reference product, 90 % sure by no more \
             than {factor} times either way"
        ));
    }
    told
}

fn between(value: &Estimate, form: impl Fn(f64) -> String) -> String {
    let end = |v: Option<f64>| v.map_or_else(|| "?".to_owned(), &form);
    format!("between {} and {}", end(value.low), end(value.high))
}

/// What a Weibull shape says of how parts go.
fn pattern(shape: f64) -> &'static str {
    match shape {
        s if s < 0.9 => "more go early than late",
        s if s <= 1.15 => "an old one is hardly likelier to go than a new one",
        s if s < 2.2 => "old ones go sooner than new ones, and single lives differ widely",
        _ => "they wear out, and single lives lie fairly close together",
    }
}

fn limit_in_full(wear: &WearLimit) -> String {
    format!(
        "{}: {} when new, worn out at {}",
        wear.measure,
        reading(wear.new, &wear.unit),
        reading(wear.limit, &wear.unit)
    )
}
