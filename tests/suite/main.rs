//! Tests of the whole, in one binary.

mod workbook;
