//! What is left of the parts in service.

use std::fmt::Write as _;

use super::close;
use super::grid::{Grid, Lean};
use super::words::{or_unknown, percent, whole, wrapped};
use crate::decide::Advice;
use crate::report::remaining::RemainingReport;

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
    let mut grid = Grid::new(
        &[
            ("Where", Lean::Left),
            ("Used", Lean::Right),
            ("Left, even odds", Lean::Right),
            ("Left, 9 in 10", Lean::Right),
            ("Worn out in season", Lean::Right),
            ("Half worn by", Lean::Left),
            ("Advice", Lean::Left),
        ],
        width,
    );
    let mut order: Vec<_> = report.parts.iter().collect();
    order.sort_by(|a, b| {
        let chance =
            |l: &crate::report::remaining::RemainingLine| l.chance_this_season.unwrap_or(0.0);
        chance(b).total_cmp(&chance(a))
    });
    for line in order {
        let shown = |v: f64| {
            let value = line.measure.map_or(v, |m| m.shown(v, report.units));
            whole(value)
        };
        let place = match &line.slot {
            Some(slot) => format!("{}: {}, {slot}", line.machine, line.position),
            None => format!("{}: {}", line.machine, line.position),
        };
        let unit = line
            .measure
            .map(|m| m.label(report.units))
            .unwrap_or_default();
        grid.row([
            place,
            or_unknown(line.age, |v| format!("{} {unit}", shown(v))),
            shown(line.remaining.p50),
            shown(line.remaining.p10),
            or_unknown(line.chance_this_season, percent),
            line.half_worn_date
                .map_or_else(|| "far off".to_owned(), |d| d.to_string()),
            line.advice.map_or_else(String::new, |a| word(a).to_owned()),
        ]);
    }
    out.push_str(&grid.text());
    if !report.services.is_empty() {
        out.push_str("\nScheduled work due\n");
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
        out.push_str(&grid.text());
    }
    out.push('\n');
    out.push_str(&wrapped(
        "Advice weighs changing a part in the shop now against a stop in season, at your prices. A measured limit comes first: what has reached it is changed, whatever stands here.",
        "",
        "",
        width,
    ));
    close(&mut out, &report.header, true, width);
    out
}

fn word(advice: Advice) -> &'static str {
    match advice {
        Advice::ReplaceNow => "replace",
        Advice::Run => "run",
        Advice::Inspect => "inspect",
    }
}
