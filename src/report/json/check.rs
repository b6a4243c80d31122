//! What a check of the records found, as JSON.

use serde_json::{Value, json};

use super::{accounts, document};
use crate::record::{Account, Problem, RuleCount, Severity};
use crate::report::Header;

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
