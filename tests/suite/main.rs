//! Every test that looks at wearcast from outside, in one binary.

mod read;
mod read_properties;
mod reference;
mod workbook;
