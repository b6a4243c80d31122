//! A sound folder of records, and a place on disk to lay one with something wrong in it.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use tempfile::TempDir;
use wearcast::read::Reading;
use wearcast::record::{Problem, Severity, Table};

/// A small fleet without a fault: file name and text.
pub(crate) const GOOD: [(&str, &str); 10] = [
    (
        "machines.csv",
        "machine,in_service,records_from,retired,site,owner code\nM1,2024-03-01,,,North,7\nM2,2020-01-01,2024-01-01,2025-12-31,South,8\n",
    ),
    (
        "positions.csv",
        "machine,position,part,quantity,bin,installed,tons_before\nM1,fins,F-1,4,,,\nM1,chain,C-1,1,rear,,\n\
         M2,fins,F-1,4,,unknown,\nM2,chain,C-1,1,,2023-01-01,250\nM2,oil,O-1,2.5,,,\n",
    ),
    (
        "parts.csv",
        "part,family,price,pack,critical,replaces\nF-1,frame-bushing,38.5,4,Degrades,\nC-1,conveyor-chain,900,,stops,\n\
         C-2,conveyor-chain,950,,stops,C-1\nO-1,gearcase-oil,12,,,\n",
    ),
    ("products.csv", "product,group\nlime,abrasive\npotash,\n"),
    (
        "usage.csv",
        "date,machine,product,acres,tons,hours,bin\n2024-04-01,M1,lime,120,240,8,rear\n2024-04-02,M1,potash,100,20,5,rear\n\
         2024-05-01,M2,lime,80,160,6,\n",
    ),
    (
        "replacements.csv",
        "date,machine,position,part,quantity,slot,reason,last_good\n2024-04-02,M1,fins,,1,left,worn,2024-04-01\n\
         2024-05-01,M2,chain,C-2,,,Broken,\n",
    ),
    (
        "inspections.csv",
        "date,machine,position,measure,value,unit\n2024-04-02,M1,chain,elongation,1.5,%\n",
    ),
    (
        "plan.csv",
        "month,machine,product,acres,tons\n2025-04,M2,lime,100,200\n",
    ),
    (
        "stock.csv",
        "part,on_hand,on_order,due\nF-1,8,4,2025-02-01\n",
    ),
    (
        "meters.csv",
        "date,machine,meter,reading,note,dial\n2024-04-01,M1,engine_hours,1210.5,,left\n2024-05-01,M1,Engine_Hours,1300,,left\n",
    ),
];

/// A folder on disk that is laid anew for every input; what did not change is left.
pub(crate) struct Room {
    dir: TempDir,
    laid: BTreeMap<PathBuf, Vec<u8>>,
}

impl Room {
    pub(crate) fn new() -> Self {
        Self {
            dir: tempfile::tempdir().expect("a temporary folder"),
            laid: BTreeMap::new(),
        }
    }

    /// These files and no others, by their paths in the folder.
    pub(crate) fn lay(&mut self, files: &[(&str, &[u8])]) -> &Path {
        let wanted = |path: &Path| files.iter().any(|(name, _)| Path::new(name) == path);
        self.laid.retain(|path, _| {
            let stays = wanted(path);
            if !stays {
                std::fs::remove_file(self.dir.path().join(path)).expect("a file that was laid");
            }
            stays
        });
        for (name, bytes) in files {
            let name = PathBuf::from(name);
            if self.laid.get(&name).is_some_and(|old| old == bytes) {
                continue;
            }
            let path = self.dir.path().join(&name);
            if let Some(above) = path.parent() {
                std::fs::create_dir_all(above).expect("a folder");
            }
            std::fs::write(&path, bytes).expect("a file");
            self.laid.insert(name, bytes.to_vec());
        }
        self.dir.path()
    }

    /// The good folder, with these files in place of those of the same table.
    pub(crate) fn good_but(&mut self, files: &[(&str, &[u8])]) -> &Path {
        let table = |name: &str| name.split(['.', '/']).next().map(str::to_owned);
        let replaced = |name: &str| files.iter().any(|(other, _)| table(other) == table(name));
        let kept = GOOD.iter().filter(|(name, _)| !replaced(name));
        let kept = kept.map(|(name, text)| (*name, text.as_bytes()));
        let all: Vec<(&str, &[u8])> = kept.chain(files.iter().copied()).collect();
        self.lay(&all)
    }
}

/// Read = used + set aside; every row set aside has a problem, and every problem row is set aside.
pub(crate) fn assert_accounted(reading: &Reading) {
    assert_eq!(
        reading.accounts.iter().map(|a| a.table).collect::<Vec<_>>(),
        Table::ALL
    );
    for account in &reading.accounts {
        assert_eq!(
            account.read,
            account.used + account.set_aside,
            "{account:?}"
        );
        let Some(source) = &account.source else {
            continue;
        };
        // A log in a folder of files ends in `/`, and its problems name the file; so do those of a log
        // of several years.
        let years = account.table == Table::Usage && source.contains(" year");
        let is_there = |place: &str| {
            place == source
                || source.ends_with('/') && place.starts_with(source.as_str())
                || years && place.to_lowercase().contains("usage")
        };
        let is_row = |p: &&Problem| p.severity == Severity::Problem && is_there(&p.place.source);
        let mut rows: Vec<(&str, u32)> = reading
            .problems
            .iter()
            .filter(is_row)
            .filter_map(|p| Some((&*p.place.source, p.place.row?)))
            .collect();
        rows.sort_unstable();
        rows.dedup();
        assert_eq!(
            rows.len() as u64,
            account.set_aside,
            "{account:?} {:#?}",
            reading.problems
        );
    }
    let mut sorted = reading.problems.clone();
    sorted.sort();
    assert_eq!(sorted, reading.problems);
}
