//! Wear and cost side by side, in a table and in sentences.

use std::fmt::Write as _;

use super::close;
use super::grid::{Grid, Lean};
use super::words::{amount, capital, interval, money, or_unknown, percent, small, whole, wrapped};
use crate::report::Estimate;
use crate::report::compare::{CompareFamily, CompareReport, CompareRow, CompareTogether, Compared};
use crate::units::{Measure, Units};

/// The comparison.
#[must_use]
pub fn compare(report: &CompareReport, width: usize) -> String {
    let mut out = String::new();
    for family in &report.families {
        let teller = Teller {
            report,
            family,
            width,
        };
        teller.tell(&mut out);
        out.push('\n');
    }
    totals(&mut out, report, width);
    if let Some(all) = &report.together {
        together(&mut out, report, all, width);
    }
    out.push_str(&wrapped(&legend(report), "", "", width));
    close(&mut out, &report.header, false, width);
    out
}

fn legend(report: &CompareReport) -> String {
    let level = report.header.in_hundred();
    let of = if report.compared == Compared::Products {
        "that product group"
    } else {
        "the reference product group"
    };
    let mut legend = format!(
        "'Half by': half of them are worn out by so much use of {of}. Ranges and figures in brackets hold the truth in {level} cases of 100."
    );
    if 0 < report.comparisons {
        legend.push_str(" p is the chance of seeing so large a difference where there is none.");
    }
    if 1 < report.comparisons {
        let _ = write!(
            legend,
            " 'Corrected' allows for all {} comparisons of this table together (Holm), so that luck in one of many is not taken for a difference.",
            report.comparisons
        );
    } else if report.comparisons == 1 {
        legend.push_str(" There is one comparison, so correcting for many changes nothing.");
    }
    if report.compared != Compared::Products {
        legend.push_str(
            " Lives are compared at the same effective exposure: the same work, each product by its wear factor.",
        );
    }
    if report.compared == Compared::Machines {
        legend.push_str(
            " p asks whether that machine differs from all the others taken as alike; the ranges also allow for machines that differ by chance, so trust them first.",
        );
    }
    if report.together.is_some() {
        legend.push_str(
            " 'All parts together' holds the lives of every part that more than one of them has against a model in which all are alike; machines of one line may differ among themselves, which its ranges and p allow for.",
        );
    }
    let settles = report.families.iter().flat_map(|f| &f.rows);
    if settles.clone().any(|r| r.more_to_settle.is_some()) {
        legend.push_str(
            " 'Would settle it' is reckoned so: if the estimate is right, and the brackets narrow with the square root of the wear-outs of both, so many more leave 'no difference' outside them.",
        );
    }
    legend
}

/// Wear of all families, by product group.
fn totals(out: &mut String, report: &CompareReport, width: usize) {
    if report.totals.is_empty() {
        return;
    }
    let (area, mass): (&'static str, &'static str) = match report.units {
        Units::Us => ("An acre", "A ton"),
        Units::Metric => ("A hectare", "A tonne"),
    };
    let _ = writeln!(out, "All wearing parts together, in the long run");
    let mut grid = Grid::new(
        &[
            ("Product group", Lean::Left),
            (area, Lean::Right),
            ("Range", Lean::Range),
            (mass, Lean::Right),
            ("Range", Lean::Range),
        ],
        width,
    );
    for total in &report.totals {
        let mut cells = vec![total.group.clone()];
        for (value, measure) in [
            (total.cost_per_acre, Measure::Acres),
            (total.cost_per_ton, Measure::Tons),
        ] {
            let value = per(value, measure, report.units);
            cells.push(or_unknown(value.map(|v| v.estimate), |v| {
                small(v, &report.currency)
            }));
            cells.push(interval(value.as_ref(), |v| small(v, &report.currency)));
        }
        grid.row(cells);
    }
    out.push_str(&grid.text());
    out.push('\n');
}

