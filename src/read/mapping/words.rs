//! Words that people use for the columns and values of the records, and likeness of spelling.
//!
//! Collected from common practice, no source. They serve proposals only: nothing is read by them.

use crate::read::header::normal;
use crate::record::Table;

/// Headers without spaces in lower case, the column they mostly are, and the unit they are in.
const HEADERS: &[(&str, &str, Option<&str>)] = &[
    ("datum", "date", None),
    ("day", "date", None),
    ("when", "date", None),
    ("dateapplied", "date", None),
    ("dateofwork", "date", None),
    ("invoicedate", "date", None),
    ("changed", "date", None),
    ("spreader", "machine", None),
    ("unit", "machine", None),
    ("unitno", "machine", None),
    ("truck", "machine", None),
    ("equipment", "machine", None),
    ("maschine", "machine", None),
    ("streuer", "machine", None),
    ("material", "product", None),
    ("commodity", "product", None),
    ("fertilizer", "product", None),
    ("produkt", "product", None),
    ("dünger", "product", None),
    ("area", "acres", None),
    ("acreage", "acres", None),
    ("ac", "acres", None),
    ("acresspread", "acres", None),
    ("ha", "acres", Some("hectares")),
    ("hektar", "acres", Some("hectares")),
    ("fläche(ha)", "acres", Some("hectares")),
    ("area(ha)", "acres", Some("hectares")),
    ("shorttons", "tons", None),
    ("tonsspread", "tons", None),
    ("lbs", "tons", Some("lb")),
    ("pounds", "tons", Some("lb")),
    ("weight(lb)", "tons", Some("lb")),
    ("weight(lbs)", "tons", Some("lb")),
    ("netlb", "tons", Some("lb")),
    ("weight(kg)", "tons", Some("kg")),
    ("tonnen", "tons", Some("tonnes")),
    ("metrictons", "tons", Some("tonnes")),
    ("hrs", "hours", None),
    ("stunden", "hours", None),
    ("spreadhours", "hours", None),
    ("minutes", "hours", Some("minutes")),
    ("compartment", "bin", None),
    ("hopper", "bin", None),
    ("where", "position", None),
    ("location", "position", None),
    ("place", "position", None),
    ("partno", "part", None),
    ("partnumber", "part", None),
    ("part#", "part", None),
    ("item", "part", None),
    ("itemno", "part", None),
    ("sku", "part", None),
    ("teilenummer", "part", None),
    ("qty", "quantity", None),
    ("pieces", "quantity", None),
    ("pcs", "quantity", None),
    ("menge", "quantity", None),
    ("why", "reason", None),
    ("cause", "reason", None),
    ("grund", "reason", None),
    ("lastchecked", "last_good", None),
    ("lastinspected", "last_good", None),
    ("downtime", "down_hours", None),
    ("labor", "labor_hours", None),
    ("labour", "labor_hours", None),
    ("labourhours", "labor_hours", None),
    ("cost", "parts_cost", None),
    ("amount", "parts_cost", None),
    ("total", "parts_cost", None),
    ("comment", "note", None),
    ("comments", "note", None),
    ("remarks", "note", None),
    ("notes", "note", None),
    ("bemerkung", "note", None),
    ("type", "family", None),
    ("kind", "family", None),
    ("unitprice", "price", None),
    ("listprice", "price", None),
    ("preis", "price", None),
    ("packsize", "pack", None),
    ("leadtime", "lead_days", None),
    ("supersedes", "replaces", None),
    ("instock", "on_hand", None),
    ("onshelf", "on_hand", None),
    ("qtyonhand", "on_hand", None),
    ("ordered", "on_order", None),
    ("firstused", "in_service", None),
    ("inservicedate", "in_service", None),
    ("bought", "in_service", None),
    ("purchased", "in_service", None),
    ("sold", "retired", None),
    ("owner", "customer", None),
    ("branch", "site", None),
    ("meterreading", "reading", None),
    ("metertype", "meter", None),
    ("measurement", "value", None),
];

/// Headers that count loads: what a load is, only the user knows.
pub(super) const LOADS: [&str; 5] = ["loads", "load", "trips", "fuhren", "truckloads"];

/// What a header of numbers likely stands above.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Amount {
    /// An amount of use, by its column.
    Use(&'static str),
    /// A price, or an amount of something else.
    Other,
}

/// Words in headers of amounts and prices.
const AMOUNTS: &[(&str, Amount)] = &[
    ("acres", Amount::Use("acres")),
    ("acre", Amount::Use("acres")),
    ("ac", Amount::Use("acres")),
    ("hectares", Amount::Use("acres")),
    ("ha", Amount::Use("acres")),
    ("tons", Amount::Use("tons")),
    ("ton", Amount::Use("tons")),
    ("tonnes", Amount::Use("tons")),
    ("lb", Amount::Use("tons")),
    ("lbs", Amount::Use("tons")),
    ("pounds", Amount::Use("tons")),
    ("kg", Amount::Use("tons")),
    ("weight", Amount::Use("tons")),
    ("net", Amount::Use("tons")),
    ("gross", Amount::Use("tons")),
    ("hours", Amount::Use("hours")),
    ("hour", Amount::Use("hours")),
    ("hrs", Amount::Use("hours")),
    ("each", Amount::Other),
    ("price", Amount::Other),
    ("cost", Amount::Other),
    ("amount", Amount::Other),
    ("total", Amount::Other),
    ("charge", Amount::Other),
    ("qty", Amount::Other),
    ("quantity", Amount::Other),
];

