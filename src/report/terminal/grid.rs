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
    table: Table,
}

const STYLE: TableStyle =
    TableStyle::new().header_separator(LineStyle::new(' ', '-', ' ', ' '));

impl Grid {
    pub(super) fn new(columns: &[(&'static str, Lean)], width: usize) -> Self {
        let mut table = Table::new();
        table
            .load_style(STYLE)
            .set_content_arrangement(ContentArrangement::Dynamic)
            .set_width(u16::try_from(width).unwrap_or(u16::MAX))
            .set_header(columns.iter().map(|(name, lean)| cell((*name).to_owned(), *lean)));
        Self { columns: columns.to_vec(), table }
    }

    pub(super) fn row(&mut self, cells: impl IntoIterator<Item = String>) {
        let cells = cells.into_iter().zip(&self.columns).map(|(text, (_, lean))| cell(text, *lean));
        self.table.add_row(cells.collect::<Vec<_>>());
    }

    pub(super) fn text(mut self) -> String {
        // Numbers never break over two lines, nor does a heading within a word; words give way.
        for (i, (heading, lean)) in self.columns.iter().enumerate() {
            let longest_word = heading.split(' ').map(|w| w.chars().count()).max().unwrap_or(0);
            let least = if *lean == Lean::Right {
                self.table
                    .column_max_content_widths()
                    .get(i)
                    .map_or(longest_word, |w| usize::from(*w).min(14).max(longest_word))
            } else {
                longest_word.max(6)
            };
            let least = Width::Fixed(u16::try_from(least + 2).unwrap_or(u16::MAX));
            if let Some(column) = self.table.column_mut(i) {
                column.set_constraint(ColumnConstraint::LowerBoundary(least));
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
