//! What a check of the records found.

use super::Header;
use crate::record::{Account, Problem, RuleCount};

/// Everything wrong with the records, and the account of every row.
#[derive(Clone, Debug, PartialEq)]
pub struct CheckReport<'a> {
    /// What every result says.
    pub header: Header,
    /// Problems, then remarks; each by place.
    pub problems: &'a [Problem],
    /// One for each table.
    pub accounts: &'a [Account],
    /// The rules for the user's own columns, and the rows each touched.
    pub mapping: &'a [RuleCount],
    /// The text of a mapping that would fit better.
    pub proposal: Option<String>,
}
