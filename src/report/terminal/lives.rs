//! The installed lives.

use super::close;
use super::grid::{Grid, Lean};
use super::words::{UNKNOWN, or_unknown, whole};
use crate::report::lives::LivesReport;

/// The lives, each in the measure of its family.
#[must_use]
pub fn lives(report: &LivesReport, width: usize) -> String {
    let mut grid = Grid::new(
        &[
            ("Where", Lean::Left),
            ("Part", Lean::Left),
            ("Fitted", Lean::Left),
            ("Removed", Lean::Left),
            ("Ended", Lean::Left),
            ("Last good", Lean::Right),
            ("At end", Lean::Right),
        ],
        width,
    );
    for line in &report.lines {
        let shown = |v: f64| whole(line.measure.shown(v, report.units));
        let own = line.own;
        let place = match &line.slot {
            Some(slot) => format!("{}: {}, {slot}", line.machine, line.position),
            None => format!("{}: {}", line.machine, line.position),
        };
        grid.row([
            place,
            line.part.clone(),
            line.fitted
                .map_or_else(|| UNKNOWN.to_owned(), |d| d.to_string()),
            line.removed.map(|d| d.to_string()).unwrap_or_default(),
            line.ended.name().to_owned(),
            if line.ended.is_wear() {
                or_unknown(own.low, shown)
            } else {
                String::new()
            },
            or_unknown(own.end, |v| {
                format!("{} {}", shown(v), line.measure.label(report.units))
            }),
        ]);
    }
    let mut out = grid.text();
    close(&mut out, &report.header, false, width);
    out
}
