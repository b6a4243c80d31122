//! Whether forecasts mean what they say: outcomes against the quantiles they were given.

use statrs::distribution::{Binomial, DiscreteCDF};

use crate::forecast::summary::quantile;

/// The quantiles a forecast is told by.
pub const SHARES: [f64; 5] = [0.1, 0.5, 0.8, 0.9, 0.95];

/// Where in its forecast an outcome lies.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Placing {
    /// Chance the forecast gave to less.
    pub below: f64,
    /// Chance it gave to this or less.
    pub at_or_below: f64,
    /// Chance it gave to staying at or below each of its own quantiles ([`SHARES`]); of counts
    /// that is more than the quantile's name says.
    pub said: [f64; 5],
    /// Whether the outcome stayed at or below them.
    pub stayed: [bool; 5],
}

impl Placing {
    /// Places an outcome among sorted samples.
    #[must_use]
    pub fn of(sorted: &[f64], actual: f64) -> Self {
        let share = |k: usize| k as f64 / sorted.len().max(1) as f64;
        let up_to = |value: f64| share(sorted.partition_point(|x| *x <= value));
        let quantiles = SHARES.map(|p| quantile(sorted, p));
        Self {
            below: share(sorted.partition_point(|x| *x < actual)),
            at_or_below: up_to(actual),
            said: quantiles.map(up_to),
            stayed: quantiles.map(|q| actual <= q),
        }
    }

    /// Adds one outcome to the bins of the probability integral transform.
    ///
    /// An outcome that the forecast gave a chance of its own, as with counts, lies anywhere from
    /// `below` to `at_or_below`: it is spread evenly over the bins in between.
    fn spread_over<const N: usize>(&self, bins: &mut [f64; N]) {
        let width = self.at_or_below - self.below;
        for (k, bin) in bins.iter_mut().enumerate() {
            let (from, to) = (k as f64 / N as f64, (k + 1) as f64 / N as f64);
            if 0.0 < width {
                let overlap = self.at_or_below.min(to) - self.below.max(from);
                *bin += overlap.max(0.0) / width;
            } else if k == ((self.below * N as f64) as usize).min(N - 1) {
                *bin += 1.0;
            }
        }
    }
}

/// One quantile of many forecasts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Held {
    /// Which quantile, 0.8 for p80.
    pub quantile: f64,
    /// Share of outcomes the forecasts themselves put at or below it.
    pub said: f64,
    /// Share of outcomes that stayed at or below it.
    pub happened: f64,
    /// Where that share lies in 8 of 10 cases by chance alone, where the forecasts mean what they
    /// say; see [`by_chance`].
    pub by_chance: (f64, f64),
}

/// Range of the share of `outcomes` that hold, in 8 of 10 cases, where each holds with chance `said`.
///
/// Quantiles 0.1 and 0.9 of a binomial count, over the count. It takes outcomes as independent of
/// each other; the years of one fleet are not quite.
#[must_use]
pub fn by_chance(said: f64, outcomes: usize) -> (f64, f64) {
    let count = outcomes as u64;
    let Ok(binomial) = Binomial::new(said.clamp(0.0, 1.0), count) else {
        return (0.0, 1.0);
    };
    let share = |p: f64| binomial.inverse_cdf(p) as f64 / count.max(1) as f64;
    (share(0.1), share(0.9))
}

/// Outcomes against the quantiles of their forecasts.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Calibration {
    /// Outcomes.
    pub outcomes: usize,
    /// By quantile; empty without outcomes.
    pub quantiles: Vec<Held>,
    /// Probability integral transform: outcomes by the tenth of their forecast they lie in. Of
    /// forecasts that mean what they say, a tenth each but for chance.
    ///
    /// Counts are spread as by Czado, Gneiting & Held, Predictive model assessment for count
    /// data, Biometrics 65 (2009), section 3.1.
    pub tenths: [f64; 10],
}

impl Calibration {
    /// Of outcomes placed in their forecasts.
    #[must_use]
    pub fn of(placings: &[Placing]) -> Self {
        let n = placings.len() as f64;
        let mut tenths = [0.0; 10];
        for placing in placings {
            placing.spread_over(&mut tenths);
        }
        let held = |(i, quantile): (usize, f64)| {
            let said = placings.iter().map(|p| p.said[i]).sum::<f64>() / n;
            Held {
                quantile,
                said,
                happened: placings.iter().map(|p| f64::from(p.stayed[i])).sum::<f64>() / n,
                by_chance: by_chance(said, placings.len()),
            }
        };
        let quantiles = SHARES.into_iter().enumerate().map(held);
        Self {
            outcomes: placings.len(),
            quantiles: if placings.is_empty() {
                Vec::new()
            } else {
                quantiles.collect()
            },
            tenths,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand from any table of the binomial distribution: of 20 even chances, P(X <= 6) = 0.0577
    /// and P(X <= 7) = 0.1316, so the lower limit is 7 of 20, and by symmetry the upper one 13.
    #[test]
    fn chance_alone_takes_a_share_as_far_as_a_binomial_count_says() {
        assert_eq!(by_chance(0.5, 20), (0.35, 0.65));
        assert_eq!(by_chance(1.0, 20), (1.0, 1.0));
    }
}
