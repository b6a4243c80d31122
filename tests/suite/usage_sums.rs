//! Daily sums in place of the usage log, and the query that makes them.

use std::collections::BTreeMap;
use std::fmt::Write;
use std::path::Path;

use crate::cli::wearcast;
use crate::read::Folder;

const OWNER: &str = "sample-data/owner";

fn lives(dir: &str, more: &[&str]) -> (String, String) {
    let mut args = vec!["lives", dir, "--format", "json"];
    args.extend(more);
    let (_, out, err) = wearcast(&args);
    (out, err)
}

/// Rows of a table, by header.
fn table(path: &Path) -> Vec<BTreeMap<String, String>> {
    let mut reader = csv::Reader::from_path(path).expect("a table");
    let headers = reader.headers().expect("headers").clone();
    let named = |row: csv::StringRecord| {
        let cells = headers.iter().zip(row.iter());
        cells.map(|(h, c)| (h.to_owned(), c.to_owned())).collect()
    };
    reader.records().map(|r| named(r.expect("a row"))).collect()
}

/// Sums of the sample's log by machine, day, bin and group, added by other means than the
/// program's.
fn sums(dir: &Path) -> String {
    let products = table(&dir.join("products.csv"));
    let group = |product: &str| {
        let row = products.iter().find(|p| p["product"] == product);
        let group = row.map_or("", |p| p["group"].as_str());
        if group.is_empty() {
            product.to_owned()
        } else {
            group.to_owned()
        }
    };
    let measures = ["acres", "tons", "hours"];
    let mut by_product: BTreeMap<[String; 5], [Option<f64>; 3]> = BTreeMap::new();
    for row in table(&dir.join("usage.csv")) {
        let cell = |name: &str| row.get(name).cloned().unwrap_or_default();
        let product = cell("product");
        let key = [
            cell("date"),
            cell("machine"),
            cell("bin"),
            group(&product),
            product,
        ];
        let sum = by_product.entry(key).or_default();
        for (sum, measure) in sum.iter_mut().zip(measures) {
            if let Ok(amount) = cell(measure).parse::<f64>() {
                *sum = Some(sum.unwrap_or(0.0) + amount);
            }
        }
    }
    let mut sums: BTreeMap<[String; 4], [Option<f64>; 3]> = BTreeMap::new();
    for ([date, machine, bin, group, _], amounts) in by_product {
        // What one product leaves out is not known of the group.
        sums.entry([date, machine, bin, group])
            .and_modify(|sum| *sum = [0, 1, 2].map(|i| Some(sum[i]? + amounts[i]?)))
            .or_insert(amounts);
    }
    let mut text = "date,machine,bin,group,acres,tons,hours\n".to_owned();
    for (key, sum) in sums {
        // To the thousandth, as sums of decimals in binary end in many nines.
        let shown = sum.map(|s| s.map_or(String::new(), |s| format!("{s:.3}")));
        writeln!(text, "{},{}", key.join(","), shown.join(",")).expect("text");
    }
    text
}

#[test]
fn daily_sums_take_the_place_of_the_log() {
    let folder = Folder::empty();
    folder.write("sums.csv", sums(Path::new(OWNER)));
    let path = folder.path().join("sums.csv");
    let (of_log, err) = lives(OWNER, &[]);
    assert!(err.is_empty() && 1_000 < of_log.len(), "{err}");
    let (of_sums, err) = lives(OWNER, &["--usage-sums", path.to_str().expect("a path")]);
    assert_eq!(err, "");
    assert_alike(&of_log, &of_sums, 1e-9);
}

#[test]
fn sums_of_a_group_that_no_product_has_are_set_aside() {
    let folder = Folder::good();
    folder.write(
        "sums.csv",
        "date,machine,group,tons\n2024-04-01,M1,abrasive,5\n2024-04-01,M1,lime,5\n",
    );
    let path = folder.path().join("sums.csv");
    let dir = folder.path().to_str().expect("a path");
    let (status, out, _) =
        wearcast(&["check", dir, "--usage-sums", path.to_str().expect("a path")]);
    assert_eq!(status, wearcast::cli::ExitStatus::Problems);
    // `lime` is a product; its group is `abrasive`.
    assert!(out.contains("the unknown product group `lime`"), "{out}");
    assert!(out.contains("sums.csv"), "{out}");
    assert!(!out.contains("`abrasive`"), "{out}");
}

