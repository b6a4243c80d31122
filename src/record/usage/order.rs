//! The order of rows of one machine: by day, then bin and product, then their own numbers.

use std::ops::Range;

use super::table::Table;
use crate::registers::widest;

/// Days and pairs for which there may be a count each: so many for every row, and a few more.
const PER_ROW: usize = 4;
const MORE: usize = 256;

/// Most rows of one day that are held against each other.
const MOST: usize = 32;

/// Rows that are held against their neighbours together, few enough for the memory nearest by.
const RUN: usize = 1 << 9;

/// Room to bring rows in order.
#[derive(Debug, Default)]
pub(super) struct Order {
    before: Vec<u32>,
    places: Vec<u32>,
    /// By row in order: its day, and its pair.
    keys: Vec<u64>,
    /// The same by row as it came.
    came: Vec<u64>,
    counts: Vec<u32>,
}

/// A day and a pair as one number.
fn key(rows: &Table, row: usize) -> u64 {
    u64::from(rows.days[row]) << u32::BITS | u64::from(rows.pairs[row])
}

impl Order {
    /// Brings rows in order.
    pub(super) fn sort(&mut self, rows: &Table) {
        let count = u32::try_from(rows.days.len()).expect("fewer than 2^32 rows a machine");
        let came_in_order = rows.rows.is_sorted();
        if came_in_order && rows.days.is_sorted() && are_all_days_of(MOST, &rows.days) {
            self.rank(rows);
            return;
        }
        let most = rows.days.len() * PER_ROW + MORE;
        let columns = [&rows.pairs, &rows.days].map(|numbers| (numbers, span(numbers)));
        if came_in_order && columns.iter().all(|(_, (_, span))| *span < most) {
            // By pair and then by day, which takes no comparison that might go either way.
            let [(pairs, of_pairs), (days, of_days)] = columns;
            self.count(pairs, of_pairs, 0..count);
            let by_pair = std::mem::take(&mut self.places);
            std::mem::swap(&mut self.places, &mut self.before);
            self.count(days, of_days, by_pair.iter().copied());
            self.before = by_pair;
        } else {
            self.places.clear();
            self.places.extend(0..count);
            self.places
                .sort_unstable_by_key(|i| (key(rows, *i as usize), rows.rows[*i as usize]));
        }
        self.keys.clear();
        let places = self.places.iter();
        self.keys.extend(places.map(|i| key(rows, *i as usize)));
    }

    /// Puts each row of a log that lies in the order of days, few of each, in its place.
    ///
    /// A row moves back by a place for every later row with a lower key, and forward by one for every
    /// earlier row with a higher key. None of these is farther than the rows of its day, and which
    /// way it goes needs no branch.
    fn rank(&mut self, rows: &Table) {
        let count = rows.days.len();
        self.came.clear();
        self.came.resize(MOST, 0);
        self.came.extend((0..count).map(|row| key(rows, row)));
        self.came.resize(count + 2 * MOST, u64::MAX);
        self.places.resize(count, 0);
        self.keys.resize(count, 0);
        let mut moves = [0_i32; RUN];
        for from in (0..count).step_by(RUN) {
            let moves = &mut moves[..RUN.min(count - from)];
            let to = from + moves.len();
            let near = near(&rows.days, from..to);
            steps(&self.came[from..to + 2 * MOST], near, moves);
            let own = &self.came[from + MOST..];
            for (row, (steps, key)) in (from..).zip(moves.iter().zip(own)) {
                let place = row.wrapping_add_signed(*steps as isize);
                self.places[place] = row as u32;
                self.keys[place] = *key;
            }
        }
    }

    /// By row in order: its day, and its pair.
    pub(super) fn keys(&self) -> &[u64] {
        &self.keys
    }

    /// The places of the rows, in order.
    pub(super) fn places(&self) -> &[u32] {
        &self.places
    }

    /// Brings rows in the order of one of their numbers, those of one number as they were `before`.
    fn count(
        &mut self,
        numbers: &[u32],
        (low, span): (u32, usize),
        before: impl Iterator<Item = u32>,
    ) {
        self.counts.clear();
        self.counts.resize(span + 1, 0);
        for number in numbers {
            self.counts[(number - low) as usize] += 1;
        }
        let mut sum = 0;
        for count in &mut self.counts {
            sum += std::mem::replace(count, sum);
        }
        self.places.resize(numbers.len(), 0);
        for i in before {
            let place = &mut self.counts[(numbers[i as usize] - low) as usize];
            self.places[*place as usize] = i;
            *place += 1;
        }
    }
}

/// Whether no day of some in order has more than a few rows.
fn are_all_days_of(few: usize, days: &[u32]) -> bool {
    let later = days.get(few..).unwrap_or_default();
    // Counted rather than looked for, as several are then counted at a time.
    0 == days.iter().zip(later).filter(|(a, b)| a == b).count()
}

/// How far from some rows others of the same day are at most.
fn near(days: &[u32], rows: Range<usize>) -> usize {
    let around = rows.start.saturating_sub(MOST)..days.len().min(rows.end + MOST);
    let few = [1, 2, 4, 8, 16].into_iter();
    let mut enough = few.filter(|few| are_all_days_of(*few, &days[around.clone()]));
    enough.next().unwrap_or(MOST) - 1
}

