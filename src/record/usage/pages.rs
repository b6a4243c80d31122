//! Rows of one machine in pages of equal size: packed while they wait for the end of the log, and
//! as daily sums afterwards. Pages that rows give back are those that sums go into.

use super::store::DayCell;

/// Bytes of a page: small, as there is one that is not full for every machine.
const SIZE: usize = 4096;
/// Bytes that one packed row may take: two of lengths, and four for each of six numbers.
const MOST: usize = 2 + 6 * 4;
/// Bytes of a daily sum.
const OF_SUM: usize = 5 * 4;
/// Daily sums in a page.
const PER_PAGE: usize = SIZE / OF_SUM;

type Page = Box<[u8]>;

fn page() -> Page {
    vec![0; SIZE].into_boxed_slice()
}

fn put(page: &mut [u8], at: usize, value: u32) {
    page[at..at + 4].copy_from_slice(&value.to_le_bytes());
}

fn word(page: &[u8], at: usize) -> u32 {
    let bytes = &page[at..at + 4];
    u32::from_le_bytes([bytes[0], bytes[1], bytes[2], bytes[3]])
}

/// A row of the log, by numbers: day, bin and product, its own number, codes of amounts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Cell {
    pub(super) day: u32,
    pub(super) pair: u32,
    pub(super) row: u32,
    pub(super) codes: [u32; 3],
}

/// Rows one after the other, about fourteen bytes each: numbers without their leading zeros, days
/// and rows as steps from the row before.
#[derive(Clone, Debug, Default)]
pub(super) struct Rows {
    pages: Vec<Page>,
    /// Place in the last page.
    at: usize,
    day: u32,
    row: u32,
    len: usize,
}

impl Rows {
    #[inline]
    pub(super) fn push(&mut self, cell: &Cell) {
        if self.pages.is_empty() || SIZE < self.at + MOST {
            self.pages.push(page());
            self.at = 0;
        }
        let Some(page) = self.pages.last_mut() else {
            return;
        };
        let [a, b, c] = cell.codes;
        // What is not recorded has the highest code, and takes least as zero.
        let numbers = [
            cell.day.wrapping_sub(self.day),
            cell.row.wrapping_sub(self.row),
            cell.pair,
            a.wrapping_add(1),
            b.wrapping_add(1),
            c.wrapping_add(1),
        ];
        let bytes = &mut page[self.at..self.at + MOST];
        let (mut at, mut lengths) = (2, 0_u16);
        for (i, number) in numbers.into_iter().enumerate() {
            let more = (number | 1).ilog2() / 8;
            put(bytes, at, number);
            lengths |= (more as u16) << (2 * i);
            at += 1 + more as usize;
        }
        bytes[..2].copy_from_slice(&lengths.to_le_bytes());
        self.at += at;
        (self.day, self.row) = (cell.day, cell.row);
        self.len += 1;
    }

    /// Every row, in the order they came.
    pub(super) fn unpacked(&self) -> Vec<Cell> {
        let mut cells = Vec::with_capacity(self.len);
        let mut pages = self.pages.iter();
        let (mut page, mut start): (&[u8], _) = (&[], SIZE);
        let (mut day, mut row) = (0_u32, 0_u32);
        for _ in 0..self.len {
            if SIZE < start + MOST {
                (page, start) = (pages.next().map_or(&[][..], |p| &p[..]), 0);
            }
            let bytes = &page[start..start + MOST];
            let mut lengths = u16::from_le_bytes([bytes[0], bytes[1]]);
            let mut at = 2;
            let numbers: [u32; 6] = std::array::from_fn(|_| {
                let more = lengths & 3;
                lengths >>= 2;
                let number = word(bytes, at) & (u32::MAX >> (24 - 8 * u32::from(more)));
                at += 1 + usize::from(more);
                number
            });
            let [days, rows, pair, a, b, c] = numbers;
            start += at;
            day = day.wrapping_add(days);
            row = row.wrapping_add(rows);
            cells.push(Cell {
                day,
                pair,
                row,
                codes: [a, b, c].map(|code| code.wrapping_sub(1)),
            });
        }
        cells
    }
}

