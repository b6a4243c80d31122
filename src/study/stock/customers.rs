//! Which customers will likely need what.

use super::Counter;
use crate::forecast::demand::Demands;
use crate::report::stock::CustomerNeed;
use crate::study::Study;

impl Study {
    /// Names of customers, by name; those of machines without one come first, as `None`.
    pub(super) fn customers(&self) -> Vec<Option<String>> {
        let machines = self.records.machines.iter();
        let mut names: Vec<Option<String>> = machines.map(|m| m.customer.clone()).collect();
        names.sort();
        names.dedup();
        names
    }
}

impl Counter<'_> {
    pub(super) fn needs(&self, customers: &[Option<String>]) -> Vec<CustomerNeed> {
        let lines = &self.outlook.in_service.lines;
        let needs = self.demands.by_customer.iter();
        let mut needs: Vec<CustomerNeed> = needs
            .filter(|((_, line), _)| self.states.known[*line])
            .map(|((customer, line), need)| CustomerNeed {
                customer: customers.get(*customer).cloned().flatten(),
                part: lines[*line].part.clone(),
                family: lines[*line].family.clone(),
                expected: need.expected,
                chance: need.chance,
            })
            .collect();
        needs.sort_by(|a, b| {
            (a.customer.is_none(), &a.customer)
                .cmp(&(b.customer.is_none(), &b.customer))
                .then(b.expected.total_cmp(&a.expected))
                .then(a.part.cmp(&b.part))
        });
        needs
    }
}

/// By line: what share of the expected pieces are for machines without a customer.
pub(super) fn own_shares(
    demands: &Demands,
    customers: &[Option<String>],
    lines: usize,
) -> Vec<f64> {
    let mut pieces = vec![(0.0, 0.0); lines];
    for ((customer, line), need) in &demands.by_customer {
        let (own, all) = &mut pieces[*line];
        *all += need.expected;
        if customers.get(*customer).is_none_or(Option::is_none) {
            *own += need.expected;
        }
    }
    let share = |(own, all): (f64, f64)| if 0.0 < all { own / all } else { 0.0 };
    pieces.into_iter().map(share).collect()
}
