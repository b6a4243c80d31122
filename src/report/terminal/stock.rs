//! The order list at the counter.

use std::fmt::Write as _;

use super::close;
use super::grid::{Grid, Lean};
use super::words::{UNKNOWN, money, only, or_unknown, percent, pieces, whole, wrapped};
use crate::report::nearly_over;
use crate::report::stock::{StockLine, StockReport};

/// Rows of the lists that are there to be looked over; CSV, JSON and the workbook hold them all.
const LONGEST: usize = 12;

/// What to order, what is on the shelf for nothing, and who will need most.
#[must_use]
pub fn stock(report: &StockReport, width: usize) -> String {
    let mut out = String::new();
    let known = report
        .header
        .as_of
        .map(|d| format!("\nfrom records up to {d}"));
    let _ = writeln!(
        out,
        "{}, season {} ({} to {}){}",
        report.title(),
        report.season,
        report.from,
        report.until,
        known.unwrap_or_default()
    );
    out.push_str(&only(&report.header, width));
    if let Some(words) = nearly_over(report.season, report.from, report.until) {
        out.push_str(&wrapped(&words, "", "", width));
    }
    out.push('\n');
    totals(&mut out, report, width);
    orders(&mut out, report, width);
    idle(&mut out, report, width);
    customers(&mut out, report, width);
    close(&mut out, &report.header, false, width);
    out
}

fn totals(out: &mut String, report: &StockReport, width: usize) {
    let cash = |v: f64| money(v, &report.currency);
    let order = match report.order_total {
        Some(total) => cash(total),
        None => format!(
            "{UNKNOWN}; what is priced comes to {}",
            cash(report.known_total)
        ),
    };
    let empty = if report.lines.iter().all(|l| l.on_hand.is_none()) {
        ", as if the shelf were empty"
    } else {
        ""
    };
    let _ = writeln!(out, "Order now                      {order}{empty}");
    if let Some(limit) = report.budget_limit {
        let _ = writeln!(out, "Money to spend, at most        {}", cash(limit));
        let _ = writeln!(
            out,
            "Without that limit             {}",
            cash(report.wanted_total)
        );
    }
    let served = report.fill_rate.map_or_else(|| UNKNOWN.to_owned(), percent);
    let _ = writeln!(
        out,
        "Served from the shelf          {served} of the season's demand, by price"
    );
    if let Some(first) = report.curve.first() {
        let _ = writeln!(
            out,
            "With nothing ordered           {}",
            percent(first.fill_rate)
        );
    }
    out.push('\n');
    let ordered = report.lines.iter().map(|l| l.order_now);
    let is_known = ordered.clone().all(|n| n.is_some());
    if ordered.flatten().all(|n| n <= 0.0) {
        let said = if is_known {
            "Nothing needs to be ordered."
        } else {
            "What has to be ordered is not known where it says so; of the rest nothing has to be."
        };
        out.push_str(&wrapped(said, "", "", width));
        out.push('\n');
    }
}

