//! What people write down, as plain types: machines, positions, parts, use, replacements, plans.
//!
//! Everything here has been read, converted to internal units and checked; see [`problem`] for
//! what did not pass. Lists are sorted by their names, so the order of rows in a file never
//! reaches a result.

pub mod check;
pub mod example;
mod fitted;
pub mod formula;
pub mod problem;
pub mod results;
mod settings;
pub mod spelling;
pub mod usage;
mod words;

use std::collections::BTreeMap;

use chrono::NaiveDate;

pub use problem::{Account, CommonTexts, Place, Problem, ProblemKind, RuleCount, Severity};
pub use settings::{Settings, SettingsError};
pub use usage::{Stretch, UsageLog, UsageRow};
pub use words::{Critical, MeterKind, Reason};

/// The tables a records folder may hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Table {
    /// `machines`
    Machines,
    /// `positions`
    Positions,
    /// `parts`
    Parts,
    /// `products`
    Products,
    /// `usage`
    Usage,
    /// `replacements`
    Replacements,
    /// `inspections`
    Inspections,
    /// `plan`
    Plan,
    /// `stock`
    Stock,
    /// `meters`
    Meters,
}

impl Table {
    /// Every table, in the order they are read and accounted for.
    pub const ALL: [Self; 10] = [
        Self::Machines,
        Self::Positions,
        Self::Parts,
        Self::Products,
        Self::Usage,
        Self::Replacements,
        Self::Inspections,
        Self::Plan,
        Self::Stock,
        Self::Meters,
    ];

    /// File stem and sheet name.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Machines => "machines",
            Self::Positions => "positions",
            Self::Parts => "parts",
            Self::Products => "products",
            Self::Usage => "usage",
            Self::Replacements => "replacements",
            Self::Inspections => "inspections",
            Self::Plan => "plan",
            Self::Stock => "stock",
            Self::Meters => "meters",
        }
    }
}

/// Columns of the owner's own, kept as text to group by: header as written, cell text.
pub type Extra = BTreeMap<String, String>;

/// Months, first and last, in which fields are spread: March to June and August to November.
///
/// Common practice, no source; wider than the three months of the weather service, so that what an
/// owner calls spring or autumn lies inside.
pub const FIELD_MONTHS: [(u32, u32); 2] = [(3, 6), (8, 11)];

/// An amount for each measure of use; `None` where it was not recorded.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Amounts {
    /// Acres.
    pub acres: Option<f64>,
    /// Short tons.
    pub tons: Option<f64>,
    /// Hours.
    pub hours: Option<f64>,
}

impl Amounts {
    /// The amount in one measure; days are not recorded as use.
    #[must_use]
    pub fn get(&self, measure: crate::units::Measure) -> Option<f64> {
        use crate::units::Measure;
        match measure {
            Measure::Acres => self.acres,
            Measure::Tons => self.tons,
            Measure::Hours => self.hours,
            Measure::Days => None,
        }
    }
}

/// One spreader.
#[derive(Clone, Debug, PartialEq)]
pub struct Machine {
    /// Row of its table, the header being row 1.
    pub row: u32,
    /// Its name in every other table.
    pub name: String,
    /// Date first used.
    pub in_service: NaiveDate,
    /// Usage and replacements are complete from this date; `in_service` unless the records say otherwise.
    pub records_from: NaiveDate,
    /// Date it left the fleet.
    pub retired: Option<NaiveDate>,
    /// Where it works.
    pub site: Option<String>,
    /// Whose it is.
    pub customer: Option<String>,
    /// Unknown columns.
    pub extra: Extra,
}

/// Columns of `machines` beside those that the table takes, which a budget reads where they hold numbers.
pub const OF_BUDGET: [&str; 2] = ["list_price", "hours_before"];

/// Whether a header names a column of [`OF_BUDGET`].
#[must_use]
pub fn is_of_budget(header: &str) -> bool {
    OF_BUDGET.iter().any(|column| is_named(header, column))
}

/// Whether two names are alike in their letters and digits.
fn is_named(header: &str, column: &str) -> bool {
    let kept = |text: &str| -> String {
        let kept = text.chars().filter(|c| c.is_alphanumeric());
        kept.flat_map(char::to_lowercase).collect()
    };
    kept(header) == kept(column)
}

impl Machine {
    /// What stands in a column of the owner's own, in whatever form its name is written.
    #[must_use]
    pub fn own(&self, column: &str) -> Option<&str> {
        let mut own = self
            .extra
            .iter()
            .filter(|(header, _)| is_named(header, column));
        own.next().map(|(_, text)| text.as_str())
    }

