//! The model files of the program, files of an owner's own, and what `wearcast models` says of both.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use serde_json::Value;
use wearcast::cli::{self, ExitStatus};
use wearcast::family::{Families, Family, Spread};

use crate::read::Folder;

/// What a command printed, and how it ended.
struct Ran {
    status: ExitStatus,
    out: String,
    err: String,
}

fn run(args: &[&str]) -> Ran {
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let args = ["wearcast", "models"].iter().chain(args);
    let status = cli::main(args.map(Into::into), &mut out, &mut err);
    let text = |bytes| String::from_utf8(bytes).expect("text");
    Ran {
        status,
        out: text(out),
        err: text(err),
    }
}

/// Name without extension and text of every file in `models/`.
fn files() -> Vec<(String, String)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("models");
    let entries = std::fs::read_dir(folder).expect("a folder");
    let mut paths: Vec<PathBuf> = entries.map(|e| e.expect("an entry").path()).collect();
    paths.sort();
    let read = |path: PathBuf| {
        let name = path.file_stem().expect("a name").to_string_lossy();
        let text = std::fs::read_to_string(&path).expect("readable");
        (name.into_owned(), text)
    };
    paths.into_iter().map(read).collect()
}

#[test]
fn every_model_file_is_built_in_and_says_what_it_is_and_whence() {
    let built_in = Families::built_in();
    let files = files();
    assert!(16 <= files.len());
    assert_eq!(files.len(), built_in.iter().count());
    for (name, text) in files {
        let family = Family::from_toml(&text).unwrap_or_else(|e| panic!("{name}: {e}"));
        assert_eq!(family.name, name, "the file has the family's name");
        assert_eq!(built_in.get(&name), family, "{name} is built in");
        assert!(100 < family.description.trim().len(), "{name}: description");
        assert!(family.source.is_some(), "{name}: source");
        assert!(family.caution.is_some(), "{name}: caution");
        let prior = family.prior;
        if family.service.is_some() {
            assert_eq!(prior.shape.or(prior.life50), None, "{name}: a service");
        } else {
            assert!(prior.shape.is_some(), "{name}: shape");
            assert!(prior.life50.is_some(), "{name}: life50");
        }
    }
}

#[test]
fn every_figure_of_a_prior_or_limit_stands_in_the_words_on_its_source() {
    for family in Families::built_in().iter() {
        let source = family.source.as_deref().expect("tested above");
        let says = |text: String| {
            let name = &family.name;
            assert!(source.contains(&text), "{name}: no `{text}` in: {source}");
        };
        let prior = family.prior;
        if let Some(Spread { median, spread }) = prior.shape {
            says(format!("shape {median:.1} within a factor of {spread}"));
        }
        if let Some(Spread { median, spread }) = prior.life50 {
            says(format!("life50 {median} "));
            says(format!("within a factor of {spread}"));
        }
        if let Some(factor) = prior.wear_factor {
            says(format!("wear factor within a factor of {factor}"));
        }
        if let Some(wear) = &family.wear {
            says(format!("limit {} {}", wear.limit, wear.unit));
        }
    }
}

#[test]
fn a_file_has_either_a_service_or_a_prior() {
    let text = "family = \"f\"\n[service]\nevery = { days = 9 }\n[prior]\nshape = { median = 2, spread = 2 }\n";
    let error = Family::from_toml(text).expect_err("both").to_string();
    assert!(error.starts_with("line 4, key `prior`: "), "{error}");
    for text in ["family = \"f\"\n", "family = \"f\"\n[prior]\n"] {
        assert!(Family::from_toml(text).is_ok(), "{text}");
    }
}

