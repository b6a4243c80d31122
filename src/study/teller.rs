//! Tells a quantity of a life model: from posterior draws, or from the likeliest model.

use statrs::distribution::{ContinuousCDF, Normal};

use crate::family::Spread;
use crate::forecast::summary::quantile;
use crate::model::Observations;
use crate::model::anchor::Anchor;
use crate::model::assess::Assessment;
use crate::model::fit;
use crate::model::levels;
use crate::model::profile::{self, Quantity};
use crate::report::Estimate;

/// One family and how its quantities are told.
#[derive(Clone, Copy)]
pub(super) struct Teller<'a> {
    pub(super) assessment: &'a Assessment,
    pub(super) priors: bool,
    pub(super) level: f64,
}

/// Known without doubt: what is held against itself.
pub(super) const ONE: Estimate = Estimate {
    estimate: 1.0,
    low: Some(1.0),
    high: Some(1.0),
};

impl Teller<'_> {
    pub(super) fn lives(&self) -> &Observations {
        &self.assessment.lives.observations
    }

    /// Place of a level's log life ratio in the parameters.
    pub(super) fn place(&self, level: usize) -> usize {
        self.lives().n_groups() + level
    }

    /// Log of a life of the typical machine at the reference group, under one set of parameters.
    pub(super) fn ln_life(&self, anchor: Anchor, theta: &[f64]) -> f64 {
        theta[1] + anchor.offset(self.assessment.distribution, theta[0]).value
    }

    /// A positive quantity whose logarithm is given: posterior median and interval, or the likeliest
    /// value and an interval by the delta method on its logarithm.
    pub(super) fn told(&self, ln: impl Fn(&[f64]) -> f64) -> Option<Estimate> {
        self.told_by_draw(|_, theta| ln(theta))
    }

    /// The same of a quantity that also goes by which draw it is; `None` for the likeliest value.
    pub(super) fn told_by_draw(
        &self,
        ln: impl Fn(Option<usize>, &[f64]) -> f64,
    ) -> Option<Estimate> {
        if self.priors {
            let draws = self.assessment.draws.as_ref()?.iter().enumerate();
            let values = draws.map(|(draw, theta)| ln(Some(draw), theta).exp());
            return Some(self.middle(values.collect()));
        }
        let likeliest = self.assessment.likeliest.as_ref().ok()?;
        let (value, sd) = levels::delta(likeliest, |theta| ln(None, theta))?;
        Some(self.around(value, sd))
    }

    /// Effect of a machine on log life in one draw. One without lives in the fit has any, of which the
    /// mean of one over life is told; machines are alike in the likeliest model.
    pub(super) fn effect(&self, draw: Option<usize>, machine: &str) -> f64 {
        let draws = self.assessment.draws.as_ref();
        let Some((draws, draw)) = draws.zip(draw) else {
            return 0.0;
        };
        let Some(spread) = draws.spread(draw) else {
            return 0.0;
        };
        match self.assessment.lives.place_of(machine) {
            Some(place) => draws.effect(draw, Some(place), 0.0),
            None => -spread * spread / 2.0,
        }
    }

    /// An interval on the logarithm, turned back.
    pub(super) fn around(&self, ln: f64, sd: f64) -> Estimate {
        let reach = self.reach() * sd;
        Estimate {
            estimate: ln.exp(),
            low: Some((ln - reach).exp()),
            high: Some((ln + reach).exp()),
        }
    }

    /// Half the width of the interval of a normal quantity, in standard deviations.
    pub(super) fn reach(&self) -> f64 {
        reach(self.level)
    }

    /// Median and interval of equally probable values.
    pub(super) fn middle(&self, mut values: Vec<f64>) -> Estimate {
        values.sort_by(f64::total_cmp);
        let tail = (1.0 - self.level) / 2.0;
        Estimate {
            estimate: quantile(&values, 0.5),
            low: Some(quantile(&values, tail)),
            high: Some(quantile(&values, 1.0 - tail)),
        }
    }

    /// A profile interval; `None` with priors or where the records set none.
    pub(super) fn profile(&self, quantity: Quantity) -> Option<Estimate> {
        let fit = self.assessment.likeliest.as_ref().ok()?;
        let told = profile::interval(fit, self.lives(), quantity, self.level)?;
        Some(Estimate {
            estimate: told.estimate,
            low: told.low,
            high: told.high,
        })
    }

    /// The median life with other lives in the reference's place, by a profile of its own.
    pub(super) fn profile_median(&self, lives: &Observations) -> Option<Estimate> {
        let fit = fit::maximum_likelihood(self.assessment.distribution, lives).ok()?;
        let median = Quantity::Life(Anchor::Quantile(0.5));
        let told = profile::interval(&fit, lives, median, self.level)?;
        Some(Estimate {
            estimate: told.estimate,
            low: told.low,
            high: told.high,
        })
    }

    /// Center and standard deviation of a logarithm.
    pub(super) fn center(&self, ln: impl Fn(&[f64]) -> f64) -> Option<(f64, f64)> {
        /// Width of a normal 90 % interval in standard deviations.
        const WIDTH: f64 = 2.0 * Spread::Z95;
        if self.priors {
            let sorted = self.assessment.draws.as_ref()?.sorted(ln);
            let width = quantile(&sorted, 0.95) - quantile(&sorted, 0.05);
            return Some((quantile(&sorted, 0.5), width / WIDTH));
        }
        levels::delta(self.assessment.likeliest.as_ref().ok()?, ln)
    }
}

/// Half the width of the interval of a normal quantity at `level`, in standard deviations.
pub(super) fn reach(level: f64) -> f64 {
    let normal = Normal::new(0.0, 1.0).expect("a standard normal");
    normal.inverse_cdf(0.5 + level / 2.0)
}

/// One over an estimate; `None` of 0.
pub(super) fn inverse(value: Estimate) -> Option<Estimate> {
    let turned = |v: f64| (0.0 < v).then(|| 1.0 / v);
    Some(Estimate {
        estimate: turned(value.estimate)?,
        low: value.high.and_then(turned),
        high: value.low.and_then(turned),
    })
}

/// An estimate multiplied by a factor that is not negative.
pub(super) fn times(value: Estimate, factor: f64) -> Estimate {
    Estimate {
        estimate: value.estimate * factor,
        low: value.low.map(|v| v * factor),
        high: value.high.map(|v| v * factor),
    }
}
