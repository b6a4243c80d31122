//! The rules of one table at work: cells of a user to cells of the records, row by row.

use std::borrow::Cow;
use std::collections::{BTreeSet, HashMap};

use super::{Rules, plain, season};
use crate::read::cell::{Cell, DateForm, Wrong};
use crate::read::header::{AmountColumns, Columns, Spec, normal};
use crate::read::row::Fault;
use crate::record::ProblemKind;
use crate::units::HEADER_UNITS;

/// Columns that hold numbers, beside amounts of use.
const NUMBERS: [&str; 14] = [
    "price",
    "pack",
    "lead_days",
    "lead_days_spread",
    "labor_hours",
    "min_order",
    "quantity",
    "down_hours",
    "parts_cost",
    "value",
    "on_hand",
    "on_order",
    "reading",
    "month",
];
/// Columns that hold days.
pub(super) const DATES: [&str; 8] = [
    "date",
    "in_service",
    "records_from",
    "retired",
    "installed",
    "last_good",
    "due",
    "date_from",
];

/// The column for the first day of a stretch.
const FIRST_DAY: &str = "date_from";

/// What a column holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Holds {
    Text,
    Number,
    Date,
}

/// What a column of a table holds.
pub(super) fn holds(spec: &Spec, column: &str) -> Holds {
    let name = normal(column);
    if DATES.iter().any(|d| normal(d) == name) {
        return Holds::Date;
    }
    let word = match spec.amounts {
        AmountColumns::None => None,
        AmountColumns::Use { .. } => Some(name.as_str()),
        AmountColumns::Before => name.strip_suffix("before"),
    };
    let named = spec.columns.iter().any(|(n, _)| normal(n) == name);
    let number = NUMBERS.iter().any(|n| *n != "month" && normal(n) == name);
    let amount = word.is_some_and(|w| HEADER_UNITS.iter().any(|u| u.word == w));
    if amount || (named && number) {
        Holds::Number
    } else {
        Holds::Text
    }
}

/// Where a value comes from.
#[derive(Clone, Debug)]
enum From {
    Cell(usize),
    Constant(String),
}

/// Which end of a stretch of days.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum End {
    First,
    Last,
}

/// One column as the table will see it.
#[derive(Clone, Debug)]
struct Slot {
    from: From,
    name: String,
    shown: String,
    holds: Holds,
    factor: f64,
    season: Option<End>,
    /// What comes first where it holds something: the file's own column for the first day of a stretch.
    own: Option<Box<Slot>>,
    /// The rule that made it, counted where its cell holds something.
    rule: Option<usize>,
    values: OfColumn,
}

/// The rules of a table, fitted to the headers of its file.
#[derive(Debug)]
pub(in crate::read) struct Mapper {
    slots: Vec<Slot>,
    decimal_comma: Option<usize>,
    dated: Option<(String, usize)>,
    credits: Option<usize>,
    /// Rules that touch every row by being there.
    always: Vec<usize>,
    /// Rows touched, by rule.
    pub(in crate::read) touched: Vec<u64>,
    /// The rules that touched the present row.
    now: Vec<usize>,
    /// Rows that are credits.
    pub(in crate::read) credit_rows: Vec<u32>,
}

/// What is wrong with a table, and the column it is about.
type Wrongs = Vec<(Option<String>, Wrong)>;

impl Mapper {
    /// Fits rules to headers.
    ///
    /// # Errors
    /// Headers that a rule names and the file does not have; columns that are there twice or missing.
    pub(in crate::read) fn new(
        rules: &Rules,
        spec: &Spec,
        headers: &[String],
    ) -> Result<(Self, Columns), Wrongs> {
        let there: BTreeSet<String> = headers.iter().map(|h| normal(h)).collect();
        let mut of_header: HashMap<String, Vec<&super::ColumnRule>> = HashMap::new();
        for rule in &rules.columns {
            of_header.entry(normal(&rule.own)).or_default().push(rule);
        }
        let words = words(rules);
        let mut wrong: Wrongs = rules
            .columns
            .iter()
            .filter(|c| !there.contains(&normal(&c.own)))
            .map(|c| (None, no_header(rules, c, headers)))
            .collect();
        let seasonal = rules.columns.iter().any(|c| c.to.season);
        let is_first_day = |header: &String| {
            let name = normal(header);
            seasonal && name == normal(FIRST_DAY) && !of_header.contains_key(&name)
        };
        let first_day = headers.iter().position(is_first_day);
        let mut slots = Vec::new();
        for (index, header) in headers.iter().enumerate() {
            if first_day == Some(index) {
                continue;
            }
            let named = of_header
                .get(&normal(header))
                .map_or(&[][..], Vec::as_slice);
            if named.is_empty() {
                slots.push(Slot::new(From::Cell(index), header, header, spec, &words));
            }
            for rule in named {
                let to = &rule.to;
                let shown = if to.kept { &to.column } else { header };
                let mut slot = Slot::new(From::Cell(index), &to.column, shown, spec, &words);
                if to.kept {
                    slot.holds = Holds::Text;
                }
                slot.rule = Some(rule.rule);
                slot.factor = to.factor;
                if to.season {
                    let mut first = slot.clone();
                    FIRST_DAY.clone_into(&mut first.name);
                    first.season = Some(End::First);
                    first.rule = None;
                    first.own = first_day.map(|at| {
                        let shown = &headers[at];
                        Box::new(Slot::new(From::Cell(at), FIRST_DAY, shown, spec, &words))
                    });
                    slot.season = Some(End::Last);
                    slots.push(first);
                }
                slots.push(slot);
            }
        }
        for constant in &rules.constants {
            let shown = format!("{} (constant of {})", constant.column, super::FILE);
            let from = From::Constant(constant.value.clone());
            let mut slot = Slot::new(from, &constant.column, &shown, spec, &words);
            slot.rule = Some(constant.rule);
            slots.push(slot);
        }
        let shown: Vec<String> = slots.iter().map(|s| s.shown.clone()).collect();
        let names: Vec<String> = slots.iter().map(|s| s.name.clone()).collect();
        match spec.columns_as(&shown, &names) {
            Ok(columns) if wrong.is_empty() => Ok((Self::ready(rules, slots), columns)),
            Ok(_) => Err(wrong),
            Err(more) => {
                wrong.extend(more);
                Err(wrong)
            }
        }
    }

