//! What stands beside each fit: how well it agrees with its lives, and how to picture that.

use crate::model::assess::Assessment;
use crate::model::goodness::{self, Goodness, Judged};
use crate::model::nonparametric::{self, Step, Survival};
use crate::model::{Distribution, ranks};
use crate::report::probability::{Position, ProbabilityPlot, ProbabilityPoint};

/// Judges the fit of a family.
pub(super) fn judge(assessment: &Assessment, priors: bool) -> Goodness {
    let prior = assessment.family.prior;
    let informed = priors && (prior.shape.is_some() || prior.life50.is_some());
    goodness::judge(&Judged {
        log_likelihood_at_mode: assessment.log_likelihood_at_mode.filter(|_| informed),
        ..judged(assessment)
    })
}

/// Says beside a forecast that the fit it rests on misses its lives.
pub(super) fn misfit(assessment: &Assessment) -> Option<String> {
    let told = goodness::misfit(&judged(assessment))?;
    Some(format!(
        "{}: {told}; what rests on it may be as far off (`wearcast fit` tells more)",
        assessment.family.name
    ))
}

fn judged(assessment: &Assessment) -> Judged<'_> {
    Judged {
        lives: &assessment.lives.observations,
        likeliest: &assessment.likeliest,
        distribution: assessment.distribution,
        log_likelihood_at_mode: None,
        machine_spread: middle_spread(assessment),
    }
}

/// The middle of the draws of how machines differ.
fn middle_spread(assessment: &Assessment) -> Option<f64> {
    let sorted = assessment.draws.as_ref()?.sorted_spreads();
    sorted.get(sorted.len() / 2).copied()
}

/// Parameters as printed.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Printed {
    pub distribution: Distribution,
    /// Shape and scale; `None` where the records and the prior tell nothing.
    pub shape_and_scale: Option<(f64, f64)>,
    /// Wear factors, the reference first.
    pub factors: Vec<f64>,
}

/// Survival without a distribution, at the wear factors printed.
pub(super) fn survival(assessment: &Assessment, printed: &Printed, level: f64) -> Survival {
    nonparametric::survival(&assessment.lives.observations, &printed.factors, level)
}

/// The probability plot of a fit; `None` without a wear-out.
pub(super) fn plot(survival: &Survival, printed: &Printed) -> Option<ProbabilityPlot> {
    let (first, last) = (survival.steps.first()?, survival.steps.last()?);
    let (position, probabilities) = positions(survival);
    let points = survival.steps.iter().zip(probabilities);
    let points = points.map(|(step, probability)| ProbabilityPoint {
        low: step.low,
        high: step.high,
        probability,
        probability_low: step.survival_high.map(|s| 1.0 - s),
        probability_high: step.survival_low.map(|s| 1.0 - s),
    });
    let from = if 0.0 < first.low {
        first.low
    } else {
        first.high
    };
    Some(ProbabilityPlot {
        distribution: printed.distribution,
        position,
        start: survival.start,
        points: points.collect(),
        line: line(printed, survival.start, (from, last.high)),
    })
}

/// Median ranks where they are defined: every wear-out in its own place, every life from new.
fn positions(survival: &Survival) -> (Position, Vec<f64>) {
    let worn: f64 = survival.steps.iter().map(|s| s.worn).sum();
    let ranked = survival.product_limit
        && !survival.rounded
        && survival.late_entry <= 0.0
        && worn <= MOST_RANKED;
    let whole = |s: &Step| (s.worn - s.worn.round()).abs() < 1e-9;
    let ranks = (ranked && survival.start <= 0.0 && survival.steps.iter().all(whole))
        .then(|| median_ranks(survival))
        .flatten();
    if let Some(ranks) = ranks {
        return (Position::MedianRank, ranks);
    }
    let middle = |s: &Step| 1.0 - s.survival - s.mass / 2.0;
    (
        Position::MiddleOfFall,
        survival.steps.iter().map(middle).collect(),
    )
}

/// Wear-outs from which ranks and middles of falls are the same to any eye.
const MOST_RANKED: f64 = 10_000.0;

/// Wear-outs at one exposure share the middle of their ranks.
fn median_ranks(survival: &Survival) -> Option<Vec<f64>> {
    let worn = |s: &Step| s.worn.round() as usize;
    let at_risk: Vec<f64> = survival
        .steps
        .iter()
        .flat_map(|s| (0..worn(s)).map(|i| s.at_risk - i as f64))
        .collect();
    let adjusted = ranks::adjusted(&at_risk, survival.lives);
    let mut next = 0;
    survival
        .steps
        .iter()
        .map(|s| {
            let own = adjusted.get(next..next + worn(s))?;
            next += worn(s);
            let middle = f64::midpoint(*own.first()?, *own.last()?);
            ranks::share(middle, survival.lives, 0.5)
        })
        .collect()
}

/// Number of places along the line.
const PLACES: usize = 60;

/// The fit over the exposures of the lives and a little beyond, given still good at `start`.
fn line(printed: &Printed, start: f64, (from, to): (f64, f64)) -> Vec<(f64, f64)> {
    let Some((shape, scale)) = printed.shape_and_scale else {
        return Vec::new();
    };
    let hazard = |x: f64| {
        if x <= 0.0 {
            return 0.0;
        }
        let t = shape * (x / scale).ln();
        printed.distribution.cumulative(t).value
    };
    let (from, to) = ((from / 1.5).max(start), to * 1.5);
    (0..=PLACES)
        .map(|i| {
            let x = from * (to / from).powf(i as f64 / PLACES as f64);
            (x, -(hazard(start) - hazard(x)).exp_m1())
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::observations::{End, Observation, Observations};

    fn plotted(entry: f64) -> ProbabilityPlot {
        let lives = [(100.0, End::At), (200.0, End::At), (300.0, End::Censored)];
        let lives = lives.into_iter().map(|(end, known)| Observation {
            entry: vec![entry],
            low: vec![end],
            end: vec![end],
            known,
            count: 1.0,
            machine: None,
        });
        let lives = Observations::new(1, lives.collect());
        let printed = Printed {
            distribution: Distribution::Weibull,
            shape_and_scale: Some((2.0, 150.0)),
            factors: vec![1.0],
        };
        plot(&nonparametric::survival(&lives, &[1.0], 0.9), &printed).expect("wear-outs")
    }

    /// Of three parts: 0.206 for the first to wear out, half for the second.
    #[test]
    fn lives_from_new_are_plotted_at_median_ranks() {
        let plot = plotted(0.0);
        assert_eq!(plot.position, Position::MedianRank);
        let shares: Vec<f64> = plot.points.iter().map(|p| p.probability).collect();
        assert!((shares[0] - (1.0 - 0.5_f64.powf(1.0 / 3.0))).abs() < 1e-9);
        assert!((shares[1] - 0.5).abs() < 1e-9);
    }

    #[test]
    fn lives_that_entered_late_are_plotted_in_the_middle_of_each_fall() {
        let plot = plotted(50.0);
        assert_eq!(plot.position, Position::MiddleOfFall);
        let shares: Vec<f64> = plot.points.iter().map(|p| p.probability).collect();
        assert!((shares[0] - 1.0 / 6.0).abs() < 1e-9);
        assert!((shares[1] - 0.5).abs() < 1e-9);
    }

    #[test]
    fn the_fit_is_a_straight_line_on_its_own_axes() {
        let plot = plotted(0.0);
        for (exposure, share) in &plot.line {
            let height = 2.0 * (ProbabilityPlot::across(*exposure) - 150_f64.ln());
            assert!((plot.height(*share) - height).abs() < 1e-6);
        }
    }
}
