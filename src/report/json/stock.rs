//! What the parts desk should hold and order, as JSON.

use serde_json::{Value, json};

use super::{accounts, document, forecast, month};
use crate::record::Critical;
use crate::report::stock::{Delivery, StockLine, StockReport};

/// The desk's parts.
#[must_use]
pub fn stock(report: &StockReport) -> Value {
    let parts: Vec<Value> = report.lines.iter().map(part).collect();
    let idle = report.idle.iter().map(|l| {
        json!({
            "part": l.part,
            "family": l.family,
            "on_hand": l.on_hand,
            "idle": l.idle,
            "expected": l.expected,
            "money": l.money,
        })
    });
    let customers = report.customers.iter().map(|n| {
        json!({
            "customer": n.customer,
            "part": n.part,
            "family": n.family,
            "expected": n.expected,
            "chance": n.chance,
        })
    });
    let curve = report
        .curve
        .iter()
        .map(|p| json!({"money": p.money, "fill_rate": p.fill_rate}));
    document(
        &report.header,
        json!({
            "season": report.season,
            "used_season": report.used_season.map(|used| used.year),
            "used_machines": report.used_season.map(|used| [used.covered, used.machines]),
            "policy": report.policy,
            "currency": report.currency,
            "service_level": report.service_level,
            "budget_limit": report.budget_limit,
            "parts": parts,
            "order_total": report.order_total,
            "known_total": report.known_total,
            "wanted_total": report.wanted_total,
            "fill_rate": report.fill_rate,
            "dead_stock": idle.collect::<Vec<_>>(),
            "customers": customers.collect::<Vec<_>>(),
            "fill_rate_by_money": curve.collect::<Vec<_>>(),
            "rows": accounts(&report.account),
        }),
    )
}

fn part(line: &StockLine) -> Value {
    let months = line
        .months
        .iter()
        .map(|(m, f)| json!({"month": month(*m), "demand": forecast(Some(f))}));
    json!({
        "part": line.part,
        "supersedes": line.supersedes,
        "family": line.family,
        "description": line.description,
        "critical": line.critical.map(Critical::name),
        "price": line.price,
        "pack": line.pack,
        "min_order": line.min_order,
        "lead_days": line.lead_days,
        "used_last_season": line.used,
        "needed_before_season": line.needed_before,
        "taken_before_season": line.taken_before,
        "demand": forecast(line.demand.as_ref()),
        "months": months.collect::<Vec<_>>(),
        "lead_demand": forecast(line.lead_demand.as_ref()),
        "lead_from": line.busiest.map(|d| d.to_string()),
        "reorder_point": line.reorder_point,
        "order_up_to": line.order_up_to,
        "decided_by": line.decided.map(crate::report::stock::Decided::name),
        "on_hand": line.on_hand,
        "on_order": line.on_order,
        "due": line.due.map(|d| d.to_string()),
        "deliveries": line.deliveries.iter().map(delivery).collect::<Vec<_>>(),
        "due_after_season": line.late,
        "short_before_due": line.short_before_due,
        "needed_before_it_can_come": line.short_before_order,
        "order_now": line.order_now,
        "order_without_limit": line.wanted,
        "order_cost": line.order_cost,
        "fill_rate": line.fill_rate,
        "no_stock_out": line.no_stock_out,
        "shortage": line.shortage,
        "left_over": line.left_over,
        "one_more": line.one_more,
        "one_fewer": line.one_fewer,
    })
}

fn delivery(delivery: &Delivery) -> Value {
    json!({
        "due": delivery.due.map(|d| d.to_string()),
        "pieces": delivery.pieces,
        "in_season": delivery.in_season,
    })
}
