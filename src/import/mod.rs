//! Open standards to records: bytes of files in, use and meter readings out. No file is opened here.
//!
//! A standard's files are first read to what they say ([`taskdata`], [`telematics`]), in the words
//! of the file.
//! Then names are matched through tables that the owner keeps ([`names`]), and what is matched is
//! merged into a table of the records so that a second import changes nothing ([`ledger`]).

mod encoding;
pub mod ledger;
pub mod meters;
pub mod names;
pub mod taskdata;
pub mod telematics;
mod text;
pub mod usage;
mod xml;

pub use names::{Kind, Names, NamesError};

use std::collections::BTreeSet;

use crate::record::{Records, Table};

/// The kept tables of names.
#[derive(Clone, Debug)]
pub struct Kept {
    /// Machines.
    pub machines: Names,
    /// Bins.
    pub bins: Names,
    /// Products.
    pub products: Names,
}

impl Kept {
    /// `file`: the bytes of a kept table, where there is one.
    ///
    /// # Errors
    /// [`NamesError`] when one of them cannot be used.
    pub fn new(
        records: &Records,
        mut file: impl FnMut(Kind) -> Option<Vec<u8>>,
    ) -> Result<Self, NamesError> {
        let machines = records.machines.iter().map(|m| m.name.clone()).collect();
        let listed = records.sources.contains_key(&Table::Products);
        let products = records.products.iter().map(|p| p.name.clone());
        let bins: BTreeSet<String> = records
            .positions
            .iter()
            .filter_map(|p| p.bin.clone())
            .collect();
        let mut names = |kind, known| Names::new(kind, file(kind), known);
        Ok(Self {
            machines: names(Kind::Machine, Some(machines))?,
            bins: names(Kind::Bin, Some(bins))?,
            products: names(Kind::Product, listed.then(|| products.collect()))?,
        })
    }

    /// The kept tables that have new names, as files.
    #[must_use]
    pub fn files(&self) -> Vec<(&'static str, Vec<u8>)> {
        let all = [
            (Kind::Machine, &self.machines),
            (Kind::Bin, &self.bins),
            (Kind::Product, &self.products),
        ];
        all.into_iter()
            .filter(|(_, names)| names.is_changed())
            .map(|(kind, names)| (kind.file(), names.table()))
            .collect()
    }
}
