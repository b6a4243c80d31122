//! The readers under a fuzzer that follows which of their edges an input runs. `.ci/fuzz` builds and runs it.
//!
//! Which reader: the variable `WEARCAST_FUZZ`. Where its sound inputs go: `WEARCAST_FUZZ_SEEDS`.

#![no_main]
#![expect(
    clippy::disallowed_methods,
    reason = "a fuzzer's own options are those of its arguments"
)]

mod targets;

use std::path::Path;
use std::sync::{Mutex, OnceLock};

use libfuzzer_sys::fuzz_target;

use targets::folder::Room;
use targets::{TARGETS, Target};

/// The reader asked for, and the folder it works in.
static AT_WORK: OnceLock<(Target, Mutex<Room>)> = OnceLock::new();

fn at_work() -> &'static (Target, Mutex<Room>) {
    AT_WORK.get_or_init(|| {
        let name = std::env::var("WEARCAST_FUZZ").unwrap_or_default();
        let target = TARGETS.into_iter().find(|t| t.name == name);
        let names = TARGETS.map(|t| t.name).join(", ");
        let target = target.unwrap_or_else(|| panic!("WEARCAST_FUZZ is none of {names}"));
        (target, Mutex::new(Room::new()))
    })
}

/// Writes the seeds of a target into a folder, where a fuzzer begins with them.
fn write(seeds: &[Vec<u8>], dir: &Path) {
    for (index, seed) in seeds.iter().enumerate() {
        std::fs::write(dir.join(format!("seed-{index}")), seed).expect("a seed");
    }
}

fuzz_target!(
    init: {
        if let Some(dir) = std::env::var_os("WEARCAST_FUZZ_SEEDS") {
            write(&(at_work().0.seeds)(), Path::new(&dir));
        }
    },
    |bytes: &[u8]| {
        let (target, room) = at_work();
        (target.run)(&mut room.lock().expect("one input after the other"), bytes);
    }
);