/// Rules for the user's own columns are for the log, which the sums take the place of.
#[test]
fn sums_need_no_rules_and_may_be_a_folder() {
    let folder = Folder::good();
    folder.remove("usage.csv");
    folder.write("loads.csv", "Day,Rig,What,tons\n2024-04-01,M1,lime,5\n");
    folder.write(
        "columns.toml",
        "[usage]\nfile = \"loads.csv\"\n[usage.columns]\nDay = \"date\"\nRig = \"machine\"\nWhat = \"product\"\n",
    );
    let dir = folder.path().to_str().expect("a path");
    let sums = Folder::empty();
    sums.write(
        "sums.csv",
        "date,machine,group,tons\n2024-04-01,nobody,abrasive,5\n",
    );
    let path = sums.path().join("sums.csv");
    let (_, out, _) = wearcast(&["check", dir, "--usage-sums", path.to_str().expect("a path")]);
    assert!(out.contains("the unknown machine `nobody`"), "{out}");
    assert!(!out.contains("loads.csv") && !out.contains("Rig"), "{out}");
    // A folder without a Parquet file is none of sums.
    let (status, _, err) = wearcast(&[
        "check",
        dir,
        "--usage-sums",
        sums.path().to_str().expect("a path"),
    ]);
    assert_eq!(status, wearcast::cli::ExitStatus::File);
    assert!(err.contains("nor a folder of .parquet files"), "{err}");
}

#[test]
fn the_query_names_the_columns_of_the_records() {
    let (_, out, _) = wearcast(&["lives", OWNER, "--print-sql"]);
    for part in [
        "COALESCE(NULLIF(p.\"group\", ''), u.\"product\") AS \"group\"",
        "ELSE SUM(u.\"tons\") END AS \"tons\"",
        "COUNT(CASE WHEN u.\"tons\" IS NULL THEN u.\"acres\" END) > 0",
    ] {
        assert!(out.contains(part), "{out}");
    }
}

/// Runs the query in two engines. `cargo test --features sql-check usage_sums`, with an interpreter
/// that has the packages `datafusion` and `duckdb` in `WEARCAST_PYTHON`.
#[cfg(feature = "sql-check")]
#[test]
fn the_query_makes_the_sums_in_other_engines() {
    // Loads of which one leaves out its tons, and loads whose measures stand in rows of their own.
    let loads = Folder::good();
    loads.write(
        "usage.csv",
        "date,machine,product,acres,tons,hours,bin\n\
         2024-04-01,M1,lime,10,20,1,rear\n2024-04-01,M1,lime,10,,1,rear\n\
         2024-04-02,M1,lime,10,,1,rear\n2024-04-02,M1,lime,,20,,rear\n\
         2024-04-03,M1,lime,10,20,1,rear\n2024-04-03,M1,lime,10,20,,rear\n",
    );
    let loads = loads.path().display().to_string();
    let python = std::env::var("WEARCAST_PYTHON").unwrap_or_else(|_| "python3".to_owned());
    // In the larger samples some days leave hours out for one product of a group only, and hours
    // are then filled in from rates for all of the group: close, and known to be filled in.
    let samples = [
        (OWNER, 1e-9),
        ("sample-data/fleet", 0.02),
        ("sample-data/desk", 0.02),
        (&loads, 1e-9),
    ];
    for (sample, tolerance) in samples {
        let folder = Folder::empty();
        let (_, sql, _) = wearcast(&["lives", sample, "--print-sql"]);
        folder.write("query.sql", sql);
        let (of_log, _) = lives(sample, &[]);
        for engine in ["datafusion", "duckdb"] {
            let out = folder.path().join(format!("{engine}.parquet"));
            let status = std::process::Command::new(&python)
                .args(["tests/reference/run_sql.py", engine])
                .arg(folder.path().join("query.sql"))
                .args([
                    format!("{sample}/usage.csv"),
                    format!("{sample}/products.csv"),
                ])
                .arg(&out)
                .status()
                .expect("the interpreter");
            assert!(status.success(), "{engine}");
            // An engine may write a folder of files.
            let file = if out.is_dir() {
                let files = std::fs::read_dir(&out).expect("its folder");
                files
                    .map(|f| f.expect("a file").path())
                    .next()
                    .expect("a file")
            } else {
                out
            };
            let (of_sums, err) = lives(sample, &["--usage-sums", file.to_str().expect("a path")]);
            assert_eq!(err, "", "{engine}");
            assert_alike(&of_log, &of_sums, tolerance);
        }
    }
}

/// The same lives; products of a group are added in another order, and by engines in binary, so the
/// last digits of sums may differ.
fn assert_alike(a: &str, b: &str, tolerance: f64) {
    use serde_json::Value;
    fn alike(a: &Value, b: &Value, tolerance: f64) -> bool {
        match (a, b) {
            (Value::Number(a), Value::Number(b)) => {
                let (a, b) = (a.as_f64().expect("a number"), b.as_f64().expect("a number"));
                (a - b).abs() <= tolerance * a.abs().max(1.0)
            }
            (Value::Array(a), Value::Array(b)) => {
                a.len() == b.len() && a.iter().zip(b).all(|(a, b)| alike(a, b, tolerance))
            }
            (Value::Object(a), Value::Object(b)) => {
                a.len() == b.len()
                    && a.iter()
                        .all(|(key, a)| b.get(key).is_some_and(|b| alike(a, b, tolerance)))
            }
            _ => a == b,
        }
    }
    let parsed = |text: &str| serde_json::from_str::<Value>(text).expect("JSON");
    let (a, b) = (parsed(a), parsed(b));
    assert!(100 < a.to_string().len());
    assert!(alike(&a, &b, tolerance), "the lives differ");
}