/// Wear-outs of all families, by machine or value.
fn together(out: &mut String, report: &CompareReport, all: &CompareTogether, width: usize) {
    let head = format!(
        "All parts together by {}: wear-outs seen, and how fast parts wear at the same work, against the average",
        report.by
    );
    out.push_str(&wrapped(&head, "", "  ", width));
    let mut grid = Grid::new(
        &[
            ("", Lean::Left),
            ("Seen", Lean::Right),
            ("Times as fast", Lean::Right),
            ("Range", Lean::Range),
            ("p", Lean::Right),
            ("Corrected", Lean::Right),
        ],
        width,
    );
    for row in &all.rows {
        grid.row([
            row.value.as_deref().unwrap_or("not recorded").to_owned(),
            whole(row.worn),
            amount(row.wear_factor.estimate),
            tight(&interval(Some(&row.wear_factor), amount)),
            probability(row.p_value),
            or_unknown(row.p_holm, probability),
        ]);
    }
    out.push_str(&grid.text());
    out.push('\n');
}

/// Money per internal unit as money per unit of the reader.
fn per(value: Option<Estimate>, measure: Measure, units: Units) -> Option<Estimate> {
    let one = measure.shown(1.0, units);
    value.map(|v| Estimate {
        estimate: v.estimate / one,
        low: v.low.map(|l| l / one),
        high: v.high.map(|h| h / one),
    })
}

/// `(1.3 to 2.6)`; nothing where nothing is known.
fn limits(value: Option<&Estimate>, form: &dyn Fn(f64) -> String) -> String {
    match value.map(|v| (v.low, v.high)) {
        None | Some((None, None)) => String::new(),
        Some((Some(low), None)) => format!("({} or more)", form(low)),
        Some((None, Some(high))) => format!("({} or less)", form(high)),
        Some((Some(low), Some(high))) => format!("({} to {})", form(low), form(high)),
    }
}

/// Two ranges in a row leave no room for spaces.
fn tight(range: &str) -> String {
    range.replace(" - ", "-")
}

fn name(row: &CompareRow) -> &str {
    row.value.as_deref().unwrap_or("not recorded")
}

fn counted(count: f64, one: &str, many: &str) -> String {
    format!("{} {}", whole(count), if count < 1.5 { one } else { many })
}

fn probability(p: f64) -> String {
    if p < 0.001 {
        "< 0.001".to_owned()
    } else {
        format!("{p:.3}")
    }
}

/// Tells one family.
struct Teller<'a> {
    report: &'a CompareReport,
    family: &'a CompareFamily,
    width: usize,
}

