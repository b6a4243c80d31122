//! The usage log: what each machine spread each day, by bin and product.
//!
//! Rows are gathered into daily sums, and only the sums are held. A log may be seen as it was known
//! on an earlier day, or for some machines only, without being copied.

mod amount;
mod arrivals;
mod days;
mod full;
mod gather;
mod heap;
mod layout;
mod names;
mod order;
mod pages;
mod store;
mod table;
mod totals;

use std::sync::Arc;

use chrono::NaiveDate;

use super::Amounts;
use crate::units::Measure;
use store::{MachineUse, Store};

pub use amount::{plain_thousandths, thousandths};
pub use days::{DayUse, Days};
pub use full::{FullDays, Thousandths};
pub use gather::Gather;
pub use table::UseColumns;

/// Use of one machine, bin and product on one day: a row of the log, or the sum of several.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct UsageRow<'a> {
    /// The day.
    pub date: NaiveDate,
    /// Machine.
    pub machine: &'a str,
    /// Product.
    pub product: &'a str,
    /// Bin, where recorded.
    pub bin: Option<&'a str>,
    /// How much.
    pub amounts: Amounts,
}

/// Use that was read off a meter: spread over the days between two readings.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stretch {
    /// The day of the earlier reading: the use lies after it.
    pub after: NaiveDate,
    /// The day of the later reading: nobody knew of the use before.
    pub known: NaiveDate,
}

/// Daily sums of use by machine, day, bin and product; cheap to clone.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct UsageLog {
    store: Arc<Store>,
    /// The last day of which anything is known.
    until: Option<NaiveDate>,
    /// Machines that are left out, by their place in the store.
    hidden: Option<Arc<Vec<bool>>>,
}

impl UsageLog {
    /// The log of what was gathered, and rows that are equal to an earlier one: the numbers of
    /// both, in order.
    #[must_use]
    pub fn new(gather: Gather) -> (Self, Vec<(u32, u32)>) {
        let (store, twins) = gather.finish();
        let log = Self {
            store: Arc::new(store),
            ..Self::default()
        };
        (log, twins)
    }

    /// The log with use that was read off meters added to it.
    #[must_use]
    pub fn with_spread(self, rows: &[(UsageRow<'_>, Stretch)]) -> Self {
        let store = Arc::unwrap_or_clone(self.store).with_spread(rows);
        // Machines may have changed places.
        Self {
            store: Arc::new(store),
            until: self.until,
            hidden: None,
        }
    }

    /// What was known at the end of a day.
    #[must_use]
    pub fn known_on(&self, day: NaiveDate) -> Self {
        Self {
            until: Some(self.until.map_or(day, |until| until.min(day))),
            ..self.clone()
        }
    }

    /// The use of the machines for which `keep` holds.
    #[must_use]
    pub fn of_machines(&self, mut keep: impl FnMut(&str) -> bool) -> Self {
        let names = self.store.machines.iter().enumerate();
        let hidden = names.map(|(i, name)| self.is_hidden(i) || !keep(name));
        Self {
            hidden: Some(Arc::new(hidden.collect())),
            ..self.clone()
        }
    }

    fn is_hidden(&self, machine: usize) -> bool {
        self.hidden.as_ref().is_some_and(|hidden| hidden[machine])
    }

    fn place(&self, machine: &str) -> Option<usize> {
        let names = &self.store.machines;
        let place = names
            .binary_search_by(|name| name.as_str().cmp(machine))
            .ok()?;
        (!self.is_hidden(place)).then_some(place)
    }

    fn machine_uses(&self) -> impl Iterator<Item = (usize, &MachineUse)> {
        let uses = self.store.uses.iter().enumerate();
        uses.filter(|(i, _)| !self.is_hidden(*i))
    }

    /// Machines with any use, sorted.
    pub fn machines(&self) -> impl Iterator<Item = &str> {
        (0..self.store.machines.len())
            .filter(|i| !self.is_hidden(*i) && !self.days(*i).is_over())
            .map(|i| self.store.machines[i].as_str())
    }

    /// The days of use of one machine, by date, bin and product.
    #[must_use]
    pub fn of_machine(&self, machine: &str) -> Days<'_> {
        self.place(machine)
            .map_or_else(Days::none, |place| self.days(place))
    }

    fn days(&self, machine: usize) -> Days<'_> {
        Days::new(&self.store, &self.store.uses[machine], self.until)
    }

    /// Products that the log names, sorted.
    #[must_use]
    pub fn products(&self) -> &[String] {
        &self.store.products
    }

    /// Every machine, day, bin and product, in that order.
    pub fn iter(&self) -> impl Iterator<Item = UsageRow<'_>> {
        self.machine_uses().flat_map(move |(i, _)| {
            let machine = self.store.machines[i].as_str();
            self.days(i).map(move |day| UsageRow {
                date: day.date,
                machine,
                product: &self.store.products[day.product],
                bin: day.bin,
                amounts: day.amounts,
            })
        })
    }

    /// Whether nothing is known.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.machines().next().is_none()
    }

    /// The last day of use.
    #[must_use]
    pub fn last_day(&self) -> Option<NaiveDate> {
        self.machine_uses()
            .filter_map(|(i, _)| self.days(i).last_day())
            .max()
    }

    /// The last reading that use was read off.
    #[must_use]
    pub fn last_reading(&self) -> Option<NaiveDate> {
        let spread = self.machine_uses().flat_map(|(_, uses)| &uses.spread);
        spread
            .map(|s| s.stretch.known)
            .filter(|known| self.until.is_none_or(|until| *known <= until))
            .max()
    }

    /// Rows of a machine that were written down without a bin, whenever that was.
    #[must_use]
    pub fn rows_without_bin(&self, machine: &str) -> u64 {
        let place = self.place(machine);
        place.map_or(0, |i| self.store.uses[i].without_bin)
    }

    /// Rows that were written down, whenever that was.
    #[must_use]
    pub fn rows(&self) -> u64 {
        self.machine_uses().map(|(_, uses)| uses.rows).sum()
    }
}

impl<'a> FromIterator<UsageRow<'a>> for UsageLog {
    /// The daily sums of rows in any order.
    fn from_iter<I: IntoIterator<Item = UsageRow<'a>>>(rows: I) -> Self {
        let mut gather = Gather::default();
        gather.units([1.0; 3]);
        for (number, row) in (0..).zip(rows) {
            let machine = gather.machine(row.machine);
            let bin = row.bin.map(|bin| gather.bin(bin));
            let product = gather.product(row.product);
            let pair = gather.pair(bin, product);
            let amounts = Measure::OF_USE.map(|m| row.amounts.get(m).unwrap_or(f64::NAN));
            gather.push(number, store::number(row.date), (machine, pair), amounts, 0);
        }
        Self::new(gather).0
    }
}

#[cfg(test)]
mod tests;