/// The amount or price that a header likely stands above. One above rates, such as `lb/ac`, stands
/// above neither.
pub(super) fn amount(header: &str) -> Option<Amount> {
    let lower = header.to_lowercase();
    let words: Vec<&str> = lower.split(|c: char| !c.is_alphanumeric()).collect();
    if lower.contains('/') || words.contains(&"per") {
        return None;
    }
    let mut hits = words
        .iter()
        .filter_map(|word| AMOUNTS.iter().find(|(known, _)| known == word));
    hits.next().map(|(_, amount)| *amount)
}

/// Words for the values of a column.
const VALUES: &[(&str, &str, &str)] = &[
    ("reason", "worn out", "worn"),
    ("reason", "wear", "worn"),
    ("reason", "wore out", "worn"),
    ("reason", "worn thin", "worn"),
    ("reason", "verschlissen", "worn"),
    ("reason", "broke", "broken"),
    ("reason", "snapped", "broken"),
    ("reason", "cracked", "broken"),
    ("reason", "failed", "broken"),
    ("reason", "gebrochen", "broken"),
    ("reason", "preventive", "planned"),
    ("reason", "pm", "planned"),
    ("reason", "scheduled", "planned"),
    ("reason", "service", "planned"),
    ("reason", "routine", "planned"),
    ("reason", "damaged", "damage"),
    ("reason", "bent", "damage"),
    ("reason", "hit", "damage"),
    ("reason", "struck", "damage"),
    ("reason", "accident", "damage"),
    ("reason", "rock", "damage"),
    ("reason", "upgraded", "upgrade"),
    ("reason", "improved", "upgrade"),
    ("critical", "stop", "stops"),
    ("critical", "down", "stops"),
    ("critical", "looks", "cosmetic"),
    ("meter", "hour meter", "hours"),
    ("meter", "hrs", "hours"),
    ("meter", "spinner hours", "hours"),
    ("meter", "engine hours", "engine_hours"),
    ("meter", "engine", "engine_hours"),
    ("meter", "odometer", "miles"),
    ("meter", "area", "acres"),
    ("meter", "acre meter", "acres"),
];

/// Words in the names of files and sheets.
const TABLES: &[(&str, Table)] = &[
    ("spreaders", Table::Machines),
    ("fleet", Table::Machines),
    ("equipment", Table::Machines),
    ("maschinen", Table::Machines),
    ("partslist", Table::Parts),
    ("pricelist", Table::Parts),
    ("teileliste", Table::Parts),
    ("spreadlog", Table::Usage),
    ("fieldlog", Table::Usage),
    ("log", Table::Usage),
    ("loads", Table::Usage),
    ("streubuch", Table::Usage),
    ("repairs", Table::Replacements),
    ("changes", Table::Replacements),
    ("invoices", Table::Replacements),
    ("workorders", Table::Replacements),
    ("measurements", Table::Inspections),
    ("inventory", Table::Stock),
    ("shelf", Table::Stock),
    ("hourmeter", Table::Meters),
    ("readings", Table::Meters),
    ("nextseason", Table::Plan),
    ("materials", Table::Products),
];

/// Column and unit that a header mostly stands for, of those a table takes.
pub(super) fn header(
    text: &str,
    takes: impl Fn(&str) -> bool,
) -> Option<(&'static str, Option<&'static str>)> {
    let wanted = normal(text);
    let mut hits = HEADERS.iter().filter(|(word, ..)| *word == wanted);
    hits.find(|(_, column, _)| takes(column))
        .map(|(_, column, unit)| (*column, *unit))
}

/// The word of the records that a value of a column mostly stands for.
pub(super) fn value(column: &str, text: &str) -> Option<&'static str> {
    let wanted = super::plain(text);
    let mut hits = VALUES
        .iter()
        .filter(|(of, word, _)| *of == column && *word == wanted);
    hits.next().map(|(.., to)| *to)
}

/// The table that a file name speaks of.
pub(super) fn table(stem: &str) -> Option<Table> {
    let stem: String = normal(stem)
        .chars()
        .filter(|c| !c.is_ascii_digit())
        .collect();
    if let Some(name) = nearest(&stem, Table::ALL.iter().map(|t| t.name())) {
        return Table::ALL.into_iter().find(|t| t.name() == name);
    }
    TABLES
        .iter()
        .find(|(word, _)| *word == stem)
        .map(|(_, table)| *table)
}

/// The one name that is spelled almost like a text: equal but for case and spaces, or the only one
/// of which at most a quarter of the letters differ (edit distance, neighbours swapped count once).
pub(super) fn nearest<'n>(text: &str, names: impl Iterator<Item = &'n str>) -> Option<&'n str> {
    let wanted = normal(text);
    if wanted.is_empty() || 200 < wanted.len() {
        return None;
    }
    let mut scored: Vec<(f64, &str)> = names
        .filter(|name| name.len() < 400)
        .map(|name| {
            (
                strsim::normalized_damerau_levenshtein(&wanted, &normal(name)),
                name,
            )
        })
        .filter(|(score, _)| 0.75 <= *score)
        .collect();
    scored.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(b.1)));
    match scored.as_slice() {
        [] => None,
        [(_, only)] => Some(only),
        [(best, name), (second, _), ..] => (*second < *best).then_some(*name),
    }
}
