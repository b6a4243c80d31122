//! Rows that say the same thing twice.

use super::Finding;
use crate::record::ProblemKind;

/// What to do about two equal rows that are both used.
pub(super) const IF_TWICE: &str =
    "rows that differ; both are used, delete one if it was entered twice";

/// A row equal to an earlier one.
pub(super) fn equal(earlier: u32) -> Finding {
    Finding::new(
        "",
        ProblemKind::Identical,
        format!("the same as row {earlier}"),
        IF_TWICE,
    )
}

/// Pairs of rows of equal content, in the order of the rows: the later, and the first like it.
///
/// `content` orders rows by everything but their row number.
pub(super) fn pairs<T>(
    rows: &[T],
    row: impl Fn(&T) -> u32,
    content: impl Fn(&T, &T) -> std::cmp::Ordering,
) -> Vec<(u32, u32)> {
    let mut order: Vec<&T> = rows.iter().collect();
    order.sort_by(|a, b| content(a, b).then(row(a).cmp(&row(b))));
    let mut pairs = Vec::new();
    let mut first: Option<&T> = None;
    for item in order {
        match first {
            Some(earlier) if content(earlier, item).is_eq() => {
                pairs.push((row(item), row(earlier)));
            }
            _ => first = Some(item),
        }
    }
    pairs.sort_unstable();
    pairs
}
