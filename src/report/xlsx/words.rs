//! Words and units that several sheets share.

use super::live;
use super::table::{Cell, Outcome};
use super::text;
use crate::record::Amounts;
use crate::report::{BudgetReport, Forecast, PartLine};
use crate::units::{Measure, Units};

/// The figures of a forecast that an owner budgets by: expected, in 8 of 10, in 9 of 10, low.
pub(super) const FIGURES: [fn(&Forecast) -> f64; 4] =
    [|f| f.expected, |f| f.p80, |f| f.p90, |f| f.p10];

/// `Acres`, `Tonnes`: heading of a column in the owner's units.
pub(super) fn heading(measure: Measure, units: Units) -> String {
    capital(measure.label(units))
}

/// `acre`, `tonne`: one of the owner's units.
pub(super) fn one(measure: Measure, units: Units) -> &'static str {
    let label = measure.label(units);
    label.strip_suffix('s').unwrap_or(label)
}

/// An amount in the owner's units.
pub(super) fn amount(amounts: &Amounts, measure: Measure, units: Units) -> Cell {
    amounts
        .get(measure)
        .map(|amount| measure.shown(amount, units))
        .into()
}

/// Money for one internal unit, as money for one of the owner's units.
pub(super) fn per_unit(money: Option<f64>, measure: Measure, units: Units) -> Cell {
    money.map(|money| money / measure.shown(1.0, units)).into()
}

/// A figure by a formula, in a workbook that follows its plan.
pub(super) fn followed(report: &BudgetReport, cell: Cell, formula: impl Into<String>) -> Cell {
    if report.live.is_some() {
        cell.by(formula)
    } else {
        cell
    }
}

/// Money that is unknown until prices are filled in, as [`unknown`] says it.
pub(super) const MONEY: &str = "money (a price or planned use is missing)";

/// A remark that something is unknown, which goes once that is there; `there` is its cell.
pub(super) fn until(report: &BudgetReport, remark: Cell, there: &str) -> Cell {
    match remark {
        Cell::Text(words) if report.live.is_some() => Cell::Formula {
            formula: format!("IF({there}=\"\",\"{words}\",\"\")"),
            result: Outcome::Text(words),
        },
        other => other,
    }
}

/// Something that may be unknown: its name, whether it now is, and in a workbook that follows its
/// inputs the condition under which it is.
pub(super) type Gap<'a> = (&'a str, bool, Option<String>);

