//! x
#[test] fn t() {}
