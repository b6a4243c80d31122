//! Bare tables of lives and ages.

use rust_xlsxwriter::Workbook;
use wearcast::life::Ending;
use wearcast::read::{ReadError, bare_ages, bare_lives};
use wearcast::record::ProblemKind;

use crate::read::Folder;

#[test]
fn lives_with_groups_are_read_as_they_are_written() {
    let folder = Folder::empty();
    folder.write(
        "lives.csv",
        "machine,family,life,ended,low,entry,count,use_Lime,use_Pot ash,entry_Lime,low_Lime\n\
         M1,fin,8400,Worn,4000,,2,5000,3400,100,4000\nM2,fin,,running,,,,,,,\nM3,fin,300,planned,,20,,,300,,\n",
    );
    let (lives, problems, counts) = bare_lives(&folder.path().join("lives.csv")).expect("readable");
    assert_eq!((problems.len(), counts), (0, (3, 3, 0)));
    assert_eq!(
        (lives[0].life, lives[0].low, lives[0].count),
        (Some(8400.0), Some(4000.0), 2)
    );
    let lime = lives[0].groups["Lime"];
    assert_eq!(
        (lime.entry, lime.low, lime.end),
        (100.0, Some(4000.0), 5000.0)
    );
    assert_eq!(Some(lives[0].groups["Pot ash"].end), Some(3400.0));
    assert_eq!(
        (lives[1].life, lives[1].ended, lives[1].groups.len()),
        (None, Ending::Running, 0)
    );
    assert_eq!(
        (
            lives[2].entry,
            lives[2].groups["Lime"].end,
            lives[2].groups["Lime"].low
        ),
        (20.0, 0.0, None)
    );
}

#[test]
fn bad_lives_are_set_aside_one_by_one() {
    let cases = [
        ("100,lost,,,,", ProblemKind::UnknownWord),
        ("100,,,,,", ProblemKind::Missing),
        ("-1,worn,,,,", ProblemKind::OutOfRange),
        ("100,worn,101,,,", ProblemKind::Order),
        ("100,planned,,101,,", ProblemKind::Order),
        ("100,worn,,,0,", ProblemKind::OutOfRange),
        ("100,worn,,,1.5,", ProblemKind::OutOfRange),
        ("100,worn,,,,x", ProblemKind::NotANumber),
        ("100,worn", ProblemKind::RaggedRow),
    ];
    for (row, kind) in cases {
        let folder = Folder::empty();
        folder.write(
            "t.csv",
            format!("life,ended,low,entry,count,use_a\n50,worn,,,,\n{row}\n"),
        );
        let (lives, problems, counts) = bare_lives(&folder.path().join("t.csv")).expect("readable");
        assert_eq!((lives.len(), counts), (1, (2, 1, 1)), "{row}");
        assert_eq!(
            (problems[0].kind, problems[0].place.row),
            (kind, Some(3)),
            "{row}"
        );
    }
}

#[test]
fn ages_come_from_the_only_sheet_or_the_one_of_that_name() {
    let folder = Folder::empty();
    let path = folder.path().join("ages.xlsx");
    let mut book = Workbook::new();
    let sheet = book.add_worksheet();
    for (column, text) in ["age", "name", "count", "use_lime"].into_iter().enumerate() {
        sheet.write(0, column as u16, text).expect("written");
    }
    sheet.write(1, 0, 500).expect("written");
    sheet.write(1, 1, 17).expect("written");
    sheet.write(1, 3, 500).expect("written");
    book.save(&path).expect("saved");
    let (ages, problems, counts) = bare_ages(&path).expect("readable");
    assert_eq!((problems.len(), counts), (0, (1, 1, 0)));
    assert_eq!((ages[0].age, ages[0].name.as_deref()), (500.0, Some("17")));
    assert_eq!(ages[0].groups.get("lime"), Some(&500.0));
    book.add_worksheet();
    book.save(&path).expect("saved");
    let (_, problems, _) = bare_ages(&path).expect("readable");
    assert_eq!(
        (problems[0].kind, problems[0].place.row),
        (ProblemKind::MissingTable, None)
    );
}

