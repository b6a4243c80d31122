//! Every test that looks at wearcast from outside, in one binary.
#![expect(
    clippy::disallowed_methods,
    reason = "tests make folders and files, and read them back"
)]

mod forecast;
mod layers;
mod lives;
mod notebooks;
mod read;
mod read_bare;
mod read_check;
mod read_files;
mod read_properties;
mod readme;
mod reference;
mod workbook;
