//! The direction of dependencies, read from the source: a module may use those before it, never those after.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// The top modules of the crate. Each may use itself and those before it.
const MODULES: [&str; 19] = [
    "units",
    "registers",
    "record",
    "family",
    "wear",
    "life",
    "model",
    "degradation",
    "cost",
    "forecast",
    "decide",
    "stock",
    "score",
    "plot",
    "report",
    "study",
    "read",
    "import",
    "cli",
];

/// Crates with one home, so that a change of one is a change in one place.
const HOMES: [(&str, &str); 20] = [
    ("argmin", "model"),
    ("calamine", "read"),
    ("clap", "cli"),
    ("clap_complete", "cli"),
    ("clap_mangen", "cli"),
    ("comfy_table", "report/terminal"),
    ("maud", "report/html"),
    ("nalgebra", "model"),
    ("nuts_rs", "model"),
    ("memchr", "read"),
    ("polars_core", "read"),
    ("polars_io", "read"),
    ("polars_buffer", "read"),
    ("polars_parquet", "read"),
    ("polars_parquet_format", "read"),
    ("pulp", "registers.rs"),
    ("roxmltree", "import"),
    ("rust_xlsxwriter", "report/xlsx"),
    ("tempfile", "cli"),
    ("terminal_size", "cli"),
];

/// A source file: its path below `src`, and its text without comments.
struct Source {
    path: PathBuf,
    text: String,
}

impl Source {
    /// The module it is in; `None` for `lib.rs` and `main.rs`.
    fn module(&self) -> Option<String> {
        let first = self.path.iter().next()?.to_str()?;
        let module = first.strip_suffix(".rs").unwrap_or(first);
        (!["lib", "main"].contains(&module)).then(|| module.to_owned())
    }

    /// How many modules lie between the crate's root and this file's module, itself included.
    fn depth(&self) -> usize {
        let file = self.path.file_name().is_some_and(|name| name == "mod.rs");
        self.path.components().count() - usize::from(file)
    }

    /// The modules it names by `crate::module`, `crate::{module, ..}` or a chain of `super` up to the root.
    fn used(&self) -> BTreeSet<String> {
        let mut used = BTreeSet::new();
        for (at, _) in self.text.match_indices("crate::") {
            let before = self.text[..at].chars().next_back();
            if !before.is_some_and(|c| c.is_alphanumeric() || c == '_' || c == '$') {
                used.extend(first_names(&self.text[at + "crate::".len()..]));
            }
        }
        let mut rest = self.text.as_str();
        while let Some(at) = rest.find("super::") {
            rest = &rest[at..];
            let mut ups = 0;
            while let Some(shorter) = rest.strip_prefix("super::") {
                ups += 1;
                rest = shorter;
            }
            if self.depth() <= ups {
                let modules = first_names(rest).into_iter();
                used.extend(modules.filter(|name| MODULES.contains(&name.as_str())));
            }
        }
        used
    }
}

/// The names a path begins with: one, or those of a list in braces.
fn first_names(path: &str) -> Vec<String> {
    let name = |text: &str| -> String {
        let text = text.trim_start();
        let end = text.find(|c: char| !c.is_alphanumeric() && c != '_');
        text[..end.unwrap_or(text.len())].to_owned()
    };
    let Some(list) = path.strip_prefix('{') else {
        return vec![name(path)];
    };
    let mut names = vec![name(list)];
    let mut open = 1;
    for (at, c) in list.char_indices() {
        match c {
            '{' => open += 1,
            '}' => open -= 1,
            ',' if open == 1 => names.push(name(&list[at + 1..])),
            _ => {}
        }
        if open == 0 {
            break;
        }
    }
    names.retain(|name| !name.is_empty());
    names
}

/// Every file of `src`.
fn sources() -> Vec<Source> {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut folders = vec![src.clone()];
    let mut sources = Vec::new();
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(&folder).expect("a folder of sources") {
            let path = entry.expect("an entry").path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|e| e == "rs") {
                let text = fs::read_to_string(&path).expect("a source file");
                let code = text
                    .lines()
                    .map(|line| line.split("//").next().unwrap_or(""));
                sources.push(Source {
                    path: path.strip_prefix(&src).expect("below src").to_owned(),
                    text: code.collect::<Vec<_>>().join("\n"),
                });
            }
        }
    }
    sources.sort_by(|a, b| a.path.cmp(&b.path));
    sources
}

fn place(module: &str) -> usize {
    MODULES
        .iter()
        .position(|r| *r == module)
        .unwrap_or_else(|| panic!("module `{module}` has no place yet: add it to MODULES in tests/suite/layers.rs and to DEVELOPERS.md"))
}

#[test]
fn a_module_uses_only_those_before_it() {
    let mut wrong = Vec::new();
    let mut seen = 0;
    for source in sources() {
        let Some(module) = source.module() else {
            continue;
        };
        for used in source.used() {
            seen += 1;
            if place(&module) < place(&used) {
                wrong.push(format!("src/{} uses crate::{used}", source.path.display()));
            }
        }
    }
    assert!(
        100 < seen,
        "only {seen} paths were found: is the reader broken?"
    );
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn every_module_of_the_crate_has_a_place() {
    let lib = sources()
        .into_iter()
        .find(|s| s.path == Path::new("lib.rs"))
        .expect("lib.rs");
    let modules: BTreeSet<&str> = lib
        .text
        .lines()
        .filter_map(|line| {
            let public = line.strip_prefix("pub ").unwrap_or(line);
            public.strip_prefix("mod ")?.strip_suffix(';')
        })
        .collect();
    assert_eq!(modules, BTreeSet::from(MODULES));
}

#[test]
fn a_crate_with_one_home_is_named_nowhere_else() {
    for (name, home) in HOMES {
        let path = format!("{name}::");
        let users: Vec<PathBuf> = sources()
            .into_iter()
            .filter(|s| s.text.contains(&path))
            .map(|s| s.path)
            .collect();
        assert!(!users.is_empty(), "nothing uses `{name}`");
        for user in users {
            assert!(user.starts_with(home), "src/{} uses {name}", user.display());
        }
    }
}

#[test]
fn paths_are_read_from_every_way_to_write_them() {
    assert_eq!(first_names("life::build::Built"), ["life"]);
    assert_eq!(
        first_names("{wear::{Groups, x}, units, life::a}"),
        ["wear", "units", "life"]
    );
    let inside = |path: &str, text: &str| {
        let source = Source {
            path: path.into(),
            text: text.to_owned(),
        };
        source.used().into_iter().collect::<Vec<_>>()
    };
    assert_eq!(
        inside("model/fit.rs", "use super::super::report::X;"),
        ["report"]
    );
    assert_eq!(inside("model/mod.rs", "use super::report::X;"), ["report"]);
    assert!(inside("model/fit.rs", "use super::kernel; mycrate::report").is_empty());
}
