//! Whether each part in service lasts the season.

use std::fmt::Write as _;

use maud::{Markup, html};

use super::change::place;
use super::words::{count, percent};
use super::{MOST_IN_PICTURE, figure};
use crate::decide::Advice;
use crate::plot::{
    Caption, Fill, Group, Mark, Picture, Row, RowsFigure, Sample, Scale, percent as on_axis,
};
use crate::report::remaining::{RemainingLine, RemainingReport};

pub(super) fn section(report: &RemainingReport) -> Markup {
    let known = known(report).len();
    let silent = report.parts.len() - known;
    let content = html! {
        @match picture(report) {
            None => p { "No part in service has a known chance: the use to come or its life is not known." },
            Some(picture) => (figure(&picture, &words(known))),
        }
        @if 0 < silent {
            p { "Not shown: " (count(silent, "part")) " whose use to come is not known." }
        }
    };
    super::section("lasting", false, &content)
}

/// Parts whose chance is known, the least likely to last first.
fn known(report: &RemainingReport) -> Vec<(&RemainingLine, f64)> {
    let parts = report.parts.iter();
    let mut parts: Vec<_> = parts
        .filter_map(|l| l.chance_this_season.map(|worn| (l, 1.0 - worn)))
        .collect();
    parts.sort_by(|a, b| a.1.total_cmp(&b.1));
    parts
}

fn words(known: usize) -> String {
    let mut words = "Chance of each part in service to last to the end of the season without wearing out, with the use \
                     that is planned; being struck or bent comes on top."
        .to_owned();
    if MOST_IN_PICTURE < known {
        let more = count(known - MOST_IN_PICTURE, "part");
        let _ = write!(
            words,
            " Shown are the {MOST_IN_PICTURE} least likely to last of {known}; {more} more are likelier to last than \
             these. 'wearcast remaining' lists every one."
        );
    }
    words
}

pub(super) fn picture(report: &RemainingReport) -> Option<Picture> {
    let parts = known(report);
    let (first, chance) = parts.first()?;
    let rows = parts
        .iter()
        .take(MOST_IN_PICTURE)
        .map(|(line, chance)| Row {
            label: format!("{} ({})", place(line), line.part),
            told: percent(*chance),
            bars: vec![(Fill::Pale, *chance)],
            marks: vec![(mark(line.advice), *chance)],
            ..Row::default()
        });
    let half = parts.iter().filter(|(_, chance)| *chance < 0.5).count();
    let caption = Caption {
        name: "lasts-the-season".to_owned(),
        title: "Chance of each part in service to last the season".to_owned(),
        about: format!(
            "Parts in service, the least likely to last first: {}, {}. As likely worn as not, or likelier: {} of {}.",
            place(first),
            percent(*chance),
            half,
            count(parts.len(), "part"),
        ),
    };
    Some(
        RowsFigure {
            caption,
            scale: Scale::Linear,
            ends: Some((0.0, 1.0)),
            axis: "chance to last the season, %".to_owned(),
            tell: &on_axis,
            reference: None,
            key: vec![
                (Sample::Mark(Mark::Diamond), "change now"),
                (Sample::Mark(Mark::Square), "look at first"),
                (Sample::Mark(Mark::Dot), "run on"),
                (Sample::Mark(Mark::Ring), "no advice"),
            ],
            groups: vec![Group {
                heading: None,
                rows: rows.collect(),
            }],
        }
        .draw(),
    )
}

fn mark(advice: Option<Advice>) -> Mark {
    match advice {
        Some(Advice::ReplaceNow) => Mark::Diamond,
        Some(Advice::Inspect) => Mark::Square,
        Some(Advice::Run) => Mark::Dot,
        None => Mark::Ring,
    }
}
