//! Which column of which table a comparison is by, and the value of a life under it.

use std::collections::BTreeSet;

use crate::life::Life;
use crate::record::{Extra, Records, Table};
use crate::study::StudyError;

/// What lives are told apart by.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum By {
    /// Product groups.
    Products,
    /// Machines.
    Machines,
    /// A column.
    Column(Column),
}

/// A column of machines, positions or parts.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Column {
    pub(super) table: Table,
    /// As the records write it.
    pub(super) name: String,
    /// The same name in other tables.
    pub(super) also_in: Vec<Table>,
}

/// Tables in the order in which a name is looked for: what is nearest to the part first.
const TABLES: [Table; 3] = [Table::Parts, Table::Positions, Table::Machines];

/// Columns that tell one thing from every other.
const NAMES: [&str; 4] = ["part", "description", "position", "customer"];

/// A column of the owner's own in `products`, also as `products.COLUMN`, where no other table has it.
pub(super) fn of_products(records: &Records, wanted: &str) -> Option<String> {
    let (said, name) = match wanted.split_once('.') {
        Some((table, name)) if normal(table) == Table::Products.name() => (true, name),
        _ => (false, wanted),
    };
    if !said && By::find(records, wanted).is_ok() {
        return None;
    }
    let mut columns = records.products.iter().flat_map(|p| p.extra.keys());
    columns.find(|c| normal(c) == normal(name)).cloned()
}

/// Columns the program names and that hold text.
fn named(table: Table) -> &'static [&'static str] {
    match table {
        Table::Parts => &["part", "material", "description", "kit"],
        Table::Positions => &["position", "bin"],
        _ => &["site", "customer"],
    }
}

fn extras(records: &Records, table: Table) -> Box<dyn Iterator<Item = &Extra> + '_> {
    match table {
        Table::Parts => Box::new(records.parts.iter().map(|p| &p.extra)),
        Table::Positions => Box::new(records.positions.iter().map(|p| &p.extra)),
        _ => Box::new(records.machines.iter().map(|m| &m.extra)),
    }
}

/// Every column of a table that lives can be told apart by.
fn columns(records: &Records, table: Table) -> Vec<String> {
    let own: BTreeSet<&String> = extras(records, table).flat_map(Extra::keys).collect();
    let named = named(table).iter().map(|n| (*n).to_owned());
    named.chain(own.into_iter().cloned()).collect()
}

/// Header names are matched without regard to case, spaces, `-` and `_`.
pub(super) fn normal(text: &str) -> String {
    let kept = |c: &char| !(c.is_whitespace() || matches!(c, '-' | '_'));
    text.chars()
        .filter(kept)
        .flat_map(char::to_lowercase)
        .collect()
}

impl By {
    /// The column of that name, also as `TABLE.COLUMN`.
    ///
    /// # Errors
    /// [`StudyError::Column`] with the columns there are.
    pub(super) fn find(records: &Records, wanted: &str) -> Result<Self, StudyError> {
        let (table, name) = match wanted.split_once('.') {
            Some((table, name)) if TABLES.iter().any(|t| t.name() == normal(table)) => {
                (Some(normal(table)), normal(name))
            }
            _ => (None, normal(wanted)),
        };
        match (table.as_deref(), name.as_str()) {
            (None, "product" | "group") => return Ok(Self::Products),
            (None | Some("machines"), "machine") => return Ok(Self::Machines),
            _ => {}
        }
        let mut found: Vec<(Table, String)> = Vec::new();
        for of in TABLES {
            if table.as_deref().is_some_and(|t| t != of.name()) {
                continue;
            }
            let mut columns = columns(records, of).into_iter();
            found.extend(columns.find(|c| normal(c) == name).map(|c| (of, c)));
        }
        let mut found = found.into_iter();
        let Some((table, name)) = found.next() else {
            return Err(StudyError::Column {
                name: wanted.to_owned(),
                known: known(records),
            });
        };
        Ok(Self::Column(Column {
            table,
            name,
            also_in: found.map(|(table, _)| table).collect(),
        }))
    }
}

/// The columns there are, in words.
fn known(records: &Records) -> String {
    let of = |table: Table, first: &[&str]| {
        let first = first.iter().map(|n| (*n).to_owned());
        let names: Vec<String> = first.chain(columns(records, table)).collect();
        format!("of {}: {}", table.name(), names.join(", "))
    };
    let own: BTreeSet<&str> = records
        .products
        .iter()
        .flat_map(|p| p.extra.keys().map(String::as_str))
        .collect();
    let products: Vec<&str> = ["product", "group"].into_iter().chain(own).collect();
    format!(
        "{}; {}; {}; {}",
        products.join(", "),
        of(Table::Machines, &["machine"]),
        of(Table::Positions, &[]),
        of(Table::Parts, &[])
    )
}

impl Column {
    /// Every other column of the three tables, but for those that name single things.
    pub(super) fn others(&self, records: &Records) -> Vec<Self> {
        let of = |table: Table| {
            let names = columns(records, table).into_iter();
            let kinds = names.filter(|n| !NAMES.contains(&n.as_str()));
            kinds.map(move |name| Self {
                table,
                name,
                also_in: Vec::new(),
            })
        };
        let itself = |c: &Self| c.table == self.table && c.name == self.name;
        let all = TABLES.into_iter().flat_map(of);
        all.filter(|c| !itself(c)).collect()
    }

    /// What the records say of a life under this column; `None`: nothing.
    pub(super) fn value(&self, records: &Records, life: &Life) -> Option<String> {
        match self.table {
            Table::Parts => {
                // What a part is made of is that of the number fitted, where the list still has it.
                let part = records
                    .part(&life.number)
                    .or_else(|| records.part(&life.part));
                match self.name.as_str() {
                    "part" => Some(life.part.clone()),
                    "material" => part?.material.clone(),
                    "description" => part?.description.clone(),
                    "kit" => part?.kit.clone(),
                    own => part?.extra.get(own).cloned(),
                }
            }
            Table::Positions => {
                let position = records.position(&life.machine, &life.position)?;
                match self.name.as_str() {
                    "position" => Some(position.name.clone()),
                    "bin" => position.bin.clone(),
                    own => position.extra.get(own).cloned(),
                }
            }
            _ => {
                let machine = records.machine(&life.machine)?;
                match self.name.as_str() {
                    "site" => machine.site.clone(),
                    "customer" => machine.customer.clone(),
                    own => machine.extra.get(own).cloned(),
                }
            }
        }
    }
}
