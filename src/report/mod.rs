//! Results as plain structs, and their forms for people and programs. Nothing is computed here.

pub mod backtest;
pub mod check;
pub mod compare;
pub mod csv;
pub mod fits;
pub mod html;
pub mod imports;
pub mod json;
pub mod live;
pub mod lives;
pub mod models;
pub mod money;
pub mod page;
pub mod probability;
pub mod remaining;
pub mod sql;
pub mod stock;
pub mod terminal;
pub mod xlsx;

use chrono::NaiveDate;

use crate::record::{Account, Amounts};
use crate::units::Units;

pub use crate::forecast::plan::PlanSource;
pub use crate::forecast::summary::Forecast;

/// A quantity that has a true value, and the interval that holds it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    /// The estimate.
    pub estimate: f64,
    /// Lower end; `None`: the records set none.
    pub low: Option<f64>,
    /// Upper end; `None`: the records set none.
    pub high: Option<f64>,
}

/// What every result says of itself.
#[derive(Clone, Debug, PartialEq)]
pub struct Header {
    /// Records after this date were treated as not yet known.
    pub as_of: Option<NaiveDate>,
    /// Seed of the random numbers.
    pub seed: u64,
    /// Share of cases in which an interval holds the truth: 0.9.
    pub level: f64,
    /// Machines asked for; empty: all of them.
    pub machines: Vec<String>,
    /// Families asked for; empty: all of them.
    pub families: Vec<String>,
    /// What a reader must know, one sentence each.
    pub notes: Vec<String>,
    /// Cautions on working at the machine, one sentence each.
    pub cautions: Vec<String>,
}

impl Header {
    /// What alone is told of: `only north rig, only spinner-fin`; `None` where it is all.
    #[must_use]
    pub fn only(&self) -> Option<String> {
        let lists = [&self.machines, &self.families];
        let lists = lists.into_iter().filter(|names| !names.is_empty());
        let lists: Vec<String> = lists.map(|n| format!("only {}", n.join(" and "))).collect();
        (!lists.is_empty()).then(|| lists.join(", "))
    }

    /// Cases of a hundred that intervals hold the truth in: `90`, `99.9`.
    #[must_use]
    pub fn in_hundred(&self) -> String {
        // Ten thousandths are all that anybody asks for, and hide what doubles round.
        format!("{}", (self.level * 1e6).round() / 1e4)
    }
}

/// Says which few days are planned where a season is nearly over, and how to ask for the next; `None`
/// where that is not so.
///
/// - `from`, `until`: first and last day forecast.
#[must_use]
pub fn nearly_over(season: i32, from: NaiveDate, until: NaiveDate) -> Option<String> {
    /// So many days are hardly what a season is planned for (our own choice).
    const FEW: i64 = 60;
    let days = (until - from).num_days() + 1;
    let next = season + 1;
    let planned = match days {
        FEW.. => return None,
        ..=1 => format!("Only {until} is planned, the last day of season {season}"),
        _ => {
            format!("Only {days} days are planned, {from} to {until}: the rest of season {season}")
        }
    };
    Some(format!(
        "{planned}; for season {next} add `--season {next}`, and where season {season} is over `--as-of {until}`, so that it is the one repeated."
    ))
}

/// Next season's replacements, money and cost per acre.
#[derive(Clone, Debug, PartialEq)]
pub struct BudgetReport {
    /// What every result says.
    pub header: Header,
    /// The season that ends in this year.
    pub season: i32,
    /// `run` or `advised`: what is done before the season.
    pub policy: &'static str,
    /// First day forecast.
    pub from: NaiveDate,
    /// Last day forecast.
    pub until: NaiveDate,
    /// Currency sign or code.
    pub currency: String,
    /// Units for people.
    pub units: Units,
    /// Where the planned use comes from.
    pub plan_source: PlanSource,
    /// Parts and labor of every replacement and service; `None` where any of it is unknown.
    pub total: Option<Forecast>,
    /// As much of it as is known: equal to `total` where that is known.
    pub known_total: Forecast,
    /// Down cost, which the total does not hold; `None` where any of it is unknown.
    pub down_total: Option<Forecast>,
    /// As much of it as is known; `None` where no lost hour is priced or none is on record.
    pub known_down: Option<Forecast>,
    /// Planned use of the season.
    pub planned: Amounts,
    /// Total per planned acre.
    pub per_acre: Option<Forecast>,
    /// By family and part number.
    pub lines: Vec<PartLine>,
    /// By machine.
    pub machines: Vec<MachineLine>,
    /// By product group; the costs add up to the total's expectation.
    pub products: Vec<ProductLine>,
    /// Money per acre and ton beside these lines.
    pub money: money::Money,
    /// By month.
    pub months: Vec<MonthLine>,
    /// The use the forecast rests on.
    pub plan: Vec<PlanLine>,
    /// The season under each policy; empty where only one was played.
    pub policies: Vec<PolicyLine>,
    /// What lets a workbook follow a changed plan; worked out only for one.
    pub live: Option<live::Live>,
    /// What was assumed: a thing and its value, for people.
    pub assumptions: Vec<(String, String)>,
    /// Rows read, used and set aside.
    pub account: Vec<Account>,
}

