//! How long parts last, family by family, and what each product does to them.

use std::collections::BTreeSet;

use maud::{Markup, html};

use super::season::on_axis;
use super::table::Table;
use super::words::{
    UNKNOWN, amount, capital, count, interval, known, probability, share, shown, unit, whole,
};
use super::{dealt, figure, of_several};
use crate::family::Counted;
use crate::plot::{
    Caption, Group, Mark, Picture, ProbabilityFigure, Reference, Row, RowsFigure, Sample, Scale,
    SharePoint, file_name,
};
use crate::report::Estimate;
use crate::report::fits::{FitLine, FitsReport};
use crate::units::Measure;

/// Most families with a picture, so that the page stays small enough to send.
const MOST_PICTURES: usize = 30;

pub(super) fn section(report: &FitsReport) -> Markup {
    let level = share(report.header.level);
    let pictures = pictures(report);
    let more = report.families.len().saturating_sub(MOST_PICTURES);
    let content = html! {
        p {
            "From the records of all machines, used " (if priors(report) { "together with what is known of such parts in general" } else { "alone" })
            ". The ranges hold the truth in " (level) " of cases."
            @if report.with_found {
                " Parts of unknown age count, by how long they have lasted since the records began, as in the forecast; "
                code { "wearcast fit" } " leaves them out, so its figures differ."
            }
        }
        (table(report))
        p {
            "In the pictures, a ring is a wear-out, at the share of parts that were worn out by then; a line through a ring: "
            "the part wore out somewhere along it. The nearer the rings lie to the straight line, the better the life model "
            "agrees with the records. The band holds the share in " (level) " of cases, from the lives alone."
        }
        div.pair.families {
            @for (line, picture) in report.families.iter().zip(&pictures) {
                div {
                    h3 { (capital(&line.family)) }
                    @if let Some(picture) = picture { (figure(picture, &sentence(line, report))) }
                    @else { p { (sentence(line, report)) } }
                    @if !line.goodness.verdict.is_empty() {
                        ul { @for sentence in &line.goodness.verdict { li { (capital(sentence)) "." } } }
                    }
                }
            }
        }
        @if 0 < more {
            p.aside { "and " (count(more, "family")) " more, in the table above only." }
        }
    };
    super::section("lives", true, &content)
}

fn priors(report: &FitsReport) -> bool {
    report.families.iter().any(|f| f.priors)
}

/// A life in the owner's units: `4,100`.
fn life<'a>(line: &'a FitLine, report: &'a FitsReport) -> impl Fn(f64) -> String + 'a {
    move |v| whole(shown(line.measure, v, report.units))
}

fn with_range(value: &Estimate, form: impl Fn(f64) -> String) -> String {
    let range = interval(value, &form);
    if range.is_empty() {
        form(value.estimate)
    } else {
        format!("{} ({range})", form(value.estimate))
    }
}

fn table(report: &FitsReport) -> Markup {
    let rows = report.families.iter().map(|line| {
        let told = |v: Option<Estimate>| known(v, |e| with_range(&e, life(line, report)));
        vec![
            format!("{}, in {}", line.family, counted_in(line, report)),
            on_axis(line.counts.lives),
            on_axis(line.counts.worn),
            told(line.life10),
            told(line.life50),
        ]
    });
    Table {
        caption: "Lives on record, how many of them ended in a wear-out, and the life by which 1 in 10 and half are worn out",
        heads: &["Family", "Lives", "Worn out", "1 in 10 by", "Half by"],
        figures: 1,
        rows: rows.collect(),
        thing: "family",
        command: "wearcast fit",
    }
    .markup()
}

/// `tons of potash`: what lives are told in, and of which product.
fn counted_in(line: &FitLine, report: &FitsReport) -> String {
    let unit = unit(line.measure, report.units);
    match &line.reference_group {
        Some(group) => format!("{unit} of {group}"),
        None => unit.to_owned(),
    }
}

fn sentence(line: &FitLine, report: &FitsReport) -> String {
    let of = match line.counted {
        Counted::Each => "each part has a life of its own",
        Counted::Set => "a whole set shares one life",
    };
    let unit = counted_in(line, report);
    let half = match (line.life50, line.at_least) {
        (Some(half), _) => format!(
            "Half are worn out by {} {unit}.",
            with_range(&half, life(line, report))
        ),
        (None, Some(least)) => format!(
            "Half of them last at least {} {unit}, {} sure.",
            life(line, report)(least),
            share(report.header.level)
        ),
        (None, None) => format!("When half are worn out is {UNKNOWN}."),
    };
    let wear_outs = if (line.counts.worn - 1.0).abs() < 1e-9 {
        "1 wear-out".to_owned()
    } else {
        format!("{} wear-outs", on_axis(line.counts.worn))
    };
    format!(
        "{wear_outs} on record among {} lives; {of}. {half}",
        on_axis(line.counts.lives)
    )
}

/// What the lives are measured along, in words of the trade.
fn along(measure: Option<Measure>, unit: &str, group: &str) -> String {
    match measure {
        Some(Measure::Tons) => format!("{unit} of {group} spread, or what wears like them"),
        Some(Measure::Acres) => format!("{unit} spread with {group}, or what wears like them"),
        Some(Measure::Hours) => format!("{unit} of spreading {group}, or what wears like them"),
        _ => format!("life in {unit}, counted as {group}"),
    }
}

/// Names of the families' pictures, all different.
fn names(report: &FitsReport) -> Vec<String> {
    let mut taken = BTreeSet::new();
    let names = report.families.iter().map(|line| {
        let stem = format!("worn-out-{}", file_name(&line.family));
        let mut name = stem.clone();
        let mut number = 2;
        while !taken.insert(name.clone()) {
            name = format!("{stem}-{number}");
            number += 1;
        }
        name
    });
    names.collect()
}

