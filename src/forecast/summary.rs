//! Samples to forecasts and intervals.

/// A distribution of something that has not happened yet.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Forecast {
    /// The mean.
    pub expected: f64,
    /// It stays at or below this in 10 of 100 cases.
    pub p10: f64,
    /// Even odds.
    pub p50: f64,
    /// It stays at or below this in 80 of 100 cases.
    pub p80: f64,
    /// It stays at or below this in 90 of 100 cases.
    pub p90: f64,
    /// It stays at or below this in 95 of 100 cases.
    pub p95: f64,
}

impl Forecast {
    /// Of equally probable samples; all zero of none.
    #[must_use]
    pub fn of(samples: &[f64]) -> Self {
        let mut sorted = samples.to_vec();
        sorted.sort_unstable_by(f64::total_cmp);
        Self {
            // Sorted sums: the same to the last bit whatever order the samples came in.
            expected: if sorted.is_empty() {
                0.0
            } else {
                sorted.iter().sum::<f64>() / sorted.len() as f64
            },
            p10: quantile(&sorted, 0.1),
            p50: quantile(&sorted, 0.5),
            p80: quantile(&sorted, 0.8),
            p90: quantile(&sorted, 0.9),
            p95: quantile(&sorted, 0.95),
        }
    }

    /// Every figure multiplied by a factor that is not negative.
    #[must_use]
    pub fn times(&self, factor: f64) -> Self {
        Self {
            expected: self.expected * factor,
            p10: self.p10 * factor,
            p50: self.p50 * factor,
            p80: self.p80 * factor,
            p90: self.p90 * factor,
            p95: self.p95 * factor,
        }
    }
}

/// Least sample that a share `p` of the sorted samples does not exceed; 0 of none.
#[must_use]
pub fn quantile(sorted: &[f64], p: f64) -> f64 {
    if sorted.is_empty() {
        return 0.0;
    }
    let rank = (p * sorted.len() as f64).ceil() as usize;
    sorted[rank.clamp(1, sorted.len()) - 1]
}
