//! A distribution of pieces asked for, and what a stock against it leaves short or left over.

/// Pieces asked for in a stretch of time: atoms on values that are not negative, among them what comes off
/// a stock before the stretch begins.
#[derive(Clone, Debug, PartialEq)]
pub struct Demand {
    /// Ascending, each once; what comes off a stock before the stretch begins is in them.
    values: Vec<f64>,
    /// Probability of no more than each value.
    up_to: Vec<f64>,
    /// Expected pieces that come from values up to each.
    pieces_up_to: Vec<f64>,
    /// Pieces that are only ever asked for together, as those of a pair; else 1.
    lot: f64,
    /// Expected pieces asked for in the stretch; all others come off a stock before.
    expected: f64,
}

/// Rounding of sums of probabilities.
pub(super) const ROUNDING: f64 = 1e-12;

impl Demand {
    /// From equally probable samples; `None` of none.
    #[must_use]
    pub fn of_samples(samples: &[f64]) -> Option<Self> {
        let mut sorted = samples.to_vec();
        sorted.sort_unstable_by(f64::total_cmp);
        let atoms = sorted
            .chunk_by(|a, b| a.total_cmp(b).is_eq())
            .map(|alike| (alike[0], alike.len() as f64));
        Self::of_masses(atoms)
    }

    /// From equally probable samples of what is asked for, each beside what is asked for before
    /// the stretch begins; `None` of none.
    ///
    /// A stock then is counted before: what is asked for until the stretch begins comes off it, though
    /// never more than the `shelf` that is there so early, and in whole pairs where pieces come in pairs.
    #[must_use]
    pub fn with_before(samples: &[f64], before: &[f64], shelf: f64, lot: f64) -> Option<Self> {
        let shelf = (shelf / lot).floor() * lot;
        let all: Vec<f64> = samples
            .iter()
            .zip(before)
            .map(|(asked, before)| asked + before.min(shelf))
            .collect();
        Some(Self {
            lot,
            expected: samples.iter().sum::<f64>() / samples.len() as f64,
            ..Self::of_samples(&all)?
        })
    }

    /// The same of pieces that are only ever asked for so many together: half a pair serves nobody.
    #[must_use]
    pub fn in_lots(self, lot: f64) -> Self {
        Self { lot, ..self }
    }

    /// From ascending values with weights that are not negative; `None` where they sum to nothing.
    #[must_use]
    pub fn of_masses(atoms: impl IntoIterator<Item = (f64, f64)>) -> Option<Self> {
        let atoms: Vec<(f64, f64)> = atoms.into_iter().collect();
        let sum: f64 = atoms.iter().map(|a| a.1).sum();
        if sum.is_nan() || sum <= 0.0 {
            return None;
        }
        let mut demand = Self {
            values: Vec::with_capacity(atoms.len()),
            up_to: Vec::with_capacity(atoms.len()),
            pieces_up_to: Vec::with_capacity(atoms.len()),
            lot: 1.0,
            expected: 0.0,
        };
        let (mut mass, mut pieces) = (0.0, 0.0);
        for (value, weight) in atoms {
            mass += weight / sum;
            pieces += value * weight / sum;
            demand.values.push(value);
            demand.up_to.push(mass);
            demand.pieces_up_to.push(pieces);
        }
        demand.expected = demand.all();
        Some(demand)
    }

    /// Expected pieces asked for in the stretch.
    #[must_use]
    pub fn expected(&self) -> f64 {
        self.expected
    }

    /// Expected pieces that come off a stock before the stretch begins.
    #[must_use]
    pub fn gone(&self) -> f64 {
        (self.all() - self.expected).max(0.0)
    }

    /// Expected pieces that come off a stock, were it large enough.
    fn all(&self) -> f64 {
        self.pieces_up_to[self.values.len() - 1]
    }

    /// Pieces that make whole lots, so many at least.
    pub(super) fn whole(&self, pieces: f64) -> f64 {
        (pieces / self.lot).ceil() * self.lot
    }

    /// Whole lots in a stock; pieces where they are asked for one by one.
    pub(super) fn lots(&self, stock: f64) -> f64 {
        (stock / self.lot).floor()
    }

    /// The most that can come off a stock.
    #[must_use]
    pub fn most(&self) -> f64 {
        self.values[self.values.len() - 1]
    }

    /// Probability that no more than `stock` is asked for: the chance of no stock-out.
    #[must_use]
    pub fn chance_within(&self, stock: f64) -> f64 {
        match self.values.partition_point(|v| *v <= stock) {
            0 => 0.0,
            n => self.up_to[n - 1].min(1.0),
        }
    }

    /// Expected pieces short with `stock`: `E[(D - stock)+]`, of which only whole lots are of use.
    #[must_use]
    pub fn short(&self, stock: f64) -> f64 {
        // Half a pair serves nobody; what is measured out comes in any amount.
        let stock = if 1.0 < self.lot {
            self.lots(stock) * self.lot
        } else {
            stock
        };
        let n = self.values.partition_point(|v| *v <= stock);
        if n == self.values.len() {
            return 0.0;
        }
        let (mass, pieces) = match n {
            0 => (0.0, 0.0),
            n => (self.up_to[n - 1], self.pieces_up_to[n - 1]),
        };
        (self.all() - pieces - stock * (1.0 - mass)).max(0.0)
    }

    /// Expected pieces left over with `stock`: `E[(stock - D)+]`.
    #[must_use]
    pub fn left_over(&self, stock: f64) -> f64 {
        (stock - self.all() + self.short(stock)).max(0.0)
    }

    /// Expected share of pieces served from `stock`; `None` where nothing is ever asked for.
    #[must_use]
    pub fn fill_rate(&self, stock: f64) -> Option<f64> {
        let expected = self.expected();
        (0.0 < expected).then(|| 1.0 - self.short(stock) / expected)
    }

    /// Least whole stock with a fill rate of at least `rate`, which is below 1.
    #[must_use]
    pub fn least_for_fill(&self, rate: f64) -> f64 {
        self.least(|stock| self.fill_rate(stock).is_none_or(|f| rate - ROUNDING <= f))
    }

    /// Least whole stock that is enough with probability `chance`, which is below 1.
    #[must_use]
    pub fn least_for_chance(&self, chance: f64) -> f64 {
        self.least(|stock| chance - ROUNDING <= self.chance_within(stock))
    }

    /// Least whole stock that is enough, where more is always enough as well.
    pub(super) fn least(&self, enough: impl Fn(f64) -> bool) -> f64 {
        let lots = (self.most().max(0.0) / self.lot).ceil();
        let (mut low, mut high) = (0_u64, lots as u64);
        while low < high {
            let mid = low.midpoint(high);
            if enough(mid as f64 * self.lot) {
                high = mid;
            } else {
                low = mid + 1;
            }
        }
        low as f64 * self.lot
    }
}
