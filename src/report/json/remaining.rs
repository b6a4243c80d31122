//! What is left of parts in service, as JSON.

use serde_json::{Value, json};

use super::{date, document, estimate, forecast};
use crate::decide::Advice;
use crate::report::remaining::{MeasuredLine, RemainingLine, RemainingReport};
use crate::units::Measure;

/// Remaining lives.
#[must_use]
pub fn remaining(report: &RemainingReport) -> Value {
    let any_measured = report.any_measured();
    let part = |line| {
        let mut value = part_left(line);
        if let (true, Value::Object(keys)) = (any_measured, &mut value) {
            keys.insert("measured".to_owned(), measured(line.measured.as_ref()));
        }
        value
    };
    let parts: Vec<Value> = report.parts.iter().map(part).collect();
    let services: Vec<Value> = report
        .services
        .iter()
        .map(|s| {
            json!({
                "machine": s.machine,
                "position": s.position,
                "part": s.part,
                "family": s.family,
                "due": s.due.to_string(),
                "pieces": s.pieces,
            })
        })
        .collect();
    document(
        &report.header,
        json!({ "season": report.season, "parts": parts, "services": services }),
    )
}

fn part_left(line: &RemainingLine) -> Value {
    let mut left = forecast(Some(&line.remaining));
    left["expected"] = line.expected().into();
    json!({
        "machine": line.machine,
        "position": line.position,
        "slot": line.slot,
        "part": line.part,
        "family": line.family,
        "measure": line.measure.map(Measure::name),
        "fitted": date(line.fitted),
        "age": line.age,
        "remaining": left,
        "chance_this_season": line.chance_this_season,
        "half_worn_date": date(line.half_worn_date),
        "kit": line.kit,
        "advice": line.advice.map(Advice::name),
        "saving": line.saving,
        "change_cost": line.change_cost,
        "stop_cost": line.stop_cost,
    })
}

/// Measured wear; of every part where any part was measured, so that keys do not come and go.
fn measured(line: Option<&MeasuredLine>) -> Value {
    line.map_or(Value::Null, |m| {
        json!({
            "measure": m.measure,
            "unit": m.unit,
            "last_reading": m.reading,
            "date": m.date.to_string(),
            "new": m.new,
            "limit": m.limit,
            "past_limit": date(m.past_limit),
            "readings": m.readings,
            "rate_per_1000": estimate(m.rate_per_1000.as_ref()),
        })
    })
}
