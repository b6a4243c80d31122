//! The days of a machine that are recorded in full, column by column: most machines' are, and are
//! then gone through many at a time.

use std::ops::Range;

use chrono::{Days, NaiveDate};

use super::UsageLog;
use super::amount::{self, Kept};
use super::store::{Pair, date, number};

/// Use of one machine by day, bin and product, all amounts recorded in every measure that any machine
/// records, none read off a meter, and none of them nothing.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct FullDays {
    /// The days.
    pub days: Vec<NaiveDate>,
    /// By day: how many uses there are up to its end.
    pub ends: Vec<u32>,
    /// By use: the group of its product.
    pub groups: Vec<u32>,
    /// By use: acres, tons and hours; `None` for a measure that no row of the log has.
    pub amounts: [Option<Thousandths>; 3],
}

/// Amounts in thousandths, which are as good as the numbers and half as large.
#[derive(Clone, Debug, PartialEq)]
pub struct Thousandths {
    codes: Vec<u32>,
    /// Internal units in one of the log's.
    factor: f64,
}

impl Thousandths {
    /// Amounts from one place to another, in internal units.
    pub fn values(&self, places: Range<usize>) -> impl Iterator<Item = f64> {
        let value = |code: &u32| amount::of_thousandths(*code) * self.factor;
        self.codes[places].iter().map(value)
    }
}

impl UsageLog {
    /// The days of one machine, or of one of its bins; `None` where there is no such machine, or it
    /// has use that only [`Self::of_machine`] tells: not recorded, read off a meter, or not in
    /// thousandths. `group_of` tells the group of a product by its place in [`UsageLog::products`].
    #[must_use]
    pub fn full_days(
        &self,
        machine: &str,
        bin: Option<&str>,
        group_of: impl Fn(usize) -> u32,
    ) -> Option<FullDays> {
        let store = &*self.store;
        let uses = &store.uses[self.place(machine)?];
        // What no machine records cannot be filled in from others either.
        let mut kept = uses.kept.iter().zip(store.lacks);
        let is_told = kept.all(|(kept, lacks)| *kept == Kept::Thousandths || lacks);
        if !is_told || !uses.spread.is_empty() {
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
        let groups: Vec<u32> = store
            .pairs
            .iter()
            .map(|p| group_of(p.product as usize))
            .collect();
        for pair in &mut table.pairs {
            *pair = groups[*pair as usize];
        }
        let mut codes = table.codes.into_iter();
        let amounts = std::array::from_fn(|m| {
            let (codes, factor) = (codes.next()?, store.factors[m]);
            (!store.lacks[m]).then_some(Thousandths { codes, factor })
        });
        let mut full = FullDays {
            groups: table.pairs,
            amounts,
            ..FullDays::default()
        };
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
