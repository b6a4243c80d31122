//! Whether draws can be relied on: the tail of importance weights, the agreement of Markov chains,
//! and how many independent draws dependent ones are worth (effective sample size).

/// Which sampler made the draws.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sampler {
    /// Weighted draws from a proposal about the most probable point.
    Importance,
    /// Markov chains.
    Chain,
}

impl Sampler {
    /// The word in JSON.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Importance => "importance",
            Self::Chain => "chain",
        }
    }
}

/// Share of effective draws below which weighted draws are called unhealthy.
pub const HEALTHY_SHARE: f64 = 0.1;
/// Pareto k of the weights above which weighted draws are called unhealthy.
///
/// Source: Vehtari, Simpson, Gelman, Yao & Gabry, "Pareto smoothed importance sampling", JMLR 25
/// (2024): 0.7 for more than about 2,000 draws.
pub const HEALTHY_K: f64 = 0.7;
/// Split R-hat above which chains are said to disagree.
///
/// Source: Vehtari, Gelman, Simpson, Carpenter & Bürkner, "Rank-normalization, folding, and
/// localization", Bayesian Analysis 16 (2021).
pub const HEALTHY_R_HAT: f64 = 1.01;
/// Independent draws that chains must be worth; the same source asks for 100 a chain.
pub const HEALTHY_SIZE: f64 = 400.0;
/// Share of chain steps that may go wrong; more of them say that a corner was never reached.
pub const HEALTHY_DIVERGENT: f64 = 0.001;

/// How draws were made and what their own checks say.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Health {
    /// Which sampler made them.
    pub sampler: Sampler,
    /// How many independent draws one draw is worth, 0 to 1; of the worst parameter.
    pub effective_share: f64,
    /// Shape of the tail of the weights; `None` where there are none.
    pub pareto_k: Option<f64>,
    /// The largest split R-hat of any parameter; `None` for weighted draws.
    pub r_hat: Option<f64>,
    /// Independent draws that the chains are worth, of the worst parameter; `None` for weighted draws.
    pub effective_size: Option<f64>,
    /// Share of chain steps that went wrong; 0 for weighted draws.
    pub divergent: f64,
    /// Distinct peaks that were found.
    pub peaks: usize,
}

/// What is wrong with draws.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Trouble {
    /// Few draws carry the weight.
    Weights,
    /// A single proposal was laid over this many peaks.
    Peaks(usize),
    /// Chains do not agree.
    Disagree(f64),
    /// Chains moved too slowly.
    Slow(f64),
    /// Steps went wrong.
    Divergent(f64),
}

impl Health {
    /// Of draws that need no weights: known parameters, or the proposal itself.
    #[must_use]
    pub fn exact() -> Self {
        Self::weighted(1.0, None, 1)
    }

    /// Of weighted draws.
    #[must_use]
    pub fn weighted(effective_share: f64, pareto_k: Option<f64>, peaks: usize) -> Self {
        Self {
            sampler: Sampler::Importance,
            effective_share,
            pareto_k,
            r_hat: None,
            effective_size: None,
            divergent: 0.0,
            peaks,
        }
    }

    /// What is wrong, the worst first; `None` where nothing is.
    #[must_use]
    pub fn trouble(&self) -> Option<Trouble> {
        match self.sampler {
            Sampler::Importance => {
                let share = self.effective_share;
                let heavy = self.pareto_k.is_some_and(|k| HEALTHY_K < k || k.is_nan());
                if share.is_nan() || share < HEALTHY_SHARE || heavy {
                    return Some(Trouble::Weights);
                }
                (1 < self.peaks).then_some(Trouble::Peaks(self.peaks))
            }
            Sampler::Chain => {
                let r_hat = self.r_hat.unwrap_or(1.0);
                let size = self.effective_size.unwrap_or(f64::INFINITY);
                if r_hat.is_nan() || HEALTHY_R_HAT < r_hat {
                    Some(Trouble::Disagree(r_hat))
                } else if size < HEALTHY_SIZE {
                    Some(Trouble::Slow(size))
                } else {
                    (HEALTHY_DIVERGENT < self.divergent)
                        .then_some(Trouble::Divergent(self.divergent))
                }
            }
        }
    }
}