#[test]
fn a_bare_table_without_its_columns_or_of_no_known_kind_is_told() {
    let folder = Folder::empty();
    folder
        .write("t.csv", "tons,ended\n1,worn\n")
        .write("t.ods", "x");
    let (_, problems, counts) = bare_lives(&folder.path().join("t.csv")).expect("readable");
    assert_eq!(
        (problems[0].kind, problems[0].place.row, counts),
        (ProblemKind::MissingColumn, None, (0, 0, 0))
    );
    assert!(matches!(
        bare_lives(&folder.path().join("t.ods")),
        Err(ReadError::UnknownKind { .. })
    ));
    assert!(matches!(
        bare_lives(&folder.path().join("gone.csv")),
        Err(ReadError::NotFound { .. })
    ));
}

#[test]
fn an_age_is_the_sum_of_what_its_products_did() {
    let folder = Folder::empty();
    folder.write(
        "ages.csv",
        "name,age,use_lime,use_urea\nleft,30,10,20\nright,30,,\nwrong,30,10,\n",
    );
    let (ages, problems, counts) = bare_ages(&folder.path().join("ages.csv")).expect("readable");
    assert_eq!((ages.len(), counts), (2, (3, 2, 1)));
    assert_eq!(problems[0].place.row, Some(4));
    assert_eq!(problems[0].place.column.as_deref(), Some("age"));
}

/// A pipe gives its bytes when it pleases, as a slow share does: a byte, a few, then the rest.
#[test]
#[cfg(unix)]
fn a_table_that_comes_in_bits_and_pieces_is_read_as_a_whole() {
    use std::io::Write as _;

    let text = "family,life,ended\nfin,8400,worn\n\"a, \"\"b\"\"\",300,planned\n";
    let folder = Folder::empty();
    let (pipe, file) = (
        folder.path().join("pipe.csv"),
        folder.path().join("file.csv"),
    );
    std::fs::write(&file, text).expect("a file");
    let made = std::process::Command::new("mkfifo").arg(&pipe).status();
    assert!(made.expect("mkfifo").success());
    let writer = std::thread::spawn({
        let pipe = pipe.clone();
        move || {
            let mut end = std::fs::OpenOptions::new()
                .write(true)
                .open(pipe)
                .expect("a reader");
            for byte in text.as_bytes() {
                end.write_all(&[*byte]).expect("a byte taken");
                std::thread::yield_now();
            }
        }
    });
    let read = bare_lives(&pipe).expect("readable");
    writer.join().expect("all written");
    assert_eq!(read.2, (2, 2, 0));
    assert_eq!(read.0, bare_lives(&file).expect("readable").0);
}

/// As many lives as a count can hold take no longer than a few, and speak as the few do.
#[test]
fn a_count_of_many_millions_is_one_row() {
    let shape = |count: u32| {
        let folder = Folder::empty();
        let rows = [(400, "worn"), (700, "worn"), (900, "running")];
        let rows = rows.map(|(life, ended)| format!("{life},{ended},{count}\n"));
        folder.write("t.csv", format!("life,ended,count\n{}", rows.concat()));
        let path = folder.path().join("t.csv");
        let path = path.to_str().expect("a path");
        let args = ["fit", "--lives", path, "--no-priors", "--format", "json"];
        let (status, out, err) = crate::cli::wearcast(&args);
        assert_eq!(status, wearcast::cli::ExitStatus::Done, "{err}");
        let report: serde_json::Value = serde_json::from_str(&out).expect("JSON");
        let family = &report["families"][0];
        assert_eq!(family["lives"], 3.0 * f64::from(count));
        family["shape"]["estimate"].as_f64().expect("a number")
    };
    assert!((shape(100_000_000) / shape(7) - 1.0).abs() < 1e-6);
}

fn fitted(text: &str, more: &[&str]) -> (wearcast::cli::ExitStatus, serde_json::Value, String) {
    let folder = Folder::empty();
    folder.write("t.csv", text);
    let path = folder.path().join("t.csv");
    let args = [
        &[
            "fit",
            "--lives",
            path.to_str().expect("a path"),
            "--format",
            "json",
        ],
        more,
    ]
    .concat();
    let (status, out, err) = crate::cli::wearcast(&args);
    (status, serde_json::from_str(&out).unwrap_or_default(), err)
}

fn notes(report: &serde_json::Value) -> String {
    report["notes"].to_string()
}

