//! The part numbers that replacements leave out: what was fitted is then what was taken out.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;

use super::{Records, Replacement};

/// What one position holds.
#[derive(Default)]
struct Fitted {
    /// In every slot that `by_slot` does not name; `None`: not the same in all of them.
    whole: Option<String>,
    by_slot: BTreeMap<String, String>,
}

impl Fitted {
    /// What a change takes out, where that is one number.
    ///
    /// - `quantity`: pieces in the position.
    fn taken_out(&self, change: &Replacement, quantity: f64) -> Option<&String> {
        if let Some(slot) = &change.slot {
            return self.by_slot.get(slot).or(self.whole.as_ref());
        }
        // Where every slot has a name, nothing else is there.
        let first = self.by_slot.values().next();
        let all_named = quantity <= self.by_slot.len() as f64;
        let one = first.filter(|_| all_named).or(self.whole.as_ref())?;
        self.by_slot.values().all(|p| p == one).then_some(one)
    }

    fn fit(&mut self, part: &str, change: &Replacement, quantity: f64, all: bool) {
        if let Some(slot) = &change.slot {
            self.by_slot.insert(slot.clone(), part.to_owned());
        } else if all {
            self.whole = Some(part.to_owned());
            self.by_slot.clear();
        } else if self
            .taken_out(change, quantity)
            .is_none_or(|old| old != part)
        {
            // Nobody knows which of several it was.
            *self = Self::default();
        }
    }
}

impl Records {
    /// Names the part that each replacement fitted, where the row leaves it out and it can be told.
    pub(crate) fn name_parts_fitted(&mut self) {
        let mut order: Vec<usize> = (0..self.replacements.len()).collect();
        // Those of one day as they are sorted, which no order of rows in a file changes.
        order.sort_by_key(|i| self.replacements[*i].date);
        let whole_days = self.rows_of_whole_days(&order);
        let mut fitted: BTreeMap<(String, String), Fitted> = BTreeMap::new();
        for i in order {
            let change = &self.replacements[i];
            let Some(position) = self.position(&change.machine, &change.position) else {
                continue;
            };
            let place = (change.machine.clone(), change.position.clone());
            let here = fitted.entry(place).or_insert_with(|| Fitted {
                whole: Some(position.part.clone()),
                by_slot: BTreeMap::new(),
            });
            let quantity = position.quantity;
            let all = change.quantity.is_none_or(|q| quantity <= q) || whole_days.contains(&i);
            let part = change.part.as_ref();
            let part = part.or_else(|| here.taken_out(change, quantity));
            let part = part.cloned();
            if let Some(part) = &part {
                here.fit(part, change, quantity, all);
            }
            self.replacements[i].part = part;
        }
    }

    /// Rows that name the same number and no slot, where those of one day together renew a position.
    fn rows_of_whole_days(&self, order: &[usize]) -> BTreeSet<usize> {
        let mut days: BTreeMap<(&str, &str, NaiveDate), Vec<usize>> = BTreeMap::new();
        for i in order.iter().copied() {
            let change = &self.replacements[i];
            let day = (
                change.machine.as_str(),
                change.position.as_str(),
                change.date,
            );
            if change.slot.is_none() && change.part.is_some() && change.quantity.is_some() {
                days.entry(day).or_default().push(i);
            }
        }
        days.retain(|(machine, position, _), rows| {
            let of = |i: &usize| &self.replacements[*i];
            let pieces: f64 = rows.iter().filter_map(|i| of(i).quantity).sum();
            let alike = rows.iter().all(|i| of(i).part == of(&rows[0]).part);
            let place = self.position(machine, position);
            alike && place.is_some_and(|place| place.quantity <= pieces)
        });
        days.into_values().flatten().collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::{Amounts, Extra, Installed, Position, Reason};

    fn pair() -> Position {
        Position {
            row: 1,
            machine: "north".to_owned(),
            name: "chains".to_owned(),
            part: "old".to_owned(),
            quantity: 2.0,
            bin: None,
            installed: Installed::Unknown,
            is_dated: false,
            before: Amounts::default(),
            extra: Extra::new(),
        }
    }

    fn change(row: u32) -> Replacement {
        Replacement {
            row,
            date: NaiveDate::MIN,
            date_from: None,
            machine: "north".to_owned(),
            position: "chains".to_owned(),
            part: None,
            quantity: None,
            slot: None,
            reason: Reason::Worn,
            last_good: None,
            down_hours: None,
            labor_hours: None,
            parts_cost: None,
            note: None,
            extra: Extra::new(),
        }
    }

    /// Part, slot and quantity of each change of a pair fitted with `old`; what each is found to fit.
    fn named(changes: &[(&str, &str, f64)]) -> Vec<Option<String>> {
        let mut records = Records {
            positions: vec![pair()],
            ..Records::default()
        };
        let text = |t: &str| (!t.is_empty()).then(|| t.to_owned());
        records.replacements = changes
            .iter()
            .zip(1..)
            .map(|((part, slot, quantity), row)| Replacement {
                part: text(part),
                slot: text(slot),
                quantity: (0.0 < *quantity).then_some(*quantity),
                ..change(row)
            })
            .collect();
        records.name_parts_fitted();
        records.replacements.into_iter().map(|r| r.part).collect()
    }

    #[test]
    fn what_is_left_out_is_what_was_there() {
        let some = |part: &str| Some(part.to_owned());
        assert_eq!(
            named(&[("", "", 0.0), ("new", "", 0.0), ("", "", 0.0)]),
            [some("old"), some("new"), some("new")]
        );
        assert_eq!(
            named(&[("new", "left", 1.0), ("", "right", 1.0), ("", "left", 1.0)]),
            [some("new"), some("old"), some("new")]
        );
        // Both of them, in rows of their own.
        for slots in [["left", "right"], ["", ""]] {
            assert_eq!(
                named(&[
                    ("new", slots[0], 1.0),
                    ("new", slots[1], 1.0),
                    ("", "", 0.0)
                ]),
                [some("new"), some("new"), some("new")]
            );
        }
        // One of the two is new, and nobody knows which.
        assert_eq!(
            named(&[
                ("new", "", 1.0),
                ("", "", 1.0),
                ("old", "", 2.0),
                ("", "", 1.0)
            ]),
            [some("new"), None, some("old"), some("old")]
        );
    }
}
