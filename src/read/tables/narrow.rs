//! The usage log of a typed file, column by column: names become numbers once for many rows, and
//! rows that are plainly sound never become cells.
//!
//! What is plainly sound is told by the rules of [`crate::read::cell`]; every other row is left to
//! them, so that there is one place that says what is wrong with a row.

use std::collections::HashMap;

use foldhash::fast::RandomState;
use polars_core::prelude::{ChunkedArray, PlSmallStr, PolarsNumericType, StringChunked};

use crate::read::cell::{Cell, DAYS, LARGEST};
use crate::read::header::Columns;
use crate::read::parquet::{Batch, EPOCH, Values, in_a_day};
use crate::record::check::LogCheck;
use crate::record::usage::{UseColumns, plain_thousandths, thousandths};
use crate::units::Measure;

use super::usage::{Spread, mark};

/// A name that is missing or blank.
const NONE: u32 = u32::MAX;
/// A name that is not known yet.
const NEW: u32 = NONE - 1;
/// An amount that no amount can be, among codes of thousandths.
const WRONG: u32 = 1 << 31;
/// An amount that thousandths do not hold.
const OTHER: u32 = WRONG + 1;
/// Bins and products whose pairs stand in a table: a damaged file may name any number.
const MOST: usize = 1 << 10;

/// Numbers of names, kept from batch to batch, and room for the columns of one.
#[derive(Default)]
pub(super) struct Narrow {
    machines: Named,
    products: Named,
    bins: Named,
    /// By bin, none being the first, and product.
    pairs: Vec<[u32; MOST]>,
    days: Vec<u32>,
    /// By row: its pair of bin and product.
    of_rows: Vec<u32>,
    codes: [Vec<u32>; 3],
}

/// A column of names as numbers.
#[derive(Default)]
struct Named {
    /// Short names lie in the table itself, and are found without going elsewhere.
    known: HashMap<PlSmallStr, u32, RandomState>,
    /// The list last looked up: the next rows often have the same.
    list: StringChunked,
    /// Of the texts in a list, and none behind them.
    listed: Vec<u32>,
    numbers: Vec<u32>,
}

impl Narrow {
    /// Takes in a batch; the places of rows that are not plainly sound, or `None` where a column
    /// is of a type that only cells tell.
    pub(super) fn take(
        &mut self,
        log: &mut LogCheck,
        what: Spread,
        columns: &Columns,
        batch: &Batch<'_>,
    ) -> Option<Vec<u32>> {
        let mut amounts = [&Values::Nothing; 3];
        for of in &columns.amounts {
            if of.measure != Measure::Days {
                amounts[of.measure.index()] = &batch.values[of.index];
            }
        }
        let sound = self.read(log, what, columns, batch, amounts)?;
        let are_plain = columns.extra.is_empty()
            && sound == [Sound::Plain; 3]
            && !has(&self.machines.numbers, NONE)
            && !has(&self.products.numbers, NONE)
            && !has(&self.days, 0);
        Some(if are_plain {
            self.give(log, batch.first);
            Vec::new()
        } else {
            self.give_each(log, columns, batch, amounts)
        })
    }

    /// Makes numbers of all columns.
    fn read(
        &mut self,
        log: &mut LogCheck,
        what: Spread,
        columns: &Columns,
        batch: &Batch<'_>,
        amounts: [&Values; 3],
    ) -> Option<[Sound; 3]> {
        let height = batch.height;
        let column = |name: &str| columns.index(name).map(|i| &batch.values[i]);
        let (of_days, of_machines) = (column("date")?, column("machine")?);
        let of_products = column(what.column())?;
        let of_bins = column("bin").unwrap_or(&Values::Nothing);
        let (mut sound, mut has_days) = ([None; 3], None);
        rayon::in_place_scope(|scope| {
            let codes = self.codes.iter_mut().zip(&mut sound);
            for (values, (codes, sound)) in amounts.iter().zip(codes) {
                scope.spawn(move |_| *sound = numeric(values, height, codes));
            }
            scope.spawn(|_| self.machines.look_up(of_machines));
            scope.spawn(|_| self.products.look_up(of_products));
            self.bins.look_up(of_bins);
            has_days = days(of_days, height, &mut self.days);
        });
        has_days?;
        // The log keeps the account of names, one after the other.
        self.machines
            .rest(of_machines, height, |name| log.machine(name))?;
        self.products
            .rest(of_products, height, |name| what.number(log, name))?;
        self.bins.rest(of_bins, height, |name| log.bin(name))?;
        let [acres, tons, hours] = sound;
        Some([acres?, tons?, hours?])
    }

