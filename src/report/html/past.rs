//! Past seasons: what would have been forecast, and what happened.

use std::collections::BTreeMap;

use maud::{Markup, html};

use super::table::Table;
use super::words::{UNKNOWN, capital, known, money, pieces, share, whole};
use super::{dealt, figure, of_several};
use crate::plot::{
    CalibrationFigure, CalibrationPoint, Caption, Group, Mark, Picture, Row, RowsFigure, Sample,
    Scale,
};
use crate::report::backtest::BacktestReport;
use crate::score::{Score, Scored};

pub(super) fn section(past: &Result<BacktestReport, String>) -> Markup {
    let content = match past {
        Err(why) => html! {
            p { "No past season can be scored yet: " (why) "." }
        },
        Ok(report) => html! {
            p {
                "Each past season forecast from the records before it alone, with the use that it really had, beside what "
                "happened. About eight outcomes in ten should lie within their ranges."
            }
            div.pair.families {
                @for picture in season_pictures(report) { (figure(&picture, &picture.caption.title)) }
            }
            (scores(report))
            @if let Some(picture) = calibration(report) {
                h3 { "Do the forecasts mean what they say?" }
                (figure(&picture, &calibration_words(report)))
            }
            @if !report.header.notes.is_empty() {
                h3 { "Notes on these forecasts" }
                ul { @for note in &report.header.notes { li { (capital(note)) } } }
            }
        },
    };
    super::section("past", true, &content)
}

pub(super) fn pictures(report: &BacktestReport) -> Vec<Picture> {
    let mut pictures = season_pictures(report);
    pictures.extend(calibration(report));
    pictures
}

fn season_pictures(report: &BacktestReport) -> Vec<Picture> {
    let mut pictures: Vec<Picture> = money_picture(report).into_iter().collect();
    pictures.extend(replacement_pictures(report));
    pictures
}

/// One forecast beside its outcome.
fn row(
    season: i32,
    scored: Option<&Scored>,
    form: &dyn Fn(f64) -> String,
    exact: &dyn Fn(f64) -> String,
) -> Row {
    let told = scored.map(|s| {
        format!(
            "forecast {}, happened {}",
            form(s.forecast.expected),
            exact(s.actual)
        )
    });
    Row {
        label: season.to_string(),
        told: told.unwrap_or_else(|| UNKNOWN.to_owned()),
        range: scored.map(|s| (Some(s.forecast.p10), Some(s.forecast.p90))),
        marks: scored
            .iter()
            .flat_map(|s| [(Mark::Tick, s.forecast.expected), (Mark::Ring, s.actual)])
            .collect(),
        ..Row::default()
    }
}

fn draw(caption: Caption, axis: &str, tell: &dyn Fn(f64) -> String, groups: Vec<Group>) -> Picture {
    RowsFigure {
        caption,
        scale: Scale::Linear,
        ends: None,
        axis: axis.to_owned(),
        tell,
        reference: None,
        key: vec![
            (Sample::Mark(Mark::Tick), "forecast"),
            (Sample::Range, "its range, 8 in 10"),
            (Sample::Mark(Mark::Ring), "happened"),
        ],
        groups,
    }
    .draw()
}

fn inside(score: &Score) -> String {
    let inside = known(score.inside_80, |v| whole(v * score.forecasts as f64));
    format!("{inside} of {}", score.forecasts)
}

fn money_picture(report: &BacktestReport) -> Option<Picture> {
    let told = |v: f64| money(v, &report.currency);
    let money_rows = report.rows.iter().filter(|r| r.family.is_none());
    let rows: Vec<Row> = money_rows
        .map(|r| row(r.season, r.scored.as_ref(), &told, &told))
        .collect();
    if report.money.forecasts == 0 {
        return None;
    }
    let rows = rows[rows.len().saturating_sub(super::MOST_IN_HALF)..].to_vec();
    let caption = Caption {
        name: "past-money".to_owned(),
        title: "Money of past seasons: forecast and what happened".to_owned(),
        about: format!(
            "{} outcomes lie within their ranges.",
            inside(&report.money)
        ),
    };
    let group = Group {
        heading: Some("Money".to_owned()),
        rows,
    };
    Some(draw(
        caption,
        "parts and labor of the season",
        &told,
        vec![group],
    ))
}

fn replacement_pictures(report: &BacktestReport) -> Vec<Picture> {
    let mut families: BTreeMap<&str, Vec<Row>> = BTreeMap::new();
    for line in &report.rows {
        if let Some(family) = &line.family {
            let row = row(line.season, line.scored.as_ref(), &pieces, &whole);
            families.entry(family).or_default().push(row);
        }
    }
    let groups = families.into_iter().map(|(family, rows)| Group {
        heading: Some(family.to_owned()),
        rows,
    });
    let pictures = dealt(groups.collect());
    let all = pictures.len();
    let drawn = pictures.into_iter().enumerate().map(|(i, groups)| {
        let caption = Caption {
            name: if all < 2 {
                "past-replacements".to_owned()
            } else {
                format!("past-replacements-{}", i + 1)
            },
            title: format!(
                "Replacements in past seasons: forecast and what happened{}",
                of_several(i, all)
            ),
            about: format!(
                "Of all families and seasons, {} outcomes lie within their ranges.",
                inside(&report.replacements)
            ),
        };
        draw(
            caption,
            "replacements in the season",
            &super::season::on_axis,
            groups,
        )
    });
    drawn.collect()
}

fn scores(report: &BacktestReport) -> Markup {
    let line = |name: &str, score: &Score, form: &dyn Fn(f64) -> String| {
        vec![
            name.to_owned(),
            known(score.expected, form),
            known(score.actual, form),
            inside(score),
            known(score.skill_over_last_season, share),
        ]
    };
    let mut rows: Vec<Vec<String>> = report
        .families
        .iter()
        .map(|f| line(&f.family, &f.score, &pieces))
        .collect();
    rows.push(line("All families", &report.replacements, &pieces));
    if 0 < report.money.forecasts {
        let told = |v: f64| money(v, &report.currency);
        rows.push(line("Money", &report.money, &told));
    }
    Table {
        caption: "All scored seasons together. The last column: how much of the error of a budget 'as last season' the \
                  forecast saves; below 0 it is worse",
        heads: &["Family", "Forecast", "Happened", "Within range", "Error saved"],
        figures: 1,
        rows,
        thing: "family",
        command: "wearcast backtest",
    }
    .markup()
}

fn calibration(report: &BacktestReport) -> Option<Picture> {
    let calibration = &report.calibration;
    if calibration.outcomes == 0 {
        return None;
    }
    let points = calibration.quantiles.iter().map(|q| CalibrationPoint {
        said: q.said,
        happened: q.happened,
        by_chance: q.by_chance,
    });
    let figure = CalibrationFigure {
        caption: Caption {
            name: "past-calibration".to_owned(),
            title: "Whether the forecasts mean what they say".to_owned(),
            about: calibration
                .quantiles
                .iter()
                .map(|q| {
                    format!(
                        "The forecasts put {} of outcomes at or below a limit; {} stayed there.",
                        share(q.said),
                        share(q.happened)
                    )
                })
                .collect::<Vec<_>>()
                .join(" "),
        },
        points: points.collect(),
    };
    Some(figure.draw())
}

fn calibration_words(report: &BacktestReport) -> String {
    format!(
        "Replacements of {} families and seasons. Dots on the dashed line: what is called 8 in 10 happens 8 times in 10. Dots \
         above it: less happens than is forecast; below it: more. A dot outside its range is more than chance.",
        report.calibration.outcomes
    )
}
