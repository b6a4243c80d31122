//! Money per acre and ton beside the budget: ranges, what was spent before, and a published curve.

use super::Forecast;

/// What goes with the lines of a budget, in their order.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Money {
    /// Money an acre of each part number: over all planned acres.
    pub lines: Vec<Option<Forecast>>,
    /// Of each machine.
    pub machines: Vec<MachineMoney>,
    /// Of each product group.
    pub products: Vec<ProductMoney>,
    /// The last full season on record, all machines asked for.
    pub past: Option<Past>,
}

/// One machine.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct MachineMoney {
    /// Money a planned acre.
    pub cost_per_acre: Option<Forecast>,
    /// What was spent on it in the last full season.
    pub past: Option<Past>,
    /// Repairs of the season by the published curve for fertilizer spreaders; `None` where the list
    /// price or the hours are not known.
    pub repair_curve: Option<f64>,
}

/// One product group: what a rate per acre must carry for wear.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ProductMoney {
    /// Money a planned acre.
    pub cost_per_acre: Option<Forecast>,
    /// Money a planned short ton.
    pub cost_per_ton: Option<Forecast>,
}

/// What a past season cost, as far as it was written down.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Past {
    /// The season that ended in this year.
    pub season: i32,
    /// Changes on record.
    pub changes: usize,
    /// Of these without a recorded cost of parts.
    pub unpriced: usize,
    /// Of these without recorded hours of labor, where an hour has a rate.
    pub without_hours: usize,
    /// Recorded cost of parts, and recorded hours at the labor rate; `None` where there were changes
    /// and none has either.
    pub cost: Option<f64>,
    /// Acres spread.
    pub acres: Option<f64>,
}

impl Past {
    /// What the season cost; `None` where some of it was not written down.
    #[must_use]
    pub fn whole_cost(&self) -> Option<f64> {
        let is_whole = self.unpriced == 0 && self.without_hours == 0;
        self.cost.filter(|_| is_whole)
    }

    /// Recorded money an acre.
    #[must_use]
    pub fn per_acre(&self) -> Option<f64> {
        let acres = self.acres.filter(|a| 0.0 < *a)?;
        Some(self.cost? / acres)
    }
}
