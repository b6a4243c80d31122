//! The usage log of a typed file, column by column: names become numbers once for many rows, and
//! rows that are plainly sound never become cells.
//!
//! What is plainly sound is told by the rules of [`crate::read::cell`]; every other row is left to
//! them, so that there is one place that says what is wrong with a row.

use std::collections::HashMap;
use std::hash::{BuildHasherDefault, Hasher};

use crate::read::cell::{Cell, DAYS, LARGEST};
use crate::read::header::Columns;
use crate::read::parquet::{Batch, EPOCH, Values, in_a_day};
use crate::record::check::LogCheck;
use crate::units::Measure;

use super::usage::{Spread, mark};

/// A name that is missing or blank.
const NONE: u32 = u32::MAX;
/// An amount that is wrong; one that is not recorded is NaN.
const WRONG: f64 = -1.0;

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

/// Numbers of names, kept from batch to batch.
#[derive(Default)]
pub(super) struct Narrow {
    machines: Memo,
    products: Memo,
    bins: Memo,
    pairs: Memo,
    /// Rows machine by machine, as what is known of a machine then stays at hand.
    sorted: Vec<Sound>,
}

/// A row that is plainly sound.
#[derive(Clone, Copy, Default)]
struct Sound {
    /// Its place in the batch.
    index: u32,
    day: u32,
    machine: u32,
    pair: u32,
    amounts: [f64; 3],
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
        let column = |name: &str| columns.index(name).map(|i| &batch.values[i]);
        let days = days(column("date")?, batch.height)?;
        let machines = numbers(
            column("machine")?,
            batch.height,
            &mut self.machines,
            &mut |name| log.machine(name),
        )?;
        let products = numbers(
            column(what.column())?,
            batch.height,
            &mut self.products,
            &mut |name| what.number(log, name),
        )?;
        let bins = match column("bin") {
            Some(bins) => Some(numbers(bins, batch.height, &mut self.bins, &mut |name| {
                log.bin(name)
            })?),
            None => None,
        };
        let mut amounts: [Option<Vec<f64>>; 3] = Default::default();
        for of in columns
            .amounts
            .iter()
            .filter(|a| a.measure != Measure::Days)
        {
            amounts[of.measure.index()] = Some(numeric(&batch.values[of.index], batch.height)?);
        }
        let amount =
            |measure: usize, i: usize| amounts[measure].as_ref().map_or(f64::NAN, |a| a[i]);
        let amounts = |i: usize| [amount(0, i), amount(1, i), amount(2, i)];
        let is_sound =
            |i: usize| days[i] != 0 && products[i] != NONE && !amounts(i).iter().any(|a| *a < 0.0);
        let (mut next, left) = places(&machines, is_sound);
        self.sorted.clear();
        self.sorted
            .resize(batch.height - left.len(), Sound::default());
        let mut bad = left.iter().copied().peekable();
        for (i, machine) in (0..).zip(&machines) {
            if bad.next_if_eq(&i).is_some() {
                continue;
            }
            let at = i as usize;
            let bin = bins.as_ref().map(|b| b[at]).filter(|b| *b != NONE);
            let key = u128::from(products[at]) << 64 | bin.map_or(0, |b| 1 + u128::from(b));
            let pair = *self
                .pairs
                .entry(key)
                .or_insert_with(|| log.pair(bin, products[at]));
            let place = &mut next[*machine as usize];
            self.sorted[*place as usize] = Sound {
                index: i,
                day: days[at],
                machine: *machine,
                pair,
                amounts: amounts(at),
            };
            *place += 1;
        }
        for sound in &self.sorted {
            let index = sound.index as usize;
            let mark = mark(columns, |column| batch.values[column].cell(index));
            let what = (sound.machine, sound.pair);
            log.row(
                batch.first + sound.index,
                sound.day,
                what,
                sound.amounts,
                mark,
            );
        }
        Some(left)
    }
}

/// For each machine where its first row goes, in an order machine by machine; and the places of
/// rows that have no machine or are not sound.
fn places(machines: &[u32], is_sound: impl Fn(usize) -> bool) -> (Vec<u32>, Vec<u32>) {
    let mut left = Vec::new();
    let mut next: Vec<u32> = Vec::new();
    for (i, machine) in machines.iter().enumerate() {
        if *machine == NONE || !is_sound(i) {
            left.push(i as u32);
            continue;
        }
        let machine = *machine as usize;
        if next.len() <= machine {
            next.resize(machine + 1, 0);
        }
        next[machine] += 1;
    }
    let mut sum = 0;
    for count in &mut next {
        sum += std::mem::replace(count, sum);
    }
    (next, left)
}

/// Days counted from the first of the common era; 0 for what is none.
fn days(values: &Values, height: usize) -> Option<Vec<u32>> {
    let from_epoch = |days: i64| {
        u32::try_from(days + i64::from(EPOCH))
            .ok()
            .filter(|day| DAYS.contains(day))
            .unwrap_or(0)
    };
    Some(match values {
        Values::Day(days) => days
            .iter()
            .map(|day| day.map_or(0, |d| from_epoch(d.into())))
            .collect(),
        Values::Moment(moments, unit) => {
            let a_day = in_a_day(*unit);
            let day = |m: i64| {
                if m.rem_euclid(a_day) == 0 {
                    from_epoch(m.div_euclid(a_day))
                } else {
                    0
                }
            };
            moments.iter().map(|m| m.map_or(0, day)).collect()
        }
        Values::Nothing => vec![0; height],
        _ => return None,
    })
}

/// Numbers of the names in a column of text.
fn numbers(
    values: &Values,
    height: usize,
    memo: &mut Memo,
    number: &mut dyn FnMut(&str) -> u32,
) -> Option<Vec<u32>> {
    let text = match values {
        Values::Text(text) => text,
        Values::Nothing => return Some(vec![NONE; height]),
        Values::Constant(text) => {
            let name = match Cell::text(text) {
                Cell::Text(name) => number(&name),
                _ => NONE,
            };
            return Some(vec![name; height]);
        }
        _ => return None,
    };
    let mut named = |text: &str| match Cell::text(text) {
        Cell::Text(name) => number(&name),
        _ => NONE,
    };
    let mut numbers = Vec::with_capacity(height);
    let has_gaps = text.has_nulls();
    // Longer texts are known by where they lie, which holds for one array only.
    let mut long = Memo::default();
    for array in text.downcast_iter() {
        long.clear();
        for (i, view) in array.views().iter().enumerate() {
            if has_gaps && array.get(i).is_none() {
                numbers.push(NONE);
                continue;
            }
            let memo = if view.is_inline() {
                &mut *memo
            } else {
                &mut long
            };
            let of_name = memo
                .entry(view.as_u128())
                .or_insert_with(|| named(array.value(i)));
            numbers.push(*of_name);
        }
    }
    Some(numbers)
}

/// Amounts: NaN where none is, [`WRONG`] for what no amount can be.
fn numeric(values: &Values, height: usize) -> Option<Vec<f64>> {
    let sound = |value: f64| {
        if (0.0..=LARGEST).contains(&value) {
            value
        } else {
            WRONG
        }
    };
    let whole = |value: i64| {
        // Larger ones are not exact, and above the largest amount in any case.
        sound(value as f64)
    };
    Some(match values {
        Values::Number(values) => values.iter().map(|v| v.map_or(f64::NAN, sound)).collect(),
        Values::Whole(values) => values.iter().map(|v| v.map_or(f64::NAN, whole)).collect(),
        Values::Nothing => vec![f64::NAN; height],
        _ => return None,
    })
}
