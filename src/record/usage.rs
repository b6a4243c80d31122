//! The usage log, held in columns: names once, then small numbers a row.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use super::Amounts;

/// One row of the usage log, borrowed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct UsageRow<'a> {
    /// Row of its table.
    pub row: u32,
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

/// Names seen so far, each with a number.
#[derive(Clone, Debug, Default, PartialEq)]
struct Names {
    by_name: BTreeMap<String, u32>,
    by_id: Vec<String>,
}

impl Names {
    fn id(&mut self, name: &str) -> u32 {
        if let Some(&id) = self.by_name.get(name) {
            return id;
        }
        let id = u32::try_from(self.by_id.len()).expect("fewer than 2^32 names");
        self.by_name.insert(name.to_owned(), id);
        self.by_id.push(name.to_owned());
        id
    }
}

/// Usage rows in columns, in file order.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct UsageLog {
    names: Names,
    rows: Vec<u32>,
    dates: Vec<NaiveDate>,
    machines: Vec<u32>,
    products: Vec<u32>,
    bins: Vec<Option<u32>>,
    amounts: Vec<Amounts>,
    /// Of rows that were read off a meter, by place.
    stretches: BTreeMap<usize, Stretch>,
}

impl UsageLog {
    /// Adds a row that was read off a meter.
    pub fn push_spread(&mut self, row: UsageRow<'_>, stretch: Stretch) {
        self.stretches.insert(self.rows.len(), stretch);
        self.push(row);
    }

    /// The stretch that a row was spread over; `None`: its day was written down.
    #[must_use]
    pub fn stretch(&self, index: usize) -> Option<Stretch> {
        self.stretches.get(&index).copied()
    }

    /// The last reading that use was read off.
    #[must_use]
    pub fn last_reading(&self) -> Option<NaiveDate> {
        self.stretches.values().map(|s| s.known).max()
    }

    /// What was known at the end of a day.
    #[must_use]
    pub fn known_on(&self, day: NaiveDate) -> Self {
        self.chosen(|i| {
            self.dates[i] <= day && self.stretch(i).is_none_or(|stretch| stretch.known <= day)
        })
    }

    fn chosen(&self, mut keep: impl FnMut(usize) -> bool) -> Self {
        let mut out = Self::default();
        for index in (0..self.len()).filter(|i| keep(*i)) {
            if let Some(stretch) = self.stretch(index) {
                out.stretches.insert(out.len(), stretch);
            }
            out.push(self.get(index));
        }
        out
    }

    /// Adds a row.
    pub fn push(&mut self, row: UsageRow<'_>) {
        self.rows.push(row.row);
        self.dates.push(row.date);
        self.machines.push(self.names.id(row.machine));
        self.products.push(self.names.id(row.product));
        self.bins.push(row.bin.map(|b| self.names.id(b)));
        self.amounts.push(row.amounts);
    }

    /// Number of rows.
    #[must_use]
    pub fn len(&self) -> usize {
        self.rows.len()
    }

    /// Whether there is no row.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// The dates, row by row.
    #[must_use]
    pub fn dates(&self) -> &[NaiveDate] {
        &self.dates
    }

    /// One row.
    ///
    /// # Panics
    /// When `index` is not below [`Self::len`].
    #[must_use]
    pub fn get(&self, index: usize) -> UsageRow<'_> {
        let name = |id: u32| self.names.by_id[id as usize].as_str();
        UsageRow {
            row: self.rows[index],
            date: self.dates[index],
            machine: name(self.machines[index]),
            product: name(self.products[index]),
            bin: self.bins[index].map(name),
            amounts: self.amounts[index],
        }
    }

    /// Every row in file order.
    pub fn iter(&self) -> impl Iterator<Item = UsageRow<'_>> {
        (0..self.len()).map(|i| self.get(i))
    }

    /// The rows for which `keep` holds.
    #[must_use]
    pub fn filtered(&self, mut keep: impl FnMut(UsageRow<'_>) -> bool) -> Self {
        self.chosen(|index| keep(self.get(index)))
    }
}
