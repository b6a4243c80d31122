//! Every test that looks at wearcast from outside, in one binary: polars is linked once.

#![expect(
    clippy::disallowed_methods,
    reason = "tests write the files that the program reads"
)]

mod ages;
mod alone;
mod backtest;
mod behind;
mod calibration;
mod cli;
mod compare;
mod damage;
mod decide;
mod degradation;
mod fleet;
mod forecast;
mod fuzz;
mod goodness;
mod hostile;
mod jobs;
mod kits;
mod layers;
mod limits;
mod lives;
mod meters;
mod models;
mod money;
mod notebooks;
mod others;
mod outside;
mod page;
mod paths;
mod plot;
mod posterior;
mod properties;
mod read;
mod read_bare;
mod read_check;
mod read_files;
mod read_mapping;
mod read_properties;
mod readme;
mod recovery;
mod reference;
mod resamples;
mod samples;
mod seasons;
mod snapshots;
mod start;
mod stock;
mod taskdata;
mod telematics;
mod terminal;
mod together;
mod traps;
mod usage_files;
mod usage_sums;
mod whole;
mod workbook;
