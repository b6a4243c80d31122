//! Rows of one machine in pages of equal size: while they wait for the end of the log, and as daily
//! sums afterwards. Pages that rows give back are those that sums go into.

use std::ops::Range;

use super::layout::Layout;
use super::store::DayCell;
use super::table::{Table, UseColumns};

/// Words of a page: many, as the system is asked for memory page by page; what a page of few rows
/// has no use for is never touched.
const WORDS: usize = 2048;
/// Words of rows that are worth a head of their own at the end of a page.
const FEW: usize = 8;

type Page = Vec<u64>;

fn page() -> Page {
    Vec::with_capacity(WORDS)
}

/// Rows in words, those of one part after a head that says of which and how many they are.
#[derive(Clone, Debug, Default)]
pub(super) struct Rows {
    full: Vec<Page>,
    /// The page that is being filled, by itself as it is come back to for every part.
    last: Page,
    len: usize,
}

impl Rows {
    /// Adds rows of a part, in several pieces where a page has no room for all.
    pub(super) fn extend(&mut self, part: u32, mut words: &[u64], of_row: usize) {
        self.len += words.len() / of_row;
        while !words.is_empty() {
            let room = self.last.capacity().saturating_sub(self.last.len() + 1) / of_row * of_row;
            let (now, later) = words.split_at(room.min(words.len()));
            if now.is_empty() || now.len() < FEW && !later.is_empty() {
                let full = std::mem::replace(&mut self.last, page());
                if !full.is_empty() {
                    self.full.push(full);
                }
                continue;
            }
            self.last
                .push(u64::from(part) << u32::BITS | now.len() as u64);
            self.last.extend_from_slice(now);
            words = later;
        }
    }

    pub(super) fn len(&self) -> usize {
        self.len
    }

    /// Makes a table of every row, in the order they came; `layouts` are those of the parts.
    pub(super) fn unpack(&self, layouts: &[Layout], to: &mut Table) {
        to.resize(self.len);
        let mut at = 0;
        for page in self.full.iter().chain([&self.last]) {
            let mut rest = page.as_slice();
            while let Some((head, words)) = rest.split_first() {
                let (now, later) = words.split_at(*head as u32 as usize);
                let layout = &layouts[(*head >> u32::BITS) as usize];
                layout.unpack(now, to, at);
                at += now.len() / layout.words();
                rest = later;
            }
        }
    }
}

/// Daily sums, sorted by day and pair.
#[derive(Clone, Debug, Default)]
pub(super) struct Sums {
    layout: Layout,
    pages: Vec<Page>,
    len: usize,
}

impl Sums {
    /// In the pages of rows, where they are enough. `packed` is room to work in.
    pub(super) fn new(rows: Rows, sums: &UseColumns<'_>, packed: &mut Vec<u64>) -> Self {
        let layout = Layout::new(sums);
        let per_page = WORDS / layout.words();
        let len = sums.days.len();
        let mut pages = rows.full;
        pages.push(rows.last);
        pages.resize_with(len.div_ceil(per_page), page);
        pages.shrink_to_fit();
        for (i, page) in pages.iter_mut().enumerate() {
            page.clear();
            let some = sums.part(i * per_page, len.min((i + 1) * per_page));
            fill(page, &layout, &some, packed);
        }
        if let Some(last) = pages.last_mut() {
            last.shrink_to_fit();
        }
        Self { layout, pages, len }
    }

    pub(super) fn len(&self) -> usize {
        self.len
    }

    fn per_page(&self) -> usize {
        WORDS / self.layout.words().max(1)
    }

    pub(super) fn get(&self, index: usize) -> DayCell {
        let (per_page, of_row) = (self.per_page(), self.layout.words());
        let at = index % per_page * of_row;
        self.layout
            .sum(&self.pages[index / per_page][at..at + of_row])
    }

    pub(super) fn iter(&self) -> impl Iterator<Item = DayCell> {
        self.range(0..self.len)
    }

    /// Some of them, page by page.
    #[inline]
    pub(super) fn range(&self, range: Range<usize>) -> impl Iterator<Item = DayCell> {
        let (layout, per_page) = (self.layout, self.per_page());
        let of_row = layout.words();
        let pages = range.start / per_page..range.end.div_ceil(per_page);
        pages.flat_map(move |page| {
            let first = page * per_page;
            let from = range.start.max(first) - first;
            let to = range.end.min(first + per_page) - first;
            let rows = &self.pages[page][from * of_row..to * of_row];
            rows.chunks_exact(of_row).map(move |row| layout.sum(row))
        })
    }

    /// A table of the first `count`.
    pub(super) fn table(&self, count: usize) -> Table {
        let mut table = Table::default();
        self.unpack(count, &mut table);
        table
    }

