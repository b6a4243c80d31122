//! Use that happened, as the plan of the season it happened in.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;

use super::season::{DaySpan, Season, month_of, months_later};
use crate::record::{Amounts, PlanRow, Records, UsageRow};
use crate::units::Measure;

/// Machine, month, product, bin, and which measures are recorded.
type Key<'a> = (&'a str, NaiveDate, &'a str, Option<&'a str>, [bool; 3]);
/// Values to be added in a fixed order, by measure.
type Values = [Vec<f64>; 3];

/// The recorded use of `season` as plan rows by machine, month, product and bin.
///
/// - Days that leave out a measure make rows of their own, which a forecast fills in from past
///   rates as it does for a plan; nothing that is not recorded counts as 0.
/// - A machine without use in the season gets a row of nothing, since a machine without any row
///   would be planned as in its last season.
/// - A plan's rows are of whole months: use in the days that the season has of a month it cuts goes
///   up to as much as makes it the same in those days.
#[must_use]
pub fn plan_of(records: &Records, season: Season) -> Vec<PlanRow> {
    let mut months: BTreeMap<Key<'_>, Values> = BTreeMap::new();
    for ((machine, date, product, bin), values) in days(records, season) {
        let known = [0, 1, 2].map(|i| !values[i].is_empty());
        let sums = months
            .entry((machine, month_of(date), product, bin, known))
            .or_default();
        for (sum, mut values) in sums.iter_mut().zip(values) {
            sum.append(&mut values);
        }
    }
    let used: BTreeSet<&str> = months.keys().map(|k| k.0).collect();
    let mut rows: Vec<PlanRow> = months
        .iter()
        .map(|((machine, month, product, bin, _), values)| {
            let whole = whole_month(season, *month);
            let sum = |values| Some(whole * sum(values)?);
            row(*month, machine, product, *bin, values.clone().map(sum))
        })
        .collect();
    // Where months are cut, use in a few days of one alone would not count as a plan.
    let is_cut = season.start != month_of(season.start);
    let all = records.machines.iter().map(|m| m.name.as_str());
    for machine in all.filter(|name| is_cut || !used.contains(name)) {
        if let Some(product) = records.products.first() {
            let nothing = [Some(0.0); 3];
            let month = months_later(month_of(season.start), i32::from(is_cut));
            rows.push(row(month, machine, &product.name, None, nothing));
        }
    }
    rows.sort_by(|a, b| {
        (a.month, &a.machine, &a.product, &a.bin).cmp(&(b.month, &b.machine, &b.product, &b.bin))
    });
    rows
}

/// Recorded values by machine, day, product and bin: rows of one day add up.
fn days(
    records: &Records,
    season: Season,
) -> BTreeMap<(&str, NaiveDate, &str, Option<&str>), Values> {
    let mut days: BTreeMap<_, Values> = BTreeMap::new();
    for UsageRow {
        date,
        machine,
        product,
        bin,
        amounts,
    } in records.usage.iter().filter(|r| season.holds(r.date))
    {
        let values = days.entry((machine, date, product, bin)).or_default();
        for (values, measure) in values.iter_mut().zip(Measure::OF_USE) {
            values.extend(amounts.get(measure));
        }
    }
    days
}

/// Days of a month for each that the season has of it.
fn whole_month(season: Season, month: NaiveDate) -> f64 {
    let within = season.of_month(month).map_or(1, DaySpan::days);
    DaySpan::month(month).days() as f64 / within as f64
}

fn sum(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    (!values.is_empty()).then(|| values.iter().sum())
}

fn row(
    month: NaiveDate,
    machine: &str,
    product: &str,
    bin: Option<&str>,
    [acres, tons, hours]: [Option<f64>; 3],
) -> PlanRow {
    PlanRow {
        row: 0,
        month,
        machine: machine.to_owned(),
        product: product.to_owned(),
        bin: bin.map(str::to_owned),
        amounts: Amounts { acres, tons, hours },
        extra: BTreeMap::new(),
    }
}
