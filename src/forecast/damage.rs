//! Damage: parts struck or bent do not wear out, they come at a rate.
//!
//! The rate per hour of use has a gamma distribution: a weak prior worth a tenth of an event in a
//! thousand hours (our own choice, so that a part never yet damaged costs next to nothing), and
//! the events and hours on record.

use rand_distr::{Distribution as _, Gamma};

use crate::life::{Ending, Life};
use crate::units::Measure;

/// What is known of a family's damage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DamageRate {
    /// Events, the prior's included.
    events: f64,
    /// Hours of use, the prior's included.
    hours: f64,
}

const PRIOR_EVENTS: f64 = 0.1;
const PRIOR_HOURS: f64 = 1_000.0;

impl DamageRate {
    /// From the lives of one family; hours that are not recorded tell nothing.
    #[must_use]
    pub fn of(lives: &[&Life]) -> Self {
        let mut events = PRIOR_EVENTS;
        let mut hours = vec![PRIOR_HOURS];
        for life in lives {
            let span = life.filled[Measure::Hours.index()];
            let (Some(entry), Some(end)) = (span.entry, span.end) else {
                continue;
            };
            hours.push(end - entry);
            events += f64::from(u8::from(life.ended == Ending::Damage));
        }
        hours.sort_by(f64::total_cmp);
        Self {
            events,
            hours: hours.iter().sum(),
        }
    }

    /// The mean rate per hour.
    #[must_use]
    pub fn mean(&self) -> f64 {
        self.events / self.hours
    }

    /// A draw of the rate per hour.
    ///
    /// # Panics
    /// Never: both parameters are positive.
    pub fn draw(&self, rng: &mut impl rand::Rng) -> f64 {
        Gamma::new(self.events, 1.0 / self.hours)
            .expect("positive parameters")
            .sample(rng)
    }
}
