//! What lies on the shelf, and what is on its way there.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use crate::record::StockRow;
use crate::study::Study;

/// What is on the shelf and on the way of one part, its older numbers included.
#[derive(Clone, Debug, Default)]
pub(super) struct Held {
    pub(super) on_hand: f64,
    pub(super) on_order: Option<f64>,
    /// Of these, what does not come after the season's end.
    pub(super) in_time: f64,
    pub(super) due: Option<NaiveDate>,
}

pub(super) struct Shelf<'a> {
    pub(super) held: BTreeMap<&'a str, Held>,
}

impl<'a> Shelf<'a> {
    pub(super) fn new(study: &'a Study, end: NaiveDate) -> Self {
        let mut held: BTreeMap<&str, Held> = BTreeMap::new();
        for row in &study.records.stock {
            held.entry(study.supersession.newest(&row.part))
                .or_default()
                .add(row, end);
        }
        Self { held }
    }

    pub(super) fn of(&self, part: &str) -> Option<&Held> {
        self.held.get(part)
    }
}

impl Held {
    fn add(&mut self, row: &StockRow, end: NaiveDate) {
        self.on_hand += row.on_hand;
        if let Some(more) = row.on_order {
            self.on_order = Some(self.on_order.unwrap_or(0.0) + more);
            if row.due.is_none_or(|due| due <= end) {
                self.in_time += more;
            }
        }
        // The later of two deliveries: what is promised before it is not yet all there.
        if row.on_order.is_some_and(|n| 0.0 < n) {
            self.due = self.due.max(row.due);
        }
    }
}
