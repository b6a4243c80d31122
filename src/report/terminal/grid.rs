//! A plain table: a heading, a rule, rows; numbers to the right.

use std::borrow::Cow;

use comfy_table::{
    Cell, CellAlignment, ColumnConstraint, ContentArrangement, LineStyle, Table, TableStyle, Width,
};

use super::words::{harmless, whole};

/// Which way a column leans.
#[derive(Clone, Copy, PartialEq)]
pub(super) enum Lean {
    /// Words, which may break over lines.
    Left,
    /// Two numbers, or a number with words, to the left and never broken.
    Range,
    /// Numbers.
    Right,
}

/// A table under construction.
pub(super) struct Grid {
    columns: Vec<(&'static str, Lean)>,
    /// Width that each column should have.
    least: Vec<usize>,
    /// Width that each column needs when its heading breaks.
    tight: Vec<usize>,
    /// Longest cell of each column, its heading aside.
    longest: Vec<usize>,
    /// Columns of the screen.
    width: usize,
    table: Table,
}

/// Headings of so many letters stay on one line.
const SHORT_HEADING: usize = 8;
/// Longest word that is never broken where there is room.
const LONGEST_WORD: usize = 24;
/// What a column takes beside its cells: a space on either side, and one to the next.
const AROUND: usize = 3;
/// The same where room is scarce: first without the space before it, then without that behind.
const SCARCE: [usize; 2] = [2, 1];

/// Most letters of one cell. Names come from files, and to break one of a hundred thousand letters into
/// lines would take minutes, for something that nobody reads.
const LONGEST_CELL: usize = 1_000;

/// A text that is too long for a cell ends with how long it is; files hold the whole.
fn short(text: Cow<'_, str>) -> String {
    let Some((end, _)) = text.char_indices().nth(LONGEST_CELL) else {
        return text.into_owned();
    };
    let letters = whole(text.chars().count() as f64);
    format!("{}... ({letters} letters)", &text[..end])
}

fn longest_word(text: &str) -> usize {
    text.split(' ')
        .map(|w| w.chars().count())
        .max()
        .unwrap_or(0)
}

/// Width at which a heading takes no more than two lines.
fn two_lines(heading: &str) -> usize {
    let all = heading.chars().count();
    let breaks = heading.match_indices(' ');
    let width = |(at, _): (usize, &str)| {
        let first = heading[..at].chars().count();
        first.max(all - first - 1)
    };
    breaks.map(width).min().unwrap_or(all)
}

const STYLE: TableStyle = TableStyle::new().header_separator(LineStyle::new(' ', '-', ' ', ' '));

impl Grid {
    pub(super) fn new(columns: &[(&'static str, Lean)], width: usize) -> Self {
        let mut table = Table::new();
        table
            .load_style(STYLE)
            .set_content_arrangement(ContentArrangement::Dynamic)
            .set_width(u16::try_from(width + 2).unwrap_or(u16::MAX))
            .set_header(
                columns
                    .iter()
                    .map(|(name, lean)| cell((*name).to_owned(), *lean)),
            );
        let least = columns
            .iter()
            .map(|(heading, _)| match heading.chars().count() {
                n if n <= SHORT_HEADING => n,
                _ => two_lines(heading),
            })
            .collect();
        Self {
            columns: columns.to_vec(),
            least,
            tight: columns.iter().map(|(h, _)| longest_word(h)).collect(),
            longest: vec![0; columns.len()],
            width,
            table,
        }
    }

    pub(super) fn row(&mut self, cells: impl IntoIterator<Item = String>) {
        let widths = self.least.iter_mut().zip(&mut self.tight);
        let widths = widths.zip(&mut self.longest);
        let cells = cells.into_iter().zip(&self.columns).zip(widths);
        let cells = cells.map(|((text, (_, lean)), ((least, tight), longest))| {
            let text = short(harmless(&text));
            *longest = text.chars().count().max(*longest);
            // Numbers never break over two lines; words give way between them.
            let need = match lean {
                Lean::Right | Lean::Range => text.chars().count(),
                Lean::Left => longest_word(&text).min(LONGEST_WORD),
            };
            *least = need.max(*least);
            *tight = need.max(*tight);
            cell(text, *lean)
        });
        self.table.add_row(cells.collect::<Vec<_>>());
    }

    pub(super) fn text(mut self) -> String {
        let around = self.around();
        let widths = self.widths(around);
        if widths.iter().sum::<usize>() + around * widths.len() > self.width {
            self.table.set_width(u16::MAX);
        }
        for (i, chars) in widths.into_iter().enumerate() {
            let width = Width::Fixed(u16::try_from(chars + around - 1).unwrap_or(u16::MAX));
            if let Some(column) = self.table.column_mut(i) {
                column.set_constraint(ColumnConstraint::Absolute(width));
                column.set_padding((u16::from(around == AROUND), u16::from(1 < around)));
            }
        }
        let mut out = String::new();
        for line in self.table.lines() {
            out.push_str(line.trim_end());
            out.push('\n');
        }
        out
    }

    /// Columns stand closer where they would not all find room.
    fn around(&self) -> usize {
        let needed =
            |around: &usize| self.tight.iter().sum::<usize>() + around * self.columns.len();
        let [closer, closest] = SCARCE;
        let widest = [AROUND, closer]
            .into_iter()
            .find(|a| needed(a) <= self.width);
        widest.unwrap_or(closest)
    }

    /// Letters that each column gets: numbers what they need, words the rest. Where not even their
    /// longest words find room, headings break first; then the table is wider than the window, for a
    /// part number in pieces is none.
    fn widths(&self, around: usize) -> Vec<usize> {
        let mut widths = self.least.clone();
        let room = self.width.saturating_sub(around * widths.len());
        let words: Vec<usize> = (0..widths.len())
            .filter(|i| self.columns[*i].1 == Lean::Left)
            .collect();
        // Headings break before words do. The last first: what a row is about stands at the left.
        let wanted = |i: &usize| self.longest[*i].saturating_sub(self.least[*i]);
        let wanted: usize = widths.iter().sum::<usize>() + words.iter().map(wanted).sum::<usize>();
        let mut over = wanted.saturating_sub(room);
        for i in (0..widths.len()).rev() {
            let less = over.min(widths[i] - self.tight[i]);
            widths[i] -= less;
            over -= less;
        }
        let mut rest = room.saturating_sub(widths.iter().sum());
        // Those that want least come first, so that few columns break their lines.
        let mut wants: Vec<(usize, usize)> = words
            .iter()
            .map(|i| (self.longest[*i].saturating_sub(widths[*i]), *i))
            .collect();
        wants.sort_unstable();
        for (want, i) in wants {
            let more = want.min(rest);
            widths[i] += more;
            rest -= more;
        }
        widths
    }
}

fn cell(text: String, lean: Lean) -> Cell {
    Cell::new(text).set_alignment(match lean {
        Lean::Left | Lean::Range => CellAlignment::Left,
        Lean::Right => CellAlignment::Right,
    })
}

#[cfg(test)]
mod tests {
    use super::{Grid, Lean};

    fn grid(width: usize) -> Vec<String> {
        let columns = [
            ("Where", Lean::Left),
            ("Part", Lean::Left),
            ("Range", Lean::Range),
            ("Cost", Lean::Right),
        ];
        let mut grid = Grid::new(&columns, width);
        grid.row([
            "the big spreader of the north yard: left fins".to_owned(),
            "a-part-number-that-never-ends-00017".to_owned(),
            "10,000 - 100,000 tons".to_owned(),
            "$1,000,000".to_owned(),
        ]);
        grid.text().lines().map(str::to_owned).collect()
    }

    #[test]
    fn long_names_give_way_and_numbers_stay_whole() {
        let lines = grid(80);
        assert!(lines.iter().all(|l| l.chars().count() <= 80), "{lines:#?}");
        assert!(
            lines[2].contains("10,000 - 100,000 tons   $1,000,000"),
            "{lines:#?}"
        );
    }

    #[test]
    fn a_name_stays_whole_where_there_is_no_room() {
        let columns = [
            ("Part", Lean::Left),
            ("Family", Lean::Left),
            ("Need", Lean::Right),
            ("Cost", Lean::Right),
        ];
        for width in [30, 34, 40, 80] {
            let mut grid = Grid::new(&columns, width);
            grid.row(["FN-4102-L", "conveyor-chain", "1,000", "$100,000"].map(str::to_owned));
            let text = grid.text();
            for word in ["FN-4102-L", "conveyor-chain", "1,000", "$100,000"] {
                assert!(text.contains(word), "{width}:\n{text}");
            }
        }
    }

    #[test]
    fn a_name_without_end_is_cut_with_its_length() {
        let columns = [("Part", Lean::Left), ("Need", Lean::Right)];
        let mut grid = Grid::new(&columns, 80);
        grid.row(["é".repeat(100_000), "7".to_owned()]);
        let text = grid.text();
        assert!(text.lines().count() < 60, "{}", text.lines().count());
        assert!(
            text.replace(char::is_whitespace, "")
                .contains("...(100,000letters)")
        );
        assert_eq!(text.matches('é').count(), 1_000);
    }

    #[test]
    fn a_wide_window_takes_every_row_in_one_line() {
        assert_eq!(grid(160).len(), 3);
    }
}
