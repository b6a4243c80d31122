//! A plain table: a heading, a rule, rows; numbers to the right.

use comfy_table::{
    Cell, CellAlignment, ColumnConstraint, ContentArrangement, LineStyle, Table, TableStyle, Width,
};

/// Which way a column leans.
#[derive(Clone, Copy, PartialEq)]
pub(super) enum Lean {
    /// Words.
    Left,
    /// Numbers.
    Right,
}

/// A table under construction.
pub(super) struct Grid {
    columns: Vec<(&'static str, Lean)>,
    /// Least width of each column.
    least: Vec<usize>,
    /// Longest cell of each column, its heading aside.
    longest: Vec<usize>,
    table: Table,
}

/// Headings of so many letters stay on one line.
const SHORT_HEADING: usize = 8;
/// Columns of words no longer than this are as wide as they need.
const NARROW: usize = 14;
/// Longest word that is never broken.
const LONGEST_WORD: usize = 24;

fn longest_word(text: &str) -> usize {
    text.split(' ')
        .map(|w| w.chars().count())
        .max()
        .unwrap_or(0)
}

const STYLE: TableStyle = TableStyle::new().header_separator(LineStyle::new(' ', '-', ' ', ' '));

impl Grid {
    pub(super) fn new(columns: &[(&'static str, Lean)], width: usize) -> Self {
        let mut table = Table::new();
        table
            .load_style(STYLE)
            .set_content_arrangement(ContentArrangement::Dynamic)
            .set_width(u16::try_from(width).unwrap_or(u16::MAX))
            .set_header(
                columns
                    .iter()
                    .map(|(name, lean)| cell((*name).to_owned(), *lean)),
            );
        let least = columns
            .iter()
            .map(|(heading, _)| match heading.chars().count() {
                n if n <= SHORT_HEADING => n,
                _ => longest_word(heading),
            })
            .collect();
        Self {
            columns: columns.to_vec(),
            least,
            longest: vec![0; columns.len()],
            table,
        }
    }

    pub(super) fn row(&mut self, cells: impl IntoIterator<Item = String>) {
        let widths = self.least.iter_mut().zip(&mut self.longest);
        let cells = cells.into_iter().zip(&self.columns).zip(widths);
        let cells = cells.map(|((text, (_, lean)), (least, longest))| {
            *longest = text.chars().count().max(*longest);
            // Numbers never break over two lines; words give way between them.
            let need = match lean {
                Lean::Right => text.chars().count(),
                Lean::Left => longest_word(&text).min(LONGEST_WORD),
            };
            *least = need.max(*least);
            cell(text, *lean)
        });
        self.table.add_row(cells.collect::<Vec<_>>());
    }

    pub(super) fn text(mut self) -> String {
        let widths = self.least.iter().zip(&self.longest).enumerate();
        for (i, (least, longest)) in widths {
            // Long words get the room that everything else leaves.
            let narrow = self.columns[i].1 == Lean::Right || *longest <= NARROW;
            let chars = if narrow { *longest.max(least) } else { *least };
            let width = Width::Fixed(u16::try_from(chars + 2).unwrap_or(u16::MAX));
            if let Some(column) = self.table.column_mut(i) {
                column.set_constraint(if narrow {
                    ColumnConstraint::Absolute(width)
                } else {
                    ColumnConstraint::LowerBoundary(width)
                });
            }
        }
        let mut out = String::new();
        for line in self.table.lines() {
            out.push_str(line.trim_end());
            out.push('\n');
        }
        out
    }
}

fn cell(text: String, lean: Lean) -> Cell {
    Cell::new(text).set_alignment(match lean {
        Lean::Left => CellAlignment::Left,
        Lean::Right => CellAlignment::Right,
    })
}