/// The season under one policy.
#[derive(Clone, Debug, PartialEq)]
pub struct PolicyLine {
    /// `run` or `advised`.
    pub policy: &'static str,
    /// Parts changed before the season by decision.
    pub changed_before: usize,
    /// Parts and labor; `None` where any of it is unknown.
    pub total: Option<Forecast>,
    /// As much of it as is known.
    pub known_total: Forecast,
    /// Field time lost; `None` where no hour is priced.
    pub down: Option<Forecast>,
}

/// One part number of the budget.
#[derive(Clone, Debug, PartialEq)]
pub struct PartLine {
    /// Family.
    pub family: String,
    /// Part number.
    pub part: String,
    /// Words of the parts list.
    pub description: Option<String>,
    /// Whether it is changed by schedule.
    pub scheduled: bool,
    /// Replacements: of one piece, or of a whole set where the family is counted so; `None` where
    /// the use that wears it is not known.
    pub replacements: Option<Forecast>,
    /// Of these by wear.
    pub worn: Option<Forecast>,
    /// Of these struck, bent, burnt.
    pub damage: Option<Forecast>,
    /// Of these by schedule or in the shop beforehand.
    pub planned: Option<Forecast>,
    /// Pieces used up.
    pub pieces: Option<Forecast>,
    /// Price of a piece at the season's level.
    pub price: Option<f64>,
    /// Whether `price` is what was paid for past pieces, since the parts list has none.
    pub price_from_records: bool,
    /// Sold in multiples of.
    pub pack: u32,
    /// Days from order to delivery.
    pub lead_days: Option<f64>,
    /// Pieces times price.
    pub parts_cost: Option<Forecast>,
    /// Labor.
    pub labor_cost: Option<Forecast>,
    /// Field time lost.
    pub down_cost: Option<Forecast>,
}

/// One machine of the budget.
#[derive(Clone, Debug, PartialEq)]
pub struct MachineLine {
    /// Machine.
    pub machine: String,
    /// Where it works.
    pub site: Option<String>,
    /// Planned use.
    pub planned: Amounts,
    /// Its money; `None` where a price is unknown.
    pub total: Option<Forecast>,
    /// As much of it as is known.
    pub known_total: Forecast,
}

/// One product group of the budget.
#[derive(Clone, Debug, PartialEq)]
pub struct ProductLine {
    /// Product group.
    pub group: String,
    /// Planned acres.
    pub acres: Option<f64>,
    /// Planned short tons.
    pub tons: Option<f64>,
    /// Its share of the season's expected money.
    pub cost: Option<f64>,
    /// As much of it as is known.
    pub known_cost: f64,
    /// Per planned acre.
    pub cost_per_acre: Option<f64>,
    /// Per planned short ton.
    pub cost_per_ton: Option<f64>,
}

/// One month of the budget.
#[derive(Clone, Debug, PartialEq)]
pub struct MonthLine {
    /// First day of the month.
    pub month: NaiveDate,
    /// Its money.
    pub total: Option<Forecast>,
    /// As much of it as is known.
    pub known_total: Forecast,
}

/// Planned use of one machine, month and product.
#[derive(Clone, Debug, PartialEq)]
pub struct PlanLine {
    /// First day of the month.
    pub month: NaiveDate,
    /// Machine.
    pub machine: String,
    /// Product.
    pub product: String,
    /// Product group.
    pub group: String,
    /// Bin.
    pub bin: Option<String>,
    /// How much; filled in from past rates where the plan leaves a measure out.
    pub amounts: Amounts,
}
