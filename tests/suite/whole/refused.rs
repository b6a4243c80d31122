//! Places that cannot be written to: a message that names the path and what to do, status 3.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use super::{IMPORT, binary, contents, in_folder, records, run, said, skipped};
use crate::cli::fleet;

/// A quick result that is written to a file.
const LIVES: &[&str] = &["lives", "DIR", "--out"];

/// Status 3, and a message with the path and these words.
fn assert_refused(output: &Output, path: &Path, words: &[&str]) {
    let said = said(output);
    assert_eq!(output.status.code(), Some(3), "{said}");
    let path = path.display().to_string();
    for word in words.iter().copied().chain([path.as_str()]) {
        assert!(said.contains(word), "no `{word}` in: {said}");
    }
    assert!(!said.contains("panicked"), "{said}");
}

/// Writes lives to a place; it must be refused with these words and change nothing in the folder.
fn refuse(place: &str, more: &[&str], words: &[&str], prepare: impl Fn(&Path)) {
    let folder = fleet();
    prepare(folder.path());
    let before = contents(folder.path());
    let place = in_folder(&[place], folder.path()).remove(0);
    let output = run(&[LIVES, &[place.as_str()], more].concat(), folder.path());
    assert_refused(&output, Path::new(&place), words);
    assert!(contents(folder.path()) == before);
}

#[test]
fn a_folder_that_is_not_there_is_told() {
    refuse(
        "DIR/gone/lives.csv",
        &[],
        &["there is no folder", "make it first"],
        |_| {},
    );
}

#[test]
fn a_file_where_a_folder_should_be_is_told() {
    let words = &["is a file and no folder"];
    refuse("DIR/usage.csv/lives.csv", &[], words, |_| {});
}

#[test]
fn a_folder_given_as_file_is_told() {
    for more in [&[][..], &["--force"]] {
        refuse("DIR/lives.csv", more, &["it is a folder"], |dir| {
            fs::create_dir(dir.join("lives.csv")).expect("a folder");
        });
    }
}

#[cfg(unix)]
#[test]
fn a_link_is_written_through_and_one_that_leads_nowhere_is_told() {
    use std::os::unix::fs::symlink;
    refuse("DIR/lives.csv", &["--force"], &["leads nowhere"], |dir| {
        symlink(dir.join("nothing"), dir.join("lives.csv")).expect("a link");
    });
    let folder = fleet();
    let elsewhere = tempfile::tempdir().expect("a folder");
    let real = elsewhere.path().join("real.csv");
    fs::write(&real, "old").expect("a file");
    symlink(&real, folder.path().join("lives.csv")).expect("a link");
    let output = run(
        &[LIVES, &["DIR/lives.csv", "--force"]].concat(),
        folder.path(),
    );
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    assert!(folder.path().join("lives.csv").is_symlink());
    assert!(
        fs::read_to_string(&real)
            .expect("a file")
            .starts_with("machine,")
    );
}

#[cfg(unix)]
#[test]
fn a_file_that_is_replaced_may_be_read_by_the_same_people() {
    use std::os::unix::fs::PermissionsExt;
    let folder = fleet();
    let path = folder.path().join("lives.csv");
    for mode in [0o600, 0o664] {
        fs::write(&path, "old").expect("a file");
        fs::set_permissions(&path, fs::Permissions::from_mode(mode)).expect("a mode");
        let output = run(
            &[LIVES, &["DIR/lives.csv", "--force"]].concat(),
            folder.path(),
        );
        assert_eq!(output.status.code(), Some(0), "{}", said(&output));
        let got = fs::metadata(&path).expect("a file").permissions().mode();
        assert_eq!(got & 0o777, mode);
    }
}

/// The folder may be written to, but somebody took care that this file stays.
#[cfg(unix)]
#[test]
fn a_file_that_is_read_only_is_not_replaced() {
    use std::os::unix::fs::PermissionsExt;
    let read_only = |path: &Path| {
        fs::set_permissions(path, fs::Permissions::from_mode(0o444)).expect("a mode");
    };
    for more in [&[][..], &["--force"]] {
        refuse("DIR/lives.csv", more, &["read-only", "chmod u+w"], |dir| {
            fs::write(dir.join("lives.csv"), "old").expect("a file");
            read_only(&dir.join("lives.csv"));
        });
    }
    let dir = records();
    let usage = dir.path().join("usage.csv");
    fs::write(&usage, "date,machine,product,tons\n").expect("a file");
    read_only(&usage);
    let before = contents(dir.path());
    assert_refused(&run(IMPORT, dir.path()), &usage, &["read-only"]);
    assert!(contents(dir.path()) == before);
}