/// Shape `k` of a generalized Pareto tail of importance weights, from their logs.
///
/// The tail is the largest `min(n / 5, 3 sqrt(n))` weights. Below 0.5 the weights have a variance;
/// above 0.7 a few draws decide. Negative infinity where the tail is flat, not a number where no
/// weight is finite.
///
/// # Source
/// Zhang & Stephens, "A new and efficient estimation method for the generalized Pareto
/// distribution", Technometrics 51 (2009), with the prior of 10 draws at 0.5 of Vehtari et al.
/// (JMLR 25, 2024).
#[must_use]
pub fn pareto_k(log_weights: &[f64]) -> f64 {
    let most = log_weights
        .iter()
        .copied()
        .fold(f64::NEG_INFINITY, f64::max);
    if !most.is_finite() {
        return f64::NAN;
    }
    let mut weights: Vec<f64> = log_weights.iter().map(|w| (w - most).exp()).collect();
    weights.sort_by(f64::total_cmp);
    let n = weights.len();
    let tail = (n as f64 / 5.0).min(3.0 * (n as f64).sqrt()).floor() as usize;
    if tail < 5 {
        return f64::NEG_INFINITY;
    }
    let cut = weights[n - tail - 1];
    let excess: Vec<f64> = weights[n - tail..].iter().map(|w| w - cut).collect();
    tail_shape(&excess)
}

/// `k` of sorted exceedances.
fn tail_shape(excess: &[f64]) -> f64 {
    const PRIOR_SCALE: f64 = 3.0;
    const PRIOR_DRAWS: f64 = 10.0;
    let n = excess.len();
    let quarter = excess[(n as f64 / 4.0 + 0.5).floor() as usize - 1];
    let largest = excess[n - 1];
    if quarter <= 0.0 || largest <= 1e-12 {
        return f64::NEG_INFINITY;
    }
    let grid = 30.0 + (n as f64).sqrt().floor();
    let k_at = |b: f64| excess.iter().map(|x| (-b * x).ln_1p()).sum::<f64>() / n as f64;
    let candidates: Vec<(f64, f64)> = (1..=grid as usize)
        .map(|j| {
            let b =
                1.0 / largest + (1.0 - (grid / (j as f64 - 0.5)).sqrt()) / (PRIOR_SCALE * quarter);
            let k = k_at(b);
            (b, n as f64 * ((-b / k).ln() - k - 1.0))
        })
        .filter(|(_, ln_likelihood)| ln_likelihood.is_finite())
        .collect();
    let most = candidates
        .iter()
        .map(|c| c.1)
        .fold(f64::NEG_INFINITY, f64::max);
    let total: f64 = candidates.iter().map(|(_, h)| (h - most).exp()).sum();
    let b: f64 = candidates
        .iter()
        .map(|(b, h)| b * (h - most).exp() / total)
        .sum();
    (k_at(b) * n as f64 + PRIOR_DRAWS / 2.0) / (n as f64 + PRIOR_DRAWS)
}

/// Chains of one parameter, each cut in two.
struct Halves<'a> {
    chains: Vec<&'a [f64]>,
    means: Vec<f64>,
    length: f64,
    /// Mean variance within a half.
    within: f64,
    /// Variance of all draws, by the spread within halves and of their means.
    total: f64,
}

impl<'a> Halves<'a> {
    fn new(chains: &'a [Vec<f64>]) -> Self {
        let half = chains.iter().map(Vec::len).min().unwrap_or(0) / 2;
        let chains: Vec<&[f64]> = chains
            .iter()
            .flat_map(|c| [&c[..half], &c[c.len() - half..]])
            .collect();
        let (length, number) = (half as f64, chains.len() as f64);
        let means: Vec<f64> = chains
            .iter()
            .map(|c| c.iter().sum::<f64>() / length)
            .collect();
        let squares = |c: &[f64], mean: f64| c.iter().map(|x| (x - mean).powi(2)).sum::<f64>();
        let within = chains
            .iter()
            .zip(&means)
            .map(|(c, m)| squares(c, *m) / (length - 1.0))
            .sum::<f64>()
            / number;
        let middle = means.iter().sum::<f64>() / number;
        let between = squares(&means, middle) / (number - 1.0);
        Self {
            chains,
            means,
            length,
            within,
            total: within * (length - 1.0) / length + between,
        }
    }

