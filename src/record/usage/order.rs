//! The order of rows of one machine: by day, then bin and product, then their own numbers.

use std::ops::Range;

use super::table::Table;

/// Days and pairs for which there may be a count each: so many for every row, and a few more.
const PER_ROW: usize = 4;
const MORE: usize = 256;

/// Room to bring rows in order.
#[derive(Debug, Default)]
pub(super) struct Order {
    before: Vec<u32>,
    places: Vec<u32>,
    counts: Vec<u32>,
}

impl Order {
    /// Brings rows in order.
    ///
    /// Rows that came by their numbers are counted, by pair and then by day, which takes no
    /// comparison that might go either way.
    pub(super) fn sort(&mut self, rows: &Table) {
        let most = rows.days.len() * PER_ROW + MORE;
        let columns = [&rows.pairs, &rows.days].map(|numbers| (numbers, span(numbers)));
        let count = u32::try_from(rows.days.len()).expect("fewer than 2^32 rows a machine");
        if rows.rows.is_sorted() && columns.iter().all(|(_, (_, span))| *span < most) {
            let [(pairs, of_pairs), (days, of_days)] = columns;
            self.count(pairs, of_pairs, 0..count);
            let by_pair = std::mem::take(&mut self.places);
            std::mem::swap(&mut self.places, &mut self.before);
            self.count(days, of_days, by_pair.iter().copied());
            self.before = by_pair;
        } else {
            self.places.clear();
            self.places.extend(0..count);
            self.places.sort_unstable_by_key(|i| {
                let i = *i as usize;
                (rows.days[i], rows.pairs[i], rows.rows[i])
            });
        }
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

    /// Counted or compared, rows come by day, pair and number.
    #[test]
    fn rows_come_in_order() {
        for (last, step) in [(40, 1), (40, 100_000), (4_000, 1)] {
            for is_backward in [false, true] {
                let mut rows = Table::default();
                for i in 0..500_u32 {
                    let random = i.wrapping_mul(2_654_435_761) >> 8;
                    rows.push(random % last * step, random / last % 5, [0; 3]);
                    rows.rows
                        .push(if is_backward { 1_000 - i } else { 1_000 + i });
                }
                let key = |i: &u32| {
                    let i = *i as usize;
                    (rows.days[i], rows.pairs[i], rows.rows[i])
                };
                let mut order = Order::default();
                order.sort(&rows);
                assert!(order.places().is_sorted_by_key(key));
                let mut all = order.places().to_vec();
                all.sort_unstable();
                assert!(all.into_iter().eq(0..500));
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
