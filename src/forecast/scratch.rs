//! Columns of numbers that parts are worked out in, one part of a play after the other.

use super::batch::{BATCH, Column};
use super::days::Begin;
use crate::model::hazards::{Exposures, Halves};

const _: () = assert!(BATCH <= 256);

/// Room to work in, for one place after the other.
#[derive(Debug)]
pub(super) struct Scratch {
    /// The part in service, in every play.
    pub(super) first: Parts,
    pub(super) successors: Parts,
    pub(super) ends: Ends,
    pub(super) numbers: Numbers,
}

/// Where parts begin; at most one in each play.
#[derive(Debug)]
pub(super) struct Begins {
    pub(super) len: usize,
    pub(super) play: [usize; BATCH],
    pub(super) day: [usize; BATCH],
    pub(super) exposure: Column,
}

/// Parts of which chance is yet to say how they end.
#[derive(Debug)]
pub(super) struct Parts {
    pub(super) of: Begins,
    /// Effective exposure survived.
    pub(super) from: Column,
    /// Whether it is the same for all of them.
    pub(super) alike: bool,
    /// Strikes to be expected.
    pub(super) strikes: Column,
}

/// Parts that end.
#[derive(Debug)]
pub(super) struct Ends {
    pub(super) of: Begins,
    /// Effective exposure at which it wears out, from now on.
    pub(super) wear_at: Column,
    /// Use on the clock of damage at which it is struck, from now on.
    pub(super) damage_at: Column,
}

/// Numbers on their way.
#[derive(Debug)]
pub(super) struct Numbers {
    /// Halves of random numbers.
    pub(super) word: [u32; BATCH],
    pub(super) more: [u32; BATCH],
    /// Words up to which a part may end.
    pub(super) limits: [u32; BATCH],
    /// Places of parts that may end; one byte holds any.
    pub(super) places: [u8; BATCH],
    pub(super) halves: Halves,
    /// Effective exposure to come of successors.
    pub(super) ahead: Column,
    pub(super) lives: ChosenLives,
    pub(super) from: Column,
    pub(super) hazard: Column,
    /// Chance, then the hazard it comes to, then the exposure at which that is.
    pub(super) end: Column,
    /// How far parts are from being struck.
    pub(super) strike: Column,
    /// Days of ends: where to look first, then where they are.
    pub(super) day: [u32; BATCH],
}

/// Lives of some plays.
#[derive(Debug)]
pub(super) struct ChosenLives {
    pub(super) shape: Column,
    pub(super) ln_scale: Column,
}

impl Scratch {
    pub(super) fn new() -> Self {
        let zero = [0.0; BATCH];
        let begins = |len| Begins {
            len,
            play: std::array::from_fn(|k| k),
            day: [0; BATCH],
            exposure: zero,
        };
        let parts = |len| Parts {
            of: begins(len),
            from: zero,
            alike: true,
            strikes: zero,
        };
        Self {
            first: parts(BATCH),
            successors: parts(0),
            ends: Ends {
                of: begins(0),
                wear_at: zero,
                damage_at: zero,
            },
            numbers: Numbers {
                word: [0; BATCH],
                more: [0; BATCH],
                limits: [0; BATCH],
                places: [0; BATCH],
                halves: Halves::default(),
                ahead: zero,
                lives: ChosenLives {
                    shape: [1.0; BATCH],
                    ln_scale: zero,
                },
                from: zero,
                hazard: zero,
                end: zero,
                strike: zero,
                day: [0; BATCH],
            },
        }
    }
}

impl Begins {
    pub(super) fn push(&mut self, play: usize, begin: Begin) {
        let i = self.len;
        self.play[i] = play;
        self.day[i] = begin.day;
        self.exposure[i] = begin.exposure;
        self.len += 1;
    }

    pub(super) fn begin(&self, i: usize) -> Begin {
        Begin {
            day: self.day[i],
            exposure: self.exposure[i],
        }
    }

    pub(super) fn plays(&self) -> &[usize] {
        &self.play[..self.len]
    }
}

impl Parts {
    /// Exposure survived, and that to come, which may be the same for all.
    pub(super) fn exposures<'c>(
        &'c self,
        ahead: &'c Column,
        alike: bool,
    ) -> (Exposures<'c>, Exposures<'c>) {
        let from = Exposures {
            each: &self.from,
            alike: self.alike,
        };
        (from, Exposures { each: ahead, alike })
    }
}

impl Ends {
    pub(super) fn push(&mut self, play: usize, begin: Begin, wear_at: f64, damage_at: f64) {
        let i = self.of.len;
        self.wear_at[i] = wear_at;
        self.damage_at[i] = damage_at;
        self.of.push(play, begin);
    }
}

impl Numbers {
    /// Finds the places of those of `n` parts whose words are within the limits, in their order; how
    /// many they are.
    pub(super) fn choose(&mut self, n: usize) -> usize {
        let mut chosen = 0;
        // Written always, kept if it is one: chance is no branch to foresee.
        let mut look = |i: usize, within: bool| {
            self.places[chosen] = i as u8;
            chosen += usize::from(within);
        };
        let (words, limits) = (
            self.word[..n].as_chunks::<8>(),
            self.limits[..n].as_chunks::<8>(),
        );
        for (k, (words, limits)) in words.0.iter().zip(limits.0).enumerate() {
            for i in 0..8 {
                look(8 * k + i, words[i] <= limits[i]);
            }
        }
        for (i, (word, limit)) in words.1.iter().zip(limits.1).enumerate() {
            look(n - words.1.len() + i, word <= limit);
        }
        chosen
    }
}