    /// The same as an amount; `None` also where it is no plain number, or below 0.
    #[must_use]
    pub fn own_amount(&self, column: &str) -> Option<f64> {
        let number: f64 = self.own(column)?.parse().ok()?;
        (number.is_finite() && 0.0 <= number).then_some(number)
    }
}

/// When the first part of a position was fitted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Installed {
    /// On this date.
    On(NaiveDate),
    /// Nobody knows.
    Unknown,
}

/// A place on a machine where a wear part sits.
#[derive(Clone, Debug, PartialEq)]
pub struct Position {
    /// Row of its table.
    pub row: u32,
    /// The machine it is on.
    pub machine: String,
    /// Its name, unique on the machine.
    pub name: String,
    /// The part number fitted at the start, as written.
    pub part: String,
    /// Pieces it holds; a whole number except for fluids and the like.
    pub quantity: f64,
    /// The bin whose product the part sees; `None`: all of the machine's use.
    pub bin: Option<String>,
    /// When the first part was fitted; the machine's `in_service` unless the records say otherwise.
    pub installed: Installed,
    /// Whether the records say so; where they do not, it came with the machine.
    pub is_dated: bool,
    /// Use it already had at the machine's `records_from`, where installed before it.
    pub before: Amounts,
    /// Unknown columns.
    pub extra: Extra,
}

/// A line of the parts list.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// Row of its table.
    pub row: u32,
    /// Part number.
    pub number: String,
    /// Part family: the parts that share a life model.
    pub family: String,
    /// Words for people.
    pub description: Option<String>,
    /// What it is made of.
    pub material: Option<String>,
    /// Price of one piece.
    pub price: Option<f64>,
    /// Sold in multiples of.
    pub pack: u32,
    /// Days from order to delivery.
    pub lead_days: Option<f64>,
    /// 90 % of deliveries come within lead / spread .. lead * spread.
    pub lead_days_spread: Option<f64>,
    /// Hours to replace one, or one set.
    pub labor_hours: Option<f64>,
    /// The part number it supersedes.
    pub replaces: Option<String>,
    /// Parts of one machine with the same kit name are done together.
    pub kit: Option<String>,
    /// What its failure does.
    pub critical: Option<Critical>,
    /// Least number one can order.
    pub min_order: Option<f64>,
    /// Unknown columns.
    pub extra: Extra,
}

/// A product spread and the group its wear is counted under.
#[derive(Clone, Debug, PartialEq)]
pub struct Product {
    /// Row of its table; 0 where no products table lists it.
    pub row: u32,
    /// Its name in the usage log.
    pub name: String,
    /// The group wear is compared by.
    pub group: String,
    /// Unknown columns.
    pub extra: Extra,
}

/// A part taken out and another fitted.
#[derive(Clone, Debug, PartialEq)]
pub struct Replacement {
    /// Row of its table.
    pub row: u32,
    /// The day, or the last it can have been; use on it belongs to the part taken out.
    pub date: NaiveDate,
    /// The first day it can have been, where only a stretch is known, such as a season.
    pub date_from: Option<NaiveDate>,
    /// Machine.
    pub machine: String,
    /// Position on the machine.
    pub position: String,
    /// The part fitted; `None`: the same as taken out.
    pub part: Option<String>,
    /// How many; `None`: all the position holds.
    pub quantity: Option<f64>,
    /// Which of several; `None`: the oldest first.
    pub slot: Option<String>,
    /// Why.
    pub reason: Reason,
    /// Last date it was looked at and found serviceable.
    pub last_good: Option<NaiveDate>,
    /// Field time lost.
    pub down_hours: Option<f64>,
    /// Hours of work it took.
    pub labor_hours: Option<f64>,
    /// What the parts cost.
    pub parts_cost: Option<f64>,
    /// Free text.
    pub note: Option<String>,
    /// Unknown columns.
    pub extra: Extra,
}

/// A measurement of wear.
#[derive(Clone, Debug, PartialEq)]
pub struct Inspection {
    /// Row of its table.
    pub row: u32,
    /// The day.
    pub date: NaiveDate,
    /// Machine.
    pub machine: String,
    /// Position on the machine.
    pub position: String,
    /// Which of several.
    pub slot: Option<String>,
    /// What was measured: `elongation`, `thickness`, `play`.
    pub measure: String,
    /// The reading.
    pub value: f64,
    /// Its unit.
    pub unit: Option<String>,
    /// Free text.
    pub note: Option<String>,
    /// Unknown columns.
    pub extra: Extra,
}