/// How many places each row moves: by its key among those of `near` rows before it and after it;
/// `keys` has [`MOST`] more on both sides.
fn steps(keys: &[u64], near: usize, moves: &mut [i32]) {
    widest(
        #[inline(always)]
        || {
            moves.fill(0);
            let own = &keys[MOST..MOST + moves.len()];
            for by in 1..=near {
                let (before, after) = (&keys[MOST - by..], &keys[MOST + by..]);
                let others = before.iter().zip(after);
                for ((steps, key), (before, after)) in moves.iter_mut().zip(own).zip(others) {
                    *steps += i32::from(after < key) - i32::from(key < before);
                }
            }
        },
    );
}

/// Neighbours that are equal.
#[derive(Debug, Default)]
pub(super) struct Groups {
    /// The first of each group.
    firsts: Vec<u32>,
    /// All that are not the first of theirs.
    repeats: Vec<u32>,
    len: usize,
}

impl Groups {
    /// The groups among `keys`; which of them begin one is told without a branch, as it might go
    /// either way.
    pub(super) fn find(&mut self, keys: &[u64]) {
        self.len = keys.len();
        self.firsts.resize(keys.len(), 0);
        self.repeats.resize(keys.len(), 0);
        let (mut begun, mut before) = (0, None);
        for (i, key) in keys.iter().enumerate() {
            let is_first = before != Some(key);
            self.firsts[begun] = i as u32;
            self.repeats[i - begun] = i as u32;
            begun += usize::from(is_first);
            before = Some(key);
        }
        self.firsts.truncate(begun);
        self.repeats.truncate(keys.len() - begun);
    }

    /// The first of each group.
    pub(super) fn firsts(&self) -> &[u32] {
        &self.firsts
    }

    /// The groups of one.
    pub(super) fn single(&self) -> impl Iterator<Item = usize> {
        (0..self.firsts.len()).filter(|group| self.rows(*group).len() == 1)
    }

    /// The places of a group.
    fn rows(&self, group: usize) -> Range<usize> {
        let next = self.firsts.get(group + 1);
        self.firsts[group] as usize..next.map_or(self.len, |next| *next as usize)
    }

    /// The groups of several, with their places.
    pub(super) fn several(&self) -> impl Iterator<Item = (usize, Range<usize>)> {
        let mut seen = 0;
        std::iter::from_fn(move || {
            // Of those before it, its own first and all that are no repeat have begun a group.
            let group = *self.repeats.get(seen)? as usize - seen - 1;
            let rows = self.rows(group);
            seen += rows.len() - 1;
            Some((group, rows))
        })
    }
}

/// The lowest number and how much higher the highest is.
fn span(numbers: &[u32]) -> (u32, usize) {
    let low = numbers.iter().copied().min().unwrap_or(0);
    let high = numbers.iter().copied().max().unwrap_or(0);
    (low, (high - low) as usize)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Ranked, counted or compared, rows come by day, pair and number.
    #[test]
    fn rows_come_in_order() {
        // Days in order, a few or many rows each, and days in none.
        for (last, step, of_day) in [
            (40, 1, 0),
            (40, 100_000, 0),
            (4_000, 1, 0),
            (200, 1, 1),
            (200, 1, 2),
            (200, 1, 3),
            (200, 1, 9),
            (200, 1, 17),
            (200, 1, 32),
            (200, 1, 33),
            (200, 1, 100),
        ] {
            for is_backward in [false, true] {
                let mut rows = Table::default();
                // Two runs and a piece of a third.
                for i in 0..1_300_u32 {
                    let random = i.wrapping_mul(2_654_435_761) >> 8;
                    let day = i.checked_div(of_day).unwrap_or(random % last);
                    rows.push(day * step, random / last % 5, [0; 3]);
                    rows.rows
                        .push(if is_backward { 2_000 - i } else { 2_000 + i });
                }
                let key = |i: &u32| {
                    let i = *i as usize;
                    (rows.days[i], rows.pairs[i], rows.rows[i])
                };
                let mut order = Order::default();
                order.sort(&rows);
                assert!(order.places().is_sorted_by_key(key));
                let keys = order
                    .places()
                    .iter()
                    .map(|i| super::key(&rows, *i as usize));
                assert!(keys.eq(order.keys().iter().copied()));
                let mut all = order.places().to_vec();
                all.sort_unstable();
                assert!(all.into_iter().eq(0..1_300));
            }
        }
        let mut order = Order::default();
        order.sort(&Table::default());
        assert!(order.places().is_empty());
    }

    #[test]
    fn equal_neighbours_are_a_group() {
        let mut groups = Groups::default();
        for keys in [
            &[][..],
            &[7],
            &[1, 1, 2, 3, 3, 3, 5],
            &[4, 4],
            &[0, 1, 2, 2],
        ] {
            groups.find(keys);
            let mut at = 0;
            let mut several = Vec::new();
            for (group, same) in keys.chunk_by(|a, b| a == b).enumerate() {
                assert_eq!(groups.firsts[group] as usize, at);
                assert_eq!(groups.rows(group), at..at + same.len());
                if 1 < same.len() {
                    several.push((group, groups.rows(group)));
                }
                at += same.len();
            }
            let ones = (0..groups.firsts.len()).filter(|g| several.iter().all(|(s, _)| s != g));
            assert!(groups.single().eq(ones), "{keys:?}");
            assert!(groups.several().eq(several), "{keys:?}");
        }
    }
}
