//! The order of rows of one machine: by day, then bin and product, then their own numbers.

use super::layout::Table;

/// Days and pairs for which there may be a count each: so many for every row, and a few more.
const PER_ROW: usize = 4;
const MORE: usize = 256;

/// Room to bring rows in order.
#[derive(Debug, Default)]
pub(super) struct Order {
    before: Vec<u32>,
    places: Vec<u32>,
    counts: Vec<u32>,
}

impl Order {
    /// The places of the rows, in order.
    ///
    /// Rows that came by their numbers are counted, by pair and then by day, which takes no
    /// comparison that might go either way.
    pub(super) fn of(&mut self, rows: &Table) -> &[u32] {
        let most = rows.days.len() * PER_ROW + MORE;
        let spans = [span(&rows.days), span(&rows.pairs)];
        self.places.clear();
        if rows.rows.is_sorted() && spans.iter().all(|(_, span)| *span < most) {
            let [days, pairs] = spans;
            self.before.clear();
            self.before.extend(0..rows.days.len() as u32);
            counted(
                &self.before,
                &rows.pairs,
                pairs,
                &mut self.counts,
                &mut self.places,
            );
            std::mem::swap(&mut self.before, &mut self.places);
            counted(
                &self.before,
                &rows.days,
                days,
                &mut self.counts,
                &mut self.places,
            );
        } else {
            self.places.extend(0..rows.days.len() as u32);
            self.places.sort_unstable_by_key(|i| {
                let i = *i as usize;
                (rows.days[i], rows.pairs[i], rows.rows[i])
            });
        }
        &self.places
    }
}

/// The lowest number and how much higher the highest is.
fn span(numbers: &[u32]) -> (u32, usize) {
    let low = numbers.iter().copied().min().unwrap_or(0);
    let high = numbers.iter().copied().max().unwrap_or(0);
    (low, (high - low) as usize)
}

/// Places of rows by one of their numbers, those of one number in the order they had `before`.
fn counted(
    before: &[u32],
    numbers: &[u32],
    (low, span): (u32, usize),
    counts: &mut Vec<u32>,
    order: &mut Vec<u32>,
) {
    counts.clear();
    counts.resize(span + 1, 0);
    for number in numbers {
        counts[(number - low) as usize] += 1;
    }
    let mut sum = 0;
    for count in &mut *counts {
        sum += std::mem::replace(count, sum);
    }
    order.resize(before.len(), 0);
    for i in before {
        let place = &mut counts[(numbers[*i as usize] - low) as usize];
        order[*place as usize] = *i;
        *place += 1;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Counted or compared, rows come by day, pair and number.
    #[test]
    fn rows_come_in_order() {
        for (last, step) in [(40, 1), (40, 100_000), (4_000, 1)] {
            for is_backward in [false, true] {
                let mut rows = Table::default();
                for i in 0..500_u32 {
                    let random = i.wrapping_mul(2_654_435_761) >> 8;
                    rows.push(random % last * step, random / last % 5, [0; 3]);
                    rows.rows
                        .push(if is_backward { 1_000 - i } else { 1_000 + i });
                }
                let key = |i: &u32| {
                    let i = *i as usize;
                    (rows.days[i], rows.pairs[i], rows.rows[i])
                };
                let mut order = Order::default();
                let order = order.of(&rows);
                assert!(order.is_sorted_by_key(key));
                let mut all = order.to_vec();
                all.sort_unstable();
                assert!(all.into_iter().eq(0..500));
            }
        }
        assert!(Order::default().of(&Table::default()).is_empty());
    }
}
