//! A backtest as CSV.

use super::{Table, forecast, forecast_header, heads, number, shown, words};
use crate::report::backtest::BacktestReport;
use crate::score::Scored;

/// A row for each season and family, the money of a season as family `TOTAL`.
#[must_use]
pub fn backtest(report: &BacktestReport) -> String {
    let mut header = vec!["season".to_owned(), "family".to_owned()];
    header.extend(forecast_header("replacements"));
    header.extend(heads(
        "actual,last_season,average,crps,crps_last_season,crps_average,inside_80",
    ));
    let mut table = Table::new(&header);
    for row in &report.rows {
        let scored = row.scored.as_ref();
        let cell = |pick: fn(&Scored) -> f64| number(scored.map(pick));
        let mut cells = vec![row.season.to_string(), words(row.name())];
        cells.extend(forecast(scored.map(|s| &s.forecast)));
        cells.extend([
            cell(|s| s.actual),
            cell(|s| s.last_season),
            cell(|s| s.average),
            cell(|s| s.crps),
            cell(|s| s.crps_last_season),
            cell(|s| s.crps_average),
            shown(scored.map(|s| s.inside_80)),
        ]);
        table.row(cells);
    }
    table.text()
}