    /// Gives the log the rows of a batch that are plain, all of them.
    fn give(&mut self, log: &mut LogCheck, first: u32) {
        self.of_rows.clear();
        for i in 0..self.days.len() {
            let pair = self.pair(log, self.bins.numbers[i], self.products.numbers[i]);
            self.of_rows.push(pair);
        }
        let rows = UseColumns {
            days: &self.days,
            pairs: &self.of_rows,
            rows: &[],
            codes: self.codes.each_ref().map(Vec::as_slice),
        };
        log.plain_rows(first, &self.machines.numbers, &rows);
    }

    /// Gives the log the rows of a batch that are sound; the places of the others.
    fn give_each(
        &mut self,
        log: &mut LogCheck,
        columns: &Columns,
        batch: &Batch<'_>,
        amounts: [&Values; 3],
    ) -> Vec<u32> {
        let mut left = Vec::new();
        for i in 0..batch.height {
            let (day, machine) = (self.days[i], self.machines.numbers[i]);
            let (bin, product) = (self.bins.numbers[i], self.products.numbers[i]);
            let codes = self.codes.each_ref().map(|codes| codes[i]);
            if day == 0 || machine == NONE || product == NONE || codes.contains(&WRONG) {
                left.push(i as u32);
                continue;
            }
            let what = (machine, self.pair(log, bin, product));
            let row = batch.first + i as u32;
            if columns.extra.is_empty() && !codes.contains(&OTHER) {
                log.plain_row(row, day, what, codes);
            } else {
                let mark = mark(columns, |column| batch.values[column].cell(i));
                let amounts = amounts.map(|values| amount(values, i));
                log.row(row, day, what, amounts, mark);
            }
        }
        left
    }

    #[inline]
    fn pair(&mut self, log: &mut LogCheck, bin: u32, product: u32) -> u32 {
        // One more than none is zero.
        let of_bin = self.pairs.get(bin.wrapping_add(1) as usize);
        match of_bin.and_then(|pairs| pairs.get(product as usize)) {
            Some(pair) if *pair != NONE => *pair,
            _ => self.new_pair(log, bin, product),
        }
    }

    #[cold]
    fn new_pair(&mut self, log: &mut LogCheck, bin: u32, product: u32) -> u32 {
        let pair = log.pair((bin != NONE).then_some(bin), product);
        let (of, at) = (bin.wrapping_add(1) as usize, product as usize);
        if of.max(at) < MOST {
            let bins = self.pairs.len().max(of + 1);
            self.pairs.resize(bins, [NONE; MOST]);
            self.pairs[of][at] = pair;
        }
        pair
    }
}

/// Whether some number is the one; most often none is, and then several are looked at at a time.
fn has(numbers: &[u32], one: u32) -> bool {
    0 < numbers.iter().filter(|number| **number == one).count()
}

/// Days counted from the first of the common era; 0 for what is none.
fn days(values: &Values, height: usize, days: &mut Vec<u32>) -> Option<()> {
    let checked = |day: u32| if DAYS.contains(&day) { day } else { 0 };
    days.clear();
    match values {
        // What is beyond all numbers of four bytes comes round to where no day is.
        Values::Day(values) => each(values, days, 0, |day| {
            checked(day.wrapping_add(EPOCH).cast_unsigned())
        }),
        Values::Moment(moments, unit) => {
            let a_day = in_a_day(*unit);
            each(moments, days, 0, |m| {
                let day = m.div_euclid(a_day) + i64::from(EPOCH);
                let is_whole = m.rem_euclid(a_day) == 0;
                u32::try_from(day).map_or(0, |day| if is_whole { checked(day) } else { 0 })
            });
        }
        Values::Nothing => days.resize(height, 0),
        Values::Listed(column) => {
            let mut listed = Vec::with_capacity(column.count() + 1);
            self::days(column.list(), column.count(), &mut listed)?;
            listed.push(0);
            column.each(&listed, days);
        }
        _ => return None,
    }
    Some(())
}

