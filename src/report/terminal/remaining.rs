//! What is left of the parts in service.

use std::fmt::Write as _;

use super::close;
use super::grid::{Grid, Lean};
use super::words::{or_unknown, percent, whole};
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
            ("Machine", Lean::Left),
            ("Position", Lean::Left),
            ("Used", Lean::Right),
            ("Even odds of", Lean::Right),
            ("9 in 10 have", Lean::Right),
            ("more", Lean::Left),
            ("Worn out in season", Lean::Right),
            ("Half worn by", Lean::Left),
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
            Some(slot) => format!("{}, {slot}", line.position),
            None => line.position.clone(),
        };
        grid.row([
            line.machine.clone(),
            place,
            or_unknown(line.age, shown),
            shown(line.remaining.p50),
            shown(line.remaining.p10),
            line.measure
                .map(|m| m.label(report.units).to_owned())
                .unwrap_or_default(),
            or_unknown(line.chance_this_season, percent),
            line.half_worn_date
                .map_or_else(|| "far off".to_owned(), |d| d.to_string()),
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
    close(&mut out, &report.header, true, width);
    out
}
