//! How one part and its successors end in all plays of a batch.
//!
//! A part seldom ends within a season. With `a` the rise of its cumulative hazard over the use to come
//! and `b` the strikes to be expected, nothing happens to it with probability `exp(-(a + b))`; as
//! `1 - exp(-x) <= x`, a uniform number above `a + b` settles that without any logarithm. Only where
//! something happens are its cause and its day drawn, given that it does. So it goes for the parts
//! in service, for all their successors, for the successors of those, until none ends any more.

use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution as _, Exp1};

use super::batch::{BATCH, Column, MachineBatch};
use super::chance::{each_of, uniforms};
use super::days::{Begin, NOW, exposure, struck_on, worn_on};
use super::measured::LeftByDraw;
use super::unit::{Age, SeenPath, Unit};
use crate::model::hazards;

/// A replacement: its play, its day, and whether it is by wear.
#[derive(Clone, Copy, Debug)]
pub(super) struct Change {
    pub(super) play: usize,
    pub(super) day: usize,
    pub(super) worn: bool,
}

/// Room to work in, for one part after the other.
#[derive(Debug)]
pub(super) struct Room {
    /// The part in service, in every play.
    first: Parts,
    successors: Parts,
    ends: Ends,
    numbers: Numbers,
}

/// Numbers on their way.
#[derive(Debug)]
struct Numbers {
    uniform: Column,
    /// Places of parts that may end.
    places: [usize; BATCH],
    exponential: Column,
    shape: Column,
    ln_scale: Column,
    exposure: Column,
}

/// Parts of which chance is yet to say how they end; at most one in each play.
#[derive(Debug)]
struct Parts {
    len: usize,
    play: [usize; BATCH],
    begin: [Begin; BATCH],
    /// Effective exposure at which its life begins: below 0 where it has an age.
    born: Column,
    /// Cumulative hazard survived.
    at: Column,
    /// How far that rises over the use to come.
    rise: Column,
    /// Strikes to be expected.
    strikes: Column,
}

/// How parts end, those of them that do.
#[derive(Debug)]
struct Ends {
    len: usize,
    play: [usize; BATCH],
    begin: [Begin; BATCH],
    born: Column,
    /// Effective exposure at which it wears out, from now on; cumulative hazard of its life before that is known.
    wear_at: Column,
    /// Use on the clock of damage at which it is struck, from now on.
    damage_at: Column,
}

impl Room {
    pub(super) fn new() -> Self {
        let zero = [0.0; BATCH];
        let parts = |len| Parts {
            len,
            play: std::array::from_fn(|k| k),
            begin: [NOW; BATCH],
            born: zero,
            at: zero,
            rise: zero,
            strikes: zero,
        };
        Self {
            first: parts(BATCH),
            successors: parts(0),
            ends: Ends {
                len: 0,
                play: [0; BATCH],
                begin: [NOW; BATCH],
                born: zero,
                wear_at: zero,
                damage_at: zero,
            },
            numbers: Numbers {
                uniform: zero,
                places: [0; BATCH],
                exponential: zero,
                shape: [1.0; BATCH],
                ln_scale: zero,
                exposure: zero,
            },
        }
    }
}

impl Ends {
    fn push(&mut self, play: usize, begin: Begin, born: f64, wear_at: f64, damage_at: f64) {
        let i = self.len;
        self.play[i] = play;
        self.begin[i] = begin;
        self.born[i] = born;
        self.wear_at[i] = wear_at;
        self.damage_at[i] = damage_at;
        self.len += 1;
    }
}

