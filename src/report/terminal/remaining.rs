//! What is left of the parts in service.

use std::fmt::Write as _;

use super::close;
use super::grid::{Grid, Lean};
use super::words::{UNKNOWN, money, or_unknown, percent, whole, wrapped};
use crate::decide::Advice;
use crate::report::remaining::{MeasuredLine, RemainingLine, RemainingReport};
use crate::units::Measure;

/// Remaining lives, the most likely to wear out first.
#[must_use]
pub fn remaining(report: &RemainingReport, width: usize) -> String {
    let mut out = String::new();
    match report.season {
        Some(season) => {
            let known = report
                .header
                .as_of
                .map(|d| format!("on {d}, "))
                .unwrap_or_default();
            let _ = writeln!(out, "Parts in service {known}and the season {season}\n");
        }
        None => out.push_str("Parts in service\n\n"),
    }
    out.push_str(&measured(report, width));
    if !report.parts.is_empty() {
        out.push_str(&parts(report, width));
    }
    if !report.services.is_empty() {
        if !report.parts.is_empty() {
            out.push('\n');
        }
        out.push_str(&services(report, width));
    }
    if !report.parts.is_empty() {
        out.push_str(&advice(report, width));
    }
    close(&mut out, &report.header, true, width);
    out
}

/// Every part that wears, the likeliest to go first.
fn parts(report: &RemainingReport, width: usize) -> String {
    let has_price = report.parts.iter().any(|p| p.stop_cost.is_some());
    let worn_out = if has_price {
        "Worn out in season, a stop costs more"
    } else {
        "Worn out in season"
    };
    let mut grid = Grid::new(
        &[
            ("Where", Lean::Left),
            ("Used", Lean::Right),
            ("Left, even odds", Lean::Right),
            ("Left, 9 in 10", Lean::Right),
            (worn_out, Lean::Right),
            ("Even odds by", Lean::Left),
            ("Advice", Lean::Left),
        ],
        width,
    );
    let mut order: Vec<_> = report.parts.iter().collect();
    order.sort_by(|a, b| {
        let chance = |l: &RemainingLine| l.chance_this_season.unwrap_or(0.0);
        chance(b).total_cmp(&chance(a))
    });
    for line in order {
        let shown = |v: f64| {
            let value = line.measure.map_or(v, |m| m.shown(v, report.units));
            whole(value)
        };
        let place = place(line);
        let unit = line
            .measure
            .map(|m| m.label(report.units))
            .unwrap_or_default();
        grid.row([
            place,
            or_unknown(line.age, |v| format!("{} {unit}", shown(v))),
            if line.age.is_some() {
                shown(line.remaining.p50)
            } else {
                format!("{} {unit}", shown(line.remaining.p50))
            },
            shown(line.remaining.p10),
            stop(line, &report.currency),
            match line.half_worn_date {
                Some(date) => date.to_string(),
                None if line.use_is_known => "far off".to_owned(),
                None => "unknown".to_owned(),
            },
            line.advice
                .map_or_else(|| UNKNOWN.to_owned(), |a| word(a).to_owned()),
        ]);
    }
    grid.text()
}

fn services(report: &RemainingReport, width: usize) -> String {
    let mut grid = Grid::new(
        &[
            ("Machine", Lean::Left),
            ("Position", Lean::Left),
            ("Part", Lean::Left),
            ("Pieces", Lean::Right),
            ("Due", Lean::Left),
        ],
        width,
    );
    for line in &report.services {
        grid.row([
            line.machine.clone(),
            line.position.clone(),
            line.part.clone(),
            format!("{}", line.pieces),
            line.due.to_string(),
        ]);
    }
    format!("Scheduled work due\n{}", grid.text())
}