/// Text of a file, and what is said of it behind the file's name.
#[rustfmt::skip]
const BAD: [(&str, &str); 22] = [
    // No TOML.
    ("family = fin\n", "line 1, key `family`: found a word without quotes; expected text in quotes"),
    ("family = gate\n", "line 1, key `family`: found a word without quotes; expected text in quotes"),
    ("family = \"fin\n", "line 1, key `family`: invalid basic string, expected `\"`"),
    ("family = \"f\"\nmeasure tons\n", "line 2, key `measure`: key with no value, expected `=`"),
    ("family = \"f\"\n\n[prior\n", "line 3, key `prior`: unclosed table, expected `]`"),
    ("family = \"f\"\nfamily = \"g\"\n", "line 2, key `family`: duplicate key"),
    ("family = \"f\"\n[prior]\nshape = { median = 2 spread = 3 }\n", "line 3, key `shape`: extra assignment between key-value pairs, expected `,`"),
    // Keys.
    ("measure = \"tons\"\n", "key `family`: missing"),
    ("family = \"f\"\nmesure = \"tons\"\n", "line 2, key `mesure`: unknown, expected one of `family`, `description`, `measure`"),
    ("family = \"f\"\n[priors]\n", "line 2, key `priors`: unknown, expected one of `family`"),
    ("family = \"f\"\n[prior]\n# odd\nshape = { median = 2, sprad = 3 }\n", "line 4, key `sprad`: unknown, expected `median` or `spread`"),
    ("family = \"f\"\n[prior]\nlife50 = { median = 2 }\n", "line 3, key `spread`: missing"),
    ("family = \"f\"\n[wear]\nmeasure = \"play\"\nunit = \"mm\"\nnew = 1\n", "line 2, key `limit`: missing"),
    // Values.
    ("family = \" \"\n", "line 1, key `family`: found empty; expected the family's name"),
    ("family = \"f\"\nmeasure = \"miles\"\n", "line 2, key `measure`: found \"miles\"; expected one of `acres`, `tons`, `hours`, `days`, `best`"),
    ("family = \"f\"\n[prior]\nshape = { median = 2, spread = \"two\" }\n", "line 3, key `spread`: found string \"two\"; expected a number"),
    ("family = \"f\"\n[prior]\nshape = 2\n", "line 3, key `shape`: found integer `2`; expected a table `{ key = value }`"),
    ("family = \"f\"\n[prior.life50]\nmedian = 0\nspread = 2\n", "line 3, key `life50`: found median = 0; expected a median above 0"),
    ("family = \"f\"\n[prior.life50]\nmedian = 9\nspread = 0.5\n", "line 4, key `life50`: found spread = 0.5; expected a spread above 1"),
    ("family = \"f\"\n[wear]\nmeasure = \"play\"\nunit = \"mm\"\nnew = 2\nlimit = 2\n", "line 6, key `limit`: found 2; expected a limit that differs from `new`"),
    ("family = \"f\"\n[service]\nevery = { }\n", "line 3, key `every`: found none, or one that is not above 0; expected at least one of days"),
    ("family = \"f\"\n[prior]\n[service]\nevery = { days = 9 }\n", "line 3, key `service`: `[service]` and `[prior]` are both given"),
];

#[test]
fn a_bad_file_is_told_by_line_and_key_in_one_line() {
    for (text, said) in BAD {
        let folder = Folder::empty();
        folder.write("bad.toml", text);
        let path = folder.path().join("bad.toml").display().to_string();
        let ran = run(&["--validate", &path]);
        assert_eq!(ran.status, ExitStatus::Problems, "{text}");
        assert_eq!(ran.out, "");
        assert_eq!(ran.err.lines().count(), 1, "{}", ran.err);
        let start = format!("{path}, {said}");
        assert!(ran.err.starts_with(&start), "{}, not {start}", ran.err);
    }
}

#[test]
fn any_key_and_any_text_around_it_is_told_without_a_crash() {
    let (_, text) = files().swap_remove(0);
    for at in (0..text.len()).filter(|at| text.is_char_boundary(*at)) {
        for piece in ["\"", "=", "[", "\u{e4}", "\n"] {
            let broken = format!("{}{piece}{}", &text[..at], &text[at..]);
            if let Err(error) = Family::from_toml(&broken) {
                assert_eq!(error.to_string().lines().count(), 1, "{error}");
            }
        }
    }
}

