//! Rows of one machine in pages of equal size: packed while they wait for the end of the log, and
//! as daily sums afterwards. Pages that rows give back are those that sums go into.

use std::ops::Range;

use super::store::DayCell;

/// Bytes of a page: small, as there is one that is not full for every machine.
const SIZE: usize = 4096;
/// Bytes of a daily sum.
const OF_SUM: usize = 5 * 4;
/// Daily sums in a page.
const PER_PAGE: usize = SIZE / OF_SUM;

/// Most rows of a block.
const BLOCK: usize = 64;
/// Rows that are worth a block of their own at the end of a page.
const FEW: usize = 8;
/// Bytes of the head of a block: widths and the number of rows, and the first row's day and number.
const HEAD: usize = 3 * 4;
/// Numbers of a row.
const NUMBERS: usize = 6;
/// Bits for the width of one number in bytes, of which there are zero to four.
const WIDTH: usize = 3;

type Page = Box<[u8]>;
/// The numbers of a block's rows, column by column.
type Columns = [[u32; BLOCK]; NUMBERS];

fn page() -> Page {
    vec![0; SIZE].into_boxed_slice()
}

fn put(page: &mut [u8], at: usize, value: u32) {
    page[at..at + 4].copy_from_slice(&value.to_le_bytes());
}

#[inline]
fn word(page: &[u8], at: usize) -> u32 {
    let bytes = &page[at..at + 4];
    u32::from_le_bytes([bytes[0], bytes[1], bytes[2], bytes[3]])
}

/// A row of the log, by numbers: day, bin and product, its own number, codes of amounts.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Cell {
    pub(super) day: u32,
    pub(super) pair: u32,
    pub(super) row: u32,
    pub(super) codes: [u32; 3],
}

/// Rows in blocks, about twelve bytes each: numbers lie column by column, in as many bytes as the
/// widest of the block needs, days and rows as steps from the row before.
#[derive(Clone, Debug, Default)]
pub(super) struct Rows {
    pages: Vec<Page>,
    /// Place in the last page.
    at: usize,
    len: usize,
}

impl Rows {
    pub(super) fn extend(&mut self, cells: &[Cell]) {
        for few in cells.chunks(BLOCK) {
            self.push(few);
        }
        self.len += cells.len();
    }

    /// Adds a block, in two where only a part of it has room in the page.
    fn push(&mut self, cells: &[Cell]) {
        let Some(first) = cells.first() else { return };
        let columns = columns(cells, first);
        let widths = columns.map(|numbers| {
            let all = numbers[..cells.len()].iter().fold(0, |all, n| all | n);
            (u32::BITS - all.leading_zeros()).div_ceil(8) as usize
        });
        let of_row: usize = widths.iter().sum();
        if self.pages.is_empty() || SIZE < self.at + HEAD + of_row * cells.len() {
            let room = SIZE.saturating_sub(self.at + HEAD) / of_row.max(1);
            if !self.pages.is_empty() && FEW <= room {
                self.push(&cells[..room]);
                return self.push(&cells[room..]);
            }
            self.pages.push(page());
            self.at = 0;
        }
        let Some(page) = self.pages.last_mut() else {
            return;
        };
        let mut head = cells.len() as u32;
        for width in widths {
            head = head << WIDTH | width as u32;
        }
        for (i, number) in [head, first.day, first.row].into_iter().enumerate() {
            put(page, self.at + 4 * i, number);
        }
        self.at += HEAD;
        for (numbers, width) in columns.iter().zip(widths) {
            let end = self.at + width * cells.len();
            write(&numbers[..cells.len()], width, &mut page[self.at..end]);
            self.at = end;
        }
    }

    /// Every row, in the order they came.
    pub(super) fn unpacked(&self) -> Vec<Cell> {
        let mut cells = Vec::with_capacity(self.len);
        let mut columns = [[0; BLOCK]; NUMBERS];
        for page in &self.pages {
            let mut at = 0;
            while at + HEAD <= SIZE {
                let [mut head, mut day, mut row] = [0, 4, 8].map(|i| word(page, at + i));
                let count = (head >> (NUMBERS * WIDTH)) as usize;
                if count == 0 {
                    break;
                }
                head <<= u32::BITS as usize - NUMBERS * WIDTH;
                at += HEAD;
                for numbers in &mut columns {
                    let width = (head >> (u32::BITS as usize - WIDTH)) as usize;
                    head <<= WIDTH;
                    let end = at + width * count;
                    read(&page[at..end], width, &mut numbers[..count]);
                    at = end;
                }
                let [days, rows, pairs, a, b, c] = &columns;
                cells.extend((0..count).map(|i| {
                    day = day.wrapping_add(days[i]);
                    row = row.wrapping_add(rows[i]);
                    Cell {
                        day,
                        pair: pairs[i],
                        row,
                        codes: [a[i], b[i], c[i]].map(|code| code.wrapping_sub(1)),
                    }
                }));
            }
        }
        cells
    }
}

