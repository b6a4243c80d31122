//! Results as JSON, by keys that other programs rely on. Unknown is `null`, never 0 and never left out.

mod backtest;
mod compare;
mod imports;
mod stock;

pub use backtest::backtest;
pub use compare::compare;
pub use imports::imports;
pub use stock::stock;

use chrono::NaiveDate;
use serde_json::{Map, Value, json};

use super::fits::{FitLine, FitsReport};
use super::lives::{LifeLine, LivesReport};
use super::models::{ModelLine, ModelsReport};
use super::money::Past;
use super::remaining::{MeasuredLine, RemainingLine, RemainingReport};
use super::{BudgetReport, Estimate, Forecast, Header, PlanSource};
use crate::decide::Advice;
use crate::model::goodness::agreement::Stretch;
use crate::model::health::Sampler;
use crate::record::{Account, Amounts, Problem, RuleCount, Severity};
use crate::units::Measure;

/// The document every result begins with.
fn document(header: &Header, rest: Value) -> Value {
    let mut out = json!({
        "tool": env!("CARGO_PKG_NAME"),
        "version": env!("CARGO_PKG_VERSION"),
        "as_of": date(header.as_of),
        "seed": header.seed,
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

/// The fits.
#[must_use]
pub fn fits(report: &FitsReport) -> Value {
    let families: Vec<Value> = report.families.iter().map(fit).collect();
    document(&report.header, json!({ "families": families }))
}

fn fit(line: &FitLine) -> Value {
    let factors: Vec<Value> = line
        .factors
        .iter()
        .map(|f| {
            json!({
                "group": f.group,
                "estimate": f.factor.map(|e| e.estimate),
                "low": f.factor.and_then(|e| e.low),
                "high": f.factor.and_then(|e| e.high),
                "p_value": f.p_value,
            })
        })
        .collect();
    let machines: Vec<Value> = line
        .machines
        .iter()
        .map(|m| json!({ "machine": m.machine, "life_ratio": estimate(Some(&m.life_ratio)) }))
        .collect();
    json!({
        "family": line.family,
        "measure": line.measure.map(Measure::name),
        "counted": line.counted.name(),
        "distribution": line.distribution.name(),
        "lives": count(line.counts.lives),
        "worn": count(line.counts.worn),
        "censored": count(line.counts.censored),
        "late_entry": count(line.counts.late_entry),
        "start_unknown": count(line.counts.start_unknown),
        "use_unknown": count(line.counts.use_unknown),
        "reference_group": line.reference_group,
        "shape": estimate(line.shape.as_ref()),
        "scale": estimate(line.scale.as_ref()),
        "life10": estimate(line.life10.as_ref()),
        "life50": estimate(line.life50.as_ref()),
        "mean_life": estimate(line.mean_life.as_ref()),
        "life50_at_least": line.at_least,
        "wear_outs_to_halve": line.wear_outs_to_halve.map(count),
        "wear_factors": factors,
        "log_likelihood": line.log_likelihood,
        "machine_spread": estimate(line.machine_spread.as_ref()),
        "machines": machines,
        "effective_share": line.effective_share,
        "sampler": line.sampler.map(Sampler::name),
        "priors": line.priors,
        "goodness": goodness(line),
    })
}

fn goodness(line: &FitLine) -> Value {
    let goodness = &line.goodness;
    let tried: Vec<Value> = goodness
        .tried
        .iter()
        .map(|t| json!({"distribution": t.distribution.name(), "aicc": t.aicc, "weight": t.weight}))
        .collect();
    let agreement = goodness.agreement.as_ref();
    let stretches = agreement.map(|a| {
        let stretch =
            |s: &Stretch| json!({"until": s.until, "worn": s.worn, "expected": s.expected});
        a.stretches.iter().map(stretch).collect::<Vec<_>>()
    });
    let steps: Vec<Value> = line
        .survival
        .steps
        .iter()
        .map(|s| {
            json!({
                "low": s.low,
                "high": s.high,
                "survival": s.survival,
                "survival_low": s.survival_low,
                "survival_high": s.survival_high,
            })
        })
        .collect();
    json!({
        "age_matters_p": goodness.age_matters_p,
        "fit_p": agreement.map(|a| a.p_value),
        "stretches": stretches,
        "distributions": tried,
        "verdict": goodness.verdict,
        "nonparametric_from": line.survival.start,
        "nonparametric": steps,
    })
}

/// Counts are whole numbers held as floats.
fn count(value: f64) -> u64 {
    value.round() as u64
}

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
    json!({
        "machine": line.machine,
        "position": line.position,
        "slot": line.slot,
        "part": line.part,
        "family": line.family,
        "measure": line.measure.map(Measure::name),
        "fitted": date(line.fitted),
        "age": line.age,
        "remaining": forecast(Some(&line.remaining)),
        "chance_this_season": line.chance_this_season,
        "half_worn_date": date(line.half_worn_date),
        "kit": line.kit,
        "advice": line.advice.map(Advice::name),
        "saving": line.saving,
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

fn amounts(amounts: &Amounts) -> Value {
    json!({ "acres": amounts.acres, "tons": amounts.tons, "hours": amounts.hours })
}

/// The budget.
#[must_use]
pub fn budget(report: &BudgetReport) -> Value {
    let families: Vec<Value> = report
        .lines
        .iter()
        .enumerate()
        .map(|(i, line)| {
            let per_acre = report.money.lines.get(i).and_then(Option::as_ref);
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
        })
        .collect();
    let machines: Vec<Value> = report
        .machines
        .iter()
        .enumerate()
        .map(|(i, m)| {
            let money = report.money.machines.get(i);
            json!({
                "machine": m.machine,
                "planned": amounts(&m.planned),
                "total": forecast(m.total.as_ref()),
                "cost_per_acre": forecast(money.and_then(|m| m.cost_per_acre.as_ref())),
                "past": past(money.and_then(|m| m.past.as_ref())),
                "repair_curve": money.and_then(|m| m.repair_curve),
            })
        })
        .collect();
    let products: Vec<Value> = report
        .products
        .iter()
        .enumerate()
        .map(|(i, p)| {
            let money = report.money.products.get(i);
            json!({
                "group": p.group,
                "cost_per_acre_range": forecast(money.and_then(|m| m.cost_per_acre.as_ref())),
                "cost_per_ton_range": forecast(money.and_then(|m| m.cost_per_ton.as_ref())),
                "acres": p.acres,
                "tons": p.tons,
                "cost": p.cost,
                "cost_per_acre": p.cost_per_acre,
                "cost_per_ton": p.cost_per_ton,
            })
        })
        .collect();
    let months: Vec<Value> = report
        .months
        .iter()
        .map(|m| json!({ "month": month(m.month), "total": forecast(m.total.as_ref()) }))
        .collect();
    let policies = report.policies.iter().map(|p| {
        json!({
            "policy": p.policy,
            "changed_before": p.changed_before,
            "total": forecast(p.total.as_ref()),
            "known_total": forecast(Some(&p.known_total)),
            "down_cost": forecast(p.down.as_ref()),
        })
    });
    let policies: Vec<Value> = policies.collect();
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
            "families": families,
            "machines": machines,
            "products": products,
            "policies": policies,
            "past": past(report.money.past.as_ref()),
            "months": months,
            "rows": accounts(&report.account),
        }),
    )
}

/// What a past season cost, as far as it was written down.
fn past(past: Option<&Past>) -> Value {
    past.map_or(Value::Null, |p| {
        json!({
            "season": p.season,
            "changes": p.changes,
            "without_cost": p.unpriced,
            "cost": p.cost,
            "acres": p.acres,
            "cost_per_acre": p.per_acre(),
        })
    })
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

/// What a check of the records found.
#[must_use]
pub fn check(
    header: &Header,
    problems: &[Problem],
    account: &[Account],
    mapping: &[RuleCount],
    proposal: Option<&str>,
) -> Value {
    let rule = |r: &RuleCount| json!({"table": r.table.name(), "rule": r.rule, "rows": r.rows});
    let mapping: Vec<Value> = mapping.iter().map(rule).collect();
    let list = |severity: Severity| -> Vec<Value> {
        problems
            .iter()
            .filter(|p| p.severity == severity)
            .map(|p| {
                json!({
                    "file": &*p.place.source,
                    "row": p.place.row,
                    "column": p.place.column.as_deref(),
                    "kind": p.kind.name(),
                    "found": p.found,
                    "expected": &*p.expected,
                })
            })
            .collect()
    };
    let sum = |of: fn(&Account) -> u64| account.iter().map(of).sum::<u64>();
    document(
        header,
        json!({
            "problems": list(Severity::Problem),
            "remarks": list(Severity::Remark),
            "rows": accounts(account),
            "rows_read": sum(|a| a.read),
            "rows_used": sum(|a| a.used),
            "rows_set_aside": sum(|a| a.set_aside),
            "mapping": mapping,
            "proposed_mapping": proposal,
        }),
    )
}
