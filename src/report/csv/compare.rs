//! Wear and cost side by side as CSV.

use super::{Table, estimate, heads, number, shown, word, words};
use crate::report::compare::CompareReport;

/// A row a value and family.
#[must_use]
pub fn compare(report: &CompareReport) -> String {
    let mut header = heads("value,family,measure,base,lives,worn");
    for name in [
        "wear_factor",
        "life_ratio",
        "life50",
        "cost_per_acre",
        "cost_per_ton",
        "cost_ratio",
    ] {
        header.extend([
            name.to_owned(),
            format!("{name}_low"),
            format!("{name}_high"),
        ]);
    }
    header.extend(heads(
        "change_cost,dearer,chance_dearer_pays,chance_longer,more_to_settle,p_value,p_holm,note",
    ));
    let mut table = Table::new(&header);
    for family in &report.families {
        for row in &family.rows {
            let mut cells = vec![
                word(row.value.as_ref()),
                words(&family.family),
                family.measure.name().to_owned(),
                row.is_base.to_string(),
                row.lives.to_string(),
                row.worn.to_string(),
            ];
            let estimates = [
                row.wear_factor,
                row.life_ratio,
                row.life50,
                row.cost_per_acre,
                row.cost_per_ton,
                row.cost_ratio,
            ];
            cells.extend(estimates.iter().flat_map(|e| estimate(e.as_ref())));
            cells.push(number(row.change_cost));
            cells.push(shown(row.dearer));
            cells.extend(
                [
                    row.chance_dearer_pays,
                    row.chance_longer,
                    row.more_to_settle,
                    row.p_value,
                    row.p_holm,
                ]
                .map(number),
            );
            cells.push(word(row.note.as_ref()));
            table.row(cells);
        }
    }
    table.text()
}
