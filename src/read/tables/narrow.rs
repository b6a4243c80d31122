//! The usage log of a typed file, column by column: names become numbers once for many rows, and
//! rows that are plainly sound never become cells.
//!
//! What is plainly sound is told by the rules of [`crate::read::cell`]; every other row is left to
//! them, so that there is one place that says what is wrong with a row.

use std::collections::HashMap;
use std::hash::{BuildHasherDefault, Hasher};

use polars_core::prelude::{ChunkedArray, PolarsNumericType};

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

/// Numbers by the sixteen bytes that stand for a text in a column.
type Memo = HashMap<u128, u32, BuildHasherDefault<Fold>>;

/// Folds a product of 64 bits by 64 bits; keys are texts of a few bytes, and few.
#[derive(Default)]
pub(super) struct Fold(u64);

impl Hasher for Fold {
    fn write(&mut self, bytes: &[u8]) {
        for byte in bytes {
            self.write_u128(u128::from(*byte));
        }
    }

    fn write_u128(&mut self, value: u128) {
        let word = self.0 ^ (value as u64) ^ ((value >> 64) as u64).rotate_left(29);
        let product = u128::from(word) * 0x9e37_79b9_7f4a_7c15;
        self.0 = (product as u64) ^ ((product >> 64) as u64);
    }

    fn finish(&self) -> u64 {
        self.0
    }
}

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
    memo: Memo,
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
            scope.spawn(|_| self.machines.known(of_machines));
            scope.spawn(|_| self.products.known(of_products));
            self.bins.known(of_bins);
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
    let from_epoch = |days: i64| {
        u32::try_from(days + i64::from(EPOCH))
            .ok()
            .filter(|day| DAYS.contains(day))
            .unwrap_or(0)
    };
    days.clear();
    match values {
        Values::Day(values) => each(values, days, 0, |day| from_epoch(day.into())),
        Values::Moment(moments, unit) => {
            let a_day = in_a_day(*unit);
            each(moments, days, 0, |m| {
                if m.rem_euclid(a_day) == 0 {
                    from_epoch(m.div_euclid(a_day))
                } else {
                    0
                }
            });
        }
        Values::Nothing => days.resize(height, 0),
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
    /// Numbers of the names in a column of text that are known, and [`NEW`] for all others. Longer
    /// texts are known by where they lie, which holds for one array only: they are all new.
    fn known(&mut self, values: &Values) {
        let Self { memo, numbers } = self;
        numbers.clear();
        let Values::Text(text) = values else { return };
        let has_gaps = text.has_nulls();
        for array in text.downcast_iter() {
            let number = |key: u128| memo.get(&key).copied().unwrap_or(NEW);
            let keys = array.views().iter().map(|view| view.as_u128());
            if has_gaps {
                let are_there = array.iter().map(|text| text.is_some());
                let each = keys.zip(are_there);
                numbers.extend(each.map(|(key, is)| if is { number(key) } else { NONE }));
            } else {
                numbers.extend(keys.map(number));
            }
        }
    }

    /// Numbers of the names that were not known.
    fn rest(
        &mut self,
        values: &Values,
        height: usize,
        mut number: impl FnMut(&str) -> u32,
    ) -> Option<()> {
        let mut named = |text: &str| match Cell::text(text) {
            Cell::Text(name) => number(&name),
            _ => NONE,
        };
        let text = match values {
            Values::Text(text) => text,
            Values::Nothing => {
                self.numbers.resize(height, NONE);
                return Some(());
            }
            Values::Constant(text) => {
                self.numbers.resize(height, named(text));
                return Some(());
            }
            _ => return None,
        };
        if !has(&self.numbers, NEW) {
            return Some(());
        }
        let mut numbers = self.numbers.iter_mut();
        for array in text.downcast_iter() {
            let mut long = Memo::default();
            for (i, (view, number)) in array.views().iter().zip(&mut numbers).enumerate() {
                if *number == NEW {
                    let is_short = view.is_inline();
                    let memo = if is_short { &mut self.memo } else { &mut long };
                    let of_name = memo
                        .entry(view.as_u128())
                        .or_insert_with(|| named(array.value(i)));
                    *number = *of_name;
                }
            }
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
