//! Every test that looks at wearcast from outside, in one binary.

mod reference;
mod workbook;
