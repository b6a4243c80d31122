//! Lives by the rules that DEVELOPERS.md states, each worked by hand.
#![expect(clippy::float_cmp, reason = "sums of small whole numbers are exact")]

use std::collections::BTreeMap;

use chrono::NaiveDate;
use wearcast::family::{Families, Family};
use wearcast::life::{Ending, Life, Span};
use wearcast::model::assess::family_lives;
use wearcast::read;
use wearcast::study::{Options, Study};
use wearcast::units::Measure;
use wearcast::wear::Groups;

use crate::read::{Folder, day};

const EACH: &str = "family = \"each\"\nmeasure = \"tons\"\ncounted = \"each\"\n";
const SET: &str = "family = \"set\"\nmeasure = \"tons\"\ncounted = \"set\"\n";

/// A machine in service from 1 April 2024, with a day of use every second day of that month.
fn folder(positions: &str, replacements: &str) -> Folder {
    let folder = Folder::empty();
    folder
        .write("machines.csv", "machine,in_service,records_from,retired\nM,2024-04-01,,\n")
        .write(
            "positions.csv",
            format!("machine,position,part,quantity,bin,installed,tons_before\n{positions}"),
        )
        .write(
            "parts.csv",
            "part,family,replaces,material\nP,each,,carbon\nQ,each,P,carbon\nR,each,,stainless\nS,set,,\n",
        )
        .write("products.csv", "product,group\nlime,rough\npotash,mild\n")
        .write(
            "usage.csv",
            "date,machine,product,acres,tons,hours,bin\n\
             2024-04-02,M,potash,100,10,1,front\n\
             2024-04-04,M,lime,10,20,1,rear\n\
             2024-04-04,M,potash,100,10,1,front\n\
             2024-04-06,M,lime,20,40,2,rear\n\
             2024-04-08,M,potash,50,5,1,front\n",
        )
        .write(
            "replacements.csv",
            format!("date,machine,position,part,quantity,slot,reason,last_good\n{replacements}"),
        );
    folder
}

fn lives_of(folder: &Folder, options: Options) -> Vec<Life> {
    let mut families = Families::built_in();
    families.insert(Family::from_toml(EACH).expect("valid"));
    families.insert(Family::from_toml(SET).expect("valid"));
    let reading = read::folder(folder.path(), options.as_of, &families).expect("readable");
    assert!(!reading.has_problems(), "{:?}", reading.problems);
    Study::new(reading.records, families, options)
        .expect("enough")
        .built
        .lives
}

fn lives(positions: &str, replacements: &str) -> Vec<Life> {
    lives_of(&folder(positions, replacements), Options::default())
}

/// Entry, low and end in tons.
fn tons(life: &Life) -> (f64, f64, f64) {
    let Span { entry, low, end } = life.spans[Measure::Tons.index()];
    (
        entry.expect("known"),
        low.expect("known"),
        end.expect("known"),
    )
}

#[test]
fn a_wear_out_lies_in_its_last_day_of_use() {
    let lives = lives("M,p,P,1,,,\n", "2024-04-06,M,p,,,,worn,\n");
    assert_eq!(lives.len(), 2);
    assert_eq!(tons(&lives[0]), (0.0, 40.0, 80.0));
    assert_eq!(lives[0].ended, Ending::Worn);
}

#[test]
fn use_on_the_day_of_a_change_belongs_to_the_part_taken_out() {
    let lives = lives("M,p,P,1,,,\n", "2024-04-06,M,p,,,,planned,\n");
    assert_eq!(tons(&lives[0]).2, 80.0);
    assert_eq!(tons(&lives[1]), (0.0, 5.0, 5.0));
    assert_eq!(lives[1].ended, Ending::Running);
}

#[test]
fn a_part_found_worn_in_the_shop_wore_out_on_its_last_day_of_use() {
    let lives = lives("M,p,P,1,,,\n", "2024-04-07,M,p,,,,worn,\n");
    assert_eq!(tons(&lives[0]), (0.0, 40.0, 80.0));
    // In days: good at the end of 4 April, gone on the 7th.
    let days = lives[0].spans[Measure::Days.index()];
    assert_eq!((days.low, days.end), (Some(3.0), Some(6.0)));
}

