//! Life models and wear factors, family by family.

use super::goodness::{Printed, judge, plot, survival};
use super::teller::Teller;
use super::{Study, StudyError};
use crate::family::Spread;
use crate::forecast::summary::quantile;
use crate::model::anchor::Anchor;
use crate::model::assess::Assessment;
use crate::model::fit::{self, Fit};
use crate::model::goodness::factor_p;
use crate::model::posterior::Draws;
use crate::model::profile::{self, Quantity};
use crate::report::fits::{FactorLine, FitLine, FitsReport, MachineEffect, at_odds};
use crate::report::{Estimate, Header};

impl Study {
    /// Fits every wearing family to the lives asked for.
    ///
    /// # Errors
    /// [`StudyError::TooThin`] where there is no life to fit.
    pub fn fits(&self) -> Result<FitsReport, StudyError> {
        // Without priors nothing is told from draws.
        let draws = if self.options.priors { super::DRAWS } else { 0 };
        let mut assessments = self.assess(&[], draws, |l| self.wants_machine(&l.machine));
        assessments.retain(|a| self.wants_family(&a.family.name));
        if assessments.iter().all(|a| a.lives.counts.lives <= 0.0) {
            return Err(StudyError::TooThin(
                "the records hold no life that can be fitted: no part in service with known use"
                    .to_owned(),
            ));
        }
        let mut notes = self.built.notes.clone();
        notes.extend(self.silent_note());
        notes.extend(self.not_logged_note());
        notes.extend(assessments.iter().flat_map(|a| a.notes.clone()));
        Ok(report(
            &assessments,
            self.options.priors,
            self.records.settings.units,
            self.header(notes),
        ))
    }
}

/// Assessments as a report.
#[must_use]
pub fn report(
    assessments: &[Assessment],
    priors: bool,
    units: crate::units::Units,
    header: Header,
) -> FitsReport {
    let level = header.level;
    let families: Vec<FitLine> = assessments.iter().map(|a| line(a, priors, level)).collect();
    let mut header = header;
    header.notes.extend(families.iter().filter_map(odds));
    FitsReport {
        with_found: false,
        header,
        units,
        families,
    }
}

/// Says which p-values are to be taken with care.
fn odds(line: &FitLine) -> Option<String> {
    let differ = |f: &&FactorLine| f.factor.zip(f.p_value).is_some_and(|(e, p)| at_odds(&e, p));
    let groups: Vec<&str> = line
        .factors
        .iter()
        .filter(differ)
        .map(|f| f.group.as_str())
        .collect();
    (!groups.is_empty()).then(|| {
        format!(
            "{}: p takes all machines as alike and the records alone, the range of the wear factor does not; where they differ, believe the range: {}",
            line.family,
            groups.join(", ")
        )
    })
}

/// Wear factors of one family as they are told, the reference first; `None`: none is told.
pub(super) fn told_factors(assessment: &Assessment, priors: bool, level: f64) -> Vec<Option<f64>> {
    let teller = Teller {
        assessment,
        priors,
        level,
    };
    let told = |g: usize| Some(teller.tell(Quantity::Factor(g))?.estimate);
    let others = (1..assessment.lives.groups.len()).map(told);
    std::iter::once(Some(1.0)).chain(others).collect()
}