fn columns(cells: &[Cell], first: &Cell) -> Columns {
    let mut columns = [[0; BLOCK]; NUMBERS];
    let (mut day, mut row) = (first.day, first.row);
    for (i, cell) in cells.iter().enumerate() {
        let [a, b, c] = cell.codes;
        // What is not recorded has the highest code, and takes least as zero.
        let numbers = [
            cell.day.wrapping_sub(day),
            cell.row.wrapping_sub(row),
            cell.pair,
            a.wrapping_add(1),
            b.wrapping_add(1),
            c.wrapping_add(1),
        ];
        (day, row) = (cell.day, cell.row);
        for (column, number) in columns.iter_mut().zip(numbers) {
            column[i] = number;
        }
    }
    columns
}

fn write(numbers: &[u32], width: usize, bytes: &mut [u8]) {
    fn of<const W: usize>(numbers: &[u32], bytes: &mut [u8]) {
        for (bytes, number) in bytes.as_chunks_mut::<W>().0.iter_mut().zip(numbers) {
            bytes.copy_from_slice(&number.to_le_bytes()[..W]);
        }
    }
    match width {
        0 => {}
        1 => of::<1>(numbers, bytes),
        2 => of::<2>(numbers, bytes),
        3 => of::<3>(numbers, bytes),
        _ => of::<4>(numbers, bytes),
    }
}

fn read(bytes: &[u8], width: usize, numbers: &mut [u32]) {
    fn of<const W: usize>(bytes: &[u8], numbers: &mut [u32]) {
        for (bytes, number) in bytes.as_chunks::<W>().0.iter().zip(numbers) {
            let mut four = [0; 4];
            four[..W].copy_from_slice(bytes);
            *number = u32::from_le_bytes(four);
        }
    }
    match width {
        0 => numbers.fill(0),
        1 => of::<1>(bytes, numbers),
        2 => of::<2>(bytes, numbers),
        3 => of::<3>(bytes, numbers),
        _ => of::<4>(bytes, numbers),
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
        let places = pages
            .iter_mut()
            .flat_map(|page| page.as_chunks_mut::<OF_SUM>().0);
        for (bytes, sum) in places.zip(sums) {
            *bytes = packed(sum);
        }
        Self { pages, len }
    }

    fn set(&mut self, index: usize, sum: DayCell) {
        let (page, at) = place(index);
        self.pages[page][at..at + OF_SUM].copy_from_slice(&packed(sum));
    }

    pub(super) fn len(&self) -> usize {
        self.len
    }

    pub(super) fn get(&self, index: usize) -> DayCell {
        let (page, at) = place(index);
        unpacked(&self.pages[page][at..at + OF_SUM])
    }

    pub(super) fn iter(&self) -> impl Iterator<Item = DayCell> {
        self.range(0..self.len)
    }

    /// Some of them, page by page.
    #[inline]
    pub(super) fn range(&self, range: Range<usize>) -> impl Iterator<Item = DayCell> {
        let pages = range.start / PER_PAGE..range.end.div_ceil(PER_PAGE);
        pages.flat_map(move |page| {
            let first = page * PER_PAGE;
            let from = range.start.max(first) - first;
            let to = range.end.min(first + PER_PAGE) - first;
            let sums = &self.pages[page].as_chunks::<OF_SUM>().0[from..to];
            sums.iter().map(|bytes| unpacked(bytes))
        })
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

#[inline]
fn unpacked(bytes: &[u8]) -> DayCell {
    DayCell {
        day: word(bytes, 0),
        pair: word(bytes, 4),
        codes: [word(bytes, 8), word(bytes, 12), word(bytes, 16)],
    }
}

fn packed(sum: DayCell) -> [u8; OF_SUM] {
    let [a, b, c] = sum.codes;
    let mut bytes = [0; OF_SUM];
    for (four, number) in bytes
        .as_chunks_mut::<4>()
        .0
        .iter_mut()
        .zip([sum.day, sum.pair, a, b, c])
    {
        *four = number.to_le_bytes();
    }
    bytes
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
        let (mut rest, mut count) = (&cells[..], 0);
        while !rest.is_empty() {
            let (now, later) = rest.split_at((count % 150).min(rest.len()));
            rows.extend(now);
            (rest, count) = (later, count + 1);
        }
        assert_eq!(rows.unpacked(), cells);
        // Columns that say nothing take no room.
        let mut empty = Rows::default();
        empty.extend(&[Cell::default(); 3]);
        assert_eq!(empty.unpacked(), [Cell::default(); 3]);
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
        for range in [
            0..0,
            3..3,
            1_000..1_000,
            0..1_000,
            200..210,
            203..409,
            999..1_000,
        ] {
            let one_by_one: Vec<DayCell> = range.clone().map(|i| sums.get(i)).collect();
            assert_eq!(sums.range(range).collect::<Vec<_>>(), one_by_one);
        }
        assert_eq!(sums.len(), 1_000);
    }
}