/// The probability plot of each family; `None` without a wear-out.
pub(super) fn pictures(report: &FitsReport) -> Vec<Option<Picture>> {
    let named = report.families.iter().zip(names(report));
    let drawn = named.map(|(line, name)| picture(line, name, report));
    drawn.take(MOST_PICTURES).collect()
}

fn picture(line: &FitLine, name: String, report: &FitsReport) -> Option<Picture> {
    let plot = line.plot.as_ref()?;
    let in_units = |v: f64| shown(line.measure, v, report.units);
    let points = plot.points.iter().map(|p| SharePoint {
        low: in_units(p.low),
        high: in_units(p.high),
        share: p.probability,
        share_low: p.probability_low,
        share_high: p.probability_high,
    });
    let fit = plot.line.iter().map(|(x, share)| (in_units(*x), *share));
    let unit = unit(line.measure, report.units);
    let across = match &line.reference_group {
        Some(group) => along(line.measure, unit, group),
        None => format!("{unit} since it was fitted"),
    };
    let upward = if 0.0 < plot.start {
        format!(
            "share worn out of those still good at {}, %",
            whole(in_units(plot.start))
        )
    } else {
        "share of parts worn out, %".to_owned()
    };
    let half = known(line.life50, |e| {
        format!("{} {unit}", with_range(&e, life(line, report)))
    });
    Some(
        ProbabilityFigure {
            caption: Caption {
                name,
                title: format!("Share of {} worn out by their life", line.family),
                about: format!(
                    "A probability plot on {} axes: {} of wear-outs, the life model as a straight line, and the range of \
                     the lives alone as a band. Half are worn out by {half}.",
                    line.distribution.name(),
                    count(plot.points.len(), "place"),
                ),
            },
            distribution: plot.distribution,
            across,
            upward,
            tell: &on_axis,
            points: points.collect(),
            line: fit.collect(),
            band: "range of the lives alone",
        }
        .draw(),
    )
}

pub(super) fn factors_section(report: &FitsReport) -> Markup {
    let any = report.families.iter().any(|f| !f.factors.is_empty());
    let content = html! {
        @if any {
            p {
                "A wear factor of 2 means that a unit of the product wears like two of the reference, whose factor is 1. "
                "Where a range holds 1, the records cannot tell the two apart."
            }
            div.pair {
                div {
                    @for picture in factor_pictures(report) {
                        (figure(&picture, &format!("The ranges hold the truth in {} of cases.", share(report.header.level))))
                    }
                }
                (factors_table(report))
            }
        } @else {
            p { "Wear by product is " (UNKNOWN) ": the records hold one product alone, or none." }
        }
    };
    super::section("factors", false, &content)
}

/// Wear factors with their intervals; several pictures where there are many.
pub(super) fn factor_pictures(report: &FitsReport) -> Vec<Picture> {
    let families = report.families.iter().filter(|f| !f.factors.is_empty());
    let groups = families.map(|line| Group {
        heading: Some(match &line.reference_group {
            Some(reference) => format!("{}, against {reference}", line.family),
            None => line.family.clone(),
        }),
        rows: line
            .factors
            .iter()
            .map(|f| factor_row(&f.group, f.factor))
            .collect(),
    });
    let pictures = dealt(groups.collect());
    let all = pictures.len();
    let drawn = pictures.into_iter().enumerate();
    drawn
        .map(|(i, groups)| factor_picture(groups, i, all))
        .collect()
}

fn factor_row(group: &str, factor: Option<Estimate>) -> Row {
    Row {
        label: group.to_owned(),
        told: known(factor, |e| with_range(&e, amount)),
        range: factor
            .and_then(|e| (e.low.is_some() || e.high.is_some()).then_some((e.low, e.high))),
        marks: factor.iter().map(|e| (Mark::Dot, e.estimate)).collect(),
        ..Row::default()
    }
}

fn factor_picture(groups: Vec<Group>, index: usize, all: usize) -> Picture {
    let rows: usize = groups.iter().map(|g| g.rows.len()).sum();
    RowsFigure {
        caption: Caption {
            name: if all < 2 {
                "wear-factors".to_owned()
            } else {
                format!("wear-factors-{}", index + 1)
            },
            title: format!("Wear factors{}", of_several(index, all)),
            about: format!(
                "{} with their ranges on a logarithmic axis on which 1 is marked; the figures stand in the table.",
                count(rows, "wear factor")
            ),
        },
        scale: Scale::Log,
        ends: None,
        axis: "wear of a unit of it, in units of the reference".to_owned(),
        tell: &on_axis,
        reference: Some(Reference {
            value: 1.0,
            words: "1: like the reference".to_owned(),
        }),
        key: vec![(Sample::Mark(Mark::Dot), "estimate"), (Sample::Range, "range")],
        groups,
    }
    .draw()
}

fn factors_table(report: &FitsReport) -> Markup {
    let rows = report.families.iter().flat_map(|line| {
        line.factors.iter().map(|factor| {
            vec![
                line.family.clone(),
                factor.group.clone(),
                known(factor.factor, |e| amount(e.estimate)),
                known(factor.factor, |e| interval(&e, amount)),
                known(factor.p_value, probability),
            ]
        })
    });
    Table {
        caption: "Wear factors. p: how often chance alone would tell the product that far from the reference",
        heads: &["Family", "Product", "Factor", "Range", "p"],
        figures: 2,
        rows: rows.collect(),
        thing: "wear factor",
        command: "wearcast fit",
    }
    .markup()
}