#[test]
fn the_last_look_moves_the_lower_end_back() {
    let lives = lives("M,p,P,1,,,\n", "2024-04-06,M,p,,,,broken,2024-04-03\n");
    assert_eq!(tons(&lives[0]), (0.0, 10.0, 80.0));
}

#[test]
fn a_look_after_the_last_day_of_use_began_says_nothing_new() {
    let lives = lives("M,p,P,1,,,\n", "2024-04-07,M,p,,,,worn,2024-04-07\n");
    assert_eq!(tons(&lives[0]), (0.0, 40.0, 80.0));
}

#[test]
fn endings_other_than_wear_are_censored_at_removal() {
    for reason in ["planned", "damage", "upgrade"] {
        let lives = lives("M,p,P,1,,,\n", &format!("2024-04-04,M,p,,,,{reason},\n"));
        assert_eq!(tons(&lives[0]), (0.0, 40.0, 40.0), "{reason}");
    }
}

#[test]
fn a_part_with_a_bin_sees_only_its_use() {
    let lives = lives("M,p,P,1,rear,,\nM,q,P,1,front,,\n", "");
    assert_eq!(tons(&lives[0]).2, 60.0);
    assert_eq!(tons(&lives[1]).2, 25.0);
    assert_eq!(lives[0].groups["rough"].end.tons, Some(60.0));
    assert!(!lives[0].groups.contains_key("mild"));
}

#[test]
fn a_set_is_one_life_and_lives_on_when_some_of_it_is_changed() {
    let folder = folder(
        "M,p,S,4,,,\n",
        "2024-04-04,M,p,,1,,damage,\n2024-04-06,M,p,,,,worn,\n",
    );
    let lives = lives_of(&folder, Options::default());
    assert_eq!(lives.len(), 2);
    assert_eq!(lives[0].ended, Ending::Worn);
    assert_eq!(tons(&lives[0]), (0.0, 40.0, 80.0));
    assert_eq!(lives[0].pieces, 4.0);
}

#[test]
fn of_several_the_oldest_is_changed_first_unless_a_slot_is_named() {
    let lives = lives(
        "M,p,P,3,,,\n",
        "2024-04-02,M,p,,1,,worn,\n2024-04-04,M,p,,2,,worn,\n2024-04-06,M,p,,1,left,planned,\n",
    );
    // Three first lives: 10 tons, then two of 40; a renewed one planned at 80 - 10.
    let ended: Vec<(f64, Ending)> = lives.iter().map(|l| (tons(l).2, l.ended)).collect();
    assert_eq!(lives.len(), 7);
    assert_eq!(
        ended
            .iter()
            .filter(|(t, e)| (*t, *e) == (10.0, Ending::Worn))
            .count(),
        1
    );
    assert_eq!(
        ended
            .iter()
            .filter(|(t, e)| (*t, *e) == (40.0, Ending::Worn))
            .count(),
        2
    );
    assert_eq!(
        ended
            .iter()
            .filter(|(t, e)| (*t, *e) == (70.0, Ending::Planned))
            .count(),
        1
    );
    let left: Vec<&Life> = lives
        .iter()
        .filter(|l| l.slot.as_deref() == Some("left"))
        .collect();
    assert_eq!(
        left.len(),
        3,
        "the name given late belongs to the slot's first life as well"
    );
}

/// Whether the left is named or the right, the row that names none is of the other.
#[test]
fn of_two_changes_on_one_day_the_unnamed_one_is_of_another_slot() {
    let lives = lives(
        "M,p,P,2,,,\n",
        "2024-04-02,M,p,,1,left,planned,\n2024-04-04,M,p,,1,right,planned,\n\
         2024-04-08,M,p,,1,left,broken,\n2024-04-08,M,p,,1,,worn,\n",
    );
    let ended = |slot: &str, ended: Ending| {
        let mut of = lives.iter().filter(|l| l.slot.as_deref() == Some(slot));
        of.any(|l| l.ended == ended)
    };
    assert!(ended("left", Ending::Broken) && ended("right", Ending::Worn));
    let removed = |l: &&Life| l.removed == Some(day("2024-04-08"));
    assert!(lives.iter().filter(removed).all(|l| 0.0 < tons(l).2));
}

