//! The budget at the kitchen table.

use std::fmt::Write as _;

use super::close;
use super::grid::{Grid, Lean};
use super::words::{cents, money, only, or_unknown, pieces, price, whole, wrapped};
use crate::report::{BudgetReport, Forecast, PlanSource, nearly_over};
use crate::units::{HECTARES_PER_ACRE, Measure, Units};

/// The budget.
#[must_use]
pub fn budget(report: &BudgetReport, width: usize) -> String {
    let mut out = String::new();
    head(&mut out, report, width);
    out.push_str(&lines(report, width));
    if 1 < report.machines.len() {
        out.push('\n');
        out.push_str(&machines(report, width));
    }
    if !report.products.is_empty() {
        out.push('\n');
        out.push_str(&products(report, width));
        out.push_str(&rates(report, width));
    }
    out.push('\n');
    out.push_str(&months(report, width));
    if !report.policies.is_empty() {
        out.push('\n');
        out.push_str(&policies(report, width));
    }
    close(&mut out, &report.header, true, width);
    out
}

/// The season run as it is, and with the advised work done first.
fn policies(report: &BudgetReport, width: usize) -> String {
    let mut grid = Grid::new(
        &[
            ("Into the season", Lean::Left),
            ("Changed first", Lean::Right),
            ("Parts and labor", Lean::Right),
            ("8 in 10", Lean::Right),
            ("Down time", Lean::Right),
            ("8 in 10", Lean::Right),
        ],
        width,
    );
    let cash = |v: f64| money(v, &report.currency);
    for line in &report.policies {
        let total = line.total;
        grid.row([
            match line.policy {
                "advised" => "advised work done first",
                _ => "run as it stands",
            }
            .to_owned(),
            line.changed_before.to_string(),
            or_unknown(total.map(|f| f.expected), cash),
            or_unknown(total.map(|f| f.p80), cash),
            or_unknown(line.down.map(|f| f.expected), cash),
            or_unknown(line.down.map(|f| f.p80), cash),
        ]);
    }
    let mut out = grid.text();
    out.push_str(&wrapped(
        "Work done first costs this season and saves in the next ones too: the advice weighs them all, this table only this season.",
        "  ",
        "  ",
        width,
    ));
    out
}

fn head(out: &mut String, report: &BudgetReport, width: usize) {
    let _ = writeln!(
        out,
        "Wear parts budget, season {} ({} to {})",
        report.season, report.from, report.until
    );
    out.push_str(&only(&report.header, width));
    if report.policy == "advised" {
        let words =
            "every change that is advised is made before the season, and its cost is counted";
        out.push_str(&wrapped(words, "", "", width));
    }
    if let Some(words) = nearly_over(report.season, report.from, report.until) {
        out.push_str(&wrapped(&words, "", "", width));
    }
    let source = match report.plan_source {
        PlanSource::Plan => "the plan",
        PlanSource::LastSeason => "last season's use again",
    };
    let known = report
        .header
        .as_of
        .map(|d| format!("records up to {d}, "))
        .unwrap_or_default();
    out.push_str(&wrapped(
        &format!("from {known}{source}: {}", planned(report)),
        "",
        "",
        width,
    ));
    out.push('\n');
    out.push_str(&money_table(report, width));
    out.push_str(&wrapped(
        "'8 in 10' covers eight seasons of ten. It can lie below the expected figure, where something rare and dear lifts the average, and such figures of single lines do not add up to the total's. Down time is what stops in season would cost beside; the total does not hold it. Pieces, parts and labor below are the expected ones.",
        "  ",
        "  ",
        width,
    ));
    if report.total.is_none() && 0.0 < report.known_total.expected {
        let words = "A figure with + is what is known of it, and the whole is more.";
        out.push_str(&wrapped(words, "  ", "  ", width));
    }
    out.push('\n');
}

