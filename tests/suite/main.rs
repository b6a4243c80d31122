//! Every test that looks at wearcast from outside, in one binary.

mod calibration;
mod fleet;
mod forecast;
mod lives;
mod properties;
mod read;
mod read_bare;
mod read_check;
mod read_files;
mod read_properties;
mod recovery;
mod reference;
mod workbook;