/// A second name of a table on the same disk, and the file that a table is a link to.
#[cfg(unix)]
#[test]
fn records_are_not_replaced_by_another_name_of_theirs() {
    use std::os::unix::fs::symlink;
    let words = &["take the place of records"];
    refuse("DIR/results.csv", &["--force"], words, |dir| {
        fs::hard_link(dir.join("usage.csv"), dir.join("results.csv")).expect("a link");
    });
    let folder = fleet();
    let elsewhere = tempfile::tempdir().expect("a folder");
    for (name, table) in [("hard.csv", "usage.csv"), ("real.csv", "parts.csv")] {
        let (place, table) = (elsewhere.path().join(name), folder.path().join(table));
        if name == "hard.csv" {
            // Temporary folders lie on one disk.
            fs::hard_link(&table, &place).expect("a link");
        } else {
            fs::rename(&table, &place).expect("a file elsewhere");
            symlink(&place, &table).expect("a link");
        }
        let out = place.display().to_string();
        let output = run(&[LIVES, &[out.as_str(), "--force"]].concat(), folder.path());
        assert_refused(&output, &place, words);
    }
    // Another file with the name of a table, in another folder, is none of them.
    let out = elsewhere.path().join("usage.csv").display().to_string();
    let output = run(&[LIVES, &[out.as_str()]].concat(), folder.path());
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
}

/// Locks as spreadsheet programs lay them beside an open file; one of a file that is not there
/// belongs to nobody.
#[test]
fn a_file_open_in_a_spreadsheet_program_is_left_alone() {
    for lock in [".~lock.lives.csv#", "~$lives.csv"] {
        refuse(
            "DIR/lives.csv",
            &["--force"],
            &["spreadsheet program", lock],
            |dir| {
                fs::write(dir.join("lives.csv"), "old").expect("a file");
                fs::write(dir.join(lock), ",owner,desk,17.04.2026 09:00,file:///;")
                    .expect("a lock");
            },
        );
        let folder = fleet();
        fs::write(folder.path().join(lock), "").expect("a lock");
        let output = run(&[LIVES, &["DIR/lives.csv"]].concat(), folder.path());
        assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    }
}

/// The table would be saved again from the screen, and what was imported would be gone.
#[test]
fn nothing_is_imported_into_a_table_that_is_open() {
    let dir = records();
    fs::write(dir.path().join(".~lock.usage.csv#"), "").expect("a lock");
    let before = contents(dir.path());
    let output = run(IMPORT, dir.path());
    assert_refused(
        &output,
        &dir.path().join("usage.csv"),
        &["close it there first"],
    );
    assert!(contents(dir.path()) == before);
}

/// Writing to the kernel's own folder is refused to everybody.
#[cfg(target_os = "linux")]
#[test]
fn a_folder_that_takes_no_files_is_told() {
    let folder = fleet();
    let output = run(&[LIVES, &["/proc/lives.csv"]].concat(), folder.path());
    assert_refused(&output, Path::new("/proc/lives.csv"), &["`/proc`"]);
}

#[cfg(target_os = "linux")]
#[test]
fn a_screen_that_takes_nothing_is_told() {
    let folder = fleet();
    let full = fs::OpenOptions::new()
        .write(true)
        .open("/dev/full")
        .expect("a device");
    let mut command = super::command(&["lives", "DIR"], folder.path());
    let output = command
        .stdout(full)
        .stderr(Stdio::piped())
        .output()
        .expect("a run");
    assert_eq!(output.status.code(), Some(3));
    assert!(
        said(&output).contains("cannot be printed"),
        "{}",
        said(&output)
    );
}

/// A shell's limit on the size of files, in blocks of 512 or 1,024 bytes.
#[cfg(unix)]
fn limited(args: &[&str], folder: &Path, signal: &str) -> Output {
    let script = format!("{signal}ulimit -f 1; exec \"$0\" \"$@\"");
    Command::new("sh")
        .args(["-c", &script])
        .arg(binary())
        .args(in_folder(args, folder))
        .output()
        .expect("a shell")
}

/// Above the limit a write fails where the signal is ignored, and kills the program in the middle
/// of its writing where it is not.
#[cfg(unix)]
#[test]
fn a_file_that_grows_too_large_is_told_and_the_old_one_stays() {
    for signal in ["trap '' XFSZ; ", ""] {
        let folder = fleet();
        folder.write("lives.xlsx", "old");
        let start = tempfile::tempdir().expect("a folder");
        let path = start.path().join("records.xlsx");
        fs::write(&path, "old").expect("a file");
        let output = limited(&["start", "DIR", "--force"], start.path(), signal);
        if signal.is_empty() {
            assert_eq!(output.status.code(), None, "killed by the signal");
            let left = contents(start.path());
            assert!(left.keys().any(|p| {
                p.display()
                    .to_string()
                    .contains("wearcast-unfinished-records.xlsx")
            }));
        } else {
            assert_refused(&output, &path, &["File too large"]);
        }
        assert_eq!(fs::read(&path).expect("a file"), b"old");
        assert!(!start.path().join("settings.toml").exists());
    }
}

