//! The page: sound markup, nothing fetched, nothing invented, and the same figures as the budget's.

mod browser;
mod fixture;
mod markup;

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;

use wearcast::cli::ExitStatus;
use wearcast::report::html::{figures, page};
use wearcast::report::page::PageReport;

use crate::cli::wearcast;
use crate::read::Folder;
use markup::Tag;

/// Every kind of page there is.
fn all() -> [(&'static str, PageReport); 5] {
    [
        ("usual", fixture::usual()),
        ("hostile", fixture::hostile()),
        ("thin", fixture::thin()),
        ("bare", fixture::bare()),
        ("many", fixture::many()),
    ]
}

#[test]
fn every_tag_is_closed_where_it_was_opened() {
    for (name, report) in all() {
        let tags = markup::checked(&page(&report)).unwrap_or_else(|e| panic!("{name}: {e}"));
        assert!(100 < tags.len(), "{name}: only {} tags", tags.len());
    }
    assert!(markup::checked("<p><b>x</p></b>").is_err());
    assert!(markup::checked("<p title='a' title='b'>x</p>").is_err());
}

#[test]
fn the_page_says_its_language_and_fits_its_width_to_the_screen() {
    for (_, report) in all() {
        let text = page(&report);
        let tags = markup::checked(&text).expect("sound markup");
        let one = |name: &str| -> &Tag {
            let found: Vec<&Tag> = tags.iter().filter(|t| t.name == name).collect();
            assert_eq!(found.len(), 1, "{name}");
            found[0]
        };
        assert!(text.starts_with("<!DOCTYPE html><html lang=\"en\">"));
        assert_eq!(one("html").get("lang"), Some("en"));
        let viewport = tags.iter().find(|t| t.get("name") == Some("viewport"));
        let content = viewport.and_then(|t| t.get("content"));
        assert_eq!(content, Some("width=device-width, initial-scale=1"));
        for name in ["h1", "main", "body"] {
            one(name);
        }
    }
}

#[test]
fn no_level_of_heading_is_skipped() {
    for (name, report) in all() {
        let mut last = 0;
        for tag in markup::checked(&page(&report)).expect("sound markup") {
            if let Some(level) = tag.name.strip_prefix('h').and_then(|l| l.parse().ok()) {
                assert!(level <= last + 1, "{name}: h{level} after h{last}");
                last = level;
            }
        }
        assert_eq!(
            last, 2,
            "{name}: the last heading is one of the page's parts"
        );
    }
}

#[test]
fn ids_are_unique_and_every_reference_leads_somewhere() {
    for (name, report) in all() {
        let tags = markup::checked(&page(&report)).expect("sound markup");
        let mut ids = BTreeSet::new();
        for id in tags.iter().filter_map(|t| t.get("id")) {
            assert!(ids.insert(id), "{name}: two of {id}");
        }
        let mut followed = 0;
        for tag in &tags {
            let labels = tag.get("aria-labelledby").into_iter();
            let labels = labels.flat_map(str::split_whitespace);
            let link = tag.get("href").and_then(|h| h.strip_prefix('#'));
            let clip = tag.get("clip-path").and_then(|c| c.strip_prefix("url(#"));
            let clip = clip.and_then(|c| c.strip_suffix(')'));
            for id in labels.chain(link).chain(clip) {
                followed += 1;
                assert!(ids.contains(id), "{name}: nothing is called {id}");
            }
        }
        assert!(20 <= followed, "{name}: {followed} references");
    }
}

#[test]
fn every_picture_tells_its_title_and_what_it_shows() {
    for (name, report) in all() {
        let text = page(&report);
        let tags = markup::checked(&text).expect("sound markup");
        let pictures: Vec<&Tag> = tags.iter().filter(|t| t.name == "svg").collect();
        assert_eq!(pictures.len(), figures(&report).len(), "{name}");
        for picture in pictures {
            assert_eq!(picture.get("role"), Some("img"));
            let labels = picture.get("aria-labelledby").expect("labels");
            let names: Vec<&str> = labels
                .split_whitespace()
                .filter_map(|id| tags.iter().find(|t| t.get("id") == Some(id)))
                .map(|t| t.name.as_str())
                .collect();
            assert_eq!(names, ["title", "desc"], "{name}: {labels}");
        }
        for picture in figures(&report) {
            assert!(5 < picture.caption.title.len() && 20 < picture.caption.about.len());
        }
    }
}

#[test]
fn every_heading_of_a_table_says_what_it_heads() {
    let mut seen = 0;
    for (_, report) in all() {
        for tag in markup::checked(&page(&report)).expect("sound markup") {
            if tag.name == "th" {
                seen += 1;
                assert!(matches!(tag.get("scope"), Some("col" | "row")));
            }
        }
    }
    assert!(100 < seen, "{seen} headings");
}

#[test]
fn nothing_is_fetched_and_nothing_is_run() {
    for (name, report) in all() {
        let text = page(&report).replace("http://www.w3.org/2000/svg", "");
        let lower = text.to_lowercase();
        if ["usual", "many"].contains(&name) {
            for word in ["http:", "https:", "//", "@import", "javascript:"] {
                assert!(!lower.contains(word), "{name} holds {word}");
            }
        }
        for tag in markup::checked(&text).expect("sound markup") {
            let active = [
                "script", "iframe", "object", "embed", "img", "image", "use", "form",
            ];
            assert!(!active.contains(&tag.name.as_str()), "{name}: {}", tag.name);
            for (attribute, value) in &tag.attributes {
                assert!(!attribute.starts_with("on"), "{name}: {attribute}");
                assert!(
                    attribute != "src" && attribute != "style",
                    "{name}: {attribute}"
                );
                if attribute == "href" {
                    assert!(
                        value.starts_with('#') || value == "data:,",
                        "{name}: {value}"
                    );
                }
            }
        }
        let urls = lower.matches("url(").count();
        assert_eq!(urls, lower.matches("url(#").count(), "{name}");
    }
}

#[test]
fn names_from_records_are_text_and_nothing_else() {
    let text = page(&fixture::hostile());
    assert!(!text.contains("<script"));
    assert!(text.contains("&lt;script&gt;alert(1)&lt;/script&gt;"));
    for picture in figures(&fixture::hostile()) {
        let svg = picture.svg();
        markup::checked(&svg).unwrap_or_else(|e| panic!("{}: {e}", picture.caption.name));
        assert!(!svg.contains("<script"));
        let name = picture.caption.name;
        let plain = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
        assert!(name.chars().all(plain) && name.len() < 80, "{name}");
    }
}

#[test]
fn pictures_of_families_that_sound_alike_have_names_of_their_own() {
    let mut report = fixture::many();
    for (i, family) in report.fits.families.iter_mut().enumerate() {
        family.family = format!("fin{}", " ".repeat(i + 1));
    }
    let names: Vec<String> = figures(&report)
        .into_iter()
        .map(|p| p.caption.name)
        .collect();
    let unique: BTreeSet<&String> = names.iter().collect();
    assert_eq!(unique.len(), names.len());
}

#[test]
fn what_is_not_known_is_said_and_never_a_figure() {
    let thin = page(&fixture::thin());
    assert!(thin.contains("The season's total is <strong>not known</strong>"));
    let bare = page(&fixture::bare());
    assert!(bare.contains("The season's money is <strong>not known</strong>"));
    assert!(bare.contains("No past season can be scored yet"));
    for (name, report) in all() {
        let text = page(&report);
        for word in ["NaN", "inf ", "Infinity", "-0<", "None"] {
            let none = word == "None" && text.contains("<p>None.</p>");
            let none = none || text.contains("<p>None due");
            assert!(!text.contains(word) || none, "{name} holds {word}");
        }
    }
}

#[test]
fn a_page_of_a_large_fleet_stays_below_3_mib_and_says_what_it_leaves_out() {
    let report = fixture::many();
    let text = page(&report);
    assert!(text.len() < 3 * 1024 * 1024, "{} bytes", text.len());
    let parts = report.remaining.parts.len();
    assert!(text.contains(&format!(
        "Shown are the 20 least likely to last of {parts}; {} parts more",
        parts - 20
    )));
    assert!(
        text.contains("families more, in the table above only"),
        "families"
    );
}

/// The figures of a part of the page, as the words of its cells.
fn cells(text: &str) -> BTreeSet<&str> {
    text.split(['<', '>']).collect()
}

fn whole(value: f64, sign: &str) -> String {
    let digits = format!("{:.0}", value.round());
    let mut out = String::new();
    for (i, digit) in digits.chars().enumerate() {
        if 0 < i && (digits.len() - i).is_multiple_of(3) {
            out.push(',');
        }
        out.push(digit);
    }
    format!("{sign}{out}")
}

#[test]
fn figures_on_the_page_are_those_of_the_budget() {
    let folder = crate::cli::fleet();
    let dir = folder.path().to_str().expect("a path");
    for policy in ["run", "advised"] {
        let (status, html, _) = wearcast(&["report", dir, "--policy", policy]);
        assert_eq!(status, ExitStatus::Done);
        let (_, json, _) = wearcast(&["budget", dir, "--policy", policy, "--format", "json"]);
        let json: serde_json::Value = serde_json::from_str(&json).expect("json");
        let cells = cells(&html);
        let mut checked = 0;
        let mut holds = |forecast: &serde_json::Value, sign: &str| {
            for key in ["expected", "p80"] {
                let value = forecast[key].as_f64().expect("a figure");
                let told = whole(value, sign);
                checked += 1;
                assert!(cells.contains(told.as_str()), "{policy}: {told} is missing");
            }
            let (low, high) = (&forecast["p10"], &forecast["p90"]);
            let end = |v: &serde_json::Value| whole(v.as_f64().expect("a figure"), sign);
            let range = format!("{} to {}", end(low), end(high));
            assert!(
                cells.contains(range.as_str()),
                "{policy}: {range} is missing"
            );
        };
        holds(&json["total"], "$");
        for list in ["machines", "months"] {
            for line in json[list].as_array().expect("lines") {
                holds(&line["total"], "$");
            }
        }
        for line in json["families"].as_array().expect("lines") {
            let cost = line["parts_cost"]["expected"].as_f64().expect("a figure");
            assert!(cells.contains(whole(cost, "$").as_str()), "{line}");
        }
        assert!(8 <= checked, "{checked} figures");
    }
}

#[test]
fn the_same_records_and_seed_give_the_same_page_and_pictures() {
    let folder = crate::cli::fleet();
    let dir = folder.path().to_str().expect("a path");
    let again = Folder::empty();
    let pictures = again.path().join("pictures");
    let out = again.path().join("page.html");
    let args = |extra: &[&str]| {
        let args = [&["report", dir, "--family", "spinner-fin"], extra].concat();
        wearcast(&args)
    };
    let (status, first, _) = args(&[]);
    assert_eq!(status, ExitStatus::Done);
    let (pictures, out) = (
        pictures.to_str().expect("a path"),
        out.to_str().expect("a path"),
    );
    let (status, screen, err) = args(&["--figures", pictures, "--out", out]);
    assert_eq!(status, ExitStatus::Done, "{err}");
    assert_eq!(screen, "");
    assert_eq!(fs::read_to_string(out).expect("the page"), first);
    let files = files(Path::new(pictures));
    assert_eq!(files.len(), first.matches("<svg ").count());
    for (name, svg) in &files {
        assert!(
            first.contains(svg.as_str()),
            "{name} is another picture on the page"
        );
    }
    // A second time they are in the way; `--force` replaces them, and alone it has nothing to do.
    assert_eq!(args(&["--figures", pictures]).0, ExitStatus::File);
    assert_eq!(
        args(&["--figures", pictures, "--force"]).0,
        ExitStatus::Done
    );
    assert_eq!(self::files(Path::new(pictures)), files);
    assert_eq!(args(&["--force"]).0, ExitStatus::Usage);
}

fn files(folder: &Path) -> BTreeMap<String, String> {
    let entries = fs::read_dir(folder).expect("the folder of pictures");
    entries
        .map(|entry| {
            let path = entry.expect("an entry").path();
            let name = path
                .file_name()
                .expect("a name")
                .to_string_lossy()
                .into_owned();
            (name, fs::read_to_string(path).expect("a picture"))
        })
        .collect()
}

#[test]
fn a_report_ends_with_the_statuses_of_the_other_commands() {
    let folder = crate::cli::fleet();
    let dir = folder.path().to_str().expect("a path");
    assert_eq!(
        wearcast(&["report", dir, "--format", "json"]).0,
        ExitStatus::Usage
    );
    assert_eq!(
        wearcast(&["report", dir, "--out", "page.xlsx"]).0,
        ExitStatus::Usage
    );
    let file = folder.path().join("usage.csv");
    let file = file.to_str().expect("a path");
    assert_eq!(
        wearcast(&["report", dir, "--figures", file]).0,
        ExitStatus::File
    );
    assert_eq!(wearcast(&["report", "no-such-folder"]).0, ExitStatus::File);
    folder.add("replacements.csv", "2024-13-09,north,fins,worn\n");
    let (status, out, err) = wearcast(&["report", dir]);
    assert_eq!((status, out.as_str()), (ExitStatus::Problems, ""));
    assert!(err.contains("replacements.csv"), "{err}");
    let empty = Folder::empty();
    empty.write("machines.csv", "machine,in_service\n");
    let status = wearcast(&["report", empty.path().to_str().expect("a path")]).0;
    assert_ne!(status, ExitStatus::Done);
}
