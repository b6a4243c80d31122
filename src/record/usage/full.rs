//! The days of a machine that are recorded in full, column by column: most machines' are, and are
//! then gone through many at a time.

use chrono::{Days, NaiveDate};

use super::UsageLog;
use super::amount;
use super::store::{Pair, date, number};

/// Use of one machine by day, bin and product, all of its amounts recorded, none read off a meter,
/// and none of them nothing.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct FullDays {
    /// The days.
    pub days: Vec<NaiveDate>,
    /// By day: how many uses there are up to its end.
    pub ends: Vec<u32>,
    /// By use: place of the product in [`UsageLog::products`].
    pub products: Vec<u32>,
    /// By use: acres, tons and hours.
    pub amounts: [Vec<f64>; 3],
}

impl UsageLog {
    /// The days of one machine, or of one of its bins; `None` where there is no such machine, or it
    /// has use that only [`Self::of_machine`] tells: not recorded, read off a meter, or not in
    /// thousandths.
    #[must_use]
    pub fn full_days(&self, machine: &str, bin: Option<&str>) -> Option<FullDays> {
        let store = &*self.store;
        let uses = &store.uses[self.place(machine)?];
        if !uses.is_full || !uses.spread.is_empty() {
            return None;
        }
        let until = |day| uses.days.until(number(day));
        let count = self.until.map_or(uses.days.len(), until);
        let mut table = uses.days.table(count);
        if bin.is_some() || amount::has_nothing(&table.codes) {
            let name = |bin: u32| store.bins[bin as usize].as_str();
            let is_seen = |pair: &Pair| bin.is_none() || pair.bin.map(name) == bin;
            let seen: Vec<bool> = store.pairs.iter().map(is_seen).collect();
            let pairs = table.pairs.iter().enumerate();
            let keep = pairs.map(|(i, p)| seen[*p as usize] && table.codes(i) != [0; 3]);
            table.retain(&keep.collect::<Vec<_>>());
        }
        let codes = table.codes.iter().zip(store.factors);
        let mut amounts = codes.map(|(codes, factor)| amount::values(codes, factor));
        let mut full = FullDays {
            amounts: std::array::from_fn(|_| amounts.next().unwrap_or_default()),
            ..FullDays::default()
        };
        let pairs = table.pairs.iter();
        full.products = pairs.map(|p| store.pairs[*p as usize].product).collect();
        let (mut end, mut last) = (0, (0, NaiveDate::MIN));
        for of_day in table.days.chunk_by(|a, b| a == b) {
            end += of_day.len() as u32;
            last = (of_day[0], later(last, of_day[0]));
            full.days.push(last.1);
            full.ends.push(end);
        }
        Some(full)
    }
}

/// The day of a number; from the one before, as days that follow each other take no calendar.
fn later((before, date_before): (u32, NaiveDate), day: u32) -> NaiveDate {
    let after = Days::new(u64::from(day - before));
    let step = (before != 0).then(|| date_before.checked_add_days(after));
    step.flatten().unwrap_or_else(|| date(day))
}
