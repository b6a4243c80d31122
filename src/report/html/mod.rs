//! The page: everything known of the coming season on one sheet that needs no network and no script.
//!
//! Each part of the page has a file, with its pictures and its words side by side. Text from records
//! goes through maud, which escapes it, or into a picture, which does the same.

mod change;
mod closing;
mod lasting;
mod lives;
mod look;
mod past;
mod products;
mod season;
mod table;
mod words;

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::page::PageReport;
use crate::plot::{Group, Picture};

/// The whole page.
#[must_use]
pub fn page(report: &PageReport) -> String {
    let budget = &report.budget;
    let title = format!("Wear parts, season {}", budget.season);
    let markup = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="generator" content={ "wearcast " (env!("CARGO_PKG_VERSION")) };
                title { (title) }
                // An empty icon of its own: else the browser asks a server for one.
                link rel="icon" href="data:,";
                style { (PreEscaped(look::STYLE)) }
            }
            body {
                header {
                    h1 { (title) }
                    p { (season::standing(budget)) }
                }
                nav aria-label="On this page" {
                    ul { @for (id, heading) in HEADINGS { li { a href={ "#" (id) } { (heading) } } } }
                }
                main {
                    (season::section(budget))
                    (change::section(&report.remaining, &budget.currency))
                    (lasting::section(&report.remaining))
                    (lives::section(&report.fits))
                    (lives::factors_section(&report.fits))
                    (products::section(budget))
                    (past::section(&report.past))
                    (closing::how_to_read(report))
                    (closing::notes(report))
                    (closing::rows(&budget.account))
                }
            }
        }
    };
    // Control characters of records are no text: a page must not hold them, however written.
    let allowed = |c: &char| !c.is_control() || *c == '\n';
    markup.into_string().chars().filter(allowed).collect()
}

/// Every picture of the page, in its order; each has a name of its own.
#[must_use]
pub fn figures(report: &PageReport) -> Vec<Picture> {
    let mut pictures = season::pictures(&report.budget);
    pictures.extend(lasting::picture(&report.remaining));
    pictures.extend(lives::pictures(&report.fits).into_iter().flatten());
    pictures.extend(lives::factor_pictures(&report.fits));
    pictures.extend(products::picture(&report.budget));
    if let Ok(past) = &report.past {
        pictures.extend(past::pictures(past));
    }
    pictures
}

/// The parts of the page: ids and headings.
const HEADINGS: [(&str, &str); 10] = [
    ("money", "The season's money"),
    ("change", "What to change now"),
    ("lasting", "Will it last the season?"),
    ("lives", "How long parts last"),
    ("factors", "What each product does to them"),
    ("products", "Cost by product"),
    ("past", "Past forecasts against what happened"),
    ("reading", "How to read the figures"),
    ("notes", "Notes"),
    ("rows", "Rows of the records"),
];

/// A part of the page; on paper some begin a new leaf.
fn section(id: &str, leaf: bool, content: &Markup) -> Markup {
    let heading = HEADINGS.iter().find(|(known, _)| *known == id);
    let heading = heading.map_or(id, |(_, heading)| heading);
    html! {
        section aria-labelledby=(id) {
            h2 id=(id) class=[leaf.then_some("leaf")] { (heading) }
            (content)
        }
    }
}

/// A picture with the words under it.
fn figure(picture: &Picture, words: &str) -> Markup {
    html! {
        figure class=[picture.is_tall().then_some("tall")] {
            (PreEscaped(picture.svg()))
            figcaption { (words) }
        }
    }
}

/// Most rows of one picture: so many fit on a sheet of paper.
const MOST_IN_PICTURE: usize = 20;

/// Most rows of pictures that stand two beside each other on paper.
const MOST_IN_HALF: usize = 12;

/// Groups dealt out to pictures of at most [`MOST_IN_HALF`] rows, none of them broken where that can
/// be helped.
fn dealt(groups: Vec<Group>) -> Vec<Vec<Group>> {
    let mut pictures: Vec<Vec<Group>> = Vec::new();
    let mut filled = 0;
    for group in groups {
        for rows in group.rows.chunks(MOST_IN_HALF) {
            if pictures.is_empty() || MOST_IN_HALF < filled + rows.len() {
                pictures.push(Vec::new());
                filled = 0;
            }
            filled += rows.len();
            if let Some(picture) = pictures.last_mut() {
                picture.push(Group {
                    heading: group.heading.clone(),
                    rows: rows.to_vec(),
                });
            }
        }
    }
    pictures
}

/// ` (2 of 3)` where there are several.
fn of_several(index: usize, all: usize) -> String {
    if all < 2 {
        String::new()
    } else {
        format!(" ({} of {all})", index + 1)
    }
}
