//! Where a task's products were: the bins of its machines, as far as the file tells.

use std::cell::OnceCell;
use std::collections::BTreeSet;

use super::super::device::Kind;
use super::super::task::Allocation;
use super::{GRAMS, KILOGRAMS, LITRES, MILLILITRES, TaskWork};

/// A place of a machine that took a product.
pub(super) struct Spot<'t> {
    pub(super) machine: Option<usize>,
    pub(super) element: Option<String>,
    pub(super) allocations: Vec<&'t Allocation>,
}

impl<'t> TaskWork<'_, 't> {
    /// Bins in the order of the products allocated to them; without any, those with a mass.
    pub(super) fn spots(&self) -> Vec<Spot<'t>> {
        let mut spots: Vec<Spot<'t>> = Vec::new();
        let only = OnceCell::new();
        for allocation in &self.task.allocations {
            let (machine, element) = match &allocation.element {
                Some(id) => (self.machine_of(id), Some(id.clone())),
                None => only.get_or_init(|| self.only_bin()).clone(),
            };
            match spots
                .iter_mut()
                .find(|s| s.machine == machine && s.element == element)
            {
                Some(spot) => spot.allocations.push(allocation),
                None => spots.push(Spot {
                    machine,
                    element,
                    allocations: vec![allocation],
                }),
            }
        }
        if !spots.is_empty() {
            return spots;
        }
        let masses: BTreeSet<&str> = self
            .series
            .keys()
            .filter(|(ddi, _)| matches!(*ddi, KILOGRAMS | GRAMS | LITRES | MILLILITRES))
            .map(|(_, element)| *element)
            .collect();
        let bins = masses.iter().filter(|id| {
            self.data
                .devices
                .element(id)
                .is_some_and(|e| e.kind == Kind::Bin)
        });
        spots.extend(bins.map(|id| Spot {
            machine: self.machine_of(id),
            element: Some((*id).to_owned()),
            allocations: Vec::new(),
        }));
        if spots.is_empty() {
            let (machine, element) = self.only_bin();
            spots.push(Spot {
                machine,
                element,
                allocations: Vec::new(),
            });
        }
        spots
    }

    pub(super) fn machine_of(&self, element: &str) -> Option<usize> {
        self.data.devices.element(element).map(|e| e.machine)
    }

    /// The machine at work, where it is one, and its bin, where it has one.
    fn only_bin(&self) -> (Option<usize>, Option<String>) {
        let devices = &self.data.devices;
        let named = |m: &usize| self.task.machines.contains(&devices.machines[*m].id);
        let with_bins = |m: &usize| !devices.bins(*m).is_empty();
        let all: Vec<usize> = (0..devices.machines.len()).collect();
        let at_work: Vec<usize> = all.iter().copied().filter(named).collect();
        let candidates = if at_work.is_empty() { all } else { at_work };
        let spreaders: Vec<usize> = candidates.iter().copied().filter(with_bins).collect();
        let machine = match (spreaders.as_slice(), candidates.as_slice()) {
            ([one], _) | ([], [one]) => Some(*one),
            _ => None,
        };
        let bin = machine.and_then(|m| match devices.bins(m) {
            [one] => Some(one.clone()),
            _ => None,
        });
        (machine, bin)
    }
}
