//! A short run of what the fuzzer does at length: the same readers, inputs changed at random from a fixed beginning,
//! and everything that was found before.

#[path = "../fuzz/targets/mod.rs"]
pub(crate) mod targets;

use std::path::Path;

use rand::seq::IndexedRandom;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use targets::folder::Room;
use targets::{MARK, TARGETS, Target};

/// Bytes that mean something to one reader or another.
const TOKENS: [&[u8]; 24] = [
    b"\"",
    b",",
    b";",
    b"\n",
    b"\r\n",
    b"\0",
    b"=",
    b"-",
    b"'",
    b"<",
    b"/>",
    b"&",
    b"]]>",
    b"[",
    b"{",
    b"\xff\xff\xff\xff",
    b"\x80\0\0\0",
    b"1e308",
    b"-1",
    b"NaN",
    b"99999999999999999999",
    b"0000-00-00",
    b"\xef\xbb\xbf",
    &[MARK],
];

/// Changes an input in one way.
fn change(bytes: &mut Vec<u8>, others: &[Vec<u8>], random: &mut ChaCha8Rng) {
    let at = random.random_range(0..=bytes.len());
    let end = (at + random.random_range(1..24)).min(bytes.len());
    match random.random_range(0..7) {
        0 if at < bytes.len() => bytes[at] = random.random(),
        1 if at < bytes.len() => bytes[at] ^= 1 << random.random_range(0..8),
        2 => drop(bytes.drain(at..end)),
        3 => {
            let again = bytes[at..end].to_vec();
            let times = random.random_range(1..20);
            drop(bytes.splice(at..at, again.repeat(times)));
        }
        4 => {
            let other = others.choose(random).map_or(&[][..], Vec::as_slice);
            let from = random.random_range(0..=other.len());
            let until = (from + random.random_range(1..200)).min(other.len());
            drop(bytes.splice(at..end, other[from..until].iter().copied()));
        }
        5 => bytes.truncate(at.max(1)),
        _ => {
            let token = TOKENS.choose(random).copied().unwrap_or_default();
            drop(bytes.splice(at..at, token.iter().copied()));
        }
    }
}

/// Runs a reader on its seeds, on what was found before, and on as many changed inputs.
fn run(name: &str, times: usize) {
    let target = TARGETS
        .into_iter()
        .find(|t| t.name == name)
        .expect("a target");
    let mut room = Room::new();
    let seeds = (target.seeds)();
    for seed in seeds.iter().chain(&found(&target)) {
        (target.run)(&mut room, seed);
    }
    let mut random = ChaCha8Rng::seed_from_u64(7);
    for _ in 0..times {
        let mut bytes = seeds.choose(&mut random).cloned().unwrap_or_default();
        for _ in 0..random.random_range(1..6) {
            change(&mut bytes, &seeds, &mut random);
        }
        (target.run)(&mut room, &bytes);
    }
}

/// Inputs that once made a reader panic, hang or lose something.
fn found(target: &Target) -> Vec<Vec<u8>> {
    let dir = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fuzz/found");
    let mut files: Vec<_> = std::fs::read_dir(dir)
        .expect("a folder")
        .map(|entry| entry.expect("an entry").path())
        .filter(|path| {
            let name = path.file_name().unwrap_or_default().to_string_lossy();
            name.split('-').next() == Some(target.name)
        })
        .collect();
    files.sort();
    files
        .iter()
        .map(|path| std::fs::read(path).expect("a file"))
        .collect()
}

macro_rules! short_runs {
    ($($name:ident: $times:literal),*) => {
        $(#[test]
        fn $name() {
            run(stringify!($name), $times);
        })*

        #[test]
        fn every_reader_is_in_the_short_run_and_what_was_found_belongs_to_one() {
            assert_eq!([$(stringify!($name)),*], TARGETS.map(|t| t.name));
            let dir = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fuzz/found");
            let all = std::fs::read_dir(dir).expect("a folder").count();
            let of: usize = TARGETS.iter().map(|t| found(t).len()).sum();
            assert_eq!(all, of);
        }
    };
}

short_runs!(
    csv: 300, bare: 300, parquet: 200, xlsx: 100, sheets: 200, columns: 200, toml: 500, folder: 50,
    taskdata: 300, timelog: 300, archive: 300, telematics: 300, kept: 200
);
