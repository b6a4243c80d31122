//! What the parts desk should hold and order.

use chrono::NaiveDate;

use super::{Forecast, Header};
use crate::record::{Account, Critical};
use crate::units::Units;

/// What decided how many of a part to have.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Decided {
    /// The promised fill rate.
    Promise,
    /// The costs of a piece too few and too many.
    Costs,
}

impl Decided {
    /// The word in JSON.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Promise => "service_level",
            Self::Costs => "costs",
        }
    }
}

/// What the parts desk should hold and order.
#[derive(Clone, Debug, PartialEq)]
pub struct StockReport {
    /// What every result says.
    pub header: Header,
    /// The season that ends in this year.
    pub season: i32,
    /// First day forecast.
    pub from: NaiveDate,
    /// Last day forecast.
    pub until: NaiveDate,
    /// The last full season, which `used` is of; `None` where no machine's records cover it.
    pub used_season: Option<UsedSeason>,
    /// `run` or `advised`: what is done before the season.
    pub policy: &'static str,
    /// Currency sign or code.
    pub currency: String,
    /// Units for people.
    pub units: Units,
    /// Promised fill rate; `None` where costs alone decide.
    pub service_level: Option<f64>,
    /// Change of prices from the parts list's to the season's: 0.04 is 4 % dearer.
    pub price_change: f64,
    /// Most money to spend.
    pub budget_limit: Option<f64>,
    /// By part number.
    pub lines: Vec<StockLine>,
    /// Parts on the shelf that nothing in service takes, or hardly.
    pub idle: Vec<IdleLine>,
    /// By customer, those with any need.
    pub customers: Vec<CustomerNeed>,
    /// Share of expected demand served, by price, against money spent; the first before any is.
    pub curve: Vec<CurvePoint>,
    /// Money of all that is ordered; `None` where a price is not known.
    pub order_total: Option<f64>,
    /// As much of it as is known.
    pub known_total: f64,
    /// Money of all that would be ordered without a limit, as far as prices are known.
    pub wanted_total: f64,
    /// Share of expected demand served with all that is ordered, by price.
    pub fill_rate: Option<f64>,
    /// What was assumed: a thing and its value, for people.
    pub assumptions: Vec<(String, String)>,
    /// Rows read, used and set aside.
    pub account: Vec<Account>,
}

/// The season that what is needed is held against.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct UsedSeason {
    /// The year in which it ended.
    pub year: i32,
    /// Machines that were at work in it or later.
    pub machines: usize,
    /// Of these with records of all of it.
    pub covered: usize,
}

/// One part number of the desk.
#[derive(Clone, Debug, PartialEq)]
pub struct StockLine {
    /// Newest part number.
    pub part: String,
    /// Older numbers that it supersedes.
    pub supersedes: Vec<String>,
    /// Family.
    pub family: String,
    /// Words of the parts list.
    pub description: Option<String>,
    /// What its failure does.
    pub critical: Option<Critical>,
    /// Price of a piece at the season's level.
    pub price: Option<f64>,
    /// Sold in multiples of.
    pub pack: u32,
    /// Least number one can order.
    pub min_order: Option<f64>,
    /// Median days from order to delivery.
    pub lead_days: Option<f64>,
    /// Pieces that went into the machines in the last full season, whatever the reason; `None` where
    /// the records do not tell.
    pub used: Option<f64>,
    /// Pieces needed before the season begins; `None` where it has begun, or that cannot be forecast.
    pub needed_before: Option<f64>,
    /// How many of these come off the shelf and what is delivered by then.
    pub taken_before: Option<f64>,
    /// Pieces asked for in the season; `None` where it cannot be forecast.
    pub demand: Option<Forecast>,
    /// By month.
    pub months: Vec<(NaiveDate, Forecast)>,
    /// Pieces asked for over the lead time, where most is asked for.
    pub lead_demand: Option<Forecast>,
    /// First day of that lead time.
    pub busiest: Option<NaiveDate>,
    /// Order more when stock falls to this.
    pub reorder_point: Option<f64>,
    /// Stock to begin the season with; counted on the as-of date, where pieces are needed before it begins.
    pub order_up_to: Option<f64>,
    /// What decided it.
    pub decided: Option<Decided>,
    /// On the shelf, older numbers included; `None`: not in `stock`.
    pub on_hand: Option<f64>,
    /// On the way.
    pub on_order: Option<f64>,
    /// By when all of it that comes in the season is due; where none does, when the first is due
    /// after it.
    pub due: Option<NaiveDate>,
    /// What it is made up of, by day; those without a day first.
    pub deliveries: Vec<Delivery>,
    /// Of the pieces on order, those due after the season, which count for nothing in it.
    pub late: Option<f64>,
    /// Pieces expected to be short before the last of what comes in the season does, earlier
    /// deliveries and the order counted.
    pub short_before_due: Option<f64>,
    /// Pieces expected to be asked for before what is ordered now can be there, by the median lead
    /// time, beyond the shelf and earlier deliveries; `None` where no lead time is known.
    pub short_before_order: Option<f64>,
    /// Pieces to order now.
    pub order_now: Option<f64>,
    /// Pieces that would be ordered without a limit of money.
    pub wanted: Option<f64>,
    /// Money of the order.
    pub order_cost: Option<f64>,
    /// Expected share of the season's pieces served from stock.
    pub fill_rate: Option<f64>,
    /// Chance of no stock-out in the season.
    pub no_stock_out: Option<f64>,
    /// Pieces expected to be short.
    pub shortage: Option<f64>,
    /// Pieces expected to be left over after the season.
    pub left_over: Option<f64>,
    /// Expected cost of having one piece more.
    pub one_more: Option<f64>,
    /// Expected cost of having one piece fewer.
    pub one_fewer: Option<f64>,
}