fn orders(out: &mut String, report: &StockReport, width: usize) {
    let mut columns = vec![
        ("Part", Lean::Left),
        ("Need", Lean::Right),
        ("9 in 10", Lean::Right),
        ("Shelf", Lean::Right),
        ("Due", Lean::Right),
        ("Have", Lean::Right),
        ("Order", Lean::Right),
        ("Cost", Lean::Right),
        ("Served", Lean::Right),
        ("Again at", Lean::Right),
    ];
    if report.used_season.is_some() {
        columns.insert(1, ("Used", Lean::Right));
    }
    let first = report.lines.iter().any(|l| l.needed_first().is_some());
    if first {
        columns.push(("Too late", Lean::Right));
    }
    let before = report.any_before();
    if before {
        columns.push(("Before", Lean::Right));
    }
    let later = report.any_late();
    if later {
        columns.push(("Later", Lean::Right));
    }
    let mut grid = Grid::new(&columns, width);
    let count = |v: Option<f64>| or_unknown(v, whole);
    let mut lines: Vec<&StockLine> = report.lines.iter().collect();
    lines.sort_by(|a, b| {
        let cost = |l: &StockLine| l.order_cost.unwrap_or(0.0);
        cost(b).total_cmp(&cost(a))
    });
    for line in lines {
        let mut cells = vec![
            line.part.clone(),
            or_unknown(line.demand.map(|d| d.expected), pieces),
            or_unknown(line.demand.map(|d| d.p90), whole),
            count(line.on_hand),
            line.due_in_season().map_or_else(String::new, whole),
            count(line.order_up_to),
            count(line.order_now),
            or_unknown(line.order_cost, |v| money(v, &report.currency)),
            or_unknown(line.fill_rate, percent),
            count(line.reorder_point),
        ];
        if report.used_season.is_some() {
            cells.insert(1, or_unknown(line.used, whole));
        }
        if first {
            let first = line.needed_first();
            cells.push(first.map_or_else(String::new, pieces));
        }
        if before {
            cells.push(line.before().map_or_else(String::new, pieces));
        }
        if later {
            let late = line.late.filter(|n| 0.0 < *n);
            cells.push(late.map_or_else(String::new, whole));
        }
        grid.row(cells);
    }
    out.push_str(&grid.text());
    out.push('\n');
    let used = report.used_words();
    let used = used.map_or_else(String::new, |words| format!("`Used` {words}. "));
    let too_late = if first {
        " `Too late` are pieces needed before the order can come, beyond the shelf and earlier deliveries."
    } else {
        ""
    };
    let before = if before {
        " `Before` are pieces needed before the season begins: they come off the shelf first, and `Have` and `Order` allow for it."
    } else {
        ""
    };
    let after = if later {
        " `Later` is on order for after the season, and counts for nothing in it."
    } else {
        ""
    };
    out.push_str(&wrapped(
        &format!("Pieces. {used}`Need` is expected over the season, `9 in 10` is enough in 9 seasons of 10. `Due` is on order already and comes in the season. `Have` is what to begin the season with, shelf and what is due in it included; `Order` makes it up in whole packs. `Served` is the share of the season's pieces that the shelf then covers. In season, order again when the shelf falls to `Again at`.{too_late}{before}{after}"),
        "",
        "",
        width,
    ));
}

fn idle(out: &mut String, report: &StockReport, width: usize) {
    if report.idle.is_empty() {
        return;
    }
    let known: Vec<f64> = report.idle.iter().filter_map(|l| l.money).collect();
    let sum = money(known.iter().sum(), &report.currency);
    let sum = match known.len() {
        0 => "unknown money".to_owned(),
        n if n < report.idle.len() => format!("{sum} and what has no price"),
        _ => sum,
    };
    let _ = writeln!(
        out,
        "\nDead and slow stock: {sum} in pieces beyond what 9 seasons of 10 ask for"
    );
    let mut grid = Grid::new(
        &[
            ("Part", Lean::Left),
            ("What", Lean::Left),
            ("Shelf", Lean::Right),
            ("Idle", Lean::Right),
            ("Need", Lean::Right),
            ("Money", Lean::Right),
        ],
        width,
    );
    for line in report.idle.iter().take(LONGEST) {
        let what = line.description.as_ref().or(line.family.as_ref());
        grid.row([
            line.part.clone(),
            what.cloned().unwrap_or_else(|| "not in `parts`".to_owned()),
            whole(line.on_hand),
            whole(line.idle),
            line.expected.map_or_else(|| "none".to_owned(), pieces),
            or_unknown(line.money, |v| money(v, &report.currency)),
        ]);
    }
    out.push_str(&grid.text());
    rest(out, report.idle.len());
}

fn customers(out: &mut String, report: &StockReport, width: usize) {
    let mut named = report.needs_by_money();
    named.retain(|(need, _)| need.customer.is_some());
    if named.is_empty() {
        return;
    }
    out.push_str("\nWho will likely need most, by money: call before the order date\n");
    let mut grid = Grid::new(
        &[
            ("Customer", Lean::Left),
            ("Part", Lean::Left),
            ("Expected", Lean::Right),
            ("Money", Lean::Right),
            ("Any at all", Lean::Right),
        ],
        width,
    );
    for (need, worth) in named.iter().take(LONGEST) {
        grid.row([
            need.customer.clone().unwrap_or_default(),
            need.part.clone(),
            pieces(need.expected),
            or_unknown(*worth, |worth| money(worth, &report.currency)),
            percent(need.chance),
        ]);
    }
    out.push_str(&grid.text());
    rest(out, named.len());
}

fn rest(out: &mut String, all: usize) {
    if LONGEST < all {
        let _ = writeln!(
            out,
            "and {} more: see `--out` or `--format json`",
            all - LONGEST
        );
    }
}
