//! Tables of the page.

use maud::{Markup, html};

use super::words::count;

/// Most rows of a table; the page stays small enough to print and to send.
pub(super) const MOST_ROWS: usize = 100;

/// A table: the first column names its row, the columns of `figures` hold figures.
pub(super) struct Table<'a> {
    /// What it holds, for those who hear it before they see it.
    pub(super) caption: &'a str,
    /// Headings.
    pub(super) heads: &'a [&'a str],
    /// The first column of figures; all after it hold figures too.
    pub(super) figures: usize,
    /// The rows.
    pub(super) rows: Vec<Vec<String>>,
    /// What a row is, in one word.
    pub(super) thing: &'a str,
    /// Where the rows that are left out can be found.
    pub(super) command: &'a str,
}

impl Table<'_> {
    pub(super) fn markup(&self) -> Markup {
        let class = |column: usize| (self.figures <= column).then_some("figure");
        let more = self.rows.len().saturating_sub(MOST_ROWS);
        html! {
            div.table.short[self.rows.len() <= 16] {
                table {
                    caption { (self.caption) }
                    thead {
                        tr {
                            @for (i, head) in self.heads.iter().enumerate() {
                                th scope="col" class=[class(i)] { (head) }
                            }
                        }
                    }
                    tbody {
                        @for row in self.rows.iter().take(MOST_ROWS) {
                            tr {
                                @for (i, cell) in row.iter().enumerate() {
                                    @if i == 0 { th scope="row" { (cell) } }
                                    @else { td class=[class(i)] { (cell) } }
                                }
                            }
                        }
                    }
                }
            }
            @if 0 < more {
                p.aside { "and " (count(more, self.thing)) " more, which " code { (self.command) } " lists." }
            }
        }
    }
}
