//! Which of two states of the same work is the later one.

use std::collections::{BTreeMap, BTreeSet};

use super::{Entry, Source, Table, TextRow, Value, origin};
use crate::record::formula::unguarded;
use crate::units::Measure;

/// What decides between states that end together, the best first: these only grow.
const GROWING: [(&str, Measure); 3] = [
    ("tons", Measure::Tons),
    ("acres", Measure::Acres),
    ("hours", Measure::Hours),
];
/// Part of an amount that rounding of its rows may make.
const ROUNDING: f64 = 1e-5;

/// A state of one work, all of its rows together.
#[derive(Clone, Debug, Default)]
struct State {
    until: Option<String>,
    last_day: String,
    /// Sums of [`GROWING`]; `None` where a row does not know it.
    sums: [Sum; 3],
}

#[derive(Clone, Copy, Debug)]
struct Sum(Option<f64>);

impl Default for Sum {
    fn default() -> Self {
        Self(Some(0.0))
    }
}

impl State {
    fn add(&mut self, until: Option<&str>, day: &str, amounts: [Option<f64>; 3]) {
        if self.until.as_deref() < until {
            self.until = until.map(str::to_owned);
        }
        if self.last_day.as_str() < day {
            day.clone_into(&mut self.last_day);
        }
        for (sum, more) in self.sums.iter_mut().zip(amounts) {
            sum.0 = sum.0.zip(more).map(|(sum, more)| sum + more);
        }
    }

    /// Why this state is older than that of the table; `None` where it is not, or nothing tells.
    /// `shown`: an amount of that name as the table has it, with its unit.
    fn older_than(&self, table: &Self, shown: impl Fn(&str, f64) -> String) -> Option<String> {
        let later = |table: &str, own: &str| {
            (own < table).then(|| {
                format!("the table has a later state of the same task, until {table}; this one goes until {own}")
            })
        };
        match (&table.until, &self.until) {
            (Some(table), Some(own)) if table != own => return later(table, own),
            (Some(_), Some(_)) => {}
            _ if table.last_day != self.last_day => return later(&table.last_day, &self.last_day),
            _ => {}
        }
        let sums = table.sums.iter().zip(&self.sums).zip(GROWING);
        let mut known = sums.filter_map(|((table, own), (name, _))| Some((table.0?, own.0?, name)));
        let (table, own, name) = known.next()?;
        (own < table - ROUNDING * table.max(1.0)).then(|| {
            let [table, own] = [table, own].map(|amount| shown(name, amount));
            format!(
                "the table has a later state of the same task, with {table}; this one has {own}"
            )
        })
    }
}

impl Table<'_> {
    /// Origins whose entries are an older state than the rows there, each with what tells so. Rows
    /// that the owner changed, and those that the file knows but does not write, decide nothing.
    pub(super) fn older<'e>(
        &self,
        rows: &[TextRow],
        entries: &'e [Entry],
        spared: &BTreeSet<String>,
    ) -> BTreeMap<&'e str, String> {
        let origins: BTreeSet<&str> = entries.iter().map(|e| e.origin.as_str()).collect();
        let mut there: BTreeMap<&str, State> = BTreeMap::new();
        let mut changed: BTreeSet<&str> = BTreeSet::new();
        for row in rows {
            let Some(Source { key, until, .. }) = self.source(row) else {
                continue;
            };
            let Some(origin) = origin(key).filter(|o| origins.contains(o)) else {
                continue;
            };
            if !self.is_untouched(row) {
                changed.insert(key);
            } else if !spared.contains(key) {
                let day = self.cell(row, "date").unwrap_or_default();
                let amounts = GROWING.map(|(name, _)| self.amount(row, name));
                there.entry(origin).or_default().add(until, day, amounts);
            }
        }
        let mut come: BTreeMap<&str, State> = BTreeMap::new();
        for entry in entries.iter().filter(|e| !changed.contains(e.key.as_str())) {
            let day = match entry.cells.get("date") {
                Some(Value::Text(day)) => day.as_str(),
                _ => "",
            };
            let amounts = GROWING.map(|(name, _)| match entry.cells.get(name) {
                Some(Value::Amount(_, amount)) => Some(*amount),
                _ => None,
            });
            let state = come.entry(&entry.origin).or_default();
            state.add(entry.until.as_deref(), day, amounts);
        }
        let decided = come.into_iter().filter_map(|(origin, state)| {
            Some((
                origin,
                state.older_than(there.get(origin)?, |name, amount| self.shown(name, amount))?,
            ))
        });
        decided.collect()
    }

    fn shown(&self, name: &str, amount: f64) -> String {
        match self.columns.places.get(name) {
            Some((at, factor)) => {
                let own = self.header.cell(*at);
                let unit = if own.is_empty() { name } else { own };
                format!("{:.3} {unit}", amount / factor)
            }
            None => format!("{amount:.3} {name}"),
        }
    }

    fn cell<'r>(&self, row: &'r TextRow, name: &str) -> Option<&'r str> {
        let (at, _) = self.columns.places.get(name)?;
        Some(unguarded(row.cell(*at)))
    }

    /// An amount of a row in internal units.
    fn amount(&self, row: &TextRow, name: &str) -> Option<f64> {
        let (at, factor) = self.columns.places.get(name)?;
        let amount: f64 = row.cell(*at).parse().ok()?;
        amount.is_finite().then_some(amount * factor)
    }
}
