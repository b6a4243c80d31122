//! What lies on the shelf, and what is on its way there.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use crate::record::StockRow;
use crate::report::stock::Delivery;
use crate::study::Study;

/// What is on the shelf and on the way of one part, its older numbers included.
#[derive(Clone, Debug, Default)]
pub(super) struct Held {
    pub(super) on_hand: f64,
    pub(super) on_order: Option<f64>,
    /// Of these, what does not come after the season's end.
    pub(super) in_time: f64,
    /// Each day's once: those without a day first, then by day.
    pub(super) deliveries: Vec<Delivery>,
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
        let Some(more) = row.on_order else { return };
        self.on_order = Some(self.on_order.unwrap_or(0.0) + more);
        let in_season = row.due.is_none_or(|due| due <= end);
        if in_season {
            self.in_time += more;
        }
        if more <= 0.0 {
            return;
        }
        match self.deliveries.binary_search_by_key(&row.due, |d| d.due) {
            Ok(at) => self.deliveries[at].pieces += more,
            Err(at) => self.deliveries.insert(
                at,
                Delivery {
                    due: row.due,
                    pieces: more,
                    in_season,
                },
            ),
        }
    }

    /// Days from `first` on on which something comes in the season, ascending.
    pub(super) fn days(&self, first: NaiveDate) -> impl Iterator<Item = NaiveDate> {
        let deliveries = self.deliveries.iter().filter(|d| d.in_season);
        deliveries.filter_map(|d| d.due).filter(move |d| first < *d)
    }

    /// The day by which all that comes in the season is here; where nothing does, the first
    /// delivery's after it.
    pub(super) fn due(&self) -> Option<NaiveDate> {
        let last = self.deliveries.iter().rev().find(|d| d.in_season);
        last.or(self.deliveries.first()).and_then(|d| d.due)
    }

    /// Pieces of the season that have come by a day, those on the shelf included.
    pub(super) fn by(&self, day: NaiveDate) -> f64 {
        let deliveries = self.deliveries.iter().filter(|d| d.in_season);
        let come = deliveries.filter(|d| d.due.is_none_or(|due| due <= day));
        self.on_hand + come.map(|d| d.pieces).sum::<f64>()
    }
}

/// Pieces that come to the shelf, and what is asked for until they do.
pub(super) struct Stretch<'a> {
    /// Asked for since the stretch before, play by play.
    pub(super) asked: &'a [f64],
    /// Come at its end.
    pub(super) come: f64,
}

/// Expected pieces short over stretches, one after the other: what is short in one is had from
/// elsewhere, and no later delivery makes up for it.
///
/// - `at_first`: pieces that lie there when the first begins, by play.
/// - Result: 0 where there is no stretch, or no play.
pub(super) fn short(at_first: impl Fn(usize) -> f64, stretches: &[Stretch<'_>]) -> f64 {
    let plays = stretches.first().map_or(0, |s| s.asked.len());
    let in_play = |play: usize| {
        let mut held = at_first(play);
        let mut short = 0.0;
        for stretch in stretches {
            let asked = stretch.asked[play];
            short += (asked - held).max(0.0);
            held = (held - asked).max(0.0) + stretch.come;
        }
        short
    };
    let sum: f64 = (0..plays).map(in_play).sum();
    if plays == 0 { 0.0 } else { sum / plays as f64 }
}

#[cfg(test)]
mod tests {
    use super::{Stretch, short};

    /// Two plays: 5 then 1 asked for, and 1 then 5; 2 lie there and 3 come in between.
    #[test]
    fn a_delivery_serves_what_is_asked_for_after_it() {
        let first = [5.0, 1.0];
        let second = [1.0, 5.0];
        let stretch = |asked, come| Stretch { asked, come };
        let one = short(|_| 2.0, &[stretch(&first, 3.0)]);
        assert!((one - 1.5).abs() < 1e-12);
        let both = short(|_| 2.0, &[stretch(&first, 3.0), stretch(&second, 0.0)]);
        assert!((both - 2.0).abs() < 1e-12);
    }
}
