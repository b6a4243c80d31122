//! What to change now, with the cautions beside it.

use maud::{Markup, html};

use super::table::Table;
use super::words::{UNKNOWN, count, day, known, money, percent, shown, unit, whole};
use crate::decide::Advice;
use crate::report::remaining::{RemainingLine, RemainingReport};

pub(super) fn section(report: &RemainingReport, currency: &str) -> Markup {
    let of = |advice: Option<Advice>| -> Vec<&RemainingLine> {
        let mut lines: Vec<_> = report.parts.iter().filter(|l| l.advice == advice).collect();
        lines.sort_by(|a, b| {
            let saving = |l: &RemainingLine| l.saving.unwrap_or(0.0);
            saving(b).total_cmp(&saving(a))
        });
        lines
    };
    let (replace, inspect) = (of(Some(Advice::ReplaceNow)), of(Some(Advice::Inspect)));
    let (run, silent) = (of(Some(Advice::Run)).len(), of(None).len());
    let likely = |l: &&RemainingLine| l.chance_this_season.is_some_and(|c| 0.5 < c);
    let doomed: Vec<&RemainingLine> = of(Some(Advice::Run)).into_iter().filter(likely).collect();
    let unpriced = doomed.iter().any(|l| l.stop_cost.is_none());
    let doomed = doomed.len();
    let content = html! {
        p {
            "Advice weighs changing a part in the shop now against a stop in season, at your prices. A measured "
            "limit comes first: what has reached it is changed, whatever stands here."
        }
        (cautions(&report.header.cautions))
        h3 { "Change in the shop" }
        @if replace.is_empty() { p { "Nothing." } }
        @else { (list(report, &replace, currency, "Parts to change before the season, the largest saving first")) }
        @if let Some(words) = report.changes_in_words(|v| money(v, currency)) {
            p { (words.replace(" marked so", "").replace('`', "")) }
        }
        h3 { "Look at first" }
        @if inspect.is_empty() { p { "Nothing." } }
        @else { (list(report, &inspect, currency, "Parts on which a look decides")) }
        h3 { "Scheduled work" }
        @if report.services.is_empty() { p { "None due by the end of the season." } }
        @else { (services(report)) }
        p {
            "Run on: " (count(run, "part")) "."
            @if 0 < doomed {
                " Of these " (doomed) " will more likely than not wear out in the season; "
                @if unpriced {
                    "what a stop costs is not known of all of them, and where it has no price running on looks cheaper."
                } @else {
                    "a new part there would gain too little to pay for changing early."
                }
            }
            @if 0 < silent {
                " Advice is " (UNKNOWN) " for " (count(silent, "part"))
                ": a price, labor hours or the use to come is missing."
            }
        }
    };
    super::section("change", true, &content)
}

fn cautions(cautions: &[String]) -> Markup {
    html! {
        aside.care aria-label="Cautions" {
            h3 { "Before you work on a machine" }
            ul { @for caution in cautions { li { (caution) "." } } }
        }
    }
}

/// `north rig: left fins, 2`.
pub(super) fn place(line: &RemainingLine) -> String {
    match &line.slot {
        Some(slot) => format!("{}: {}, {slot}", line.machine, line.position),
        None => format!("{}: {}", line.machine, line.position),
    }
}

fn list(
    report: &RemainingReport,
    lines: &[&RemainingLine],
    currency: &str,
    caption: &str,
) -> Markup {
    let rows = lines.iter().map(|line| {
        let used = known(line.age, |v| {
            let amount = whole(shown(line.measure, v, report.units));
            format!("{amount} {}", unit(line.measure, report.units))
        });
        vec![
            format!("{} ({})", place(line), line.part),
            used,
            known(line.chance_this_season, percent),
            known(line.stop_cost, |v| money(v, currency)),
            known(line.saving, |v| money(v, currency)),
        ]
    });
    Table {
        caption,
        heads: &[
            "Where",
            "Used",
            "Worn out in the season",
            "A stop costs more",
            "Saved by changing now",
        ],
        figures: 1,
        rows: rows.collect(),
        thing: "part",
        command: "wearcast remaining",
    }
    .markup()
}

fn services(report: &RemainingReport) -> Markup {
    let rows = report.services.iter().map(|line| {
        vec![
            format!("{}: {} ({})", line.machine, line.position, line.part),
            super::season::on_axis(line.pieces),
            day(line.due),
        ]
    });
    Table {
        caption: "Work due by the calendar or by use, by the end of the season",
        heads: &["Where", "Pieces", "Due"],
        figures: 1,
        rows: rows.collect(),
        thing: "job",
        command: "wearcast remaining",
    }
    .markup()
}
