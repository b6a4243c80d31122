//! A backtest as JSON.

use serde_json::{Value, json};

use super::{document, forecast};
use crate::report::backtest::{BacktestReport, BacktestRow};
use crate::score::{Calibration, Score, Scored};

/// Past seasons scored.
#[must_use]
pub fn backtest(report: &BacktestReport) -> Value {
    let seasons: Vec<Value> = report.rows.iter().map(season).collect();
    let families: Vec<Value> = report
        .families
        .iter()
        .map(|f| {
            let mut out = score(&f.score);
            out["family"] = json!(f.family);
            out
        })
        .collect();
    let mut summary = score(&report.replacements);
    summary["total"] = score(&report.money);
    document(
        &report.header,
        json!({
            "currency": report.currency,
            "seasons": seasons,
            "summary": summary,
            "families": families,
            "calibration": calibration(&report.calibration),
            "total_calibration": calibration(&report.money_calibration),
        }),
    )
}

fn season(row: &BacktestRow) -> Value {
    let scored = row.scored.as_ref();
    let number = |pick: fn(&Scored) -> f64| scored.map(pick);
    json!({
        "season": row.season,
        "family": row.name(),
        "unit": if row.family.is_some() { "replacements" } else { "money" },
        "replacements": forecast(scored.map(|s| &s.forecast)),
        "actual": number(|s| s.actual),
        "last_season": number(|s| s.last_season),
        "average": number(|s| s.average),
        "crps": number(|s| s.crps),
        "crps_last_season": number(|s| s.crps_last_season),
        "crps_average": number(|s| s.crps_average),
        "inside_80": scored.map(|s| s.inside_80),
        "chance_below": number(|s| s.placing.below),
        "chance_at_or_below": number(|s| s.placing.at_or_below),
    })
}

fn score(score: &Score) -> Value {
    json!({
        "forecasts": score.forecasts,
        "expected": score.expected,
        "actual": score.actual,
        "inside_80": score.inside_80,
        "skill_over_last_season": score.skill_over_last_season,
        "skill_over_average": score.skill_over_average,
    })
}

fn calibration(calibration: &Calibration) -> Value {
    let quantiles: Vec<Value> = calibration
        .quantiles
        .iter()
        .map(|q| json!({ "quantile": q.quantile, "said": q.said, "happened": q.happened }))
        .collect();
    json!({
        "outcomes": calibration.outcomes,
        "quantiles": quantiles,
        "tenths": calibration.tenths,
    })
}
