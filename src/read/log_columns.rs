//! The headers of the usage log and of the products, as they stand in their files.

use std::path::Path;

use super::cell::{Cell, Wrong};
use super::error::ReadError;
use super::find::{self, Folder, Home};
use super::header::normal;
use super::sink::Sink;
use super::tables;
use super::{csv, parquet};
use crate::record::Table;
use crate::report::sql::{LogColumns, ProductColumns};

/// Takes the headers and nothing else.
#[derive(Default)]
struct Headers(Vec<String>);

impl Sink for Headers {
    fn header(&mut self, headers: &[String]) -> bool {
        self.0 = headers.iter().map(|h| h.trim().to_owned()).collect();
        false
    }
    fn row(&mut self, _: u32, _: &[Cell<'_>]) {}
    fn bad_row(&mut self, _: u32, _: Option<usize>, _: Wrong) {}
    fn bad_table(&mut self, _: Wrong) {}
    fn takes(&self) -> String {
        String::new()
    }
}

/// The columns that daily sums are made from, or why they cannot be told.
///
/// # Errors
/// [`ReadError`] when the folder or one of its files cannot be read.
pub fn log_columns(dir: &Path) -> Result<Result<LogColumns, String>, ReadError> {
    let mut folder = find::folder(dir)?;
    let usage = headers(&mut folder, Table::Usage)?;
    let products = headers(&mut folder, Table::Products)?;
    let mapped = [Table::Usage, Table::Products]
        .into_iter()
        .find(|table| folder.mapping.tables.contains_key(table));
    if let Some(table) = mapped {
        let name = table.name();
        return Ok(Err(format!(
            "`{name}` is read through columns.toml, whose rules have no SQL"
        )));
    }
    let products = products.first().map(Vec::as_slice);
    let mut of_files = usage.iter().map(|headers| columns(headers, products));
    let Some(first) = of_files.next() else {
        return Ok(Err("there is no usage log in the folder".to_owned()));
    };
    Ok(if of_files.all(|other| other == first) {
        first
    } else {
        Err("the files of the usage log name their columns differently".to_owned())
    })
}

/// The headers of each file of a table.
fn headers(folder: &mut Folder, table: Table) -> Result<Vec<Vec<String>>, ReadError> {
    let Some(found) = folder.tables.get(&table) else {
        return Ok(Vec::new());
    };
    let mut list = Vec::new();
    for (file, constants) in found.files() {
        let mut headers = Headers::default();
        match (&file.home, folder.book.as_mut()) {
            (Home::Csv(path), _) => csv::read(path, ',', &mut headers)?,
            (Home::Parquet(path), _) => parquet::read(path, &constants, &mut headers)?,
            (Home::Sheet(sheet), Some(book)) => book.read(sheet, &mut headers)?,
            (Home::Sheet(_) | Home::Parts(_), _) => {}
        }
        list.push(headers.0);
    }
    Ok(list)
}

fn columns(usage: &[String], products: Option<&[String]>) -> Result<LogColumns, String> {
    let of = |headers: &[String], name: &str| {
        let header = headers.iter().find(|h| normal(h) == normal(name));
        header.cloned()
    };
    let needed =
        |name: &str| of(usage, name).ok_or_else(|| format!("`usage` has no column `{name}`"));
    let found = tables::spec(Table::Usage).columns(usage).map_err(|_| {
        "the headers of `usage` cannot be used; `wearcast check` says why".to_owned()
    })?;
    let amounts = found.amounts.iter().map(|a| found.headers[a.index].clone());
    let products = products.and_then(|headers| {
        Some(ProductColumns {
            product: of(headers, "product")?,
            group: of(headers, "group")?,
        })
    });
    Ok(LogColumns {
        date: needed("date")?,
        machine: needed("machine")?,
        product: needed("product")?,
        bin: of(usage, "bin"),
        amounts: amounts.collect(),
        products,
    })
}