#[test]
fn a_part_fitted_before_the_records_enters_late_with_its_use() {
    let folder = folder("M,p,P,1,,2023-03-01,500\n", "2024-04-06,M,p,,,,worn,\n");
    folder.write(
        "machines.csv",
        "machine,in_service,records_from\nM,2023-03-01,2024-04-01\n",
    );
    let lives = lives_of(&folder, Options::default());
    assert_eq!(tons(&lives[0]), (500.0, 540.0, 580.0));
    // Nobody knows what was spread before: it counts as the reference, the group most used.
    assert_eq!(lives[0].groups["rough"].entry.tons, Some(500.0));
    assert_eq!(lives[0].spans[Measure::Days.index()].entry, Some(397.0));
    // Its acres before are not known, so its acres are not.
    assert_eq!(lives[0].spans[Measure::Acres.index()].end, None);
}

#[test]
fn a_part_of_unknown_start_has_no_exposure_and_its_successor_has() {
    let lives = lives("M,p,P,1,,unknown,\n", "2024-04-06,M,p,,,,worn,\n");
    assert_eq!(lives[0].fitted, None);
    assert_eq!(lives[0].spans, [Span::default(); 4]);
    assert_eq!(tons(&lives[1]), (0.0, 5.0, 5.0));
}

#[test]
fn a_superseded_number_is_the_same_part_as_its_successor() {
    let lives = lives("M,p,P,1,,,\n", "2024-04-06,M,p,R,,,upgrade,\n");
    assert_eq!((lives[0].part.as_str(), lives[1].part.as_str()), ("Q", "R"));
    assert_eq!(lives[1].material.as_deref(), Some("stainless"));
}

#[test]
fn a_retired_machine_ends_its_lives_on_that_day() {
    let folder = folder("M,p,P,1,,,\n", "");
    folder.write(
        "machines.csv",
        "machine,in_service,retired\nM,2024-04-01,2024-04-09\n",
    );
    let retired = |as_of: Option<&str>| {
        let as_of = as_of.map(|d| d.parse().expect("a date"));
        lives_of(
            &folder,
            Options {
                as_of,
                ..Options::default()
            },
        )
    };
    let life = &retired(Some("2024-05-01"))[0];
    assert_eq!((life.ended, tons(life).2), (Ending::Retired, 85.0));
    let life = &retired(Some("2024-04-05"))[0];
    assert_eq!((life.ended, tons(life).2), (Ending::Running, 40.0));
}

#[test]
fn nothing_after_the_as_of_date_is_known() {
    let folder = folder("M,p,P,1,,,\n", "2024-04-06,M,p,,,,worn,\n");
    let options = Options {
        as_of: "2024-04-05".parse().ok(),
        ..Options::default()
    };
    let lives = lives_of(&folder, options);
    assert_eq!(lives.len(), 1);
    assert_eq!((lives[0].ended, tons(&lives[0]).2), (Ending::Running, 40.0));
}

#[test]
fn use_that_is_not_recorded_makes_the_exposure_unknown_and_never_zero() {
    let folder = folder("M,p,P,1,,,\n", "2024-04-07,M,p,,,,planned,\n");
    folder.add("usage.csv", "2024-04-05,M,potash,40,,1,front");
    let lives = lives_of(&folder, Options::default());
    let span = lives[0].spans[Measure::Tons.index()];
    assert_eq!((span.entry, span.low, span.end), (Some(0.0), None, None));
    assert_eq!(lives[0].spans[Measure::Hours.index()].end, Some(6.0));
    // The part fitted after that day knows its tons.
    assert_eq!(tons(&lives[1]), (0.0, 5.0, 5.0));
}

