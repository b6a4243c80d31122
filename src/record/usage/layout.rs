//! Rows of use in words of 64 bits: every number takes the bits that the largest of its kind needs,
//! so that most rows are one word.

#![expect(
    clippy::inline_always,
    reason = "what is not inlined into a loop is not worked on several numbers at a time"
)]

use super::amount::UNKNOWN;
use super::store::DayCell;
use super::table::{NUMBERS, Table, UseColumns};
use crate::registers::widest;

/// Most words of a row: any two numbers have room in one.
const MOST: usize = NUMBERS / 2;
/// Values that are looked at before it is asked whether to go on.
const RUN: usize = 1024;

/// What a column needs: where its steps begin, or of what its amounts are multiples, and the
/// largest number that is to be kept.
#[derive(Clone, Copy, Debug, Default)]
struct Need {
    of: u32,
    most: u32,
}

impl Need {
    #[inline(always)]
    fn steps(column: &[u32]) -> Self {
        let (low, high) = column
            .iter()
            .fold((u32::MAX, 0), |(l, h), n| (l.min(*n), h.max(*n)));
        Self {
            of: if column.is_empty() { 0 } else { low },
            most: high.saturating_sub(low),
        }
    }

    /// Logs are mostly written to a tenth or to whole units.
    #[inline(always)]
    fn amounts(codes: &[u32]) -> Self {
        let scale = [1_000, 100, 10].into_iter().find(|scale| match scale {
            1_000 => are_multiples::<1_000>(codes),
            100 => are_multiples::<100>(codes),
            _ => are_multiples::<10>(codes),
        });
        let of = scale.unwrap_or(1);
        let most = codes.iter().fold(0, |most, c| most.max(c.wrapping_add(1)));
        Self {
            of,
            most: most.checked_sub(1).map_or(0, |code| code / of + 1),
        }
    }

    fn of_column(index: usize, column: &[u32]) -> Self {
        widest(
            #[inline(always)]
            || {
                if index < 3 {
                    Self::steps(column)
                } else {
                    Self::amounts(column)
                }
            },
        )
    }
}

/// Whether all codes that are recorded are multiples.
#[inline(always)]
fn are_multiples<const OF: u32>(codes: &[u32]) -> bool {
    codes.chunks(RUN).all(|run| {
        let is_one = |code: u32| (code == UNKNOWN) | code.is_multiple_of(OF);
        run.iter().fold(true, |all, code| all & is_one(*code))
    })
}

/// Where a number lies in the words of a row.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct Place {
    word: usize,
    shift: u32,
    mask: u32,
}

/// Where the numbers of some rows lie: days, pairs and rows as steps from the lowest, codes as
/// multiples of a power of ten with one added, as zero stands for what is not recorded.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Layout {
    words: usize,
    places: [Place; NUMBERS],
    lows: [u32; 3],
    scales: [u32; 3],
}

impl Layout {
    /// The layout that holds some rows.
    pub(super) fn new(columns: &UseColumns<'_>) -> Self {
        let all = columns.all();
        Self::of(std::array::from_fn(|i| Need::of_column(i, all[i])))
    }

    fn of(needs: [Need; NUMBERS]) -> Self {
        let mut used = [0; MOST];
        let places = needs.map(|need| {
            let width = u32::BITS - need.most.leading_zeros();
            let has_room = |used: &u32| used + width <= u64::BITS;
            let word = used.iter().position(has_room).unwrap_or(MOST - 1);
            // Nothing may be said to lie at the end of a word, but is not looked for behind it.
            let shift = used[word].min(u64::BITS - 1);
            used[word] += width;
            Place {
                word,
                shift,
                mask: u32::MAX.checked_shr(u32::BITS - width).unwrap_or(0),
            }
        });
        let [days, pairs, rows, a, b, c] = needs.map(|need| need.of);
        Self {
            words: used.iter().filter(|used| 0 < **used).count().max(1),
            places,
            lows: [days, pairs, rows],
            scales: [a, b, c],
        }
    }

    /// Words of a row.
    pub(super) fn words(&self) -> usize {
        self.words
    }

    /// One of the words of every row.
    pub(super) fn pack(&self, word: usize, columns: &UseColumns<'_>, to: &mut [u64]) {
        widest(
            #[inline(always)]
            || self.pack_word(word, columns, to),
        );
    }

    #[inline(always)]
    fn pack_word(&self, word: usize, columns: &UseColumns<'_>, to: &mut [u64]) {
        to.fill(0);
        for (i, (place, column)) in self.places.iter().zip(columns.all()).enumerate() {
            if place.word != word || place.mask == 0 {
                continue;
            }
            match (i, self.scales[i.saturating_sub(3)]) {
                (..3, _) => {
                    let low = self.lows[i];
                    place.put(column, to, |n| n.wrapping_sub(low));
                }
                (_, 1_000) => place.put(column, to, multiple::<1_000>),
                (_, 100) => place.put(column, to, multiple::<100>),
                (_, 10) => place.put(column, to, multiple::<10>),
                _ => place.put(column, to, multiple::<1>),
            }
        }
    }

    /// Puts rows into a table from place `at` on, steps only where it has room for them; `words` are
    /// those of each row after those of the row before.
    pub(super) fn unpack(&self, words: &[u64], to: &mut Table, at: usize) {
        let rows = at..at + words.len() / self.words;
        widest(
            #[inline(always)]
            || {
                let steps = [&mut to.days, &mut to.pairs, &mut to.rows];
                for (i, column) in steps.into_iter().enumerate() {
                    let low = self.lows[i];
                    let column = column.get_mut(rows.clone()).unwrap_or_default();
                    self.column(i, words, column, |n| n.wrapping_add(low));
                }
                for (i, column) in to.codes.iter_mut().enumerate() {
                    let scale = self.scales[i];
                    self.column(3 + i, words, &mut column[rows.clone()], |n| code(n, scale));
                }
            },
        );
    }

