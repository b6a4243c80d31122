//! Machines of task data and the elements they are described by: device, function, bin, section.

use std::collections::btree_map::Entry;
use std::collections::{BTreeMap, BTreeSet};

use roxmltree::Node;

use super::{TaskDataError, attribute, children, owned};

/// Trigger bit of process data: the value is a total.
const TOTAL: u8 = 16;
/// Property bit of process data: the value can be set, so it starts at 0 with every task.
const SETABLE: u8 = 2;

/// Most machines, and most elements of all of them.
const MOST_MACHINES: usize = 1_000;
const MOST_ELEMENTS: usize = 50_000;
/// Most levels of elements followed.
const DEEPEST: usize = 32;

/// Kinds of element that matter here, by their number in the file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    Device,
    Function,
    Bin,
    Other,
}

/// An element of a machine.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Element {
    /// Place of its machine in [`Devices::machines`].
    pub(super) machine: usize,
    pub(super) kind: Kind,
    pub(super) name: Option<String>,
    parent: Option<String>,
    /// Data dictionary numbers that count over the machine's whole life here.
    lifetime: BTreeSet<u16>,
}

/// A machine: what it is known by, and its name.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Machine {
    pub(super) id: String,
    pub(super) key: String,
    pub(super) name: Option<String>,
}

/// Every machine of the task data.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Devices {
    pub(super) machines: Vec<Machine>,
    /// By id, which is unique in the file.
    elements: BTreeMap<String, Element>,
    /// Ids of bins by machine.
    bins: BTreeMap<usize, Vec<String>>,
    /// Ids by machine and object id.
    objects: BTreeMap<(usize, String), String>,
    /// Places of machines by id, the first of each.
    by_id: BTreeMap<String, usize>,
    /// Ids that are described more than once, and whether alike each time.
    twice: BTreeMap<String, bool>,
}

impl Devices {
    /// Adds a `DVC` element.
    pub(super) fn add(&mut self, node: Node<'_, '_>) {
        let Some(id) = owned(node, "A") else { return };
        let key = owned(node, "E").or_else(|| owned(node, "D"));
        let key = key.unwrap_or_else(|| id.clone());
        let machine = self.machine(Machine {
            id,
            key,
            name: owned(node, "B"),
        });
        let totals = lifetime_totals(node);
        for element in children(node, "DET") {
            let Some(det) = owned(element, "A") else {
                continue;
            };
            let lifetime = children(element, "DOR")
                .filter_map(|r| totals.get(attribute(r, "A")?).copied())
                .collect();
            if let Some(object) = owned(element, "B") {
                self.objects.insert((machine, object), det.clone());
            }
            let new = Element {
                machine,
                kind: match attribute(element, "C") {
                    Some("1") => Kind::Device,
                    Some("2") => Kind::Function,
                    Some("3") => Kind::Bin,
                    _ => Kind::Other,
                },
                name: owned(element, "D"),
                parent: owned(element, "F"),
                lifetime,
            };
            self.element_of(det, new);
        }
    }

    /// Place of a machine; one that is described a second time under the same number is the same.
    fn machine(&mut self, machine: Machine) -> usize {
        if let Some(at) = self.by_id.get(&machine.id).copied() {
            let alike = self.machines[at].key == machine.key;
            *self.twice.entry(machine.id.clone()).or_insert(true) &= alike;
            if alike {
                return at;
            }
        }
        let at = self.machines.len();
        self.by_id.entry(machine.id.clone()).or_insert(at);
        self.machines.push(machine);
        at
    }

    /// Adds an element; of one that is described twice the first stays, see [`Self::is_ambiguous`].
    fn element_of(&mut self, id: String, new: Element) {
        match self.elements.entry(id) {
            Entry::Vacant(place) => drop(place.insert(new)),
            Entry::Occupied(there) => {
                let alike = *there.get() == new;
                *self.twice.entry(there.key().clone()).or_insert(true) &= alike;
            }
        }
    }

    /// Whether an element is described more than once and not alike, so that nobody can tell which
    /// of them is meant.
    pub(super) fn is_ambiguous(&self, id: &str) -> bool {
        self.twice.get(id) == Some(&false)
    }

    /// Notes what is described more than once.
    pub(super) fn told_twice(&self, notes: &mut Vec<String>) {
        for (alike, end) in [
            (true, "alike each time, so each is taken once"),
            (
                false,
                "and not alike: work that refers to them is set aside",
            ),
        ] {
            let of = self.twice.iter().filter(|(_, is)| **is == alike);
            let ids: Vec<String> = of.map(|(id, _)| id.clone()).collect();
            if !ids.is_empty() {
                notes.push(format!(
                    "Described more than once in the file, {end}: {}.",
                    super::some_of(&ids)
                ));
            }
        }
    }

    /// Ends the list of machines; with it their bins are known.
    ///
    /// # Errors
    /// When there are more than any fleet has: what belongs together is looked for among them.
    pub(super) fn finish(&mut self) -> Result<(), TaskDataError> {
        let limits = [
            (self.machines.len(), MOST_MACHINES, "machines"),
            (self.elements.len(), MOST_ELEMENTS, "parts of machines"),
        ];
        for (count, most, what) in limits {
            if most < count {
                return Err(TaskDataError::TooMany(format!("{count} {what}")));
            }
        }
        for (id, element) in &self.elements {
            if element.kind == Kind::Bin {
                let bins = self.bins.entry(element.machine).or_default();
                bins.push(id.clone());
            }
        }
        Ok(())
    }

    pub(super) fn element(&self, id: &str) -> Option<&Element> {
        self.elements.get(id)
    }

    /// Whether a value counts over the machine's life, and so is none of the task's.
    pub(super) fn is_lifetime(&self, ddi: u16, element: &str) -> bool {
        self.element(element)
            .is_some_and(|e| e.lifetime.contains(&ddi))
    }

    /// Bins of a machine, by id.
    pub(super) fn bins(&self, machine: usize) -> &[String] {
        self.bins.get(&machine).map_or(&[], Vec::as_slice)
    }

    /// Whether `element` is `above` or lies below it.
    pub(super) fn is_within(&self, element: &str, above: &str) -> bool {
        let mut at = element;
        // Descriptions are a few levels deep; a circle of parents ends too.
        for _ in 0..DEEPEST {
            if at == above {
                return true;
            }
            let parent = self
                .element(at)
                .and_then(|e| Some((e.machine, e.parent.clone()?)));
            match parent.and_then(|key| self.objects.get(&key)) {
                Some(next) => at = next,
                None => return false,
            }
        }
        false
    }
}

/// Data dictionary numbers by object id, of totals that cannot be set back.
fn lifetime_totals<'a>(device: Node<'a, '_>) -> BTreeMap<&'a str, u16> {
    let bits = |node, name| attribute(node, name).and_then(|t| t.parse::<u8>().ok());
    children(device, "DPD")
        .filter(|p| {
            bits(*p, "D").is_some_and(|d| d & TOTAL != 0)
                && bits(*p, "C").is_some_and(|c| c & SETABLE == 0)
        })
        .filter_map(|p| Some((attribute(p, "A")?, super::task::ddi(attribute(p, "B")?)?)))
        .collect()
}
