//! How one part and its successors end in all plays of a batch.
//!
//! A part seldom ends within a season. With `a` the rise of its cumulative hazard over the use to come
//! and `b` the strikes to be expected, nothing happens to it with probability `exp(-(a + b))`: a uniform number
//! above a bound of that chance, worked out in half the figures, settles it. Only where it does not is the
//! hazard worked out in full, with the use at which the part wears out. So it goes for the parts
//! in service, for all their successors, for the successors of those, until none ends any more.

use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution as _, Exp1};

use super::batch::{BATCH, MachineBatch};
use super::chance::{divided, uniform, words};
use super::days::{Begin, NOW, clock_at, first_look, struck_on, worn_on};
use super::measured::LeftByDraw;
use super::path::FuturePath;
pub(super) use super::scratch::Scratch;
use super::scratch::{ChosenLives, Ends, Numbers, Parts};
use super::unit::{Age, SeenPath, Unit};
use crate::model::hazards::{self, Exposures};

/// A replacement: its play, its day among those to come, and whether it is by wear.
#[derive(Clone, Copy, Debug)]
pub(super) struct Change {
    pub(super) play: usize,
    pub(super) day: usize,
    pub(super) worn: bool,
}

impl MachineBatch<'_> {
    /// Runs one place through the days to come, in all plays; `event` is told the replacements, also those
    /// before the season, those of each play in their order.
    ///
    /// - `left`: what is left of the part in service, where its readings say.
    pub(super) fn run(
        &self,
        (unit, left): (&Unit, Option<&LeftByDraw>),
        seen: &SeenPath,
        rng: &mut ChaCha8Rng,
        scratch: &mut Scratch,
        mut event: impl FnMut(Change),
    ) {
        let Scratch {
            first,
            successors,
            ends,
            numbers,
        } = scratch;
        let clock = &seen.path.clock;
        match (left, &unit.age) {
            (None, Age::Known(used)) => {
                self.family.effective(used, &mut first.from);
                self.all_strikes(&mut first.strikes);
                first.alike = self.family.alike();
                let exposures = first.exposures(self.ahead, first.alike);
                let (halves, limits) = (&mut numbers.halves, &mut numbers.limits);
                self.hazards()
                    .limits(exposures, &first.strikes, halves, limits);
                self.settle(first, clock, ends, numbers, rng);
            }
            (None, age @ Age::AtLeast { .. }) => {
                self.draw_each(ends, rng, |k, rng| self.life(k).draw_rest(age, rng));
            }
            (Some(left), _) => {
                self.draw_each(ends, rng, |k, _| left.of_play(self.family.first + k));
            }
        }
        while 0 < ends.of.len {
            self.change(seen, ends, successors, numbers, &mut event);
            let n = successors.of.len.next_multiple_of(hazards::WIDTH);
            let lives = self.chosen(successors.of.plays().iter(), &mut numbers.lives);
            let (halves, limits) = (&mut numbers.halves, &mut numbers.limits[..n]);
            let exposures = successors.exposures(&numbers.ahead, false);
            lives.limits(exposures, &successors.strikes, halves, limits);
            self.settle(successors, clock, ends, numbers, rng);
        }
    }

    /// Draws play by play; `wear` says what is left of the part.
    fn draw_each(
        &self,
        ends: &mut Ends,
        rng: &mut ChaCha8Rng,
        mut wear: impl FnMut(usize, &mut ChaCha8Rng) -> f64,
    ) {
        ends.of.len = 0;
        for k in 0..BATCH {
            let strike: f64 = Exp1.sample(rng);
            let wear_at = wear(k, rng);
            if wear_at <= self.ahead[k] || strike <= self.strikes(k) {
                ends.push(k, NOW, wear_at, strike / self.family.rates[k]);
            }
        }
    }

    /// Draws how parts end: which of them do, why, and at what use.
    ///
    /// The limits of their words are known.
    fn settle(
        &self,
        parts: &Parts,
        clock: &[f64],
        ends: &mut Ends,
        numbers: &mut Numbers,
        rng: &mut ChaCha8Rng,
    ) {
        words(&mut numbers.word[..parts.of.len], rng);
        let n = numbers.choose(parts.of.len);
        words(&mut numbers.more[..n], rng);
        self.find_ends((parts, n), numbers, rng);
        ends.of.len = 0;
        for (j, i) in numbers.places[..n].iter().enumerate() {
            let i = usize::from(*i);
            let (play, begin) = (parts.of.play[i], parts.of.begin(i));
            let wear_at = (begin.exposure + (numbers.end[j] - parts.from[i])).max(begin.exposure);
            let strike = numbers.strike[j];
            if self.ahead[play] < wear_at && strike == f64::INFINITY {
                continue;
            }
            let damage_at = clock_at(clock, begin) + strike / self.family.rates[play];
            ends.push(play, begin, wear_at, damage_at);
        }
    }

    /// Use at which the parts in `n` places wear out, were it all used, since they were new; and how far they
    /// are from being struck, infinitely far where that is beyond the strikes to be expected.
    fn find_ends(&self, (parts, n): (&Parts, usize), numbers: &mut Numbers, rng: &mut ChaCha8Rng) {
        for (j, i) in numbers.places[..n].iter().enumerate() {
            let i = usize::from(*i);
            numbers.end[j] = uniform(numbers.word[i], numbers.more[j]);
            numbers.from[j] = parts.from[i];
        }
        let all = ..whole(n);
        hazards::exponentials(&mut numbers.end[all]);
        for (j, i) in numbers.places[..n].iter().enumerate() {
            let (e, strikes) = (numbers.end[j], parts.strikes[usize::from(*i)]);
            (numbers.end[j], numbers.strike[j]) = divided(e, strikes, rng);
        }
        let places = numbers.places[..n].iter();
        let plays = places.map(|i| &parts.of.play[usize::from(*i)]);
        let lives = self.chosen(plays, &mut numbers.lives);
        let from = Exposures {
            each: &numbers.from,
            alike: parts.alike,
        };
        lives.at(from, &mut numbers.hazard[all]);
        for (end, at) in numbers.end[all].iter_mut().zip(&numbers.hazard) {
            *end += at;
        }
        lives.exposures(&mut numbers.end[all]);
    }

    /// The lives of some plays.
    fn chosen<'n, 'p>(
        &self,
        plays: impl Iterator<Item = &'p usize>,
        lives: &'n mut ChosenLives,
    ) -> hazards::Lives<'n> {
        let columns = lives.shape.iter_mut().zip(&mut lives.ln_scale);
        for ((shape, ln_scale), play) in columns.zip(plays) {
            (*shape, *ln_scale) = (self.family.shape[*play], self.ln_scale[*play]);
        }
        hazards::Lives {
            distribution: self.hazards().distribution,
            shape: &lives.shape,
            ln_scale: &lives.ln_scale,
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
        let (path, clock) = (&*seen.path, seen.path.clock.as_slice());
        let days = clock.len();
        self.days_worn(path, ends, &mut numbers.day);
        successors.of.len = 0;
        for (i, play) in ends.of.plays().iter().copied().enumerate() {
            let worn_on = numbers.day[i] as usize;
            let struck_on = struck_on(clock, ends.of.begin(i).day, ends.damage_at[i]);
            let ended_on = worn_on.min(struck_on);
            if days <= ended_on {
                continue;
            }
            let day = path.found_on(ended_on);
            if days <= day {
                continue;
            }
            event(Change {
                play,
                day,
                worn: worn_on <= struck_on,
            });
            let begin = Begin {
                day: day + 1,
                exposure: self.family.exposure(path.at(day), play),
            };
            let n = successors.of.len;
            numbers.ahead[n] = self.ahead[play] - begin.exposure;
            successors.strikes[n] = self.family.rates[play] * (clock[days - 1] - clock[day]);
            successors.of.push(play, begin);
        }
    }

    /// The day of work on which each part is worn; the number of days where it is on none.
    fn days_worn(&self, path: &FuturePath, ends: &Ends, day: &mut [u32; BATCH]) {
        let days = path.dates.len();
        let plays = ends.of.plays();
        for (i, (day, play)) in day.iter_mut().zip(plays).enumerate() {
            let of = (ends.of.begin(i), self.ahead[*play]);
            *day = first_look(of, ends.wear_at[i], days);
        }
        for (i, (day, play)) in day.iter_mut().zip(plays).enumerate() {
            let (wear_at, all) = (ends.wear_at[i], self.ahead[*play]);
            let exposure = |day: usize| self.family.exposure(path.at(day), *play);
            *day = if all < wear_at {
                days as u32
            } else {
                worn_on(exposure, ends.of.begin(i).day..days, *day, wear_at)
            };
        }
    }
}

/// So many numbers and a few more, to fill whole registers of eight bytes each.
fn whole(n: usize) -> usize {
    n.next_multiple_of(8)
}