/// A disk of that many kilobytes, where the test may make one; it goes away with its guard.
struct Disk(tempfile::TempDir);

impl Disk {
    fn new(kilobytes: u32) -> Option<Self> {
        let folder = tempfile::tempdir().expect("a folder");
        let size = format!("size={kilobytes}k");
        mount(&["-t", "tmpfs", "-o", &size, "none"], folder.path()).then(|| Self(folder))
    }

    fn path(&self) -> PathBuf {
        self.0.path().to_path_buf()
    }
}

impl Drop for Disk {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg("-l").arg(self.0.path()).output();
    }
}

fn mount(args: &[&str], at: &Path) -> bool {
    let output = Command::new("mount").args(args).arg(at).output();
    output.is_ok_and(|o| o.status.success())
}

fn fill(folder: &Path, but: usize) {
    let path = folder.join("filler");
    let mut bytes = Vec::new();
    // As much as there is room for, less what is left free.
    while fs::write(&path, &bytes).is_ok() {
        bytes.resize(bytes.len() + 4096, 0);
    }
    bytes.truncate(bytes.len().saturating_sub(4096 + but));
    fs::write(&path, &bytes).expect("room for less");
}

#[test]
fn a_full_disk_is_told_and_nothing_is_changed() {
    let Some(disk) = Disk::new(1024) else {
        skipped("no disk can be mounted here to be filled");
        return;
    };
    let dir = records();
    let copy = disk.path();
    for (from, bytes) in contents(dir.path()) {
        let to = copy.join(from.strip_prefix(dir.path()).expect("below"));
        fs::create_dir_all(to.parent().expect("a folder")).expect("a folder");
        fs::write(to, bytes).expect("a file");
    }
    // Nothing is free; then so little that some files of a set find room and others do not.
    for but in [0, 4096] {
        fill(&copy, but);
        let before = contents(&copy);
        let output = run(IMPORT, &copy);
        assert_refused(&output, &copy, &["the disk is full", "make room"]);
        assert!(contents(&copy) == before);
        let output = run(&["start", "DIR/new"], &copy);
        assert_refused(&output, &copy, &["the disk is full"]);
        fs::remove_file(copy.join("filler")).expect("the filler");
    }
    let output = run(IMPORT, &copy);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
}

/// A folder that may not be written to: by its mode, or for those whom no mode stops by a disk
/// that is mounted for reading only.
#[test]
fn a_read_only_folder_is_told() {
    let folder = fleet();
    let out = tempfile::tempdir().expect("a folder");
    let mode = |mode: &str| {
        let set = Command::new("chmod").arg(mode).arg(out.path()).status();
        assert!(set.expect("chmod").success());
    };
    mode("555");
    let stopped = fs::write(out.path().join("probe"), "").is_err();
    let (place, _disk) = if stopped {
        (out.path().to_path_buf(), None)
    } else {
        let disk = Disk::new(64);
        let Some(disk) = disk.filter(|d| mount(&["-o", "remount,ro"], &d.path())) else {
            skipped("no mode stops this user, and no disk can be mounted");
            return;
        };
        (disk.path(), Some(disk))
    };
    let path = place.join("lives.csv");
    let place = path.display().to_string();
    let output = run(&[LIVES, &[place.as_str()]].concat(), folder.path());
    mode("755");
    assert_refused(&output, &path, &["write"]);
}

/// Root's own way to keep a file from being replaced: what is done and what is not must be said.
#[test]
fn a_table_that_cannot_be_replaced_is_told_with_what_was_written_before_it() {
    let dir = records();
    let usage = dir.path().join("usage.csv");
    // A name that is matched as it is, and so is new in its table.
    fs::remove_file(dir.path().join("machine_names.csv")).expect("a file");
    fs::write(
        dir.path().join("machines.csv"),
        "machine,in_service\nred,2025-01-01\nSN-A-1001,2025-01-01\nbig,2025-01-01\n",
    )
    .expect("a file");
    let change = |flag: &str| {
        let done = Command::new("chattr").arg(flag).arg(&usage).output();
        done.is_ok_and(|o| o.status.success())
    };
    if !change("+i") {
        skipped("no file can be made unchangeable here");
        return;
    }
    let output = run(IMPORT, dir.path());
    assert!(change("-i"));
    assert_refused(
        &output,
        &usage,
        &["written before it", "as it was", "machine_names.csv"],
    );
    let again = run(IMPORT, dir.path());
    assert_ne!(again.status.code(), Some(3), "{}", said(&again));
    assert!(
        fs::read_to_string(&usage)
            .expect("a table")
            .contains("SN-A-1001")
    );
}
