//! What a fuzzer does with each reader: any bytes go in, and nothing may panic, hang or be lost.
//!
//! The fuzzer and the short run of `cargo test` share these.

pub(crate) mod folder;
mod imports;
pub(crate) mod seeds;
mod tables;

use folder::Room;

/// Between the files of one input.
pub(crate) const MARK: u8 = 0x1e;

/// A reader, or several that work together.
pub(crate) struct Target {
    pub(crate) name: &'static str,
    /// Reads an input and asserts what must hold of any.
    pub(crate) run: fn(&mut Room, &[u8]),
    /// Sound inputs to begin with.
    pub(crate) seeds: fn() -> Vec<Vec<u8>>,
}

/// One for every kind of file that is read.
pub(crate) const TARGETS: [Target; 13] = [
    target("csv", tables::csv, seeds::csv),
    target("bare", tables::bare, seeds::bare),
    target("parquet", tables::parquet, seeds::parquet),
    target("xlsx", tables::xlsx, seeds::xlsx),
    target("sheets", tables::sheets, seeds::sheets),
    target("columns", tables::columns, seeds::columns),
    target("toml", tables::toml, seeds::toml),
    target("folder", tables::whole_folder, seeds::whole_folder),
    target("taskdata", imports::task_data, seeds::task_data),
    target("timelog", imports::time_log, seeds::time_log),
    target("archive", imports::archive, seeds::archive),
    target("telematics", imports::telematics, seeds::telematics),
    target("kept", imports::kept_tables, seeds::kept_tables),
];

const fn target(
    name: &'static str,
    run: fn(&mut Room, &[u8]),
    seeds: fn() -> Vec<Vec<u8>>,
) -> Target {
    Target { name, run, seeds }
}

/// The files of an input; those that are missing are empty, the last takes the rest.
fn files<const N: usize>(bytes: &[u8]) -> [&[u8]; N] {
    let mut parts = bytes.splitn(N, |b| *b == MARK);
    [(); N].map(|()| parts.next().unwrap_or_default())
}

/// Files as one input.
fn joined<B: AsRef<[u8]>>(files: &[B]) -> Vec<u8> {
    let files: Vec<&[u8]> = files.iter().map(AsRef::as_ref).collect();
    files.join(&MARK)
}