    fn ready(rules: &Rules, slots: Vec<Slot>) -> Self {
        let own = [&rules.file, &rules.sheet]
            .into_iter()
            .flatten()
            .map(|o| o.rule);
        Self {
            slots,
            decimal_comma: rules.decimal_comma,
            dated: rules.date_format.clone(),
            credits: rules.credits,
            always: own.chain(rules.separator.map(|s| s.1)).collect(),
            touched: vec![0; rules.list.len()],
            now: Vec::new(),
            credit_rows: Vec::new(),
        }
    }

    /// The cells of a row as the table sees them, or everything that is wrong with them.
    pub(in crate::read) fn apply<'c>(
        &mut self,
        number: u32,
        cells: &[Cell<'c>],
        dates: &DateForm,
    ) -> Result<Vec<Cell<'c>>, Vec<Fault>> {
        self.now.clear();
        self.now.extend(&self.always);
        let slots = std::mem::take(&mut self.slots);
        let mut out = Vec::with_capacity(slots.len());
        let mut faults = Vec::new();
        for slot in &slots {
            match self.cell(slot, cells, dates) {
                Ok(cell) => out.push(cell),
                Err(wrong) => faults.push(Fault {
                    column: Some(slot.shown.clone()),
                    wrong,
                }),
            }
        }
        if faults.is_empty() {
            self.take_credit(number, &slots, &mut out);
        }
        self.slots = slots;
        self.now.sort_unstable();
        self.now.dedup();
        for rule in &self.now {
            self.touched[*rule] += 1;
        }
        if faults.is_empty() {
            Ok(out)
        } else {
            Err(faults)
        }
    }

    fn cell<'c>(
        &mut self,
        slot: &Slot,
        cells: &[Cell<'c>],
        dates: &DateForm,
    ) -> Result<Cell<'c>, Wrong> {
        if let Some(own) = &slot.own {
            let cell = self.cell(own, cells, dates)?;
            if !cell.is_empty() {
                return Ok(cell);
            }
        }
        let mut cell = match &slot.from {
            From::Cell(index) => cells.get(*index).cloned().unwrap_or(Cell::Empty),
            From::Constant(value) => Cell::owned(value.clone()),
        };
        if cell.is_empty() {
            return Ok(cell);
        }
        self.now.extend(slot.rule);
        if !slot.values.is_empty() {
            let found = cell.as_text().and_then(|text| word(&slot.values, &text));
            if let Some(word) = found {
                self.now.push(word.rule);
                cell = Cell::owned(word.to.clone());
            }
        }
        match slot.holds {
            Holds::Text => Ok(cell),
            Holds::Number => self.number(slot, cell),
            Holds::Date => self.date(slot, cell, dates),
        }
    }

    fn number<'c>(&mut self, slot: &Slot, mut cell: Cell<'c>) -> Result<Cell<'c>, Wrong> {
        let is_comma = |text: &Cow<'_, str>| text.contains([',', '.']);
        if let (Some(rule), Cell::Text(text)) = (self.decimal_comma, &cell)
            && is_comma(text)
            && matches!(slot.from, From::Cell(_))
        {
            let pointed = text.replacen(',', ".", 1);
            let digits = |b: u8| b.is_ascii_digit() || matches!(b, b'.' | b'+' | b'-');
            if text.contains('.') || !pointed.bytes().all(digits) || pointed.parse::<f64>().is_err()
            {
                return Err(Wrong::new(
                    ProblemKind::NotANumber,
                    crate::read::cell::quoted(text),
                    format!(
                        "a number with a decimal comma and no points, such as `1250,5` (`decimal` of {})",
                        super::FILE
                    ),
                ));
            }
            self.now.push(rule);
            cell = Cell::Text(Cow::Owned(pointed));
        }
        let changed = (slot.factor - 1.0).abs() > 0.0;
        if changed && let Some(value) = cell.number()? {
            return Ok(Cell::Number(value * slot.factor));
        }
        Ok(cell)
    }

    fn date<'c>(
        &mut self,
        slot: &Slot,
        cell: Cell<'c>,
        dates: &DateForm,
    ) -> Result<Cell<'c>, Wrong> {
        let text = match &cell {
            Cell::Text(text) => Some(text.clone().into_owned()),
            Cell::Number(_) => cell.as_text().map(Cow::into_owned),
            _ => None,
        };
        let Some(text) = text else {
            return Ok(if slot.season == Some(End::First) {
                Cell::Empty
            } else {
                cell
            });
        };
        if let Some(end) = slot.season {
            if let Some((first, last)) = season::stretch(&text) {
                return Ok(Cell::Date(if end == End::First { first } else { last }));
            }
            if let Ok(Some(day)) = cell.date(dates) {
                self.now.extend(self.dated.as_ref().map(|d| d.1));
                return Ok(if end == End::First {
                    Cell::Empty
                } else {
                    Cell::Date(day)
                });
            }
            if end == End::First {
                return Ok(Cell::Empty);
            }
            return Err(Wrong::new(
                ProblemKind::NotADate,
                crate::read::cell::quoted(&text),
                season::FORMS,
            ));
        }
        if let Some((_, rule)) = &self.dated
            && dates.is_own(&text)
        {
            self.now.push(*rule);
        }
        Ok(cell)
    }

    /// A row with a negative quantity is a credit: its quantity and cost lose their signs.
    fn take_credit(&mut self, number: u32, slots: &[Slot], cells: &mut [Cell<'_>]) {
        let Some(rule) = self.credits else { return };
        let negative = |cell: &Cell<'_>| {
            let value = match cell {
                Cell::Number(value) => Some(*value),
                Cell::Text(text) => text.parse::<f64>().ok(),
                _ => None,
            };
            value.filter(|v| *v < 0.0 && v.is_finite())
        };
        let place = |name: &str| slots.iter().position(|s| normal(&s.name) == normal(name));
        let Some(at) = place("quantity") else { return };
        let Some(quantity) = negative(&cells[at]) else {
            return;
        };
        cells[at] = Cell::Number(-quantity);
        if let Some(cost) = place("parts_cost")
            && let Some(value) = negative(&cells[cost])
        {
            cells[cost] = Cell::Number(-value);
        }
        self.credit_rows.push(number);
        self.now.push(rule);
    }
}

