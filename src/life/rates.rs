//! Past ratios between acres, tons and hours, to fill in what a day or a plan leaves out.

use std::collections::BTreeMap;

use crate::record::Amounts;
use crate::units::Measure;

/// Ratios by machine and product group, and by product group.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Rates {
    by_machine: BTreeMap<(String, usize), Ratio>,
    by_group: BTreeMap<usize, Ratio>,
}

/// Sums over days on which both measures are recorded: `sums[a][b]` holds (sum of a, sum of b).
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Ratio {
    sums: [[(f64, f64); 3]; 3],
}

impl Ratio {
    fn add(&mut self, amounts: &Amounts) {
        let values = Measure::OF_USE.map(|m| amounts.get(m));
        for (a, x) in values.iter().enumerate() {
            for (b, y) in values.iter().enumerate() {
                if let (Some(x), Some(y)) = (x, y) {
                    self.sums[a][b].0 += x;
                    self.sums[a][b].1 += y;
                }
            }
        }
    }

    fn per(&self, wanted: usize, given: usize) -> Option<f64> {
        let (x, y) = self.sums[wanted][given];
        (0.0 < y).then(|| x / y)
    }
}

impl Rates {
    /// Takes a day of a machine and group into account; to be called in a fixed order.
    pub fn add(&mut self, machine: &str, group: usize, amounts: &Amounts) {
        let key = (machine.to_owned(), group);
        self.by_machine.entry(key).or_default().add(amounts);
        self.by_group.entry(group).or_default().add(amounts);
    }

    /// Amounts with what is missing filled in at the machine's own rate for the group, or else at
    /// the fleet's; `None` stays where nothing is known.
    #[must_use]
    pub fn filled(&self, machine: &str, group: usize, amounts: Amounts) -> Amounts {
        let given = Measure::OF_USE.map(|m| amounts.get(m));
        if given.iter().all(Option::is_some) {
            return amounts;
        }
        // Tons tell most of what a spreader did, then acres, then hours.
        let Some(from) = [1, 0, 2].into_iter().find(|i| given[*i].is_some()) else {
            return amounts;
        };
        let own = self.by_machine.get(&(machine.to_owned(), group));
        let all = self.by_group.get(&group);
        let fill = |wanted: usize| {
            given[wanted].or_else(|| {
                let rate = own
                    .and_then(|r| r.per(wanted, from))
                    .or_else(|| all.and_then(|r| r.per(wanted, from)))?;
                Some(rate * given[from]?)
            })
        };
        Amounts {
            acres: fill(0),
            tons: fill(1),
            hours: fill(2),
        }
    }
}