/// Use expected in a month.
#[derive(Clone, Debug, PartialEq)]
pub struct PlanRow {
    /// Row of its table.
    pub row: u32,
    /// First day of the month.
    pub month: NaiveDate,
    /// Machine.
    pub machine: String,
    /// Product.
    pub product: String,
    /// Bin, where the machine has several.
    pub bin: Option<String>,
    /// How much.
    pub amounts: Amounts,
    /// Unknown columns.
    pub extra: Extra,
}

/// Pieces on the shelf and on the way.
#[derive(Clone, Debug, PartialEq)]
pub struct StockRow {
    /// Row of its table.
    pub row: u32,
    /// Part number.
    pub part: String,
    /// Pieces on the shelf.
    pub on_hand: f64,
    /// Pieces ordered and not yet here.
    pub on_order: Option<f64>,
    /// When they are due.
    pub due: Option<NaiveDate>,
    /// Unknown columns.
    pub extra: Extra,
}

/// What a meter of a machine showed on a day: a count over the machine's life.
#[derive(Clone, Debug, PartialEq)]
pub struct MeterReading {
    /// Row of its table.
    pub row: u32,
    /// The day.
    pub date: NaiveDate,
    /// Machine.
    pub machine: String,
    /// What the meter counts, and so its unit.
    pub meter: MeterKind,
    /// What it showed.
    pub reading: f64,
    /// What was spread since the reading before.
    pub product: Option<String>,
    /// Free text.
    pub note: Option<String>,
    /// Unknown columns.
    pub extra: Extra,
}

/// Everything a records folder says, read and checked.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Records {
    /// Sorted by name.
    pub machines: Vec<Machine>,
    /// Sorted by machine, then name.
    pub positions: Vec<Position>,
    /// Sorted by number.
    pub parts: Vec<Part>,
    /// Sorted by name; every product that the usage log or the plan names is listed.
    pub products: Vec<Product>,
    /// The usage log, summed by machine, day, bin and product.
    pub usage: UsageLog,
    /// Sorted by date, machine, position, slot, reason.
    pub replacements: Vec<Replacement>,
    /// Sorted by date, machine, position, slot.
    pub inspections: Vec<Inspection>,
    /// Sorted by month, machine, product, bin.
    pub plan: Vec<PlanRow>,
    /// Sorted by part.
    pub stock: Vec<StockRow>,
    /// Sorted by machine, meter, date. Hours, acres and tons between readings are in the usage log
    /// where it has no rows of the machine; hours of the engine and miles are kept, and wear nothing.
    pub meters: Vec<MeterReading>,
    /// The owner's settings.
    pub settings: Settings,
    /// Where each table came from: a file, or `file, sheet name`.
    pub sources: BTreeMap<Table, String>,
}

impl Records {
    /// The machine of that name.
    #[must_use]
    pub fn machine(&self, name: &str) -> Option<&Machine> {
        self.machines
            .binary_search_by(|m| m.name.as_str().cmp(name))
            .ok()
            .map(|i| &self.machines[i])
    }

    /// The part of that number, exactly as written; see [`crate::life::supersession`] for successors.
    #[must_use]
    pub fn part(&self, number: &str) -> Option<&Part> {
        self.parts
            .binary_search_by(|p| p.number.as_str().cmp(number))
            .ok()
            .map(|i| &self.parts[i])
    }

    /// The positions of a machine, by name.
    #[must_use]
    pub fn positions_of(&self, machine: &str) -> &[Position] {
        let from = self
            .positions
            .partition_point(|p| p.machine.as_str() < machine);
        let rest = &self.positions[from..];
        &rest[..rest.partition_point(|p| p.machine == machine)]
    }

    /// The position of that machine and name.
    #[must_use]
    pub fn position(&self, machine: &str, name: &str) -> Option<&Position> {
        self.positions
            .binary_search_by(|p| (p.machine.as_str(), p.name.as_str()).cmp(&(machine, name)))
            .ok()
            .map(|i| &self.positions[i])
    }

    /// Last date in usage, meter readings that became use, replacements and inspections: the
    /// default as-of date.
    #[must_use]
    pub fn last_date(&self) -> Option<NaiveDate> {
        let used = self.usage.last_day();
        let replaced = self.replacements.iter().map(|r| r.date).max();
        let inspected = self.inspections.iter().map(|i| i.date).max();
        let metered = self.usage.last_reading();
        [used, metered, replaced, inspected]
            .into_iter()
            .flatten()
            .max()
    }
}
