//! Lives as JSON.

use serde_json::{Map, Value, json};

use super::{date, document};
use crate::report::lives::{LifeLine, LivesReport};
use crate::units::Measure;

/// The lives.
#[must_use]
pub fn lives(report: &LivesReport) -> Value {
    let lives: Vec<Value> = report
        .lines
        .iter()
        .map(|l| life(l, &report.groups))
        .collect();
    document(&report.header, json!({ "lives": lives }))
}

fn life(line: &LifeLine, groups: &[String]) -> Value {
    let mut out = json!({
        "machine": line.machine,
        "position": line.position,
        "slot": line.slot,
        "part": line.part,
        "family": line.family,
        "material": line.material,
        "fitted": date(line.fitted),
        "removed": date(line.removed),
        "ended": line.ended.name(),
        "start_known": line.fitted.is_some(),
        "measure": line.measure.name(),
        "life": line.own.end,
        "low": line.own.low,
        "entry": line.own.entry,
        "reference_group": line.reference,
    });
    let Value::Object(map) = &mut out else {
        unreachable!("built as an object")
    };
    for measure in Measure::ALL {
        let span = line.spans[measure.index()];
        let name = measure.name();
        map.insert(format!("{name}_entry"), json!(span.entry));
        map.insert(format!("{name}_low"), json!(span.low));
        map.insert(name.to_owned(), json!(span.end));
    }
    group_keys(line, groups, map);
    out
}

fn group_keys(line: &LifeLine, groups: &[String], map: &mut Map<String, Value>) {
    let known = line.measure != Measure::Days && line.own.end.is_some();
    for group in groups {
        let used = line.groups.get(group).copied().unwrap_or_default();
        for (prefix, amount) in ["entry", "low", "use"].iter().zip(used) {
            map.insert(format!("{prefix}_{group}"), json!(known.then_some(amount)));
        }
    }
}