    /// Makes a table of the first `count`, without rows' own numbers, which sums have none of.
    pub(super) fn unpack(&self, count: usize, table: &mut Table) {
        table.resize(count);
        table.rows.clear();
        let per_page = self.per_page();
        for (i, page) in self.pages.iter().enumerate() {
            let at = (i * per_page).min(count);
            let rows = per_page.min(count - at);
            let words = &page[..rows * self.layout.words()];
            self.layout.unpack(words, table, at);
        }
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

    /// The same with other numbers for pairs, which must not change their order.
    pub(super) fn renamed(self, pairs: &[u32]) -> Self {
        let mut table = Table::default();
        for sum in self.iter() {
            table.push(sum.day, pairs[sum.pair as usize], sum.codes);
        }
        Self::new(Rows::default(), &table.columns(), &mut Vec::new())
    }
}

/// Adds rows to an empty page.
fn fill(page: &mut Page, layout: &Layout, rows: &UseColumns<'_>, packed: &mut Vec<u64>) {
    let (len, of_row) = (rows.days.len(), layout.words());
    packed.resize(len, 0);
    page.resize(len * of_row, 0);
    for word in 0..of_row {
        layout.pack(word, rows, packed);
        let places = page.chunks_exact_mut(of_row);
        places
            .zip(&*packed)
            .for_each(|(row, value)| row[word] = *value);
    }
}

impl PartialEq for Sums {
    fn eq(&self, other: &Self) -> bool {
        self.iter().eq(other.iter())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Parts of few words a row and of many, over several pages.
    #[test]
    fn rows_come_back_as_they_were() {
        let mut rows = Rows::default();
        let (mut layouts, mut whole) = (Vec::new(), Table::default());
        for part in 0..60_u32 {
            let most = if part % 2 == 0 { u32::MAX } else { 900 };
            let mut table = Table::default();
            for i in 0..=part * 37 % 150 {
                let number = i.wrapping_mul(2_654_435_761) % most;
                table.push(number, number / 3, [number, u32::MAX, number / 2]);
                table.rows.push(i);
                whole.push(number, number / 3, [number, u32::MAX, number / 2]);
                whole.rows.push(i);
            }
            let layout = Layout::new(&table.columns());
            let mut words = Page::new();
            fill(&mut words, &layout, &table.columns(), &mut Vec::new());
            rows.extend(part, &words, layout.words());
            layouts.push(layout);
        }
        assert_eq!(rows.len(), whole.days.len());
        assert!(1 < rows.full.len());
        assert!(rows.full.iter().all(|page| page.len() <= WORDS));
        let mut back = Table::default();
        rows.unpack(&layouts, &mut back);
        assert_eq!(back.days, whole.days);
        assert_eq!(back.pairs, whole.pairs);
        assert_eq!(back.rows, whole.rows);
        assert_eq!(back.codes, whole.codes);
    }

    #[test]
    fn sums_are_found_by_their_day() {
        let sum = |i: u32| DayCell {
            day: 10 + i / 3,
            pair: i % 3,
            codes: [i, u32::MAX, 0],
        };
        let mut table = Table::default();
        for sum in (0..5_000).map(sum) {
            table.push(sum.day, sum.pair, sum.codes);
        }
        let sums = Sums::new(Rows::default(), &table.columns(), &mut Vec::new());
        assert_eq!(
            (sums.until(9), sums.until(10), sums.until(10_000)),
            (0, 3, 5_000)
        );
        assert_eq!(sums.until(110), 303);
        assert_eq!((sums.get(999), sums.len()), (sum(999), 5_000));
        for range in [
            0..0,
            3..3,
            5_000..5_000,
            0..5_000,
            200..210,
            503..1_409,
            4_999..5_000,
        ] {
            let one_by_one: Vec<DayCell> = range.clone().map(|i| sums.get(i)).collect();
            assert_eq!(sums.range(range).collect::<Vec<_>>(), one_by_one);
        }
        for count in [0, 1, 700, 5_000] {
            let back = sums.table(count);
            assert_eq!(back.days, table.days[..count]);
            assert_eq!(back.codes[0], table.codes[0][..count]);
        }
        let renamed = sums.renamed(&[4, 5, u32::MAX]);
        assert_eq!(renamed.get(500).pair, u32::MAX);
        assert_eq!(renamed.get(499).codes, sum(499).codes);
    }

    #[test]
    fn nothing_has_no_days() {
        let sums = Sums::default();
        assert_eq!((sums.len(), sums.until(u32::MAX)), (0, 0));
        assert_eq!(sums.iter().next(), None);
    }
}