/// Pieces on the way.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Delivery {
    /// When they are due; `None`: any day, counted as if they came now.
    pub due: Option<NaiveDate>,
    /// How many.
    pub pieces: f64,
    /// Whether they come by the season's end.
    pub in_season: bool,
}

/// A part on the shelf that is hardly asked for.
#[derive(Clone, Debug, PartialEq)]
pub struct IdleLine {
    /// Part number.
    pub part: String,
    /// Family, where the parts list has it.
    pub family: Option<String>,
    /// Words of the parts list.
    pub description: Option<String>,
    /// On the shelf.
    pub on_hand: f64,
    /// Pieces beyond what nine of ten seasons ask for.
    pub idle: f64,
    /// Expected pieces asked for in the season; `None`: nothing in service takes it.
    pub expected: Option<f64>,
    /// Money in the idle pieces.
    pub money: Option<f64>,
}

/// What one customer will likely need.
#[derive(Clone, Debug, PartialEq)]
pub struct CustomerNeed {
    /// Customer; `None`: machines of no named customer.
    pub customer: Option<String>,
    /// Part number.
    pub part: String,
    /// Family.
    pub family: String,
    /// Expected pieces.
    pub expected: f64,
    /// Chance of at least one.
    pub chance: f64,
}

/// So many pieces expected before an order can come are worth a word.
const WORTH_A_WORD: f64 = 0.05;

impl StockLine {
    /// Pieces needed before the order can come, where there is an order and they are worth a word.
    #[must_use]
    pub fn needed_first(&self) -> Option<f64> {
        let is_ordered = self.order_now.is_some_and(|n| 0.0 < n);
        self.short_before_order
            .filter(|n| is_ordered && WORTH_A_WORD <= *n)
    }

    /// Pieces that are wanted and not ordered for want of money.
    #[must_use]
    pub fn held_back(&self) -> Option<f64> {
        let held = self.wanted? - self.order_now?;
        (0.0 < held).then_some(held)
    }

    /// Pieces needed before the season begins, where they are worth a word.
    #[must_use]
    pub fn before(&self) -> Option<f64> {
        self.needed_before.filter(|n| WORTH_A_WORD <= *n)
    }

    /// How many pieces needed before the season the shelf and what comes until then lack, where they are worth
    /// a word.
    #[must_use]
    pub fn lacking_before(&self) -> Option<f64> {
        let lacking = self.needed_before? - self.taken_before?;
        (WORTH_A_WORD <= lacking).then_some(lacking)
    }

    /// Pieces on order that come in the season; `None`: not in `stock`, or nothing is on order.
    #[must_use]
    pub fn due_in_season(&self) -> Option<f64> {
        Some(self.on_order? - self.late.unwrap_or(0.0))
    }
}

impl StockReport {
    /// Whether any machine names its customer.
    #[must_use]
    pub fn has_customers(&self) -> bool {
        self.customers.iter().any(|need| need.customer.is_some())
    }

    /// What it is to its reader: a desk that serves customers, or an owner's own shelf.
    #[must_use]
    pub fn title(&self) -> &'static str {
        if self.has_customers() {
            "Parts desk"
        } else {
            "Parts to hold and order"
        }
    }

    /// What `used` counts, after its name.
    #[must_use]
    pub fn used_words(&self) -> Option<String> {
        let used = self.used_season?;
        let some = if used.covered < used.machines {
            format!(
                ", as far as records tell: those of {} of {} machines cover it",
                used.covered, used.machines
            )
        } else {
            String::new()
        };
        Some(format!(
            "went into the machines in season {}, whatever the reason{some}",
            used.year
        ))
    }

    /// Says that prices are not those of the parts list, where they are not.
    #[must_use]
    pub fn price_words(&self) -> Option<String> {
        let percent = 100.0 * self.price_change;
        (percent != 0.0).then(|| {
            let digits = format!("{:.2}", percent.abs());
            let digits = digits.trim_end_matches('0').trim_end_matches('.');
            let way = if percent < 0.0 { "lower" } else { "higher" };
            format!(
                "prices are those of season {}, {digits} % {way} than in `parts` (`price_change`), each in whole cents",
                self.season
            )
        })
    }

    /// Whether any piece is needed before the season begins.
    #[must_use]
    pub fn any_before(&self) -> bool {
        self.lines.iter().any(|l| l.before().is_some())
    }

    /// Whether any piece on order comes after the season only.
    #[must_use]
    pub fn any_late(&self) -> bool {
        self.lines.iter().any(|l| l.late.is_some_and(|n| 0.0 < n))
    }

    /// What customers will likely need, each with its money where the price is known; most money
    /// first, then most pieces.
    #[must_use]
    pub fn needs_by_money(&self) -> Vec<(&CustomerNeed, Option<f64>)> {
        let price = |part: &str| self.lines.iter().find(|l| l.part == part)?.price;
        let money = |need: &CustomerNeed| price(&need.part).map(|price| price * need.expected);
        let mut needs: Vec<_> = self.customers.iter().map(|n| (n, money(n))).collect();
        needs.sort_by(|(a, a_money), (b, b_money)| {
            let worth = |money: &Option<f64>| money.unwrap_or(0.0);
            let order = worth(b_money).total_cmp(&worth(a_money));
            order.then(b.expected.total_cmp(&a.expected))
        });
        needs
    }
}

/// What money buys.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CurvePoint {
    /// Money spent.
    pub money: f64,
    /// Share of all expected demand served, by price.
    pub fill_rate: f64,
}