impl MachineBatch<'_> {
    /// Runs one place through the days to come, in all plays; `event` is told the replacements that
    /// count, those of each play in their order.
    ///
    /// - `left`: what is left of the part in service, where its readings say.
    pub(super) fn run(
        &self,
        (unit, left): (&Unit, Option<&LeftByDraw>),
        seen: &SeenPath,
        rng: &mut ChaCha8Rng,
        room: &mut Room,
        mut event: impl FnMut(Change),
    ) {
        let Room {
            first,
            successors,
            ends,
            numbers,
        } = room;
        match (left, &unit.age) {
            (None, Age::Known(used)) => {
                self.of_age(used, first);
                self.draw(first, ends, numbers, rng);
            }
            (None, age @ Age::AtLeast(_)) => {
                self.draw_each(ends, rng, |k, rng| self.life(k).draw_rest(age, rng));
            }
            (Some(left), _) => {
                self.draw_each(ends, rng, |k, _| left.of_play(self.family.first + k));
            }
        }
        while 0 < ends.len {
            self.change(seen, ends, successors, numbers, &mut event);
            self.draw(successors, ends, numbers, rng);
        }
    }

    /// The part in service, in every play.
    fn of_age(&self, used: &[f64], parts: &mut Parts) {
        let age = &mut parts.born;
        self.family.effective(used, age);
        let (at, rise) = (&mut parts.at, &mut parts.rise);
        self.hazards().rises(age, self.ahead, at, rise);
        for age in age {
            *age = -*age;
        }
        parts.strikes = *self.strikes;
    }

    /// Draws play by play; `wear` says what is left of the part.
    fn draw_each(
        &self,
        ends: &mut Ends,
        rng: &mut ChaCha8Rng,
        mut wear: impl FnMut(usize, &mut ChaCha8Rng) -> f64,
    ) {
        ends.len = 0;
        for k in 0..BATCH {
            let strike: f64 = Exp1.sample(rng);
            let wear_at = wear(k, rng);
            if wear_at <= self.ahead[k] || strike <= self.strikes[k] {
                ends.push(k, NOW, 0.0, wear_at, strike / self.family.rates[k]);
            }
        }
    }

    /// Draws how parts end: which of them do, why, and at what use.
    fn draw(&self, parts: &Parts, ends: &mut Ends, numbers: &mut Numbers, rng: &mut ChaCha8Rng) {
        let Numbers {
            uniform,
            places,
            exponential,
            ..
        } = &mut *numbers;
        uniforms(&mut uniform[..parts.len], rng);
        let mut n = 0;
        for (i, u) in uniform[..parts.len].iter().enumerate() {
            places[n] = i;
            n += usize::from(*u < parts.rise[i] + parts.strikes[i]);
        }
        for (e, i) in exponential.iter_mut().zip(&places[..n]) {
            *e = uniform[*i];
        }
        hazards::exponentials(&mut exponential[..whole(n)]);
        ends.len = 0;
        for (e, i) in exponential.iter().zip(&places[..n]) {
            let (e, i, rise, strikes) = (*e, *i, parts.rise[*i], parts.strikes[*i]);
            if rise + strikes <= e {
                continue;
            }
            let (worn, struck) = each_of(e, rise, strikes, rng);
            let (play, begin) = (parts.play[i], parts.begin[i]);
            let hazard = worn.map_or(f64::INFINITY, |e| parts.at[i] + e);
            let damage_at =
                struck.map_or(f64::INFINITY, |e| begin.clock + e / self.family.rates[play]);
            ends.push(play, begin, parts.born[i], hazard, damage_at);
        }
        self.to_exposures(ends, numbers);
    }

    /// From cumulative hazards to effective exposures from now on.
    fn to_exposures(&self, ends: &mut Ends, numbers: &mut Numbers) {
        let lives = self.chosen(&ends.play[..ends.len], numbers);
        lives.exposures(&mut ends.wear_at[..whole(ends.len)]);
        for i in 0..ends.len {
            ends.wear_at[i] = (ends.born[i] + ends.wear_at[i]).max(ends.begin[i].exposure);
        }
    }

    /// The lives of some plays.
    fn chosen<'n>(&self, plays: &[usize], numbers: &'n mut Numbers) -> hazards::Lives<'n> {
        let columns = numbers.shape.iter_mut().zip(&mut numbers.ln_scale);
        for ((shape, ln_scale), play) in columns.zip(plays) {
            (*shape, *ln_scale) = (self.family.shape[*play], self.ln_scale[*play]);
        }
        hazards::Lives {
            distribution: self.hazards().distribution,
            shape: &numbers.shape,
            ln_scale: &numbers.ln_scale,
        }
    }

    /// Finds the day of each end, tells it, and fits the successor.
    fn change(
        &self,
        seen: &SeenPath,
        ends: &Ends,
        successors: &mut Parts,
        numbers: &mut Numbers,
        event: &mut impl FnMut(Change),
    ) {
        let clock = &seen.path.clock;
        let days = clock.len();
        successors.len = 0;
        for i in 0..ends.len {
            let (play, begin) = (ends.play[i], ends.begin[i]);
            let (factors, all) = (self.family.factors(play), self.ahead[play]);
            let worn_on = worn_on(&seen.path, factors, (begin, all), ends.wear_at[i]);
            let struck_on = struck_on(clock, begin.day, ends.damage_at[i]);
            let day = worn_on.min(struck_on);
            if days <= day {
                continue;
            }
            if seen.path.counts[day] {
                event(Change {
                    play,
                    day,
                    worn: worn_on <= struck_on,
                });
            }
            let exposure = exposure(&seen.path, factors, day);
            let n = successors.len;
            numbers.exposure[n] = all - exposure;
            successors.play[n] = play;
            successors.begin[n] = Begin {
                day: day + 1,
                exposure,
                clock: clock[day],
            };
            successors.born[n] = exposure;
            successors.strikes[n] = self.family.rates[play] * (clock[days - 1] - clock[day]);
            successors.len += 1;
        }
        let left = numbers.exposure;
        let lives = self.chosen(&successors.play[..successors.len], numbers);
        lives.at(&left, &mut successors.rise[..whole(successors.len)]);
    }
}

/// So many numbers and a few more, to fill whole registers.
fn whole(n: usize) -> usize {
    n.next_multiple_of(8)
}