#[test]
fn good_files_are_valid_and_bad_ones_beside_them_are_still_told() {
    let folder = Folder::empty();
    folder
        .write("gate.toml", "family = \"gate-seal\"\nmeasure = \"hours\"\n")
        .write("again.toml", "family = \"gate-seal\"\n")
        .write("odd.toml", b"family = \"\xff\"\n");
    let path = |name: &str| folder.path().join(name).display().to_string();
    let ran = run(&["--validate", &path("gate.toml")]);
    assert_eq!(ran.status, ExitStatus::Done);
    assert_eq!(
        ran.out,
        format!("{}: valid, family `gate-seal`\n", path("gate.toml"))
    );
    let all = [path("odd.toml"), path("gate.toml"), path("again.toml")];
    let ran = run(&["--validate", &all[0], &all[1], &all[2]]);
    assert_eq!(ran.status, ExitStatus::Problems);
    assert_eq!(ran.out.lines().count(), 1);
    let told: Vec<&str> = ran.err.lines().collect();
    assert_eq!(
        told,
        [
            format!("{}, not text in UTF-8; save it again", all[0]),
            format!(
                "{}, key `family`: `gate-seal` is the family of gate.toml too; delete or rename one of the two",
                all[2]
            ),
        ]
    );
    let ran = run(&["--validate", &path("gone.toml")]);
    assert_eq!(ran.status, ExitStatus::File);
    assert!(ran.err.contains("is not there"), "{}", ran.err);
}

#[test]
fn the_table_fits_80_columns_and_has_every_family_whole() {
    let ran = run(&[]);
    assert_eq!(ran.status, ExitStatus::Done);
    let widest = ran.out.lines().map(|line| line.chars().count()).max();
    assert!(widest <= Some(80), "{widest:?}\n{}", ran.out);
    let firsts = ran
        .out
        .lines()
        .filter_map(|line| line.split_whitespace().next());
    let mut listed: BTreeMap<&str, usize> = BTreeMap::new();
    for first in firsts {
        *listed.entry(first).or_insert(0) += 1;
    }
    for family in Families::built_in().iter() {
        let lines = listed.get(family.name.as_str()).copied();
        let expected = 1 + usize::from(family.wear.is_some());
        assert_eq!(lines, Some(expected), "{}", family.name);
    }
    let fin = ran
        .out
        .lines()
        .find(|line| line.trim_start().starts_with("spinner-fin"))
        .expect("a line");
    for word in ["set", "4,500 tons", "1,300 - 15,800", "3.5"] {
        assert!(fin.contains(word), "{word} in {fin}");
    }
}

