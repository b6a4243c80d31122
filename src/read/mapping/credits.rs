//! Invoices taken back: a row with a negative quantity cancels the row it takes back.
//!
//! A credit cancels the latest row on or before its date with the same machine, position, part and
//! slot and the same number of pieces; a row dated to a month may have been on its first day. Both rows are read and used up against each other; each
//! pair is remarked on. A credit that finds no such row is set aside.

use std::collections::BTreeSet;

use crate::record::{Place, Problem, ProblemKind, Replacement, Severity};

/// Takes cancelled rows out; remarks on pairs and problems of credits without a partner.
pub(in crate::read) fn cancel(
    rows: &mut Vec<Replacement>,
    credits: &BTreeSet<u32>,
    source: &str,
    own_quantity: &str,
) -> Vec<Problem> {
    if credits.is_empty() {
        return Vec::new();
    }
    rows.sort_by_key(|r| (r.date, r.row));
    let mut gone: BTreeSet<u32> = BTreeSet::new();
    let mut told = Vec::new();
    for credit in rows.iter().filter(|r| credits.contains(&r.row)) {
        gone.insert(credit.row);
        let partner = rows.iter().rev().find(|row| {
            !credits.contains(&row.row)
                && !gone.contains(&row.row)
                && row.date_from.unwrap_or(row.date) <= credit.date
                && (&row.machine, &row.position, &row.part, &row.slot)
                    == (
                        &credit.machine,
                        &credit.position,
                        &credit.part,
                        &credit.slot,
                    )
                && row.quantity == credit.quantity
        });
        let pieces = credit.quantity.unwrap_or_default();
        let (severity, found, expected) = match partner {
            Some(row) => {
                gone.insert(row.row);
                (
                    Severity::Remark,
                    format!(
                        "a credit of {pieces} that takes back row {} of {}",
                        row.row, row.date
                    ),
                    "both rows left out of the replacements, as the credit says",
                )
            }
            None => (
                Severity::Problem,
                format!("a credit of {pieces} without a row it takes back"),
                "a row on or before its date with the same machine, position, part, slot and number of pieces",
            ),
        };
        told.push(Problem {
            severity,
            place: Place {
                source: source.into(),
                row: Some(credit.row),
                column: Some(own_quantity.into()),
            },
            kind: ProblemKind::Mapping,
            found,
            expected: expected.into(),
        });
    }
    rows.retain(|row| !gone.contains(&row.row));
    told
}
