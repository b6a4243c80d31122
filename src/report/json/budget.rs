//! The budget as JSON.

use serde_json::{Value, json};

use super::{accounts, amounts, document, forecast, month};
use crate::report::money::{MachineMoney, Past, ProductMoney};
use crate::report::{
    BudgetReport, Forecast, MachineLine, MonthLine, PartLine, PlanSource, PolicyLine, ProductLine,
};

/// The budget.
#[must_use]
pub fn budget(report: &BudgetReport) -> Value {
    let money = &report.money;
    let lines = report.lines.iter().enumerate();
    let machines = report.machines.iter().enumerate();
    let products = report.products.iter().enumerate();
    document(
        &report.header,
        json!({
            "season": report.season,
            "policy": report.policy,
            "from": report.from.to_string(),
            "until": report.until.to_string(),
            "currency": report.currency,
            "plan_source": match report.plan_source {
                PlanSource::Plan => "plan",
                PlanSource::LastSeason => "last_season",
            },
            "total": forecast(report.total.as_ref()),
            "known_total": forecast(Some(&report.known_total)),
            "down_total": forecast(report.down_total.as_ref()),
            "known_down_total": forecast(report.known_down.as_ref()),
            "planned": amounts(&report.planned),
            "per_acre": forecast(report.per_acre.as_ref()),
            "families": lines
                .map(|(i, l)| family(l, money.lines.get(i).and_then(Option::as_ref)))
                .collect::<Vec<_>>(),
            "machines": machines.map(|(i, m)| machine(m, money.machines.get(i))).collect::<Vec<_>>(),
            "products": products.map(|(i, p)| product(p, money.products.get(i))).collect::<Vec<_>>(),
            "policies": report.policies.iter().map(policy).collect::<Vec<_>>(),
            "past": past(money.past.as_ref()),
            "months": report.months.iter().map(of_month).collect::<Vec<_>>(),
            "rows": accounts(&report.account),
        }),
    )
}

fn family(line: &PartLine, per_acre: Option<&Forecast>) -> Value {
    json!({
        "family": line.family,
        "part": line.part,
        "description": line.description,
        "scheduled": line.scheduled,
        "replacements": forecast(line.replacements.as_ref()),
        "worn": forecast(line.worn.as_ref()),
        "damage": forecast(line.damage.as_ref()),
        "planned": forecast(line.planned.as_ref()),
        "pieces": forecast(line.pieces.as_ref()),
        "price": line.price,
        "parts_cost": forecast(line.parts_cost.as_ref()),
        "labor_cost": forecast(line.labor_cost.as_ref()),
        "down_cost": forecast(line.down_cost.as_ref()),
        "cost_per_acre": forecast(per_acre),
    })
}

fn machine(line: &MachineLine, money: Option<&MachineMoney>) -> Value {
    json!({
        "machine": line.machine,
        "planned": amounts(&line.planned),
        "total": forecast(line.total.as_ref()),
        "known_total": forecast(Some(&line.known_total)),
        "cost_per_acre": forecast(money.and_then(|m| m.cost_per_acre.as_ref())),
        "past": past(money.and_then(|m| m.past.as_ref())),
        "repair_curve": money.and_then(|m| m.repair_curve),
    })
}

fn product(line: &ProductLine, money: Option<&ProductMoney>) -> Value {
    json!({
        "group": line.group,
        "acres": line.acres,
        "tons": line.tons,
        "cost": line.cost,
        "known_cost": line.known_cost,
        "cost_per_acre": line.cost_per_acre,
        "cost_per_acre_range": forecast(money.and_then(|m| m.cost_per_acre.as_ref())),
        "cost_per_ton": line.cost_per_ton,
        "cost_per_ton_range": forecast(money.and_then(|m| m.cost_per_ton.as_ref())),
    })
}

fn policy(line: &PolicyLine) -> Value {
    json!({
        "policy": line.policy,
        "changed_before": line.changed_before,
        "total": forecast(line.total.as_ref()),
        "known_total": forecast(Some(&line.known_total)),
        "down_cost": forecast(line.down.as_ref()),
    })
}

fn of_month(line: &MonthLine) -> Value {
    json!({
        "month": month(line.month),
        "total": forecast(line.total.as_ref()),
        "known_total": forecast(Some(&line.known_total)),
    })
}

/// What a past season cost, as far as it was written down.
fn past(past: Option<&Past>) -> Value {
    past.map_or(Value::Null, |p| {
        json!({
            "season": p.season,
            "changes": p.changes,
            "without_cost": p.unpriced,
            "without_hours": p.without_hours,
            "cost": p.whole_cost(),
            "known_cost": p.cost,
            "acres": p.acres,
            "cost_per_acre": p.whole_cost().and(p.per_acre()),
        })
    })
}
