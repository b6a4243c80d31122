//! Axes: values to places, and the values that are marked on them.

use super::text;
use crate::model::Distribution;

/// How values are spread along an axis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Scale {
    /// Equal steps.
    Linear,
    /// Equal factors.
    Log,
    /// Shares on which a life of this distribution is a straight line over a logarithmic axis.
    Share(Distribution),
}

impl Scale {
    /// Where a value stands before it is stretched to the picture.
    fn apply(self, value: f64) -> f64 {
        match self {
            Self::Linear => value,
            Self::Log => value.ln(),
            Self::Share(distribution) => distribution.inverse(-(-value).ln_1p()),
        }
    }
}

/// A share in percent, with the decimals it needs.
#[must_use]
pub fn percent(share: f64) -> String {
    let value = 100.0 * share;
    let text = format!("{value:.2}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    format!("{text} %")
}

/// One axis: the values from `low` to `high` lie from `from` to `to`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Axis {
    scale: Scale,
    low: f64,
    high: f64,
    from: f64,
    to: f64,
}

impl Axis {
    pub(super) fn new(scale: Scale, (low, high): (f64, f64), (from, to): (f64, f64)) -> Self {
        Self {
            scale,
            low,
            high,
            from,
            to,
        }
    }

    /// Place of a value; beyond the ends where it lies beyond them, by at most a picture's width.
    pub(super) fn place(&self, value: f64) -> f64 {
        let (low, high) = (self.scale.apply(self.low), self.scale.apply(self.high));
        let share = (self.scale.apply(value) - low) / (high - low);
        // A share of 0 or a life of 0 lies infinitely far out.
        self.from + (self.to - self.from) * share.clamp(-1.0, 2.0)
    }

    /// The values to mark, none of whose words (as `tell` says them) would touch.
    ///
    /// `upright`: the words stand above each other rather than side by side.
    pub(super) fn ticks(
        &self,
        tell: impl Fn(f64) -> String,
        upright: bool,
    ) -> Vec<(f64, f64, String)> {
        let mut kept: Vec<(f64, f64, String)> = Vec::new();
        for value in self.candidates(if upright { 6 } else { 5 }) {
            let (place, words) = (self.place(value), tell(value));
            let room = |w: &str| if upright { 17.0 } else { text::width(w) + 10.0 };
            let clear = |(_, other, w): &(f64, f64, String)| {
                f64::midpoint(room(w), room(&words)) <= (place - other).abs()
            };
            if kept.iter().all(clear) {
                kept.push((value, place, words));
            }
        }
        kept.sort_by(|a, b| a.0.total_cmp(&b.0));
        kept
    }

    /// Values worth a mark, the most wanted first.
    fn candidates(&self, most: usize) -> Vec<f64> {
        let within = |v: &f64| {
            let slack = 1e-9 * (self.high - self.low).abs();
            self.low - slack <= *v && *v <= self.high + slack
        };
        match self.scale {
            Scale::Linear => steps(self.low, self.high, most),
            Scale::Log if self.high / self.low < 4.0 => steps(self.low, self.high, most),
            Scale::Log => {
                let decades = self.low.log10().floor() as i32..=self.high.log10().ceil() as i32;
                let all = [1.0, 5.0, 2.0].into_iter().flat_map(|first| {
                    decades
                        .clone()
                        .map(move |decade| first * 10_f64.powi(decade))
                });
                all.filter(within).collect()
            }
            Scale::Share(_) => SHARES.into_iter().filter(within).collect(),
        }
    }
}

/// Shares worth a mark on a probability axis, the most wanted first.
const SHARES: [f64; 17] = [
    0.5, 0.1, 0.9, 0.01, 0.99, 0.001, 0.999, 0.2, 0.8, 0.05, 0.02, 0.3, 0.95, 0.7, 0.005, 0.002,
    0.98,
];

/// At most `most` whole steps of 1, 2 or 5 and noughts, and perhaps one more.
fn steps(low: f64, high: f64, most: usize) -> Vec<f64> {
    let rough = (high - low) / most as f64;
    if !rough.is_finite() || rough <= 0.0 {
        return vec![low];
    }
    let decade = 10_f64.powf(rough.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|first| first * decade)
        .find(|step| rough <= step * (1.0 + 1e-9))
        .unwrap_or(10.0 * decade);
    let (first, last) = ((low / step - 1e-9).ceil(), (high / step + 1e-9).floor());
    let count = (last - first).clamp(0.0, 50.0) as usize;
    (0..=count).map(|i| (first + i as f64) * step).collect()
}

/// The end of an axis from 0 that holds `most`: a whole step above it.
pub(super) fn round_up(most: f64) -> f64 {
    if most <= 0.0 || !most.is_finite() {
        return 1.0;
    }
    let marked = steps(0.0, most, 5);
    let step = marked.get(1).copied().unwrap_or(most);
    (most / step - 1e-9).ceil() * step
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(a: f64, b: f64) -> bool {
        (a - b).abs() < 1e-6
    }

    #[test]
    fn values_lie_where_their_scale_says() {
        let linear = Axis::new(Scale::Linear, (0.0, 10.0), (100.0, 200.0));
        assert!(close(linear.place(2.5), 125.0));
        let log = Axis::new(Scale::Log, (1.0, 100.0), (0.0, 100.0));
        assert!(close(log.place(10.0), 50.0));
        // Upright axes run from the bottom to the top. 63.2 % is where ln(-ln(1 - p)) is 0.
        let weibull = Scale::Share(Distribution::Weibull);
        let (low, high) = (1.0 - (-(-1_f64).exp()).exp(), 1.0 - (-1_f64.exp()).exp());
        let share = Axis::new(weibull, (low, high), (300.0, 100.0));
        assert!(close(share.place(1.0 - (-1_f64).exp()), 200.0));
    }

    /// The normal quantile of 97.72 % is 2 (any table of the normal distribution).
    #[test]
    fn a_lognormal_axis_is_that_of_normal_quantiles() {
        let normal = Scale::Share(Distribution::Lognormal);
        let axis = Axis::new(normal, (0.022_750_132, 0.977_249_868), (0.0, 400.0));
        assert!(close(axis.place(0.5), 200.0));
        assert!((axis.place(0.841_344_746) - 300.0).abs() < 1e-4);
    }

    #[test]
    fn marks_are_round_and_their_words_do_not_touch() {
        let told = |axis: Axis| -> Vec<String> {
            let ticks = axis.ticks(|v| format!("{v}"), false);
            ticks.into_iter().map(|(_, _, words)| words).collect()
        };
        let linear = Axis::new(Scale::Linear, (0.0, 9.3), (0.0, 400.0));
        assert_eq!(told(linear), ["0", "2", "4", "6", "8"]);
        let log = Axis::new(Scale::Log, (0.3, 30.0), (0.0, 400.0));
        assert_eq!(told(log), ["0.5", "1", "2", "5", "10", "20"]);
        let crowded = Axis::new(Scale::Log, (0.3, 30.0), (0.0, 60.0));
        assert_eq!(told(crowded), ["1", "10"]);
    }

    #[test]
    fn an_axis_from_nothing_ends_at_a_whole_step() {
        assert!(close(round_up(9.3), 10.0));
        assert!(close(round_up(41_000.0), 50_000.0));
        assert!(close(round_up(0.0), 1.0));
    }
}