/// What the advice means.
fn advice(report: &RemainingReport, width: usize) -> String {
    let mut out = String::from("\n");
    out.push_str(&wrapped(
        "Advice weighs changing a part in the shop now against a stop in season, at your prices; `run` beside a high chance means that a new part would gain too little, that its kit speaks against it, or that a stop has no price. What is left is in use of the season's average mix, so its day follows from what is spread when. A measured limit comes first: what has reached it is changed, whatever stands here.",
        "",
        "",
        width,
    ));
    if report
        .parts
        .iter()
        .any(|l| l.advice == Some(Advice::Inspect))
    {
        out.push_str(&wrapped(
            "`inspect`: have a look before the season; what it has done so far, or its readings, leave the matter open.",
            "",
            "",
            width,
        ));
    }
    let told = |v: f64| money(v, &report.currency);
    if let Some(words) = report.changes_in_words(told) {
        out.push_str(&wrapped(
            &words.replace("marked so", "marked `replace`"),
            "",
            "",
            width,
        ));
    }
    if report.parts.iter().any(|l| l.kit.is_some()) {
        out.push_str(&wrapped(
            "Parts of one kit are done together, so the advice is for the kit: a young part may be changed with an old one.",
            "",
            "",
            width,
        ));
    }
    out
}

/// The chance that a part stops the machine in season, and under it what that costs.
fn stop(line: &RemainingLine, currency: &str) -> String {
    let chance = or_unknown(line.chance_this_season, percent);
    match line.stop_cost {
        Some(cost) => format!("{chance}\n{}", money(cost, currency)),
        None => chance,
    }
}

/// The limit first: every measured part, the furthest on its way at the top.
fn measured(report: &RemainingReport, width: usize) -> String {
    let mut lines: Vec<_> = report
        .parts
        .iter()
        .filter_map(|line| Some((line, line.measured.as_ref()?)))
        .collect();
    if lines.is_empty() {
        return String::new();
    }
    lines.sort_by(|(_, a), (_, b)| {
        let key = |m: &MeasuredLine| (m.past_limit.is_some(), m.share());
        let ((past_a, a), (past_b, b)) = (key(a), key(b));
        past_b.cmp(&past_a).then(b.total_cmp(&a))
    });
    let mut grid = Grid::new(
        &[
            ("Measured", Lean::Left),
            ("Read on", Lean::Left),
            ("Reading", Lean::Right),
            ("Limit", Lean::Right),
            ("Of the way", Lean::Right),
            ("Wear per 1,000", Lean::Right),
        ],
        width,
    );
    for (line, m) in lines {
        let rate = m.rate_per_1000.zip(line.measure).map(|(rate, measure)| {
            // Wear for a hectare is that for so many acres.
            let per = rate.estimate / measure.shown(1.0, report.units);
            format!("{} {}", figures(per), m.unit)
        });
        grid.row([
            place(line),
            m.date.to_string(),
            format!("{} {}", figures(m.reading), m.unit),
            figures(m.limit),
            if m.past_limit.is_some() {
                "past limit".to_owned()
            } else {
                percent(m.share())
            },
            rate.unwrap_or_default(),
        ]);
    }
    let words = wrapped(
        &format!(
            "Wear per 1,000: what 1,000 {}, {}, hours or days of the planned use take, whichever the part is counted by.",
            Measure::Tons.label(report.units),
            Measure::Acres.label(report.units)
        ),
        "",
        "",
        width,
    );
    format!("{}{words}\n", grid.text())
}

/// Three figures that count.
fn figures(value: f64) -> String {
    let size = if value == 0.0 {
        0
    } else {
        value.abs().log10().floor() as i32
    };
    let decimals = usize::try_from(2 - size).unwrap_or(0);
    let text = format!("{value:.decimals$}");
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

fn place(line: &RemainingLine) -> String {
    if line.machine.is_empty() {
        // A bare table has names and no machines.
        return line.position.clone();
    }
    match &line.slot {
        Some(slot) => format!("{}: {}, {slot}", line.machine, line.position),
        None => format!("{}: {}", line.machine, line.position),
    }
}

fn word(advice: Advice) -> &'static str {
    match advice {
        Advice::ReplaceNow => "replace",
        Advice::Run => "run",
        Advice::Inspect => "inspect",
    }
}
