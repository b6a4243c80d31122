//! Every test that looks at wearcast from outside, in one binary.

mod forecast;
mod goodness;
mod lives;
mod read;
mod read_bare;
mod read_check;
mod read_files;
mod read_properties;
mod reference;
mod workbook;
