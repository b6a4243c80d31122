//! Past ratios between acres, tons and hours, to fill in what a day or a plan leaves out.

use std::collections::BTreeMap;

use crate::record::Amounts;
use crate::units::Measure;

/// Ratios by machine and product group, and by product group.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Rates {
    by_machine: BTreeMap<String, Vec<Ratio>>,
    by_group: Vec<Ratio>,
}

/// Sums over days on which both of two measures are recorded: acres and tons, acres and hours,
/// tons and hours.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Ratio {
    sums: [(f64, f64); 3],
}

/// The measures of each place in [`Ratio`].
const PAIRS: [(usize, usize); 3] = [(0, 1), (0, 2), (1, 2)];

impl Ratio {
    fn add(&mut self, values: [Option<f64>; 3]) {
        for (sum, (a, b)) in self.sums.iter_mut().zip(PAIRS) {
            if let (Some(x), Some(y)) = (values[a], values[b]) {
                sum.0 += x;
                sum.1 += y;
            }
        }
    }

    fn per(&self, wanted: usize, given: usize) -> Option<f64> {
        let mut pairs = self.sums.iter().zip(PAIRS);
        let (x, y) = pairs.find_map(|((x, y), (a, b))| {
            if (a, b) == (wanted, given) {
                Some((*x, *y))
            } else {
                ((b, a) == (wanted, given)).then_some((*y, *x))
            }
        })?;
        (0.0 < y).then(|| x / y)
    }
}

/// The ratios that hold for one machine.
#[derive(Clone, Copy, Debug)]
pub(super) struct OfMachine<'a> {
    own: &'a [Ratio],
    all: &'a [Ratio],
}

impl OfMachine<'_> {
    /// See [`Rates::filled`].
    pub(super) fn filled(&self, group: usize, amounts: Amounts) -> Amounts {
        let given = Measure::OF_USE.map(|m| amounts.get(m));
        if given.iter().all(Option::is_some) {
            return amounts;
        }
        // Tons tell most of what a spreader did, then acres, then hours. One that no rate leads from
        // tells nothing, and must not stand before another that does; nor must a 0 before work.
        let work = [1, 0, 2].map(|i| given[i].filter(|a| 0.0 < *a).map(|a| (i, a)));
        let none = [1, 0, 2].map(|i| given[i].map(|a| (i, a)));
        let at_rates = |ratios: &[Ratio], wanted: usize| {
            let ratio = ratios.get(group)?;
            let mut from = work.into_iter().chain(none).flatten();
            from.find_map(|(i, amount)| Some(ratio.per(wanted, i)? * amount))
        };
        let fill = |wanted: usize| {
            given[wanted]
                .or_else(|| at_rates(self.own, wanted))
                .or_else(|| at_rates(self.all, wanted))
        };
        Amounts {
            acres: fill(0),
            tons: fill(1),
            hours: fill(2),
        }
    }
}

impl Rates {
    /// Takes the days of a machine into account, each with its group; to be called in a fixed
    /// order, once a machine.
    pub(super) fn add(
        &mut self,
        machine: &str,
        n_groups: usize,
        days: impl Iterator<Item = (usize, Amounts)>,
    ) {
        let mut own = vec![Ratio::default(); n_groups];
        self.by_group.resize(n_groups, Ratio::default());
        for (group, amounts) in days {
            let values = Measure::OF_USE.map(|m| amounts.get(m));
            own[group].add(values);
            self.by_group[group].add(values);
        }
        self.by_machine.insert(machine.to_owned(), own);
    }

    pub(super) fn of_machine(&self, machine: &str) -> OfMachine<'_> {
        OfMachine {
            own: self.by_machine.get(machine).map_or(&[], Vec::as_slice),
            all: &self.by_group,
        }
    }

    /// Amounts with what is missing filled in at the machine's own rate for the group, or else at
    /// the fleet's; `None` stays where nothing is known.
    #[must_use]
    pub fn filled(&self, machine: &str, group: usize, amounts: Amounts) -> Amounts {
        self.of_machine(machine).filled(group, amounts)
    }
}

#[cfg(test)]
mod tests {
    use super::Rates;
    use crate::record::Amounts;

    /// Ten hours to 100 acres on record; no tons beside hours. Twice as many acres took 20 hours.
    #[test]
    fn tons_without_a_rate_do_not_hide_acres_that_have_one() {
        let mut rates = Rates::default();
        let day = Amounts {
            acres: Some(100.0),
            tons: None,
            hours: Some(10.0),
        };
        rates.add("M", 1, [(0, day)].into_iter());
        let given = Amounts {
            acres: Some(200.0),
            tons: Some(60.0),
            hours: None,
        };
        for machine in ["M", "another of the fleet"] {
            assert_eq!(rates.filled(machine, 0, given).hours, Some(20.0));
        }
    }

    /// Nothing was spread on the 40 acres that were driven over: the hours are those of the acres.
    #[test]
    fn a_0_on_record_does_not_stand_before_work() {
        let mut rates = Rates::default();
        let day = Amounts {
            acres: Some(100.0),
            tons: Some(50.0),
            hours: Some(10.0),
        };
        rates.add("M", 1, [(0, day)].into_iter());
        let given = Amounts {
            acres: Some(40.0),
            tons: Some(0.0),
            hours: None,
        };
        assert_eq!(rates.filled("M", 0, given).hours, Some(4.0));
    }
}
