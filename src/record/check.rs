//! Checks across tables.