/// A model file speaks of tons; lives told in hours are hours, and what it says of the median life in tons is
/// left out.
#[test]
fn lives_are_in_the_measure_that_they_say() {
    let rows = "family,measure,life,ended\nconveyor-chain,hours,390,worn\nconveyor-chain,hours,410,worn\n\
                conveyor-chain,hours,300,running\n";
    let (status, report, err) = fitted(rows, &[]);
    assert_eq!(status, wearcast::cli::ExitStatus::Done, "{err}");
    let family = &report["families"][0];
    assert_eq!(family["measure"], "hours");
    let half = family["life50"]["estimate"].as_f64().expect("a number");
    assert!((380.0..430.0).contains(&half), "{half}");
    assert!(notes(&report).contains("its lives are told in hours"));
    // Two measures are no family.
    let (status, _, err) = fitted(&rows.replace("hours,300", "tons,300"), &[]);
    assert_eq!(status, wearcast::cli::ExitStatus::Problems);
    assert!(
        err.contains("row 4") && err.contains("`hours` as in row 2"),
        "{err}"
    );
}

/// What stands in the columns by group alone counts as if it stood in the others as well.
#[test]
fn columns_by_group_stand_for_the_whole() {
    let whole = "life,ended,low,entry,use_a,low_a,entry_a,use_b,low_b,entry_b\n\
                 1000,worn,900,0,600,550,0,400,350,0\n1200,worn,1100,100,100,90,20,1100,1010,80\n\
                 900,running,,200,450,,100,450,,100\n700,worn,650,0,350,325,0,350,325,0\n";
    let groups = whole
        .lines()
        .map(|line| {
            let mut cells: Vec<&str> = line.split(',').collect();
            cells.drain(2..4);
            cells.join(",") + "\n"
        })
        .collect::<String>();
    let figures = |text: &str| {
        let (status, report, err) = fitted(text, &["--no-priors", "--reference", "a"]);
        assert_eq!(status, wearcast::cli::ExitStatus::Done, "{err}");
        let family = &report["families"][0];
        assert_eq!(family["late_entry"], 2.0);
        family["log_likelihood"].as_f64().expect("a number")
    };
    assert!((figures(whole) - figures(&groups)).abs() < 1e-9);
}

#[test]
fn groups_that_do_not_add_up_to_the_life_are_told() {
    let (status, _, err) = fitted(
        "life,ended,use_a,use_b\n1000,worn,600,400\n1000,worn,600,\n",
        &[],
    );
    assert_eq!(status, wearcast::cli::ExitStatus::Problems);
    assert!(
        err.contains("row 3") && err.contains("add up to 600"),
        "{err}"
    );
    let (status, report, err) = fitted(
        "life,ended,use_a,use_b\n1000,worn,600,400\n1000,worn,,\n",
        &[],
    );
    assert_eq!(status, wearcast::cli::ExitStatus::Done, "{err}");
    assert!(
        notes(&report).contains("lives that name no product count as of a: 1"),
        "{report}"
    );
}

/// Groups are told apart to the letter, as products are: what `lives` writes is accepted as it is.
#[test]
fn groups_that_differ_in_case_or_a_hyphen_are_two() {
    let text = "life,ended,use_lime 1,use_Lime-1\n1000,worn,600,400\n900,worn,100,800\n";
    let (status, report, err) = fitted(text, &[]);
    assert_eq!(status, wearcast::cli::ExitStatus::Done, "{err}");
    assert_eq!(
        report["families"][0]["wear_factors"]
            .as_array()
            .map(Vec::len),
        Some(1)
    );
}

/// Without a model file there is a weak prior on the shape alone: the same as from a file that says only that.
#[test]
fn a_family_without_a_file_has_a_prior_on_its_shape_alone() {
    let rows = "family,life,ended,use_mild,use_lime\n\
                x,1000,worn,1000,0\nx,1200,worn,1200,0\nx,150,worn,0,150\nx,130,worn,0,130\nx,900,running,900,0\n";
    let folder = Folder::empty();
    let text =
        "family = \"x\"\nmeasure = \"tons\"\n[prior]\nshape = { median = 2.0, spread = 3.0 }\n";
    folder.write("x.toml", text);
    let models = folder.path().to_str().expect("a path").to_owned();
    let factor = |more: &[&str]| {
        let (status, report, err) = fitted(rows, more);
        assert_eq!(status, wearcast::cli::ExitStatus::Done, "{err}");
        report["families"][0]["wear_factors"].clone()
    };
    let without = factor(&["--reference", "mild"]);
    assert_eq!(
        without,
        factor(&["--reference", "mild", "--models", &models])
    );
}