/// The season's money: total, what is known of it, down time, per area.
fn money_table(report: &BudgetReport, width: usize) -> String {
    let mut grid = Grid::new(
        &[
            ("The season", Lean::Left),
            ("Expected", Lean::Right),
            ("8 in 10", Lean::Right),
            ("19 in 20", Lean::Right),
        ],
        width,
    );
    let currency = &report.currency;
    let mut say = |label: &str, value: Option<&Forecast>, form: &dyn Fn(f64) -> String| {
        let figure = |of: fn(&Forecast) -> f64| or_unknown(value.map(of), form);
        grid.row([
            label.to_owned(),
            figure(|f| f.expected),
            figure(|f| f.p80),
            figure(|f| f.p95),
        ]);
    };
    let whole_money = |v: f64| money(v, currency);
    say("parts and labor", report.total.as_ref(), &whole_money);
    if report.total.is_none() {
        say(
            "what is known of it",
            Some(&report.known_total),
            &whole_money,
        );
    }
    say(
        "down time, beside",
        report.down_total.as_ref(),
        &whole_money,
    );
    if report.down_total.is_none() && report.known_down.is_some() {
        say(
            "what is known of it",
            report.known_down.as_ref(),
            &whole_money,
        );
    }
    let (label, factor) = match report.units {
        Units::Us => ("an acre", 1.0),
        Units::Metric => ("a hectare", 1.0 / HECTARES_PER_ACRE),
    };
    say(label, report.per_acre.as_ref(), &|v| {
        cents(v * factor, currency)
    });
    grid.text() + "\n"
}

fn planned(report: &BudgetReport) -> String {
    let parts: Vec<String> = Measure::OF_USE
        .iter()
        .filter_map(|m| {
            let amount = report.planned.get(*m)?;
            let shown = m.shown(amount, report.units);
            Some(format!("{} {}", whole(shown), m.label(report.units)))
        })
        .collect();
    if parts.is_empty() {
        "no use that is known".to_owned()
    } else {
        parts.join(", ")
    }
}

fn lines(report: &BudgetReport, width: usize) -> String {
    let mut grid = Grid::new(
        &[
            ("Family", Lean::Left),
            ("Part", Lean::Left),
            ("Pieces", Lean::Right),
            ("8 in 10", Lean::Right),
            ("Price", Lean::Right),
            ("Parts", Lean::Right),
            ("Labor", Lean::Right),
        ],
        width,
    );
    let currency = &report.currency;
    let expected = |f: Option<&Forecast>| or_unknown(f.map(|f| f.expected), |v| money(v, currency));
    for line in &report.lines {
        grid.row([
            line.family.clone(),
            line.part.clone(),
            or_unknown(line.pieces.map(|f| f.expected), pieces),
            or_unknown(line.pieces.map(|f| f.p80), pieces),
            or_unknown(line.price, |v| price(v, currency)),
            expected(line.parts_cost.as_ref()),
            expected(line.labor_cost.as_ref()),
        ]);
    }
    grid.text()
}

/// The whole, or what is known of it, marked as such.
fn or_more(whole: Option<f64>, known: Option<f64>, form: impl Fn(f64) -> String) -> String {
    let some = |known: f64| known.is_finite() && 0.0 < known;
    match (whole, known.filter(|k| some(*k))) {
        (None, Some(known)) => format!("{} +", form(known)),
        (whole, _) => or_unknown(whole, form),
    }
}

fn machines(report: &BudgetReport, width: usize) -> String {
    let area = Measure::Acres.label(report.units);
    let heading: &'static str = if area == "acres" { "Acres" } else { "Hectares" };
    let mut grid = Grid::new(
        &[
            ("Machine", Lean::Left),
            (heading, Lean::Right),
            ("Expected", Lean::Right),
            ("8 in 10", Lean::Right),
        ],
        width,
    );
    let currency = &report.currency;
    for line in &report.machines {
        let money_of = |pick: fn(&Forecast) -> f64| {
            let whole = line.total.as_ref().map(pick);
            or_more(whole, Some(pick(&line.known_total)), |v| money(v, currency))
        };
        grid.row([
            line.machine.clone(),
            or_unknown(line.planned.acres, |a| {
                whole(Measure::Acres.shown(a, report.units))
            }),
            money_of(|f| f.expected),
            money_of(|f| f.p80),
        ]);
    }
    grid.text()
}

fn products(report: &BudgetReport, width: usize) -> String {
    let (area, mass): (&'static str, &'static str) = match report.units {
        Units::Us => ("An acre", "A ton"),
        Units::Metric => ("A hectare", "A tonne"),
    };
    let mut grid = Grid::new(
        &[
            ("Product group", Lean::Left),
            ("Cost expected", Lean::Right),
            (area, Lean::Right),
            (mass, Lean::Right),
        ],
        width,
    );
    let currency = &report.currency;
    for line in &report.products {
        let per = |cost: Option<f64>, amount: Option<f64>, measure: Measure| {
            let one = measure.shown(1.0, report.units);
            let known = amount.map(|amount| line.known_cost / amount);
            or_more(cost, known, |v| cents(v / one, currency))
        };
        grid.row([
            line.group.clone(),
            or_more(line.cost, Some(line.known_cost), |v| money(v, currency)),
            per(line.cost_per_acre, line.acres, Measure::Acres),
            per(line.cost_per_ton, line.tons, Measure::Tons),
        ]);
    }
    grid.text()
}