    /// Autocorrelation at one lag.
    fn correlation(&self, lag: usize) -> f64 {
        let products: f64 = self
            .chains
            .iter()
            .zip(&self.means)
            .map(|(c, m)| {
                let pairs = c.iter().zip(&c[lag..]);
                pairs.map(|(a, b)| (a - m) * (b - m)).sum::<f64>() / self.length
            })
            .sum();
        let covariance = products / self.chains.len() as f64;
        1.0 - (self.within * (self.length - 1.0) / self.length - covariance) / self.total
    }
}

/// Split R-hat of one parameter: 1 where chains agree.
///
/// # Source
/// Gelman et al., *Bayesian Data Analysis*, 3rd ed. (2013), section 11.4.
#[must_use]
pub fn split_r_hat(chains: &[Vec<f64>]) -> f64 {
    let halves = Halves::new(chains);
    (halves.total / halves.within).sqrt()
}

/// Independent draws that chains of one parameter are worth.
///
/// Autocorrelations of all chains together, summed in pairs until a pair is no longer positive,
/// pairs never rising.
///
/// # Source
/// Geyer, "Practical Markov chain Monte Carlo", Statistical Science 7 (1992); Gelman et al.,
/// section 11.5.
#[must_use]
pub fn effective_size(chains: &[Vec<f64>]) -> f64 {
    let halves = Halves::new(chains);
    let draws = halves.length * halves.chains.len() as f64;
    let (mut time, mut least) = (-1.0, f64::INFINITY);
    let mut lag = 0;
    while lag + 1 < halves.length as usize {
        let pair = halves.correlation(lag) + halves.correlation(lag + 1);
        if pair.is_nan() || pair <= 0.0 {
            break;
        }
        least = pair.min(least);
        time += 2.0 * least;
        lag += 2;
    }
    // Chains that swing from side to side tell more than their number, but not without limit.
    draws / time.max(1.0 / draws.log10())
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution as _, StandardNormal};

    #[test]
    fn the_shape_of_a_pareto_tail_is_found() {
        let mut rng = ChaCha8Rng::seed_from_u64(1);
        for k in [0.2, 0.5, 0.9] {
            let logs: Vec<f64> = (0..20_000).map(|_| -k * rng.random::<f64>().ln()).collect();
            let found = pareto_k(&logs);
            assert!((found - k).abs() < 0.12, "{found} for {k}");
        }
        assert!(pareto_k(&[0.0; 1_000]) < 0.0);
        assert!(pareto_k(&[f64::NEG_INFINITY; 1_000]).is_nan());
    }

    #[test]
    fn a_chain_of_known_memory_is_worth_what_it_should_be() {
        let mut rng = ChaCha8Rng::seed_from_u64(2);
        let memory: f64 = 0.6;
        let chains: Vec<Vec<f64>> = (0..4)
            .map(|_| {
                let mut x = 0.0;
                let mut step = || {
                    let z: f64 = StandardNormal.sample(&mut rng);
                    x = memory * x + (1.0 - memory * memory).sqrt() * z;
                    x
                };
                (0..5_000).map(|_| step()).collect()
            })
            .collect();
        let share = effective_size(&chains) / 20_000.0;
        assert!((share - 0.25).abs() < 0.03, "{share}");
        assert!((split_r_hat(&chains) - 1.0).abs() < 0.002);
        let mut apart = chains;
        apart[0].iter_mut().for_each(|x| *x += 2.0);
        assert!(1.2 < split_r_hat(&apart));
        assert!(effective_size(&apart) < 30.0);
    }
}
