//! The cells that can carry mass, and which lives they concern.

use std::collections::BTreeMap;

use crate::model::observations::End;

/// A life along effective exposure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Row {
    pub entry: f64,
    pub low: f64,
    pub end: f64,
    pub known: End,
    pub count: f64,
}

/// Wear-outs that lie in the same cells.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Span {
    pub first: usize,
    pub last: usize,
    pub count: f64,
}

/// The lives as the likelihood sees them.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Cells {
    /// Lower and upper end of each cell, in order; equal for an exact wear-out.
    pub bounds: Vec<(f64, f64)>,
    /// How many lives are known to have come through each cell.
    pub survived: Vec<f64>,
    /// The wear-outs, alike ones joined.
    pub spans: Vec<Span>,
}

/// Order of the ends at one exposure: an exact wear-out begins before intervals close there, and
/// what is open below begins after.
const EXACT: u8 = 0;
const CLOSES: u8 = 1;
const OPEN: u8 = 2;

impl Cells {
    /// Mass can only lie between a lower end and the upper end or late entry that comes next:
    /// anywhere else it could be moved with gain.
    pub fn new(rows: &[Row]) -> Self {
        let mut ends: Vec<(f64, u8)> = Vec::with_capacity(3 * rows.len());
        for row in rows {
            ends.push(match row.known {
                End::At => (row.end, EXACT),
                End::Between => (row.low, OPEN),
                End::Censored => (row.end, OPEN),
            });
            if row.known != End::Censored {
                ends.push((row.end, CLOSES));
            }
            if 0.0 < row.entry {
                ends.push((row.entry, CLOSES));
            }
        }
        ends.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        let bounds = ends
            .windows(2)
            .filter(|pair| pair[0].1 != CLOSES && pair[1].1 == CLOSES)
            .map(|pair| (pair[0].0, pair[1].0))
            .collect();
        let mut out = Self {
            bounds,
            ..Self::default()
        };
        out.drop_cells_without_wear_out(rows);
        out.count(rows);
        out
    }

    /// Number of cells.
    pub fn len(&self) -> usize {
        self.bounds.len()
    }

    /// Number of cells that end at or before `x`.
    fn up_to(&self, x: f64) -> usize {
        self.bounds.partition_point(|c| c.1 <= x)
    }

    /// First and last cell in which a wear-out may lie.
    fn span(&self, row: &Row) -> (usize, usize) {
        let last = self.up_to(row.end).saturating_sub(1);
        let first = match row.known {
            End::At => last,
            End::Between | End::Censored => self.up_to(row.low),
        };
        (first.min(last), last)
    }

    fn drop_cells_without_wear_out(&mut self, rows: &[Row]) {
        let mut change = vec![0_i64; self.len() + 1];
        for row in rows.iter().filter(|r| r.known != End::Censored) {
            let (first, last) = self.span(row);
            change[first] += 1;
            change[last + 1] -= 1;
        }
        let mut covered = 0;
        let mut kept = change.into_iter().map(|c| {
            covered += c;
            0 < covered
        });
        self.bounds.retain(|_| kept.next().unwrap_or(false));
    }

    fn count(&mut self, rows: &[Row]) {
        let mut change = vec![0.0; self.len() + 1];
        let mut spans: BTreeMap<(usize, usize), f64> = BTreeMap::new();
        for row in rows {
            let through = if row.known == End::Censored {
                self.up_to(row.end)
            } else {
                let (first, last) = self.span(row);
                *spans.entry((first, last)).or_default() += row.count;
                first
            };
            let from = self.up_to(row.entry).min(through);
            change[from] += row.count;
            change[through] -= row.count;
        }
        let mut sum = 0.0;
        self.survived = change[..self.len()]
            .iter()
            .map(|c| {
                sum += c;
                // What is left of fractional counts by rounding is nobody.
                if sum < 1e-9 { 0.0 } else { sum }
            })
            .collect();
        self.spans = spans
            .into_iter()
            .map(|((first, last), count)| Span { first, last, count })
            .collect();
    }
}