/// What a rate per acre must carry for wear, what was spent before, and the published curve.
fn rates(report: &BudgetReport, width: usize) -> String {
    let currency = &report.currency;
    let (area, one) = match report.units {
        Units::Us => ("acre", 1.0),
        Units::Metric => ("hectare", HECTARES_PER_ACRE),
    };
    let mut out = String::new();
    let mut say = |text: &str| out.push_str(&wrapped(text, "  ", "  ", width));
    let rates = report.products.iter().zip(&report.money.products);
    let rates: Vec<String> = rates
        .filter_map(|(line, money)| {
            let cost = money.cost_per_acre?;
            let likely = cents(cost.expected / one, currency);
            // Where something rare and dear lifts the average, 8 seasons of 10 need less than it.
            let sure = (cost.expected < cost.p80).then(|| cents(cost.p80 / one, currency));
            let sure = sure.map(|sure| format!(", or {sure} to be covered in 8 seasons of 10"));
            Some(format!(
                "{} {likely}{}",
                line.group,
                sure.unwrap_or_default()
            ))
        })
        .collect();
    if !rates.is_empty() {
        say(&format!(
            "Wear in this season, an {area} of: {}. Lost field time is not in it. For a rate of several years ask `wearcast compare DIR --by product`, which tells the long run.",
            rates.join("; ")
        )
        .replace("an hectare", "a hectare"));
    }
    if let Some(past) = report
        .money
        .past
        .filter(|p| 0 < p.changes && p.unpriced == p.changes)
    {
        say(&format!(
            "Season {}: no `parts_cost` stands beside any of its {} changes, so what it cost is not known.",
            past.season, past.changes
        ));
    }
    if let Some(past) = report.money.past.filter(|p| p.unpriced < p.changes)
        && let Some(cost) = past.cost
    {
        let per = past.whole_cost().and(past.per_acre());
        let per = per.map_or_else(String::new, |v| {
            format!(", {} an {area}", cents(v / one, currency)).replace("an hectare", "a hectare")
        });
        let gaps = [
            (past.unpriced, "cost of parts"),
            (past.without_hours, "hours of labor"),
        ];
        let gaps = gaps.iter().filter(|(n, _)| 0 < *n);
        let gaps: Vec<String> = gaps.map(|(n, what)| format!("{what} for {n}")).collect();
        let gap = if gaps.is_empty() {
            String::new()
        } else {
            format!(
                "; nobody wrote down {}, so it was more (`wearcast backtest` tells past seasons at the prices of `parts`)",
                gaps.join(" and ")
            )
        };
        say(&format!(
            "Season {} cost {} on record for {} {}{per}{gap}.",
            past.season,
            money(cost, currency),
            past.changes,
            if past.changes == 1 {
                "change"
            } else {
                "changes"
            }
        ));
    }
    for (line, own) in report.machines.iter().zip(&report.money.machines) {
        if let Some(curve) = own.repair_curve {
            say(&format!(
                "All repairs of {} by the published curve for fertilizer spreaders (ASABE D497, factors 0.63 and 1.3): {} for the season's hours; wear parts are a share of that.",
                line.machine,
                money(curve, currency)
            ));
        }
    }
    out
}

fn months(report: &BudgetReport, width: usize) -> String {
    let mut grid = Grid::new(
        &[
            ("Month", Lean::Left),
            ("Expected", Lean::Right),
            ("8 in 10", Lean::Right),
        ],
        width,
    );
    let currency = &report.currency;
    for line in &report.months {
        let money_of = |pick: fn(&Forecast) -> f64| {
            let whole = line.total.as_ref().map(pick);
            or_more(whole, Some(pick(&line.known_total)), |v| money(v, currency))
        };
        grid.row([
            line.month.format("%b %Y").to_string(),
            money_of(|f| f.expected),
            money_of(|f| f.p80),
        ]);
    }
    grid.text()
}
