//! Tasks that stand in a file more than once, though their ids should be its own.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDateTime;

use super::{AREA, GRAMS, KILOGRAMS, LITRES, MILLILITRES, SECONDS, Task};

/// Totals that only grow, the best to compare two states of a task by first.
const GROWING: [u16; 6] = [KILOGRAMS, GRAMS, LITRES, MILLILITRES, AREA, SECONDS];

/// Places of tasks that stand in the file in a later state too: the same id, begun together, and
/// ended earlier or with less. What stands there more than once is noted.
pub(super) fn earlier_states(tasks: &[Task], notes: &mut Vec<String>) -> BTreeSet<usize> {
    let mut by_id: BTreeMap<&str, BTreeMap<Option<NaiveDateTime>, Vec<usize>>> = BTreeMap::new();
    for (index, task) in tasks.iter().enumerate() {
        let start = task.times.first().map(|t| t.start);
        let of_id = by_id.entry(&task.id).or_default();
        of_id.entry(start).or_default().push(index);
    }
    let mut earlier = BTreeSet::new();
    for (id, by_start) in by_id {
        let count: usize = by_start.values().map(Vec::len).sum();
        if count < 2 {
            continue;
        }
        let starts = by_start.len();
        notes.push(format!(
            "Task {id} stands {count} times in the file. Where they began together, the one that ends last, or else shows \
             more, is taken; those that began apart ({starts} starts) are taken as tasks of their own."
        ));
        for same in by_start.values() {
            let last = same.iter().map(|index| state(&tasks[*index])).max();
            let is_earlier = |index: &&usize| last.as_ref() > Some(&state(&tasks[**index]));
            earlier.extend(same.iter().filter(is_earlier));
        }
    }
    earlier
}

/// How far a task is: what is greater is later.
fn state(task: &Task) -> (Option<NaiveDateTime>, [i64; GROWING.len()]) {
    let last = task.times.last();
    let values = || last.into_iter().flat_map(|time| &time.values);
    let sum = |ddi| {
        let of = values().filter(move |(number, ..)| *number == ddi);
        of.map(|(.., value)| i64::from(*value)).sum()
    };
    (task.until(), GROWING.map(sum))
}
