//! Names with numbers in the order they are met, and the numbers they have once sorted.

use std::collections::HashMap;

/// Names seen so far.
#[derive(Clone, Debug, Default)]
pub(super) struct Names {
    numbers: HashMap<String, u32>,
    list: Vec<String>,
}

impl Names {
    pub(super) fn number(&mut self, name: &str) -> u32 {
        if let Some(&number) = self.numbers.get(name) {
            return number;
        }
        let number = u32::try_from(self.list.len()).expect("fewer than 2^32 names");
        self.numbers.insert(name.to_owned(), number);
        self.list.push(name.to_owned());
        number
    }

    pub(super) fn name(&self, number: u32) -> &str {
        &self.list[number as usize]
    }

    pub(super) fn len(&self) -> usize {
        self.list.len()
    }

    /// The names for which `used` holds, sorted, and for each number its place among them.
    pub(super) fn sorted(self, used: &[bool]) -> (Vec<String>, Vec<u32>) {
        let mut order: Vec<u32> = (0..self.list.len() as u32)
            .filter(|i| used[*i as usize])
            .collect();
        order.sort_unstable_by(|a, b| self.name(*a).cmp(self.name(*b)));
        let places = places(&order, self.list.len());
        let names = order.iter().map(|i| self.name(*i).to_owned()).collect();
        (names, places)
    }
}

/// For each of `len` items its place in an order, and nothing of use for those that are not in it.
pub(super) fn places(order: &[u32], len: usize) -> Vec<u32> {
    let mut places = vec![u32::MAX; len];
    for (place, item) in (0..).zip(order) {
        places[*item as usize] = place;
    }
    places
}