/// One family's line.
fn line(assessment: &Assessment, priors: bool, level: f64) -> FitLine {
    let lives = &assessment.lives;
    let teller = Teller {
        assessment,
        priors,
        level,
    };
    let likeliest = assessment.likeliest.as_ref().ok();
    let of_group = |g: usize| FactorLine {
        group: lives.groups[g].clone(),
        factor: teller.tell(Quantity::Factor(g)),
        p_value: likeliest.and_then(|fit| factor_p(fit, &lives.observations, g)),
    };
    let factors: Vec<FactorLine> = (1..lives.groups.len()).map(of_group).collect();
    let log_likelihood = if priors {
        assessment.log_likelihood_at_mode
    } else {
        likeliest.map(Fit::log_likelihood)
    };
    let shape = teller.tell(Quantity::Shape);
    let scale = teller.tell(Quantity::Life(Anchor::Scale));
    let life50 = teller.tell(Quantity::Life(Anchor::Quantile(0.5)));
    let printed = Printed {
        distribution: assessment.distribution,
        shape_and_scale: shape.zip(scale).map(|(b, n)| (b.estimate, n.estimate)),
        factors: teller.factors(&factors),
    };
    let survival = survival(assessment, &printed, level);
    FitLine {
        family: assessment.family.name.clone(),
        description: assessment.family.description.clone(),
        measure: assessment.measure_known.then_some(lives.measure),
        counted: assessment.family.counted,
        distribution: assessment.distribution,
        counts: lives.counts,
        reference_group: Some(lives.groups[0].clone()).filter(|g| !g.is_empty()),
        shape,
        scale,
        life10: teller.tell(Quantity::Life(Anchor::Quantile(0.1))),
        life50,
        mean_life: teller.tell(Quantity::Life(Anchor::Mean)),
        factors,
        log_likelihood,
        priors,
        at_least: at_least(assessment, level),
        machine_spread: teller.spread(),
        machines: teller.machines(),
        effective_share: assessment
            .draws
            .as_ref()
            .filter(|_| priors)
            .map(|d| d.health.effective_share),
        sampler: assessment
            .draws
            .as_ref()
            .filter(|_| priors)
            .map(|d| d.health.sampler),
        wear_outs_to_halve: life50
            .filter(|e| e.low.is_some() && e.high.is_some())
            .and_then(|_| wear_outs_to_halve(assessment, priors)),
        goodness: judge(assessment, priors),
        plot: plot(&survival, &printed),
        survival,
    }
}

/// With no wear-out: the median life is at least this, at the prior's shape.
fn at_least(assessment: &Assessment, level: f64) -> Option<f64> {
    let lives = &assessment.lives.observations;
    if 0.0 < lives.worn() || lives.is_empty() {
        return None;
    }
    let shape = assessment.prior_shape().unwrap_or(1.0);
    fit::median_lower_bound(assessment.distribution, lives, shape, level)
}

/// How many more wear-outs would about halve the interval of the median life; asked where it has one.
///
/// The width of the interval falls as one over the square root of the information on ln life, so that
/// half of it takes three times more information than there is, `1 / sd^2`. What one wear-out adds is
/// taken from those there are: with `n` of them, `(1 / sd^2 - 1 / prior sd^2) / n`, parts in service
/// and wear factors included. It is at most `shape^2`, which is what a wear-out seen exactly tells of
/// the scale of a Weibull life of known shape, and of the median of a lognormal one; for the median
/// of a Weibull life the unknown shape takes only 1 in 500 off it. Without any wear-out that is what
/// the next one is counted as. Less than a 50th of it is taken for noise. At least 1.
///
/// It is an approximation: it takes a normal distribution for the answer, and wear-outs to come for such as they
/// were. `sd` is taken from the 90 % interval, whose tails can be long.
fn wear_outs_to_halve(assessment: &Assessment, priors: bool) -> Option<f64> {
    let (shape, sd) = if priors {
        shape_and_sd_of_draws(assessment.draws.as_ref()?)
    } else {
        shape_and_sd_of_profile(assessment)?
    };
    let prior = assessment.family.prior.life50.filter(|_| priors);
    let known = prior.map_or(0.0, |p| p.ln_sd().powi(-2));
    let (all, worn) = (sd.powi(-2), assessment.lives.counts.worn);
    let most = shape * shape;
    let each = if 0.0 < worn {
        ((all - known) / worn).clamp(most / 50.0, most)
    } else {
        most
    };
    let more = 3.0 * all / each;
    // Rounding must not make one more of a whole number.
    more.is_finite().then(|| (more - 1e-6).ceil().max(1.0))
}

