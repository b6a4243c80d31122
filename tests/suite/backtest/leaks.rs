//! Nothing dated after a forecast's own as-of date reaches it, but the season's use as its plan.

use chrono::{Days, NaiveDate};
use wearcast::family::Families;
use wearcast::forecast::Season;
use wearcast::record::{
    Installed, Machine, Position, Reason, Records, Replacement, StockRow, UsageLog, UsageRow,
};
use wearcast::report::json;
use wearcast::study::{Options, Study};

use super::sample;

const SEASON: i32 = 2025;

fn season() -> Season {
    Season::ending_in(SEASON, (11, 1))
}

fn as_of() -> NaiveDate {
    season().start - Days::new(1)
}

/// Forecasts and the budgets beside them, to the last byte; what happened is left out.
fn forecasts(records: Records) -> String {
    let options = Options {
        as_of: "2026-11-11".parse().ok(),
        season: Some(SEASON),
        ..Options::default()
    };
    let study = Study::new(records, Families::built_in(), options).expect("enough");
    let report = json::backtest(&study.backtest().expect("a season"));
    let rows = report["seasons"].as_array().expect("rows").iter();
    let lines = rows.map(|row| {
        format!(
            "{} {} {} {}\n",
            row["family"], row["replacements"], row["last_season"], row["average"]
        )
    });
    lines.collect()
}

/// Use up to the season's end, then whatever `after` makes of the rest.
fn with_later_use(
    records: &Records,
    after: impl Fn(UsageRow<'_>) -> Option<UsageRow<'_>>,
) -> UsageLog {
    let is_past = |row: &UsageRow<'_>| row.date <= season().end;
    let rows = records.usage.iter();
    rows.filter_map(|row| if is_past(&row) { Some(row) } else { after(row) })
        .collect()
}

#[test]
fn deleting_the_future_changes_no_forecast() {
    let whole = sample();
    let mut cut = whole.clone();
    cut.usage = with_later_use(&whole, |_| None);
    cut.replacements.retain(|r| r.date <= as_of());
    cut.inspections.retain(|i| i.date <= as_of());
    cut.plan.clear();
    cut.stock.clear();
    assert!(cut.replacements.len() + 30 < whole.replacements.len());
    assert_eq!(forecasts(cut), forecasts(whole));
}

#[test]
fn scrambling_the_future_changes_no_forecast() {
    let whole = sample();
    let before = forecasts(whole.clone());
    assert_eq!(forecasts(scrambled(whole)), before);
}

/// Ever so much lime in the years after must not make it the group that wear is told by.
#[test]
fn the_reference_group_is_chosen_from_known_use() {
    let mut whole = sample();
    whole.settings.reference_group = None;
    let before = forecasts(whole.clone());
    assert_eq!(forecasts(scrambled(whole)), before);
}

/// The machine, position and use of the past are what they are; everything later is nonsense.
fn scrambled(whole: Records) -> Records {
    let mut records = whole.clone();
    records.usage = with_later_use(&whole, |row| {
        let mut amounts = row.amounts;
        amounts.tons = amounts.tons.map(|t| 1_000.0 * t);
        Some(UsageRow {
            product: "ag lime",
            amounts,
            ..row
        })
    });
    let (past, later): (Vec<Replacement>, Vec<Replacement>) = whole
        .replacements
        .into_iter()
        .partition(|r| r.date <= as_of());
    records.replacements = past;
    let count = later.len();
    records
        .replacements
        .extend(later.into_iter().enumerate().map(|(i, r)| Replacement {
            date: as_of() + Days::new(1 + (count - i) as u64),
            reason: [Reason::Worn, Reason::Damage, Reason::Planned][i % 3],
            last_good: None,
            down_hours: Some(1_000.0),
            parts_cost: Some(1e6),
            labor_hours: Some(1e3),
            ..r
        }));
    records.replacements.sort_by_key(|r| r.date);
    for inspection in records.inspections.iter_mut().filter(|i| as_of() < i.date) {
        inspection.value *= 50.0;
    }
    for row in &mut records.plan {
        row.amounts.tons = Some(1e6);
    }
    records.stock.push(StockRow {
        row: 0,
        part: "CHN-211".to_owned(),
        on_hand: 1e3,
        on_order: None,
        due: None,
        extra: std::collections::BTreeMap::new(),
    });
    for machine in &mut records.machines {
        machine.retired = Some(as_of() + Days::new(40));
    }
    add_newcomers(&mut records);
    records
}

/// A machine that comes in the season and works in it, and a place added to an old machine.
fn add_newcomers(records: &mut Records) {
    let begin = as_of() + Days::new(1);
    let new = Machine {
        name: "zz new rig".to_owned(),
        in_service: begin,
        records_from: begin,
        ..records.machines[0].clone()
    };
    let places = [new.name.clone(), records.machines[0].name.clone()].map(|machine| Position {
        machine,
        name: "zz chain".to_owned(),
        installed: Installed::On(begin),
        ..records.positions[0].clone()
    });
    records.positions.extend(places);
    records
        .positions
        .sort_by(|a, b| (&a.machine, &a.name).cmp(&(&b.machine, &b.name)));
    let first = records.usage.iter().next();
    let amounts = first.expect("some use").amounts;
    let more = UsageRow {
        date: begin + Days::new(30),
        machine: "zz new rig",
        product: "potash",
        bin: None,
        amounts,
    };
    records.usage = records.usage.iter().chain([more]).collect();
    records.machines.push(new);
}

#[test]
fn the_past_does_change_a_forecast() {
    let mut records = sample();
    let before = forecasts(records.clone());
    records
        .replacements
        .retain(|r| r.date != "2024-08-08".parse::<NaiveDate>().expect("a date"));
    assert_ne!(forecasts(records), before);
}