impl Teller<'_> {
    fn tell(&self, out: &mut String) {
        let unit = self.family.measure.label(self.report.units);
        let base = self.family.rows.iter().find(|r| r.is_base);
        let against = match (self.report.compared, base) {
            (Compared::Machines, _) => ", each against the typical machine".to_owned(),
            (_, Some(base)) => format!(", against {}", name(base)),
            (_, None) => String::new(),
        };
        let head = format!(
            "{} by {}{against}; lives in {unit}",
            capital(&self.family.family),
            self.report.by
        );
        out.push_str(&wrapped(&head, "", "  ", self.width));
        out.push_str(&self.grid());
        // Of many machines those that differ are looked for, not those that do not.
        let is_quiet = |row: &&CompareRow| {
            let among = |e: Estimate| e.low < Some(1.0) && Some(1.0) < e.high;
            let is_told = row.p_holm.is_some_and(|p| p < 0.5) || row.note.is_some();
            self.report.compared == Compared::Machines
                && !is_told
                && row.life_ratio.is_some_and(among)
        };
        let (quiet, loud): (Vec<_>, Vec<_>) = self.family.rows.iter().partition(is_quiet);
        for row in &loud {
            let words = self.sentences(row);
            if !words.is_empty() {
                let text = format!("{}: {words}", name(row));
                out.push_str(&wrapped(&text, "  ", "    ", self.width));
            }
        }
        if !quiet.is_empty() {
            let text = alike(&quiet, loud.is_empty());
            out.push_str(&wrapped(&text, "  ", "    ", self.width));
        }
    }

    fn grid(&self) -> String {
        let area: &'static str = match self.report.units {
            Units::Us => "An acre",
            Units::Metric => "A hectare",
        };
        let mut grid = Grid::new(
            &[
                ("", Lean::Left),
                ("Lives", Lean::Right),
                ("Worn", Lean::Right),
                ("Half by", Lean::Right),
                ("Range", Lean::Range),
                (area, Lean::Right),
                ("Range", Lean::Range),
            ],
            self.width,
        );
        let measure = self.family.measure;
        let units = self.report.units;
        let life = |v: f64| amount(measure.shown(v, units));
        for row in &self.family.rows {
            let cost = per(row.cost_per_acre, Measure::Acres, units);
            let currency = &self.report.currency;
            grid.row([
                name(row).to_owned(),
                whole(row.lives),
                whole(row.worn),
                or_unknown(row.life50.map(|e| e.estimate), life),
                tight(&interval(row.life50.as_ref(), life)),
                or_unknown(cost.map(|e| e.estimate), |v| small(v, currency)),
                tight(&interval(cost.as_ref(), |v| small(v, currency))),
            ]);
        }
        grid.text()
    }

    fn sentences(&self, row: &CompareRow) -> String {
        let mut said: Vec<String> = Vec::new();
        if !row.is_base {
            said.extend(self.difference(row));
            said.extend(self.money(row));
            said.extend(more(row));
        }
        said.extend(row.note.clone());
        said.join("; ")
    }

    /// How much longer or harder, and how sure that is.
    fn difference(&self, row: &CompareRow) -> Option<String> {
        let products = self.report.compared == Compared::Products;
        let value = if products {
            row.wear_factor
        } else {
            row.life_ratio
        }?;
        let times = format!(
            "{} times as {}",
            amount(value.estimate),
            if products { "hard" } else { "long" }
        );
        let verb = if products { "wears" } else { "lasts" };
        let mut text = format!("{verb} {times} {}", limits(Some(&value), &amount));
        if let Some(p) = row.p_value {
            let _ = write!(text, "; p {}", probability(p));
        }
        if let Some(p) = row.p_holm {
            let _ = write!(text, ", corrected {}", probability(p));
        }
        if products {
            let cost = per(row.cost_per_ton, Measure::Tons, self.report.units);
            if let Some(cost) = cost {
                let mass = if self.report.units == Units::Us {
                    "ton"
                } else {
                    "tonne"
                };
                let _ = write!(
                    text,
                    "; {} a {mass}",
                    small(cost.estimate, &self.report.currency)
                );
            }
        }
        Some(text)
    }

    /// Whether the dearer one pays.
    fn money(&self, row: &CompareRow) -> Option<String> {
        let base = self.family.rows.iter().find(|r| r.is_base)?;
        let (own, other) = (row.change_cost?, base.change_cost?);
        let (dearer, pays) = (row.dearer?, row.chance_dearer_pays?);
        let currency = &self.report.currency;
        let ratio = row.cost_ratio?;
        let cost = format!(
            "a change costs {} against {}, and an acre {} times as much {}",
            money(own, currency),
            money(other, currency),
            amount(ratio.estimate),
            limits(Some(&ratio), &amount)
        );
        let chance = if dearer { pays } else { 1.0 - pays };
        Some(if 0.5 <= chance {
            format!("{cost}: pays in parts and labor, {} sure", percent(chance))
        } else {
            format!(
                "{cost}: does not pay in parts and labor, {} sure",
                percent(1.0 - chance)
            )
        })
    }
}

/// Machines of which nothing is to be said, in a sentence.
fn alike(rows: &[&CompareRow], are_all: bool) -> String {
    let lasting = rows.iter().filter_map(|row| row.life_ratio);
    let (low, high) = lasting.fold((f64::INFINITY, 0.0_f64), |(low, high), ratio| {
        (low.min(ratio.estimate), high.max(ratio.estimate))
    });
    let who = match (are_all, rows.len()) {
        (true, count) => format!("all {count} machines last"),
        (false, 1) => "the other machine lasts".to_owned(),
        (false, count) => format!("the other {count} machines last"),
    };
    let times = if low < high {
        format!("{} to {}", amount(low), amount(high))
    } else {
        amount(low)
    };
    format!("{who} {times} times as long as the typical one, no further apart than luck explains")
}

fn more(row: &CompareRow) -> Option<String> {
    let more = row.more_to_settle?;
    if more < 0.5 {
        return None;
    }
    Some(format!(
        "about {} would settle it",
        counted(more, "more wear-out", "more wear-outs")
    ))
}
