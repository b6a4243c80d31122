//! Past seasons beside their forecasts.

use std::fmt::Write as _;

use super::close;
use super::grid::{Grid, Lean};
use super::words::{UNKNOWN, money, or_unknown, percent, pieces, whole, wrapped};
use crate::report::backtest::{BacktestReport, BacktestRow, TOTAL};
use crate::score::{Calibration, Score};

/// Forecasts of past seasons, what happened, and what the forecasts were worth.
#[must_use]
pub fn backtest(report: &BacktestReport, width: usize) -> String {
    let mut out = String::new();
    let years = |pick: fn(&mut dyn Iterator<Item = i32>) -> Option<i32>| {
        pick(&mut report.rows.iter().map(|r| r.season)).unwrap_or(0)
    };
    let (first, last) = (years(|y| y.min()), years(|y| y.max()));
    let _ = if first == last {
        writeln!(out, "Season {first}, forecast from the records before it\n")
    } else {
        writeln!(
            out,
            "Seasons {first} to {last}, each forecast from the records before it\n"
        )
    };
    out.push_str(&rows(report, width));
    out.push_str("\nAll seasons together\n");
    out.push_str(&scores(report, width));
    out.push_str(&wrapped(
        "Skill is the share of the error of a budget `as last season`, or as the average of the seasons so far, that the forecast saves: 0 % saves nothing, 100 % all, below 0 % it is worse.",
        "  ",
        "  ",
        width,
    ));
    if 0 < report.calibration.outcomes {
        out.push_str("\nDo the forecasts mean what they say? Replacements by family\n");
        out.push_str(&calibration(&report.calibration, width));
    }
    close(&mut out, &report.header, false, width);
    out
}

fn rows(report: &BacktestReport, width: usize) -> String {
    let mut grid = Grid::new(
        &[
            ("Season", Lean::Left),
            ("Family", Lean::Left),
            ("Expected", Lean::Right),
            ("8 in 10 within", Lean::Right),
            ("Happened", Lean::Right),
            ("Inside?", Lean::Left),
        ],
        width,
    );
    let mut season = None;
    for row in &report.rows {
        let year = if season == Some(row.season) {
            String::new()
        } else {
            row.season.to_string()
        };
        season = Some(row.season);
        grid.row(cells(row, year, &report.currency));
    }
    grid.text()
}

fn cells(row: &BacktestRow, year: String, currency: &str) -> [String; 6] {
    let (label, shown): (String, &dyn Fn(f64) -> String) = match &row.family {
        Some(family) => (family.clone(), &|v| whole(v)),
        None => (format!("{TOTAL} money"), &|v| money(v, currency)),
    };
    let Some(scored) = &row.scored else {
        let unknown = || UNKNOWN.to_owned();
        return [year, label, unknown(), unknown(), unknown(), String::new()];
    };
    let expected = scored.forecast.expected;
    [
        year,
        label,
        if row.family.is_some() {
            pieces(expected)
        } else {
            shown(expected)
        },
        format!(
            "{} - {}",
            shown(scored.forecast.p10),
            shown(scored.forecast.p90)
        ),
        shown(scored.actual),
        if scored.inside_80 {
            "yes"
        } else if scored.actual < scored.forecast.p10 {
            "below"
        } else {
            "above"
        }
        .to_owned(),
    ]
}

fn scores(report: &BacktestReport, width: usize) -> String {
    let mut grid = Grid::new(
        &[
            ("Family", Lean::Left),
            ("Expected", Lean::Right),
            ("Happened", Lean::Right),
            ("Inside 8 in 10", Lean::Right),
            ("Skill over last", Lean::Right),
            ("over average", Lean::Right),
        ],
        width,
    );
    let mut add = |label: &str, score: &Score, shown: &dyn Fn(f64) -> String| {
        let skill =
            |value: Option<f64>| value.map_or_else(|| "-".to_owned(), |s| whole(100.0 * s) + " %");
        let inside = score.inside_80.unwrap_or(0.0) * score.forecasts as f64;
        grid.row([
            label.to_owned(),
            or_unknown(score.expected, shown),
            or_unknown(score.actual, shown),
            format!("{inside:.0} of {}", score.forecasts),
            skill(score.skill_over_last_season),
            skill(score.skill_over_average),
        ]);
    };
    for family in &report.families {
        add(&family.family, &family.score, &pieces);
    }
    add("all families", &report.replacements, &pieces);
    if 0 < report.money.forecasts {
        let currency = &report.currency;
        add(&format!("{TOTAL} money"), &report.money, &|v| {
            money(v, currency)
        });
    }
    grid.text()
}

fn calibration(calibration: &Calibration, width: usize) -> String {
    let mut grid = Grid::new(
        &[
            ("Outcomes at or below", Lean::Left),
            ("Forecasts said", Lean::Right),
            ("Happened", Lean::Right),
        ],
        width,
    );
    for held in &calibration.quantiles {
        grid.row([
            format!("p{:.0}", 100.0 * held.quantile),
            percent(held.said),
            percent(held.happened),
        ]);
    }
    let mut out = grid.text();
    let tenths = calibration.tenths.map(pieces).join(" ");
    let outcomes = match calibration.outcomes {
        1 => "1 outcome".to_owned(),
        n => format!("{n} outcomes"),
    };
    out.push_str(&wrapped(
        &format!(
            "{outcomes} by the tenth of their forecast, the lowest first: {tenths}; even would be {} each.",
            pieces(calibration.outcomes as f64 / 10.0)
        ),
        "  ",
        "  ",
        width,
    ));
    out
}
