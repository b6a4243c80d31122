//! What a check of the records found, as JSON.

use serde_json::{Value, json};

use super::{accounts, document};
use crate::record::{Account, RuleCount, Severity};
use crate::report::check::CheckReport;

/// What a check of the records found.
#[must_use]
pub fn check(report: &CheckReport<'_>) -> Value {
    let CheckReport {
        header,
        problems,
        accounts: account,
        mapping,
        proposal,
    } = report;
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
