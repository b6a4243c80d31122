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
use crate::record::usage::{plain_thousandths, thousandths};
use crate::units::Measure;

use super::usage::{Spread, mark};

/// A name that is missing or blank.
const NONE: u32 = u32::MAX;
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
    pairs: Vec<Vec<u32>>,
    days: Vec<u32>,
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
        let height = batch.height;
        let mut amounts = [&Values::Nothing; 3];
        for of in &columns.amounts {
            if of.measure != Measure::Days {
                amounts[of.measure.index()] = &batch.values[of.index];
            }
        }
        let mut sound = [None; 3];
        // Amounts are gone through while others see to names, of which the log keeps the account.
        rayon::in_place_scope(|scope| {
            let codes = self.codes.iter_mut().zip(&mut sound);
            for (values, (codes, sound)) in amounts.iter().zip(codes) {
                scope.spawn(move |_| *sound = numeric(values, height, codes));
            }
            let column = |name: &str| columns.index(name).map(|i| &batch.values[i]);
            days(column("date")?, height, &mut self.days)?;
            self.machines
                .read(column("machine")?, height, |name| log.machine(name))?;
            self.products.read(column(what.column())?, height, |name| {
                what.number(log, name)
            })?;
            let bins = column("bin").unwrap_or(&Values::Nothing);
            self.bins.read(bins, height, |name| log.bin(name))
        })?;
        sound.into_iter().collect::<Option<()>>()?;
        let mut left = Vec::new();
        for i in 0..height {
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
                log.row(
                    row,
                    day,
                    what,
                    amounts.map(|values| amount(values, i)),
                    mark,
                );
            }
        }
        Some(left)
    }

    fn pair(&mut self, log: &mut LogCheck, bin: u32, product: u32) -> u32 {
        // One more than none is zero.
        let (of, at) = (bin.wrapping_add(1) as usize, product as usize);
        if let Some(pair) = self.pairs.get(of).and_then(|pairs| pairs.get(at))
            && *pair != NONE
        {
            return *pair;
        }
        let pair = log.pair((bin != NONE).then_some(bin), product);
        if MOST <= of.max(at) {
            return pair;
        }
        self.pairs.resize(self.pairs.len().max(of + 1), Vec::new());
        let pairs = &mut self.pairs[of];
        pairs.resize(pairs.len().max(at + 1), NONE);
        pairs[at] = pair;
        pair
    }
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
    /// Numbers of the names in a column of text.
    fn read(
        &mut self,
        values: &Values,
        height: usize,
        mut number: impl FnMut(&str) -> u32,
    ) -> Option<()> {
        let mut named = |text: &str| match Cell::text(text) {
            Cell::Text(name) => number(&name),
            _ => NONE,
        };
        self.numbers.clear();
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
        let has_gaps = text.has_nulls();
        // Longer texts are known by where they lie, which holds for one array only.
        let mut long = Memo::default();
        for array in text.downcast_iter() {
            long.clear();
            for (i, view) in array.views().iter().enumerate() {
                if has_gaps && array.get(i).is_none() {
                    self.numbers.push(NONE);
                    continue;
                }
                let memo = if view.is_inline() {
                    &mut self.memo
                } else {
                    &mut long
                };
                let of_name = memo
                    .entry(view.as_u128())
                    .or_insert_with(|| named(array.value(i)));
                self.numbers.push(*of_name);
            }
        }
        Some(())
    }
}

/// Codes of thousandths, or [`OTHER`] for what they do not hold, or [`WRONG`].
fn numeric(values: &Values, height: usize, codes: &mut Vec<u32>) -> Option<()> {
    codes.clear();
    match values {
        Values::Number(values) => match values.cont_slice() {
            Ok(values) => plain_or_not(values, codes),
            Err(_) => each(values, codes, NONE, code),
        },
        // Larger ones are not exact, and above the largest amount in any case.
        Values::Whole(values) => each(values, codes, NONE, |v| code(v as f64)),
        Values::Nothing => codes.resize(height, NONE),
        _ => return None,
    }
    Some(())
}

fn code(value: f64) -> u32 {
    if (0.0..=LARGEST).contains(&value) {
        thousandths(value).unwrap_or(OTHER)
    } else {
        WRONG
    }
}

/// Codes of many values, most often thousandths all of them: then without a branch.
fn plain_or_not(values: &[f64], codes: &mut Vec<u32>) {
    let mut all_plain = true;
    codes.extend(values.iter().map(|value| {
        let (code, is_plain) = plain_thousandths(*value);
        all_plain &= is_plain;
        code
    }));
    if !all_plain {
        for (code_of, value) in codes.iter_mut().zip(values) {
            *code_of = code(*value);
        }
    }
}

/// An amount of a column of amounts; NaN where there is none.
fn amount(values: &Values, index: usize) -> f64 {
    match values.cell(index) {
        Cell::Number(value) => value,
        _ => f64::NAN,
    }
}
