//! Results as JSON, by keys that other programs rely on. Unknown is `null`, never 0 and never left out.

mod backtest;
mod budget;
mod check;
mod compare;
mod fits;
mod imports;
mod lives;
mod models;
mod remaining;
mod stock;

pub use backtest::backtest;
pub use budget::budget;
pub use check::check;
pub use compare::compare;
pub use fits::fits;
pub use imports::imports;
pub use lives::lives;
pub use models::models;
pub use remaining::remaining;
pub use stock::stock;

use chrono::NaiveDate;
use serde_json::{Value, json};

use super::{Estimate, Forecast, Header};
use crate::record::{Account, Amounts};

/// The document every result begins with.
fn document(header: &Header, rest: Value) -> Value {
    let mut out = json!({
        "tool": env!("CARGO_PKG_NAME"),
        "version": env!("CARGO_PKG_VERSION"),
        "as_of": date(header.as_of),
        "seed": header.seed,
        "asked": {"machines": header.machines, "families": header.families},
        "level": header.level,
        "notes": header.notes,
    });
    if let (Value::Object(out), Value::Object(rest)) = (&mut out, rest) {
        out.extend(rest);
        out.insert("cautions".to_owned(), json!(header.cautions));
    }
    out
}

fn date(date: Option<NaiveDate>) -> Value {
    json!(date.map(|d| d.to_string()))
}

fn month(date: NaiveDate) -> String {
    date.format("%Y-%m").to_string()
}

fn estimate(value: Option<&Estimate>) -> Value {
    value.map_or(
        Value::Null,
        |e| json!({"estimate": e.estimate, "low": e.low, "high": e.high}),
    )
}

fn forecast(value: Option<&Forecast>) -> Value {
    value.map_or(Value::Null, |f| {
        json!({
            "expected": f.expected,
            "p10": f.p10,
            "p50": f.p50,
            "p80": f.p80,
            "p90": f.p90,
            "p95": f.p95,
        })
    })
}

/// Counts are whole numbers held as floats.
fn count(value: f64) -> u64 {
    value.round() as u64
}

fn amounts(amounts: &Amounts) -> Value {
    json!({ "acres": amounts.acres, "tons": amounts.tons, "hours": amounts.hours })
}

fn accounts(accounts: &[Account]) -> Vec<Value> {
    accounts
        .iter()
        .map(|a| {
            json!({
                "table": a.table.name(),
                "source": a.source,
                "read": a.read,
                "used": a.used,
                "set_aside": a.set_aside,
                "later": a.later,
                "own_columns": a.own_columns,
            })
        })
        .collect()
}
