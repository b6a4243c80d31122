//! Days of use of one machine, one after the other.

use std::iter::Peekable;

use chrono::NaiveDate;

use super::Amounts;
use super::store::{DayCell, MachineUse, SpreadUse, Store, date, number};

/// Use of one bin and product on one day.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DayUse<'a> {
    /// The day.
    pub date: NaiveDate,
    /// Bin, where recorded.
    pub bin: Option<&'a str>,
    /// Place of the product in [`super::UsageLog::products`].
    pub product: usize,
    /// Sums; `None` where no row records any, or where a row with other amounts leaves it out.
    pub amounts: Amounts,
    /// Where the use was read off a meter: the day of the reading after which it lies somewhere.
    pub after: Option<NaiveDate>,
}

/// The days of use of one machine, by date, bin and product.
#[derive(Clone, Debug)]
pub struct Days<'a> {
    of: Option<(&'a Store, &'a MachineUse)>,
    /// The days written down that are left, by their places.
    left: std::ops::Range<usize>,
    spread: Peekable<Spread<'a>>,
    /// The last date made from a number: most days have several cells.
    last: (u32, NaiveDate),
}

/// Use read off meters that was known by then.
#[derive(Clone, Debug)]
struct Spread<'a> {
    rest: std::slice::Iter<'a, SpreadUse>,
    until: Option<NaiveDate>,
}

impl<'a> Iterator for Spread<'a> {
    type Item = &'a SpreadUse;

    fn next(&mut self) -> Option<Self::Item> {
        let until = self.until;
        self.rest.find(|spread| {
            until.is_none_or(|until| spread.stretch.known <= until && spread.day <= number(until))
        })
    }

    fn size_hint(&self) -> (usize, Option<usize>) {
        (0, Some(self.rest.len()))
    }
}

impl<'a> Days<'a> {
    pub(super) fn none() -> Self {
        let spread = Spread {
            rest: [].iter(),
            until: None,
        };
        Self {
            of: None,
            left: 0..0,
            spread: spread.peekable(),
            last: (0, NaiveDate::MIN),
        }
    }

    pub(super) fn new(store: &'a Store, of: &'a MachineUse, until: Option<NaiveDate>) -> Self {
        let end = until.map_or(of.days.len(), |until| of.days.until(number(until)));
        let spread = Spread {
            rest: of.spread.iter(),
            until,
        };
        Self {
            of: Some((store, of)),
            left: 0..end,
            spread: spread.peekable(),
            last: (0, NaiveDate::MIN),
        }
    }

    /// Whether there is no day left.
    #[must_use]
    pub fn is_over(&self) -> bool {
        self.left.is_empty() && self.spread.clone().peek().is_none()
    }

    /// The last day of use.
    #[must_use]
    pub fn last_day(&self) -> Option<NaiveDate> {
        let of = self.of.filter(|_| !self.left.is_empty());
        let written = of.map(|(_, of)| of.days.get(self.left.end - 1).day);
        let read = self.spread.clone().map(|spread| spread.day).max();
        written.max(read).map(date)
    }

    /// How many of the uses that are left were written down.
    pub(super) fn written_down(&self) -> usize {
        self.left.len()
    }

    /// The uses that are left and were read off meters.
    pub(super) fn read_off(self) -> impl Iterator<Item = &'a SpreadUse> {
        self.spread
    }

    /// The first of the days that are left.
    fn cell(&self, of: &MachineUse) -> Option<DayCell> {
        (!self.left.is_empty()).then(|| of.days.get(self.left.start))
    }

    fn date(&mut self, day: u32) -> NaiveDate {
        if self.last.0 != day {
            self.last = (day, date(day));
        }
        self.last.1
    }

    #[inline]
    fn day(
        &mut self,
        store: &'a Store,
        (day, pair): (u32, u32),
        amounts: [Option<f64>; 3],
    ) -> DayUse<'a> {
        let pair = store.pairs[pair as usize];
        let [acres, tons, hours] = amounts;
        DayUse {
            date: self.date(day),
            bin: pair.bin.map(|bin| store.bins[bin as usize].as_str()),
            product: pair.product as usize,
            amounts: Amounts { acres, tons, hours },
            after: None,
        }
    }

    /// What was written down of a day.
    #[inline]
    fn written(&mut self, store: &'a Store, of: &MachineUse, cell: DayCell) -> DayUse<'a> {
        let value = |i: usize| of.others.value(cell.codes[i], store.factors[i]);
        let amounts = [value(0), value(1), value(2)];
        self.day(store, (cell.day, cell.pair), amounts)
    }

    /// The day of the use read off meters that is next, with what was written down for the same.
    fn next_spread(&mut self, store: &'a Store, of: &'a MachineUse) -> Option<DayUse<'a>> {
        let key = self.spread.peek().map(|s| (s.day, s.pair))?;
        let mut values: [Vec<f64>; 3] = Default::default();
        let mut after: Option<NaiveDate> = None;
        if let Some(cell) = self.cell(of).filter(|c| (c.day, c.pair) == key) {
            for (i, values) in values.iter_mut().enumerate() {
                values.extend(of.others.value(cell.codes[i], store.factors[i]));
            }
            self.left.start += 1;
        }
        while let Some(spread) = self.spread.next_if(|s| (s.day, s.pair) == key) {
            for (values, amount) in values.iter_mut().zip(spread.amounts) {
                values.extend(amount);
            }
            let since = spread.stretch.after;
            after = Some(after.map_or(since, |known| known.min(since)));
        }
        let amounts = values.map(|mut values| {
            values.sort_by(f64::total_cmp);
            (!values.is_empty()).then(|| values.iter().sum())
        });
        let day = self.day(store, key, amounts);
        Some(DayUse { after, ..day })
    }
}

impl<'a> Iterator for Days<'a> {
    type Item = DayUse<'a>;

    #[inline]
    fn next(&mut self) -> Option<DayUse<'a>> {
        let (store, of) = self.of?;
        let cell = self.cell(of);
        if let Some(spread) = self.spread.peek()
            && cell.is_none_or(|c| (spread.day, spread.pair) <= (c.day, c.pair))
        {
            return self.next_spread(store, of);
        }
        let cell = cell?;
        self.left.start += 1;
        Some(self.written(store, of, cell))
    }

    /// As [`Self::next`], but without asking of every day whether use read off a meter is to come
    /// first where there is none.
    #[inline]
    fn fold<B, F: FnMut(B, DayUse<'a>) -> B>(mut self, init: B, mut f: F) -> B {
        match self.of {
            Some((store, of)) if self.spread.peek().is_none() => {
                let cells = of.days.range(self.left.clone());
                cells.fold(init, |sum, cell| f(sum, self.written(store, of, cell)))
            }
            _ => {
                let mut sum = init;
                for day in self {
                    sum = f(sum, day);
                }
                sum
            }
        }
    }

    fn size_hint(&self) -> (usize, Option<usize>) {
        let written = self.left.len();
        let (_, read) = self.spread.size_hint();
        (written, read.map(|read| written + read))
    }
}
