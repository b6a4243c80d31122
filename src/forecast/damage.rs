//! What does not come from wear, but at a rate: parts struck or bent, and single pieces changed in
//! a position that is counted as a set.
//!
//! The rate per unit of a clock has a gamma distribution: its parameters are the events and the use on
//! record, each with a weak prior added: a tenth of an event in a thousand hours (our own choice, so
//! that a part never yet damaged costs next to nothing), scaled down so that it never weighs more than
//! a tenth of the use on record, nor more than half an event at its rate. Where hours are not recorded the clock runs in acres, in tons or by
//! the calendar instead.

use std::collections::BTreeSet;

use rand_distr::{Distribution as _, Gamma};

use super::plan::Plan;
use crate::life::Life;
use crate::units::Measure;

/// What is known of how often something happens to a family's parts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EventRate {
    /// What the rate is counted by.
    pub clock: Measure,
    /// Events, the prior's included.
    events: f64,
    /// Use on the clock, the prior's included.
    use_: f64,
}

const PRIOR_EVENTS: f64 = 0.1;

/// Use the prior is worth: what a spreader does in a thousand hours at 50 acres and 10 tons an
/// hour, or in five years (common practice, no source).
fn prior_use(clock: Measure) -> f64 {
    match clock {
        Measure::Hours => 1_000.0,
        Measure::Acres => 50_000.0,
        Measure::Tons => 10_000.0,
        Measure::Days => 5.0 * 365.25,
    }
}

impl EventRate {
    /// From the lives of one family and the number of events among those that `counts` takes;
    /// lives whose use on the clock is not known tell nothing.
    #[must_use]
    pub fn of(lives: &[&Life], clock: Measure, counts: impl Fn(&Life) -> bool) -> Self {
        let known = lives
            .iter()
            .filter(|life| life.observed[clock.index()].is_some());
        let events = known.filter(|life| counts(life)).count();
        Self::new(events, lives, clock)
    }

    /// From a number of events over the lives of one family: events of those whose use on the clock is
    /// known.
    #[must_use]
    pub fn new(events: usize, lives: &[&Life], clock: Measure) -> Self {
        let spans = lives
            .iter()
            .filter_map(|l| l.observed[clock.index()])
            .collect();
        Self::over(events, spans, clock)
    }

    /// From a number of events over spans of use.
    fn over(events: usize, mut spans: Vec<f64>, clock: Measure) -> Self {
        /// Of the use on record, that the prior weighs at most.
        const WEIGHT: f64 = 0.1;
        /// Events at the rate on record, likewise.
        const EVENTS: f64 = 0.5;
        // Sorted sums: the same to the last bit whatever order the lives came in.
        spans.sort_by(f64::total_cmp);
        let on_record = spans.iter().fold(0.0, |sum, span| sum + span);
        let prior = prior_use(clock);
        let share = if events == 0 {
            WEIGHT
        } else {
            WEIGHT.min(EVENTS / events as f64)
        };
        let weight = if 0.0 < on_record {
            (share * on_record / prior).min(1.0)
        } else {
            1.0
        };
        Self {
            clock,
            events: weight * PRIOR_EVENTS + events as f64,
            use_: weight * prior + on_record,
        }
    }

    /// The mean rate, by the clock.
    #[must_use]
    pub fn mean(&self) -> f64 {
        self.events / self.use_
    }

    /// A draw of the rate, by the clock.
    ///
    /// # Panics
    /// Never: both parameters are positive.
    pub fn draw(&self, rng: &mut impl rand::Rng) -> f64 {
        Gamma::new(self.events, 1.0 / self.use_)
            .expect("positive parameters")
            .sample(rng)
    }
}

/// The first of hours, acres and tons that the lives and all use to come of their machines are known
/// in, or else the calendar.
#[must_use]
pub fn clock(lives: &[&Life], plan: &Plan) -> Measure {
    let carry: BTreeSet<&str> = lives.iter().map(|life| life.machine.as_str()).collect();
    let known = |clock: &Measure| {
        lives
            .iter()
            .any(|l| l.observed[clock.index()].is_some_and(|s| 0.0 < s))
            && plan
                .uses
                .iter()
                .all(|u| u.amounts.get(*clock).is_some() || !carry.contains(u.machine.as_str()))
    };
    let clocks = [Measure::Hours, Measure::Acres, Measure::Tons];
    clocks.into_iter().find(known).unwrap_or(Measure::Days)
}

/// Single pieces changed in positions of one family that are counted as sets: the set lives on.
#[derive(Clone, Debug, PartialEq)]
pub struct SinglePieces {
    /// How often.
    pub rate: EventRate,
    /// Pieces of each time on record.
    pub pieces: Vec<f64>,
}

#[cfg(test)]
mod tests {
    use super::EventRate;
    use crate::units::Measure;

    /// By hand: (0.1 + 2) / (1,000 + 30,000) in 30,000 hours, and (0.1 * 0.03 + 2) / (30 + 300) in
    /// 300, of which the prior weighs a tenth; (0.1 * 0.3 + 2) / (300 + 3,000) in 3,000; of 72 in 3,000 half an
    /// event's time, 3,000 / 144 hours. So of `k` in `t` hours the prior's 1,000 are scaled by the least of 1,
    /// `t / 10,000` and `t / (2,000 k)`.
    #[test]
    fn the_rate_is_the_one_worked_by_hand() {
        let rate = |hours: f64| EventRate::over(2, vec![hours], Measure::Hours).mean();
        assert!((rate(30_000.0) - 2.1 / 31_000.0).abs() < 1e-12);
        assert!((rate(300.0) - 2.003 / 330.0).abs() < 1e-12);
        assert!((rate(3_000.0) - 2.03 / 3_300.0).abs() < 1e-12);
        let many = EventRate::over(72, vec![3_000.0], Measure::Hours).mean();
        let prior = 3_000.0 / 144.0;
        assert!((many - (72.0 + 0.000_1 * prior) / (3_000.0 + prior)).abs() < 1e-12);
        let none = EventRate::new(0, &[], Measure::Hours);
        assert!((none.mean() - 0.000_1).abs() < 1e-12);
    }
}