#[test]
fn rows_of_one_day_that_make_up_the_set_end_its_life() {
    let folder = folder(
        "M,p,S,2,,,\n",
        "2024-04-04,M,p,,1,left,worn,\n2024-04-04,M,p,,1,right,planned,\n",
    );
    let lives = lives_of(&folder, Options::default());
    assert_eq!(lives.len(), 2);
    assert_eq!(lives[0].ended, Ending::Worn);
    assert_eq!(tons(&lives[0]), (0.0, 10.0, 40.0));
}

#[test]
fn a_fit_rests_on_days_filled_in_at_past_rates() {
    let folder = folder("M,p,P,1,,,\n", "");
    // Potash so far: 25 tons on 250 acres; these 40 acres are taken for 4 tons.
    folder.add("usage.csv", "2024-04-09,M,potash,40,,1,front");
    let life = &lives_of(&folder, Options::default())[0];
    assert_eq!(life.spans[Measure::Tons.index()].end, None);
    let filled = life.filled[Measure::Tons.index()].end.expect("filled in");
    assert!((filled - 89.0).abs() < 1e-9, "{filled}");
}

/// Draws hold an effect for each machine with lives in the fit, found by its place among them.
#[test]
fn a_machine_whose_lives_are_all_kept_out_of_the_fit_takes_no_place_among_those_in_it() {
    let life = |machine: &str, fitted: Option<NaiveDate>| Life {
        observed: [None; 4],
        machine: machine.to_owned(),
        position: "hose".to_owned(),
        slot: None,
        part: "H-1".to_owned(),
        number: "H-1".to_owned(),
        family: "hydraulic-hose".to_owned(),
        material: None,
        fitted,
        removed: None,
        ended: Ending::Running,
        since: day("2024-03-01"),
        pieces: 1.0,
        spans: [Span::default(); 4],
        filled: [Span {
            entry: Some(0.0),
            low: Some(90.0),
            end: Some(90.0),
        }; 4],
        groups: BTreeMap::new(),
        found: None,
    };
    let known = Some(day("2024-03-01"));
    let lives = [
        life("A", None),
        life("B", known),
        life("C", None),
        life("D", known),
    ];
    let lives: Vec<&Life> = lives.iter().collect();
    let seen = family_lives(&lives, Measure::Days, &Groups::default(), &[]);
    assert_eq!(seen.machines, ["B", "D"]);
    assert_eq!((seen.place_of("A"), seen.place_of("D")), (None, Some(1)));
}

/// Tons of a life, as recorded, by the rows of its second day.
fn tons_of(rows: &str) -> Option<f64> {
    let folder = Folder::empty();
    folder
        .write("machines.csv", "machine,in_service\nM,2020-01-01\n")
        .write("positions.csv", "machine,position,part\nM,p,P\n")
        .write("parts.csv", "part,family\nP,flap\n")
        .write(
            "usage.csv",
            format!("date,machine,product,acres,tons,hours\n2020-02-01,M,lime,100,200,10\n{rows}"),
        );
    let study = Study::new(
        folder.read().records,
        Families::built_in(),
        Options::default(),
    );
    study.expect("a study").built.lives[0].spans[Measure::Tons.index()].end
}

/// What is not recorded is not 0, also beside a load of the same day that was.
#[test]
fn a_load_that_leaves_out_its_tons_makes_those_of_the_day_unknown() {
    let load = "2020-02-02,M,lime,10,10,1\n";
    assert_eq!(tons_of(load), Some(210.0));
    assert_eq!(tons_of(&format!("{load}2020-02-02,M,lime,10,,1\n")), None);
    assert_eq!(
        tons_of(&format!("{load}2020-02-02,M,lime,0.0004,,1\n")),
        None
    );
    // The same load, a measure in a row of its own.
    let acres = "2020-02-02,M,lime,10,,1\n";
    assert_eq!(
        tons_of(&format!("{acres}2020-02-02,M,lime,,10,\n")),
        Some(210.0)
    );
    assert_eq!(
        tons_of(&format!(
            "{acres}2020-02-02,M,lime,,10,\n2020-02-02,M,lime,,5,\n"
        )),
        Some(215.0)
    );
}
