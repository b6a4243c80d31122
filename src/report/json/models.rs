//! Part families as JSON.

use serde_json::{Value, json};

use super::{document, estimate};
use crate::report::models::{ModelLine, ModelsReport};

/// Part families.
#[must_use]
pub fn models(report: &ModelsReport) -> Value {
    let families: Vec<Value> = report.families.iter().map(model).collect();
    document(&report.header, json!({ "families": families }))
}

fn model(line: &ModelLine) -> Value {
    let wear = line.wear.as_ref().map(|w| {
        json!({
            "measure": w.measure,
            "unit": w.unit,
            "new": w.new,
            "limit": w.limit,
        })
    });
    let service = line.service.map(|s| {
        json!({
            "days": s.days,
            "hours": s.hours,
            "acres": s.acres,
            "tons": s.tons,
        })
    });
    json!({
        "family": line.family,
        "built_in": line.built_in,
        "description": line.description,
        "measure": line.measure.name(),
        "counted": line.counted.name(),
        "distribution": line.distribution.name(),
        "life50": estimate(line.life50.as_ref()),
        "shape": estimate(line.shape.as_ref()),
        "wear_factor": estimate(line.wear_factor.as_ref()),
        "wear": wear,
        "service": service,
        "source": line.source,
        "caution": line.caution,
    })
}