/// As [`unknown`] says it, by a formula where conditions are given: a remark goes once what it misses
/// is filled in, and comes when that is taken out.
pub(super) fn gaps(report: &BudgetReport, gaps: &[Gap<'_>]) -> Cell {
    gaps_and(report, gaps, None)
}

/// The same before a remark that stays.
pub(super) fn gaps_and(report: &BudgetReport, gaps: &[Gap<'_>], stays: Option<&str>) -> Cell {
    let now: Vec<(&str, bool)> = gaps.iter().map(|(name, is, _)| (*name, *is)).collect();
    let now = unknown(&now).into_iter().chain(stays.map(str::to_owned));
    let now = now.collect::<Vec<_>>().join("; ");
    let follows = report.live.is_some() && gaps.iter().any(|(.., test)| test.is_some());
    if !follows {
        return Cell::from(Some(now.as_str()).filter(|words| !words.is_empty()));
    }
    let tests: Vec<(&str, String)> = gaps
        .iter()
        .filter_map(|(name, is, test)| match test {
            Some(test) => Some((*name, test.clone())),
            None => is.then(|| (*name, "1=1".to_owned())),
        })
        .collect();
    let any: Vec<&str> = tests.iter().map(|(_, test)| test.as_str()).collect();
    let names = tests
        .iter()
        .map(|(name, test)| format!("IF({test},\", {name}\",\"\")"));
    let names: Vec<String> = names.collect();
    let (any, names) = (any.join(","), names.join("&"));
    let (behind, alone) = match stays {
        Some(words) => (format!("&{}", quoted(&format!("; {words}"))), quoted(words)),
        None => (String::new(), "\"\"".to_owned()),
    };
    Cell::Formula {
        formula: format!("IF(OR({any}),\"unknown: \"&MID({names},3,200){behind},{alone})"),
        result: if now.is_empty() {
            Outcome::Empty
        } else {
            Outcome::Text(now)
        },
    }
}

/// Words as a formula holds them: in pieces, since none may be longer than 255 letters.
pub(super) fn quoted(words: &str) -> String {
    const LONGEST: usize = 200;
    let letters: Vec<char> = words.chars().collect();
    let pieces = letters.chunks(LONGEST).map(|piece| {
        let piece: String = piece.iter().collect();
        format!("\"{}\"", piece.replace('"', "\"\""))
    });
    pieces.collect::<Vec<_>>().join("&")
}

/// What the tons of the sheet are.
pub(super) fn ton_words(units: Units) -> &'static str {
    match units {
        Units::Us => "Tons are short tons of 2,000 lb.",
        Units::Metric => "Tonnes are of 1,000 kg.",
    }
}

/// `season 2027 (1 Nov 2026 to 31 Oct 2027)`.
pub(super) fn season(report: &BudgetReport) -> String {
    text::season(report.season, (report.from, report.until))
}

/// The season's total, or that of the lines whose cost is known where it is unknown; see [`total_words`].
pub(super) fn known_total(report: &BudgetReport) -> Option<Forecast> {
    // Without a line nothing is known, which is not 0.
    let known = (!report.lines.is_empty()).then_some(report.known_total);
    report.total.or(known)
}

/// Heading of what is known of figures that are unknown as a whole.
pub(super) const KNOWN_ONLY: &str = "What is known of it";

/// Whether there is anything to tell under [`KNOWN_ONLY`]: a cost of some line is unknown, and there are lines.
pub(super) fn tells_known(report: &BudgetReport) -> bool {
    report.total.is_none() && !report.lines.is_empty()
}

/// Which of the two [`known_total`] is.
pub(super) fn total_words(report: &BudgetReport) -> &'static str {
    if report.total.is_some() {
        "The season's total"
    } else {
        "The season's total, known lines"
    }
}

/// The cells that the figures of [`known_total`] follow: all lines where they were all known, so that a
/// price taken out leaves nothing that looks whole.
pub(super) fn totals(report: &BudgetReport) -> [&'static str; 4] {
    if report.total.is_some() {
        live::TOTAL
    } else {
        live::KNOWN
    }
}

/// `unknown: price, labor`, or nothing.
pub(super) fn unknown(things: &[(&str, bool)]) -> Option<String> {
    let missing: Vec<&str> = things
        .iter()
        .filter(|(_, is)| *is)
        .map(|(thing, _)| *thing)
        .collect();
    (!missing.is_empty()).then(|| format!("unknown: {}", missing.join(", ")))
}

/// What is unknown of planned use.
pub(super) fn unknown_use(amounts: &Amounts, units: Units) -> Vec<(&'static str, bool)> {
    Measure::OF_USE
        .iter()
        .map(|m| (m.label(units), amounts.get(*m).is_none()))
        .collect()
}

/// Part numbers whose pieces have no price.
pub(super) fn without_price(report: &BudgetReport) -> Vec<&str> {
    let unpriced = report.lines.iter().filter(|line| line.price.is_none());
    unpriced.map(|line| line.part.as_str()).collect()
}

/// Expected parts and labor of a line, as far as they are known.
pub(super) fn known_cost(line: &PartLine) -> f64 {
    let known = [&line.parts_cost, &line.labor_cost];
    known
        .into_iter()
        .flatten()
        .map(|forecast| forecast.expected)
        .sum()
}

fn capital(word: &str) -> String {
    let mut letters = word.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(letters).collect()
    })
}