#[test]
fn units_that_are_no_measure_and_sums_that_differ_are_told() {
    let cases = [
        ("life,ended,measure\n500,worn,tons\n700,worn,kg\n", "row 3"),
        (
            "life,ended,low,use_a,low_a\n500,worn,450,500,450\n700,worn,0,700,600\n",
            "`low_` that add up to 600",
        ),
        (
            "life,ended,entry,use_a,entry_a\n500,worn,,500,\n700,worn,250,700,10\n",
            "`entry_` that add up to 10",
        ),
    ];
    for (text, words) in cases {
        let (status, _, err) = fitted(text, &[]);
        assert_eq!(status, wearcast::cli::ExitStatus::Problems, "{text}");
        assert!(err.contains(words), "{words}: {err}");
    }
}

/// What is changed by schedule has no life left to tell, and stops nobody who asks for the others'.
#[test]
fn ages_of_scheduled_parts_are_left_out_and_counted() {
    let folder = Folder::empty();
    folder
        .write(
            "l.csv",
            "family,life,ended\nspinner-fin,5200,worn\nspinner-fin,3900,worn\n",
        )
        .write("a.csv", "family,age\nspinner-fin,100\ngearcase-oil,10\n");
    let [lives, ages] = ["l.csv", "a.csv"].map(|name| folder.path().join(name));
    let [lives, ages] = [&lives, &ages].map(|path| path.to_str().expect("a path"));
    let args = [
        "remaining",
        "--lives",
        lives,
        "--ages",
        ages,
        "--format",
        "json",
    ];
    let (status, out, err) = crate::cli::wearcast(&args);
    assert_eq!(status, wearcast::cli::ExitStatus::Done, "{err}");
    let report: serde_json::Value = serde_json::from_str(&out).expect("JSON");
    assert_eq!(report["parts"].as_array().map(Vec::len), Some(1));
    assert!(notes(&report).contains("changed by schedule, which have no life left to tell: 1"));
}

/// A life whose machine nobody wrote down is of a machine of its own, and the others stay apart.
#[test]
fn a_life_of_no_named_machine_makes_no_machine_like_the_others() {
    // Two sorts of machine, whose parts last 500 and 1,000.
    let mut rows = "life,ended,machine\n".to_owned();
    for machine in 0..8_u32 {
        for k in 0..6_u32 {
            let life = (500 + 500 * (machine % 2)) * (92 + 3 * k) / 100;
            rows += format!("{life},worn,M{machine}\n").as_str();
        }
    }
    let fit = |last: &str| {
        let (status, report, err) = fitted(&(rows.clone() + last), &[]);
        assert_eq!(status, wearcast::cli::ExitStatus::Done, "{err}");
        let family = &report["families"][0];
        let number = |key: &str| family[key]["estimate"].as_f64().expect(key);
        let spread = family["machine_spread"]["estimate"].as_f64();
        [
            number("shape"),
            number("life10"),
            spread.expect("machines differ"),
        ]
    };
    let (named, unnamed) = (fit("700,worn,Z\n"), fit("700,worn,\n"));
    for (named, unnamed) in named.into_iter().zip(unnamed) {
        assert!(
            (named / unnamed - 1.0).abs() < 1e-6,
            "{unnamed} for {named}"
        );
    }
}

/// Where only the whole is known at the last look, the mix is that of the use after the entry.
#[test]
fn a_last_look_is_not_before_the_entry_of_any_product() {
    let lives = [
        (2_000, 1_500),
        (2_300, 1_800),
        (1_900, 1_600),
        (2_600, 2_000),
    ];
    let mut whole = "life,ended,entry,low,use_lime,use_urea,entry_lime\n".to_owned();
    let mut by_product =
        "life,ended,entry,low,use_lime,use_urea,entry_lime,low_lime,low_urea\n".to_owned();
    for (k, (life, low)) in lives.into_iter().enumerate() {
        let lime = 950 + 60 * k as u32;
        let urea = life - lime;
        let row = format!("{life},worn,900,{low},{lime},{urea},900");
        whole += format!("{row}\n").as_str();
        let share = f64::from(low - 900) / f64::from(life - 900);
        let low_lime = 900.0 + f64::from(lime - 900) * share;
        let low_urea = f64::from(urea) * share;
        by_product += format!("{row},{low_lime},{low_urea}\n").as_str();
    }
    let figures = |text: &str| {
        let (status, report, err) = fitted(text, &["--reference", "lime"]);
        assert_eq!(status, wearcast::cli::ExitStatus::Done, "{err}");
        report["families"][0]["log_likelihood"]
            .as_f64()
            .expect("a fit")
    };
    assert!((figures(&whole) - figures(&by_product)).abs() < 1e-6);
}