#[test]
fn one_family_is_explained_in_words() {
    // The words, however the lines are broken.
    let told = |name: &str| {
        let ran = run(&[name]);
        assert_eq!(ran.status, ExitStatus::Done);
        assert!(ran.out.lines().all(|line| line.chars().count() <= 80));
        ran.out.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    let fin = told("spinner-fin");
    for words in [
        "spinner-fin (part of the program)",
        "half of them last about 4,500 tons; 90 % sure it is between 1,300 and 15,800",
        "share one life",
        "counted in tons spread",
        "a Weibull distribution",
        "Missouri Fertilizer Control Board",
        "Before you work on a machine ! Before you reach in",
    ] {
        assert!(fin.contains(words), "{words} in {fin}");
    }
    let chain = told("conveyor-chain");
    assert!(
        chain.contains("Limit - elongation: 0 % when new, worn out at 3 %"),
        "{chain}"
    );
    assert!(
        chain.contains("1.5 % with fixed centres or strands in parallel"),
        "{chain}"
    );
    let oil = told("gearcase-oil");
    assert!(oil.contains("due every 365 days"), "{oil}");
    assert!(!oil.contains("half of them"), "{oil}");
}

#[test]
fn a_name_without_a_file_is_a_slip_of_the_command_line() {
    let ran = run(&["spiner-fin"]);
    assert_eq!(ran.status, ExitStatus::Usage);
    assert_eq!(ran.out, "");
    assert!(
        ran.err.contains("`spiner-fin`") && ran.err.contains("spinner-fin, "),
        "{}",
        ran.err
    );
    assert_eq!(
        run(&["spinner-fin", "--validate", "x.toml"]).status,
        ExitStatus::Usage
    );
}

#[test]
fn files_of_a_folder_replace_the_built_in_ones_or_are_told() {
    let folder = Folder::empty();
    folder.write(
        "mine.toml",
        "family = \"sprocket\"\ncounted = \"each\"\ndistribution = \"exponential\"\n[service]\nevery = { days = 300, tons = 250.5 }\n",
    );
    let models = folder.path().display().to_string();
    let ran = run(&["sprocket", "--models", &models]);
    assert_eq!(ran.status, ExitStatus::Done);
    for words in [
        "from a model file of your own",
        "every 250.5 tons or 300 days, whichever comes first",
        "the model file does not say",
    ] {
        assert!(ran.out.contains(words), "{words} in {}", ran.out);
    }
    folder.write("mine.toml", "family = \"sprocket\"\n");
    let ran = run(&["sprocket", "--models", &models]);
    for words in [
        "how long they last is left to your records",
        "whichever your records speak for",
    ] {
        assert!(ran.out.contains(words), "{words} in {}", ran.out);
    }
    folder.write("other.toml", "family = \"gate\"\nmesure = \"tons\"\n");
    let ran = run(&["--models", &models]);
    assert_eq!(ran.status, ExitStatus::Problems);
    assert!(ran.err.contains("line 2, key `mesure`"), "{}", ran.err);
}

#[test]
fn json_and_csv_hold_the_same_figures_and_unknown_is_null() {
    let ran = run(&["--format", "json"]);
    let document: Value = serde_json::from_str(&ran.out).expect("JSON");
    for key in ["tool", "version", "as_of", "seed", "notes"] {
        assert!(document.get(key).is_some(), "{key}");
    }
    let families = document["families"].as_array().expect("a list");
    assert_eq!(families.len(), files().len());
    let named = |name: &str| {
        let found = families.iter().find(|f| f["family"] == name);
        found.unwrap_or_else(|| panic!("no {name}"))
    };
    let fin = named("spinner-fin");
    assert_eq!(fin["life50"]["estimate"], 4500.0);
    assert_eq!(fin["life50"]["high"], 15_750.0);
    assert_eq!(fin["wear"], Value::Null);
    assert_eq!(fin["service"], Value::Null);
    let oil = named("gearcase-oil");
    assert_eq!(oil["service"]["days"], 365.0);
    assert_eq!(oil["service"]["hours"], Value::Null);
    assert_eq!(oil["life50"], Value::Null);

    let folder = Folder::empty();
    let path = folder.path().join("families.csv");
    let ran = run(&["--out", &path.display().to_string()]);
    assert_eq!(ran.status, ExitStatus::Done, "{}", ran.err);
    let mut table = csv::Reader::from_path(&path).expect("written");
    let header = table.headers().expect("a header").clone();
    let rows: Vec<csv::StringRecord> = table.records().map(|r| r.expect("a row")).collect();
    assert_eq!(rows.len(), families.len());
    let column = |name: &str| header.iter().position(|h| h == name).expect("a column");
    let fin = rows.iter().find(|r| &r[0] == "spinner-fin").expect("a row");
    assert_eq!(&fin[column("life50_high")], "15750");
    assert_eq!(&fin[column("every_days")], "");
}