/// What `f` makes of every value of a column, and `none` where there is no value.
fn each<T: PolarsNumericType>(
    values: &ChunkedArray<T>,
    to: &mut Vec<u32>,
    none: u32,
    f: impl Fn(T::Native) -> u32,
) {
    match values.cont_slice() {
        Ok(values) => to.extend(values.iter().map(|v| f(*v))),
        Err(_) => to.extend(values.iter().map(|v| v.map_or(none, &f))),
    }
}

impl Named {
    /// Numbers of the names in a column of text that are known, and [`NEW`] for all others.
    fn look_up(&mut self, values: &Values) {
        let known = &self.known;
        let number = |text: Option<&str>| match text {
            Some(text) => known.get(text).copied().unwrap_or(NEW),
            None => NONE,
        };
        self.numbers.clear();
        match values {
            Values::Text(texts) => self.numbers.extend(texts.iter().map(number)),
            Values::Listed(column) => {
                // A list of numbers is left to the cells, as a column of numbers is.
                if let Values::Text(texts) = column.list() {
                    if self.listed.is_empty() || !texts.iter().eq(self.list.iter()) {
                        self.listed.clear();
                        self.listed.extend(texts.iter().map(number));
                        self.listed.push(NONE);
                        self.list = texts.clone();
                    }
                    column.each(&self.listed, &mut self.numbers);
                }
            }
            _ => {}
        }
    }

    /// Numbers of the names that were not known.
    fn rest(
        &mut self,
        values: &Values,
        height: usize,
        mut number: impl FnMut(&str) -> u32,
    ) -> Option<()> {
        let Self {
            known,
            listed,
            numbers,
            ..
        } = self;
        let mut named = |text: &str| {
            *known
                .entry(text.into())
                .or_insert_with(|| match Cell::text(text) {
                    Cell::Text(name) => number(&name),
                    _ => NONE,
                })
        };
        match values {
            Values::Nothing => numbers.resize(height, NONE),
            Values::Constant(text) => numbers.resize(height, named(text)),
            Values::Text(_) if !has(numbers, NEW) => {}
            Values::Text(texts) => {
                for (text, number) in texts.iter().zip(numbers) {
                    if let (Some(text), NEW) = (text, *number) {
                        *number = named(text);
                    }
                }
            }
            Values::Listed(column) => {
                let Values::Text(texts) = column.list() else {
                    return None;
                };
                if !has(numbers, NEW) {
                    return Some(());
                }
                // Texts of the list that no row has are not named.
                for (place, number) in column.places().iter().zip(numbers) {
                    if *number == NEW {
                        let place = *place as usize;
                        if listed[place] == NEW {
                            listed[place] = texts.get(place).map_or(NONE, &mut named);
                        }
                        *number = listed[place];
                    }
                }
            }
            _ => return None,
        }
        Some(())
    }
}

/// Whether amounts of a column are codes of thousandths, all of them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Sound {
    Plain,
    InPart,
}

/// Codes of thousandths, or [`OTHER`] for what they do not hold, or [`WRONG`].
fn numeric(values: &Values, height: usize, codes: &mut Vec<u32>) -> Option<Sound> {
    if let Values::Number(values) = values
        && let Ok(values) = values.cont_slice()
    {
        codes.resize(height, 0);
        if plain_thousandths(values, codes) {
            return Some(Sound::Plain);
        }
    }
    codes.clear();
    match values {
        Values::Listed(column) => {
            let mut listed = Vec::with_capacity(column.count() + 1);
            let sound = numeric(column.list(), column.count(), &mut listed)?;
            listed.push(NONE);
            column.each(&listed, codes);
            if sound == Sound::Plain {
                return Some(sound);
            }
        }
        Values::Number(values) => each(values, codes, NONE, code),
        // Larger ones are not exact, and above the largest amount in any case.
        Values::Whole(values) => each(values, codes, NONE, |v| code(v as f64)),
        Values::Nothing => codes.resize(height, NONE),
        _ => return None,
    }
    let is_plain = codes.iter().all(|code| *code < WRONG || *code == NONE);
    Some(if is_plain {
        Sound::Plain
    } else {
        Sound::InPart
    })
}

fn code(value: f64) -> u32 {
    if (0.0..=LARGEST).contains(&value) {
        thousandths(value).unwrap_or(OTHER)
    } else {
        WRONG
    }
}

/// An amount of a column of amounts; NaN where there is none.
fn amount(values: &Values, index: usize) -> f64 {
    match values.cell(index) {
        Cell::Number(value) => value,
        _ => f64::NAN,
    }
}