/// Makes exposures equal that differ by the rounding of sums alone: pieces of one machine taken out on one
/// day end together, whatever order their use was added up in.
pub(super) fn joined(rows: &mut [Row]) {
    /// Far above what rounding does, and far below a day's work.
    const ALIKE: f64 = 1e-9;
    let mut all: Vec<f64> = rows.iter().flat_map(|r| [r.entry, r.low, r.end]).collect();
    all.sort_by(f64::total_cmp);
    // The first of those that are alike stands for them.
    all.dedup_by(|next, first| *next - *first <= ALIKE * first.abs());
    let first_of = |x: f64| all[all.partition_point(|a| *a <= x).saturating_sub(1)];
    for row in rows {
        let end = first_of(row.end);
        let low = first_of(row.low);
        // Less than that is no interval, and no time under observation.
        if row.known != End::Between || low < end {
            *row = Row {
                entry: first_of(row.entry),
                low,
                end,
                ..*row
            };
        }
    }
}

/// The same lives with every exposure moved to the nearest of at most `most` quantiles of the ends
/// of worn-out lives, or 0.
pub(super) fn rounded(rows: &[Row], most: usize) -> Vec<Row> {
    let grid = grid(rows, most);
    let nearest = |x: f64| {
        let above = grid.partition_point(|g| *g < x).min(grid.len() - 1);
        let below = above.saturating_sub(1);
        if x - grid[below] < grid[above] - x {
            below
        } else {
            above
        }
    };
    rows.iter()
        .map(|row| {
            let end = nearest(row.end);
            let low = match row.known {
                End::Between => nearest(row.low).min(end.saturating_sub(1)),
                End::At | End::Censored => end,
            };
            let latest = match row.known {
                End::At => end.saturating_sub(1),
                End::Between | End::Censored => low,
            };
            Row {
                entry: grid[nearest(row.entry).min(latest)],
                low: grid[low],
                end: grid[end],
                ..*row
            }
        })
        .collect()
}

fn grid(rows: &[Row], most: usize) -> Vec<f64> {
    let mut worn: Vec<(f64, f64)> = rows
        .iter()
        .filter(|r| r.known != End::Censored)
        .map(|r| (r.end, r.count))
        .collect();
    worn.sort_by(|a, b| a.0.total_cmp(&b.0));
    let share = worn.iter().map(|w| w.1).sum::<f64>() / most as f64;
    let mut grid = vec![0.0];
    let mut sum = 0.0;
    for (i, (end, count)) in worn.iter().enumerate() {
        sum += count;
        let full = share * grid.len() as f64 <= sum * (1.0 + 1e-12);
        let next_differs = worn.get(i + 1).is_none_or(|next| *end < next.0);
        if full && next_differs {
            grid.push(*end);
        }
    }
    grid
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Taken out good on the day on which the other was found worn: it was at risk, however its use was
    /// added up.
    #[test]
    fn what_ends_together_ends_together_whatever_the_last_bit() {
        let row = |low: f64, end: f64, known| Row {
            entry: 0.0,
            low,
            end,
            known,
            count: 1.0,
        };
        let of = |last_bit: f64| {
            let mut rows = vec![
                row(600.0, 664.617, End::Between),
                row(664.617 + last_bit, 664.617 + last_bit, End::Censored),
                row(700.0, 700.0, End::Censored),
            ];
            joined(&mut rows);
            Cells::new(&rows)
        };
        let together = of(0.0);
        for last_bit in [-2e-13, 2e-13] {
            let cells = of(last_bit);
            assert_eq!(cells.survived, together.survived);
            assert_eq!(cells.spans, together.spans);
            assert!((cells.bounds[0].1 - together.bounds[0].1).abs() < 1e-9);
        }
        assert_ne!(of(-0.1).bounds, together.bounds);
    }
}