impl Slot {
    fn new(from: From, name: &str, shown: &str, spec: &Spec, words: &Words) -> Self {
        Self {
            from,
            name: name.to_owned(),
            shown: shown.to_owned(),
            holds: holds(spec, name),
            factor: 1.0,
            season: None,
            own: None,
            rule: None,
            values: words.get(&normal(name)).cloned().unwrap_or_default(),
        }
    }
}

/// Words of the user for one column without case and spaces, and the rules for each.
type OfColumn = HashMap<String, Vec<super::ValueRule>>;
/// The same for all columns.
type Words = HashMap<String, OfColumn>;

fn words(rules: &Rules) -> Words {
    let mut words = Words::new();
    for rule in &rules.values {
        let of_column = words.entry(normal(&rule.column)).or_default();
        let alike = of_column.entry(plain(&rule.from)).or_default();
        alike.push(rule.clone());
    }
    words
}

/// The rule that changes a text: the one for that very spelling, or else the first for one that
/// differs by case and spaces. Nothing for a text that is right already.
fn word<'w>(words: &'w OfColumn, text: &str) -> Option<&'w super::ValueRule> {
    let alike = words.get(&plain(text))?;
    let exact = alike.iter().find(|rule| rule.from == text);
    exact.or(alike.first()).filter(|rule| rule.to != text)
}

/// Headers that a message names.
const MOST_NAMED: usize = 40;

fn no_header(rules: &Rules, rule: &super::ColumnRule, headers: &[String]) -> Wrong {
    let there: Vec<String> = headers
        .iter()
        .filter(|h| !h.is_empty())
        .take(MOST_NAMED)
        .map(|h| crate::read::cell::quoted(h))
        .collect();
    Wrong::new(
        ProblemKind::MissingColumn,
        format!(
            "no header {}, which line {} of {} reads as `{}`",
            crate::read::cell::quoted(&rule.own),
            rules.line(rule.rule),
            super::FILE,
            rule.to.column
        ),
        format!(
            "one of its headers: {}{}; mend or delete the line",
            there.join(", "),
            if headers.len() <= MOST_NAMED {
                ""
            } else {
                ", .."
            }
        ),
    )
}