/// Width of a normal 90 % interval in standard deviations.
const WIDTH: f64 = 2.0 * Spread::Z95;

/// The middle shape of the draws, and the standard deviation of the log median life.
fn shape_and_sd_of_draws(draws: &Draws) -> (f64, f64) {
    let median = |ln_shape| {
        let median = Anchor::Quantile(0.5);
        median.offset(draws.distribution, ln_shape).value
    };
    let logs = draws.sorted(|theta| theta[1] + median(theta[0]));
    let shape = quantile(&draws.sorted(|theta| theta[0]), 0.5).exp();
    (
        shape,
        (quantile(&logs, 0.95) - quantile(&logs, 0.05)) / WIDTH,
    )
}

/// The likeliest shape, and the same of the profile interval; `None` where it has no end.
fn shape_and_sd_of_profile(assessment: &Assessment) -> Option<(f64, f64)> {
    let fit = assessment.likeliest.as_ref().ok()?;
    let median = Quantity::Life(Anchor::Quantile(0.5));
    let told = profile::interval(fit, &assessment.lives.observations, median, 0.9)?;
    Some((fit.shape(), (told.high? / told.low?).ln() / WIDTH))
}

impl Teller<'_> {
    /// Posterior median and interval, or maximum likelihood and profile interval.
    fn tell(&self, quantity: Quantity) -> Option<Estimate> {
        let held = quantity == Quantity::Shape && !self.assessment.distribution.has_shape();
        if held {
            return Some(Estimate {
                estimate: 1.0,
                low: None,
                high: None,
            });
        }
        if self.priors {
            self.posterior(quantity)
        } else {
            self.profile(quantity)
        }
    }

    /// The wear factors in use, the reference first: one that is held counts as it is held.
    fn factors(&self, told: &[FactorLine]) -> Vec<f64> {
        let held = self.assessment.likeliest.as_ref().ok();
        let held = held.filter(|_| !self.priors).map(|f| &f.theta[2..]);
        let told = told.iter().enumerate().map(|(i, line)| {
            let held = held.map_or(1.0, |theta| theta[i].exp());
            line.factor.map_or(held, |f| f.estimate)
        });
        std::iter::once(1.0).chain(told).collect()
    }

    fn posterior(&self, quantity: Quantity) -> Option<Estimate> {
        let draws = self.assessment.draws.as_ref()?;
        let sorted = draws.sorted(|theta| match quantity {
            Quantity::Shape => theta[0].exp(),
            Quantity::Life(anchor) => {
                (theta[1] + anchor.offset(draws.distribution, theta[0]).value).exp()
            }
            Quantity::Factor(g) => theta[g + 1].exp(),
            Quantity::Level(l) => theta[self.assessment.lives.groups.len() + l].exp(),
        });
        Some(self.middle(sorted))
    }

    fn spread(&self) -> Option<Estimate> {
        let draws = self.assessment.draws.as_ref().filter(|_| self.priors)?;
        let sorted = draws.sorted_spreads();
        (!sorted.is_empty()).then(|| self.middle(sorted))
    }

    fn machines(&self) -> Vec<MachineEffect> {
        let draws = self.assessment.draws.as_ref().filter(|_| self.priors);
        let Some(draws) = draws.filter(|d| d.spread(0).is_some()) else {
            return Vec::new();
        };
        let machines = self.assessment.lives.machines.iter().enumerate();
        machines
            // A life that names no machine has one of its own, which nobody knows.
            .filter(|(_, machine)| !machine.starts_with('\0'))
            .map(|(m, machine)| MachineEffect {
                machine: machine.clone(),
                life_ratio: {
                    let logs = draws.sorted_effects(m);
                    self.middle(logs.iter().map(|a| a.exp()).collect())
                },
            })
            .collect()
    }
}
