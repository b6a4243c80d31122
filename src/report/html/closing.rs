//! How to read the figures, the notes, and the account of rows.

use std::collections::BTreeSet;

use maud::{Markup, html};

use super::table::Table;
use super::words::{UNKNOWN, capital, share, whole};
use crate::record::Account;
use crate::report::page::PageReport;

pub(super) fn how_to_read(report: &PageReport) -> Markup {
    let header = &report.budget.header;
    let level = share(header.level);
    let priors = report.fits.families.iter().any(|f| f.priors);
    let content = html! {
        dl {
            dt { "Expected" }
            dd { "The average over many seasons like the one planned. Expected figures add up." }
            dt { "Enough in 8 of 10" }
            dd {
                "Stays within it in eight seasons of ten, and is short in two. It can lie below the expected figure, where "
                "something rare and dear lifts the average. Such figures of single lines do not add up to the total's, "
                "since not every part has its bad year at once."
            }
            dt { "Range of money and replacements" }
            dd { "Eight seasons of ten lie within it, one below and one above: an 80 % range." }
            dt { "Range of lives and wear factors" }
            dd { "Holds the true figure in " (level) " of cases. A wide one means that the records cannot tell yet." }
            dt { "Wear factor" }
            dd { "How many units of the reference product do as much wear as one of this product." }
            dt { (capital(UNKNOWN)) }
            dd { "The records do not say. It is never taken as 0." }
        }
        h3 { "For the statistician" }
        p {
            "A part's life is a distribution of effective exposure: use by product group, each times its wear factor, all "
            "estimated together from interval-censored wear-outs and right-censored and late-entering lives. "
            @if priors {
                "Estimates are posterior medians, ranges are equal-tailed posterior intervals. "
            } @else {
                "Estimates are of maximum likelihood, ranges are profile-likelihood intervals. "
            }
            "On the probability plots the rings are at exact median ranks where every life is seen from new, else in the middle "
            "of each fall of the non-parametric estimate; the band holds pointwise limits on the scale of ln(-ln S). The season "
            "is played many times from draws of the parameters; a total is a quantile of the played sums, not a sum of "
            "quantiles. Ranges of the calibration picture are binomial and take outcomes as independent, which the seasons of one "
            "fleet are not quite. Seed " (header.seed) "."
        }
    };
    super::section("reading", true, &content)
}

pub(super) fn notes(report: &PageReport) -> Markup {
    let headers = [
        &report.budget.header,
        &report.remaining.header,
        &report.fits.header,
    ];
    let mut seen = BTreeSet::new();
    let notes = headers.into_iter().flat_map(|h| &h.notes);
    let notes: Vec<&String> = notes.filter(|note| seen.insert(note.as_str())).collect();
    let content = html! {
        @if notes.is_empty() { p { "None." } }
        @else { ul { @for note in notes { li { (capital(note)) } } } }
    };
    super::section("notes", false, &content)
}

pub(super) fn rows(account: &[Account]) -> Markup {
    let figure = |v: u64| whole(v as f64);
    let lines = account.iter().map(|a| match &a.source {
        None => {
            let none = || "none".to_owned();
            vec![
                format!("{} (no such table)", a.table.name()),
                none(),
                none(),
                none(),
                none(),
            ]
        }
        Some(source) => vec![
            format!("{} ({source})", a.table.name()),
            figure(a.read),
            figure(a.used),
            figure(a.set_aside),
            figure(a.later),
        ],
    });
    let content = html! {
        p {
            "Every row read is used or set aside. Rows set aside have a problem that " code { "wearcast check" }
            " lists. Rows after the day the page is of are sound, and treated as not yet known."
        }
        (Table {
            caption: "Rows by table",
            heads: &["Table", "Read", "Used", "Set aside", "Of those used, later"],
            figures: 1,
            rows: lines.collect(),
            thing: "table",
            command: "wearcast check",
        }.markup())
    };
    super::section("rows", false, &content)
}