    #[inline(always)]
    fn column(&self, i: usize, words: &[u64], to: &mut [u32], f: impl Fn(u32) -> u32) {
        let place = self.places[i];
        if self.words == 1 {
            // Without a step from row to row several are done at once.
            for (to, word) in to.iter_mut().zip(words) {
                *to = f(place.of(*word));
            }
        } else {
            for (to, row) in to.iter_mut().zip(words.chunks_exact(self.words)) {
                *to = f(place.of(row[place.word]));
            }
        }
    }

    /// The day, pair and codes of a row.
    #[inline]
    pub(super) fn sum(&self, row: &[u64]) -> DayCell {
        let number = |i: usize| self.places[i].of(row[self.places[i].word]);
        let code = |i: usize| code(number(3 + i), self.scales[i]);
        DayCell {
            day: self.lows[0] + number(0),
            pair: self.lows[1] + number(1),
            codes: [code(0), code(1), code(2)],
        }
    }
}

impl Place {
    #[inline(always)]
    fn put(self, column: &[u32], to: &mut [u64], f: impl Fn(u32) -> u32) {
        for (to, number) in to.iter_mut().zip(column) {
            *to |= u64::from(f(*number)) << self.shift;
        }
    }

    #[inline(always)]
    fn of(self, word: u64) -> u32 {
        (word >> self.shift) as u32 & self.mask
    }
}

/// A code as it is kept.
#[inline(always)]
fn multiple<const OF: u32>(code: u32) -> u32 {
    if code == UNKNOWN { 0 } else { code / OF + 1 }
}

/// The code that is kept as a number.
#[inline(always)]
fn code(kept: u32, scale: u32) -> u32 {
    if kept == 0 {
        UNKNOWN
    } else {
        (kept - 1).wrapping_mul(scale)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rows through words and back.
    fn back(columns: UseColumns<'_>) -> (usize, Table) {
        let layout = Layout::new(&columns);
        let (rows, words) = (columns.days.len(), layout.words());
        let mut packed = vec![0; rows * words];
        let mut plane = vec![0; rows];
        for word in 0..words {
            layout.pack(word, &columns, &mut plane);
            for (row, value) in plane.iter().enumerate() {
                packed[row * words + word] = *value;
            }
        }
        let mut table = Table::default();
        table.resize(rows);
        layout.unpack(&packed, &mut table, 0);
        for (i, row) in packed.chunks_exact(words).enumerate() {
            let sum = layout.sum(row);
            assert_eq!((sum.day, sum.pair), (table.days[i], table.pairs[i]));
            assert_eq!(sum.codes, table.codes(i));
        }
        (words, table)
    }

    #[test]
    fn rows_of_a_log_are_one_word() {
        let rows: Vec<u32> = (1_000_000..1_000_999).collect();
        let days: Vec<u32> = rows.iter().map(|r| 737_000 + r % 365).collect();
        let pairs: Vec<u32> = rows.iter().map(|r| r % 12).collect();
        let tenths: Vec<u32> = rows.iter().map(|r| r % 3_000 * 100).collect();
        let halves: Vec<u32> = rows.iter().map(|r| r % 20 * 500).collect();
        let mut gaps = tenths.clone();
        gaps[7] = UNKNOWN;
        let columns = UseColumns {
            days: &days,
            pairs: &pairs,
            rows: &rows,
            codes: [&tenths, &gaps, &halves],
        };
        let (words, table) = back(columns);
        assert_eq!(words, 1);
        let of_table = table.columns().all();
        assert_eq!(of_table, columns.all());
    }

    /// Every width, up to numbers that take all the bits there are.
    #[test]
    fn rows_of_any_numbers_come_back() {
        let spread = |i: u32, bits: u32| i.wrapping_mul(2_654_435_761) >> (u32::BITS - bits);
        for bits in 1..=u32::BITS {
            let column = |seed: u32| -> Vec<u32> {
                let mut numbers: Vec<u32> = (0..300).map(|i| spread(i + seed, bits)).collect();
                numbers.extend([0, u32::MAX >> (u32::BITS - bits)]);
                numbers
            };
            let made: Vec<Vec<u32>> = (0..6).map(column).collect();
            let columns = UseColumns {
                days: &made[0],
                pairs: &made[1],
                rows: &made[2],
                codes: [&made[3], &made[4], &made[5]],
            };
            let (words, table) = back(columns);
            assert!(words <= MOST, "{words} words of {bits} bits");
            let of_table = table.columns().all();
            assert_eq!(of_table, columns.all(), "{bits} bits");
        }
    }

    #[test]
    fn columns_that_say_nothing_take_no_room() {
        let unknown = [UNKNOWN; 3];
        let columns = UseColumns {
            days: &[5; 3],
            pairs: &[9; 3],
            rows: &[],
            codes: [&unknown; 3],
        };
        let layout = Layout::new(&columns);
        let mut words = [7; 3];
        layout.pack(0, &columns, &mut words);
        assert_eq!((layout.words(), words), (1, [0; 3]));
        let sum = DayCell {
            day: 5,
            pair: 9,
            codes: unknown,
        };
        assert_eq!(layout.sum(&words[..1]), sum);
    }
}
