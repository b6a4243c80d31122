//! Wear and cost side by side as JSON.

use serde_json::{Value, json};

use super::{count, document, estimate};
use crate::report::compare::{CompareFamily, CompareReport, CompareRow, TogetherRow};

/// The rows, and what each family's are held against.
#[must_use]
pub fn compare(report: &CompareReport) -> Value {
    let rows = report.families.iter();
    let rows: Vec<Value> = rows
        .flat_map(|f| f.rows.iter().map(move |r| row(f, r)))
        .collect();
    let totals: Vec<Value> = report
        .totals
        .iter()
        .map(|t| {
            json!({
                "group": t.group,
                "cost_per_acre": estimate(t.cost_per_acre.as_ref()),
                "cost_per_ton": estimate(t.cost_per_ton.as_ref()),
            })
        })
        .collect();
    let together = report.together.as_ref().map(|together| {
        json!({
            "families": together.families,
            "rows": together.rows.iter().map(of_all_parts).collect::<Vec<_>>(),
        })
    });
    document(
        &report.header,
        json!({
            "by": report.by,
            "table": report.table,
            "currency": report.currency,
            "comparisons": report.comparisons,
            "correction": "holm",
            "rows": rows,
            "products": totals,
            "together": together,
        }),
    )
}

fn of_all_parts(row: &TogetherRow) -> Value {
    json!({
        "value": row.value,
        "worn": count(row.worn),
        "wear_factor": estimate(Some(&row.wear_factor)),
        "p_value": row.p_value,
        "p_holm": row.p_holm,
    })
}

fn row(family: &CompareFamily, row: &CompareRow) -> Value {
    json!({
        "value": row.value,
        "family": family.family,
        "measure": family.measure.name(),
        "base": row.is_base,
        "lives": count(row.lives),
        "worn": count(row.worn),
        "wear_factor": estimate(row.wear_factor.as_ref()),
        "life_ratio": estimate(row.life_ratio.as_ref()),
        "life50": estimate(row.life50.as_ref()),
        "change_cost": row.change_cost,
        "cost_per_acre": estimate(row.cost_per_acre.as_ref()),
        "cost_per_ton": estimate(row.cost_per_ton.as_ref()),
        "cost_ratio": estimate(row.cost_ratio.as_ref()),
        "dearer": row.dearer,
        "chance_dearer_pays": row.chance_dearer_pays,
        "chance_longer": row.chance_longer,
        "more_to_settle": row.more_to_settle.map(count),
        "p_value": row.p_value,
        "p_holm": row.p_holm,
        "note": row.note,
    })
}