/// Daily sums, sorted by day and pair.
#[derive(Clone, Debug, Default)]
pub(super) struct Sums {
    pages: Vec<Page>,
    len: usize,
}

impl Sums {
    /// In the pages of rows, where they are enough.
    pub(super) fn new(rows: Rows, sums: impl ExactSizeIterator<Item = DayCell>) -> Self {
        let mut pages = rows.pages;
        let len = sums.len();
        pages.resize_with(len.div_ceil(PER_PAGE), page);
        pages.shrink_to_fit();
        let mut new = Self { pages, len };
        for (i, sum) in sums.enumerate() {
            new.set(i, sum);
        }
        new
    }

    fn set(&mut self, index: usize, sum: DayCell) {
        let (page, at) = place(index);
        let bytes = &mut self.pages[page][at..at + OF_SUM];
        let [a, b, c] = sum.codes;
        for (i, number) in [sum.day, sum.pair, a, b, c].into_iter().enumerate() {
            put(bytes, 4 * i, number);
        }
    }

    pub(super) fn len(&self) -> usize {
        self.len
    }

    pub(super) fn get(&self, index: usize) -> DayCell {
        let (page, at) = place(index);
        let bytes = &self.pages[page][at..at + OF_SUM];
        DayCell {
            day: word(bytes, 0),
            pair: word(bytes, 4),
            codes: [word(bytes, 8), word(bytes, 12), word(bytes, 16)],
        }
    }

    pub(super) fn iter(&self) -> impl Iterator<Item = DayCell> {
        (0..self.len).map(|i| self.get(i))
    }

    /// How many are of a day or earlier.
    pub(super) fn until(&self, day: u32) -> usize {
        let (mut low, mut high) = (0, self.len);
        while low < high {
            let middle = low.midpoint(high);
            if self.get(middle).day <= day {
                low = middle + 1;
            } else {
                high = middle;
            }
        }
        low
    }

    /// Gives pairs other numbers, which must not change their order.
    pub(super) fn rename(&mut self, pairs: &[u32]) {
        for i in 0..self.len {
            let mut sum = self.get(i);
            sum.pair = pairs[sum.pair as usize];
            self.set(i, sum);
        }
    }
}

impl PartialEq for Sums {
    fn eq(&self, other: &Self) -> bool {
        self.iter().eq(other.iter())
    }
}

fn place(index: usize) -> (usize, usize) {
    (index / PER_PAGE, index % PER_PAGE * OF_SUM)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Numbers of every length, days and rows that go back and forth, over several pages.
    #[test]
    fn rows_come_back_as_they_were() {
        let spread = |i: u32| i.wrapping_mul(2_654_435_761) >> (i % 32);
        let cells: Vec<Cell> = (0..5_000)
            .map(|i| Cell {
                day: spread(3 * i),
                pair: spread(i + 7),
                row: spread(5 * i + 1),
                codes: [spread(i), u32::MAX, u32::MAX - spread(i + 1)],
            })
            .collect();
        let mut rows = Rows::default();
        assert_eq!(rows.unpacked(), []);
        for cell in &cells {
            rows.push(cell);
        }
        assert_eq!(rows.unpacked(), cells);
    }

    #[test]
    fn sums_are_found_by_their_day() {
        let sum = |i: u32| DayCell {
            day: 10 + i / 3,
            pair: i % 3,
            codes: [i, u32::MAX, 0],
        };
        let mut sums = Sums::new(
            Rows::default(),
            (0..1_000).map(sum).collect::<Vec<_>>().into_iter(),
        );
        assert_eq!(
            (sums.until(9), sums.until(10), sums.until(1_000)),
            (0, 3, 1_000)
        );
        assert_eq!(sums.until(110), 303);
        assert_eq!(sums.get(999), sum(999));
        sums.rename(&[4, 5, 6]);
        assert_eq!(sums.get(500).pair, 6);
        assert_eq!(sums.len(), 1_000);
    }
}
