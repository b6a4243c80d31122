//! Fits as JSON.

use serde_json::{Value, json};

use super::{count, document, estimate};
use crate::model::goodness::agreement::PartOfLife;
use crate::model::health::Sampler;
use crate::report::fits::{FitLine, FitsReport};
use crate::units::Measure;

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
            |s: &PartOfLife| json!({"until": s.until, "worn": s.worn, "expected": s.expected});
        a.parts_of_life.iter().map(stretch).collect::<Vec<_>>()
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
