//! Life models in words and figures.

use std::fmt::Write as _;

use super::close;
use super::grid::{Grid, Lean};
use super::words::{amount, capital, interval, whole, wrapped};
use crate::family::Counted;
use crate::report::Estimate;
use crate::report::fits::{FitLine, FitsReport, MachineEffect};
use crate::units::{Measure, Units};

/// Machines that are all listed; of more, only those that differ.
const FEW_MACHINES: usize = 6;

/// The fits.
#[must_use]
pub fn fits(report: &FitsReport, width: usize) -> String {
    let mut out = String::new();
    for line in &report.families {
        family(&mut out, line, report, width);
        out.push('\n');
    }
    let _ = writeln!(
        out,
        "Intervals hold the truth in {} cases of 100. A wear factor of 2 means that\na unit of that product wears like two of the reference.",
        report.header.in_hundred()
    );
    close(&mut out, &report.header, false, width);
    out
}

fn family(out: &mut String, line: &FitLine, report: &FitsReport, width: usize) {
    let counts = line.counts;
    let unit = line
        .measure
        .map_or("the table's measure", |m| m.label(report.units));
    let of = match line.counted {
        Counted::Each => "single pieces",
        Counted::Set => "whole sets",
    };
    let head = format!(
        "{}: {} of {of}, {} worn out, {} still good when last seen; {} life in {unit}",
        capital(&line.family),
        lives(counts.lives),
        counts.worn,
        counts.censored,
        capital(line.distribution.name()),
    );
    out.push_str(&wrapped(&head, "", "  ", width));
    if let Some(least) = line.at_least {
        let shown = shown(line.measure, least, report.units);
        let _ = writeln!(
            out,
            "  no wear-out in the fit: half of them last at least {} {unit}, {} % sure",
            whole(shown),
            report.header.in_hundred()
        );
    }
    let mut grid = Grid::new(
        &[
            ("", Lean::Left),
            ("Estimate", Lean::Right),
            ("Interval", Lean::Range),
        ],
        width,
    );
    let scaled = |value: Option<&Estimate>| {
        value.map(|e| Estimate {
            estimate: shown(line.measure, e.estimate, report.units),
            low: e.low.map(|v| shown(line.measure, v, report.units)),
            high: e.high.map(|v| shown(line.measure, v, report.units)),
        })
    };
    let lives = [
        ("10 % are worn out by", line.life10),
        ("half are worn out by", line.life50),
        ("mean life", line.mean_life),
        ("scale", line.scale),
    ];
    for (label, value) in lives {
        let value = scaled(value.as_ref());
        grid.row([
            label.to_owned(),
            told(value.as_ref()),
            interval(value.as_ref(), amount),
        ]);
    }
    grid.row([
        "shape".to_owned(),
        told(line.shape.as_ref()),
        interval(line.shape.as_ref(), amount),
    ]);
    factors(&mut grid, line);
    let rest = machines(&mut grid, line);
    out.push_str(&grid.text());
    if let Some(rest) = rest {
        out.push_str(&wrapped(&rest, "  ", "  ", width));
    }
    if let Some(more) = line.wear_outs_to_halve {
        let _ = writeln!(
            out,
            "  about {} would halve the interval of when half are worn out",
            more_wear_outs(more)
        );
    }
    for sentence in &line.goodness.verdict {
        out.push_str(&wrapped(sentence, "  ", "  ", width));
    }
}

/// Wear factors, and what they are held against.
fn factors(grid: &mut Grid, line: &FitLine) {
    if let Some(reference) = &line.reference_group {
        for factor in &line.factors {
            let mut limits = interval(factor.factor.as_ref(), amount);
            if let Some(p) = factor.p_value {
                let _ = match p {
                    p if p < 0.0005 => write!(limits, "  (p < 0.001)"),
                    p => write!(limits, "  (p = {p:.3})"),
                };
            }
            grid.row([
                format!("wear factor of {}", factor.group),
                told(factor.factor.as_ref()),
                limits,
            ]);
        }
        if !line.factors.is_empty() {
            grid.row([
                format!("  against {reference}"),
                "1".to_owned(),
                String::new(),
            ]);
        }
    }
}

/// Machines that are few or lie apart, and a sentence on the others.
fn machines(grid: &mut Grid, line: &FitLine) -> Option<String> {
    let apart = |m: &&MachineEffect| {
        let Estimate { low, high, .. } = m.life_ratio;
        low.is_some_and(|low| 1.0 < low) || high.is_some_and(|high| high < 1.0)
    };
    let all = line.machines.len() <= FEW_MACHINES;
    let shown: Vec<&MachineEffect> = line.machines.iter().filter(|m| all || apart(m)).collect();
    for machine in &shown {
        let ratio = Some(&machine.life_ratio);
        grid.row([
            format!("life on {}, times", machine.machine),
            told(ratio),
            interval(ratio, amount),
        ]);
    }
    let rest = line.machines.len() - shown.len();
    let other = if shown.is_empty() { "" } else { "other " };
    (0 < rest).then(|| {
        format!(
            "the {rest} {other}machines lie near 1, and the records do not tell them apart (`compare --by machine` lists them)"
        )
    })
}

fn shown(measure: Option<Measure>, value: f64, units: Units) -> f64 {
    measure.map_or(value, |m| m.shown(value, units))
}

fn lives(count: f64) -> String {
    if count < 1.5 && 0.5 < count {
        "1 life".to_owned()
    } else {
        format!("{count} lives")
    }
}

fn more_wear_outs(more: f64) -> String {
    if more < 1.5 {
        "1 more wear-out".to_owned()
    } else {
        format!("{} more wear-outs", whole(more))
    }
}

fn told(value: Option<&Estimate>) -> String {
    value.map_or_else(|| "unknown".to_owned(), |e| amount(e.estimate))
}
