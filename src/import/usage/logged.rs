//! Work that the log had before an import brought it.

use std::collections::BTreeSet;

use chrono::NaiveDate;

use super::Matched;
use crate::import::ledger::Outcome;
use crate::import::taskdata::Work;
use crate::record::Records;

/// Says which days have use of a machine and product that no import wrote beside what is added.
pub(super) fn already<'a>(
    works: impl Iterator<Item = ((&'a Work, &'a Matched), Option<&'a Outcome>)>,
    records: &Records,
) -> Option<String> {
    const FEW: usize = 5;
    let mut added = BTreeSet::new();
    let mut imported = BTreeSet::new();
    for ((work, matched), outcome) in works {
        let [Some(machine), _, Some(product)] = &matched.ours else {
            continue;
        };
        let day = (machine.as_str(), work.date, product.as_str());
        match outcome {
            Some(Outcome::Added) => drop(added.insert(day)),
            Some(Outcome::Older(_)) | None => {}
            Some(_) => drop(imported.insert(day)),
        }
    }
    let is_logged = |(machine, date, product): &(&str, NaiveDate, &str)| {
        let mut days = records.usage.of_machine(machine);
        days.any(|day| day.date == *date && records.usage.products()[day.product] == *product)
    };
    let twice = added.difference(&imported).filter(|day| is_logged(day));
    let twice: Vec<String> = twice
        .map(|(machine, date, product)| format!("{date} {machine} {product}"))
        .collect();
    let more = match twice.len().saturating_sub(FEW) {
        0 => String::new(),
        more => format!(" and {more} more"),
    };
    (!twice.is_empty()).then(|| {
        format!(
            "The log had use of the same machine, product and day before, which now counts beside what is added; \
             where it is the same work, take one of the two out: {}{more}.",
            twice[..twice.len().min(FEW)].join(", ")
        )
    })
}
