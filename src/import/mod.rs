//! Open standards to records: bytes of files in, use and meter readings out. No file is opened here.
//!
//! A standard's files are first read to what they say ([`taskdata`], [`telematics`]), in the words
//! of the file. Then names are matched through tables that the owner keeps ([`names`]), and what
//! is matched is merged into a table of the records so that a second import changes nothing
//! ([`ledger`]).

pub mod taskdata;
