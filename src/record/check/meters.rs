//! Meter readings.

use std::collections::BTreeSet;

use super::{Check, Finding, order, twins, unknown};
use crate::record::{MeterKind, MeterReading, ProblemKind, Table};

impl Check<'_> {
    pub(super) fn meters(&mut self) {
        let mut rows = std::mem::take(&mut self.records.meters);
        let machines: BTreeSet<&str> = self
            .records
            .machines
            .iter()
            .map(|m| m.name.as_str())
            .collect();
        let products = (self.records.sources.contains_key(&Table::Products)).then(|| {
            self.records
                .products
                .iter()
                .map(|p| p.name.as_str())
                .collect::<BTreeSet<_>>()
        });
        self.notes.keep_dated(
            Table::Meters,
            &mut rows,
            |m| m.row,
            |m| Some(m.date),
            |row| {
                let machine = (!machines.contains(row.machine.as_str()))
                    .then(|| unknown("machine", "machine", &row.machine, Table::Machines));
                let unlisted =
                    |product: &&str| products.as_ref().is_some_and(|p| !p.contains(product));
                let product = row.product.as_deref().filter(unlisted);
                let product = product.map(|p| unknown("product", "product", p, Table::Products));
                machine.into_iter().chain(product).collect()
            },
        );
        for (later, earlier) in twins::pairs(&rows, |m| m.row, order::meter) {
            let finding = twins::equal(earlier);
            self.notes.remark(Table::Meters, Some(later), finding);
        }
        rows.sort_by(|a, b| in_time(a, b).then(a.row.cmp(&b.row)));
        let mut kept: Vec<MeterReading> = Vec::new();
        for row in rows {
            let finding = kept.last().and_then(|earlier| backwards(earlier, &row));
            match finding {
                // A fall that nobody explains: which of the two readings is wrong, who can tell.
                Some(finding) if becomes_use(row.meter) && !explains_a_fall(&row) => {
                    let date = Some(row.date);
                    self.notes
                        .passes(Table::Meters, row.row, date, vec![finding]);
                    continue;
                }
                Some(finding) => self.notes.remark(Table::Meters, Some(row.row), finding),
                None => {}
            }
            kept.push(row);
        }
        self.records.meters = kept;
    }
}

/// Whether what a meter counts wears parts.
pub(super) fn becomes_use(kind: MeterKind) -> bool {
    matches!(kind, MeterKind::Hours | MeterKind::Acres | MeterKind::Tons)
}

/// By machine, meter and date; a new counter's first reading comes after the old one's last.
pub(super) fn in_time(a: &MeterReading, b: &MeterReading) -> std::cmp::Ordering {
    (&a.machine, a.meter, a.date, explains_a_fall(a))
        .cmp(&(&b.machine, b.meter, b.date, explains_a_fall(b)))
        .then_with(|| order::meter(a, b))
}

/// Words of a note that say something is another one from here on.
const NEW: [&str; 7] = [
    "new ",
    "change",
    "replaced",
    "reset",
    "swapped",
    "exchanged",
    "rolled over",
];
/// Words that need no other: nobody resets a bearing.
const PLAIN: [&str; 4] = ["reset", "swapped", "exchanged", "rolled over"];
/// Words for what counts.
const COUNTERS: [&str; 4] = ["meter", "counter", "clock", "display"];

/// Whether a row says that its counter took the place of another: by its note, or by a column
/// `replaced` that says neither `no` nor 0.
pub(super) fn is_new_counter(row: &MeterReading) -> bool {
    // A part that was replaced that day is another matter.
    says_new(row, |note| COUNTERS.iter().any(|word| note.contains(word)))
}

/// The same of a row that shows less than the one before, where fewer words will do.
pub(super) fn explains_a_fall(row: &MeterReading) -> bool {
    let plain = |note: &str| PLAIN.iter().any(|word| note.contains(word));
    is_new_counter(row) || says_new(row, plain)
}

fn says_new(row: &MeterReading, of_counter: impl Fn(&str) -> bool) -> bool {
    let note = row.note.as_deref().unwrap_or_default().to_lowercase();
    let by_note = NEW.iter().any(|word| note.contains(word)) && of_counter(&note);
    let column = row
        .extra
        .iter()
        .find(|(header, _)| header.trim().eq_ignore_ascii_case("replaced"));
    let no = ["no", "n", "false", "0"];
    by_note || column.is_some_and(|(_, text)| !no.contains(&text.to_lowercase().as_str()))
}

/// A meter that shows less than before.
fn backwards(earlier: &MeterReading, later: &MeterReading) -> Option<Finding> {
    let same = earlier.machine == later.machine && earlier.meter == later.meter;
    (same && later.reading < earlier.reading).then(|| {
        let expected = if explains_a_fall(later) {
            "a new counter from here on, as the row says"
        } else {
            "a reading that is not below an earlier one; where the meter was changed, say so in `note`"
        };
        Finding::new(
            "reading",
            ProblemKind::Order,
            format!(
                "{}, below the {} of {} in row {}",
                later.reading, earlier.reading, earlier.date, earlier.row
            ),
            expected,
        )
    })
}
