//! What a fit sees of lives: exposure by group at entry, when last known good, and at the end.

use super::blocks::Blocks;

/// How the end of a life is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum End {
    /// Not worn out at the end.
    Censored,
    /// Worn out between low and end.
    Between,
    /// Worn out exactly at the end.
    At,
}

/// One life, or several alike.
#[derive(Clone, Debug, PartialEq)]
pub struct Observation {
    /// Exposure by group at entry; 0 for a life seen from new.
    pub entry: Vec<f64>,
    /// Exposure by group when last known good.
    pub low: Vec<f64>,
    /// Exposure by group at the end.
    pub end: Vec<f64>,
    /// How the end is known.
    pub known: End,
    /// This many lives are alike.
    pub count: f64,
    /// Which machine it was on, for the differences between machines; `None`: nobody says.
    pub machine: Option<u32>,
}

impl Observation {
    fn key(&self) -> impl Iterator<Item = f64> {
        self.end.iter().chain(&self.low).chain(&self.entry).copied()
    }

    fn order(&self, other: &Self) -> std::cmp::Ordering {
        let first = |o: &Self| (o.machine, o.known);
        first(self).cmp(&first(other)).then_with(|| {
            self.key()
                .zip(other.key())
                .map(|(a, b)| a.total_cmp(&b))
                .find(|o| o.is_ne())
                .unwrap_or(std::cmp::Ordering::Equal)
        })
    }
}

/// Lives in columns, alike ones joined, in an order of their own: the order they came in never
/// reaches a sum.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Observations {
    /// Groups; the first is the reference.
    pub(super) n_groups: usize,
    pub(super) entry: Vec<f64>,
    pub(super) low: Vec<f64>,
    /// End less low.
    pub(super) step: Vec<f64>,
    pub(super) known: Vec<End>,
    pub(super) count: Vec<f64>,
    /// Ascending, so that the lives of one machine lie together.
    pub(super) machine: Vec<Option<u32>>,
    /// Levels compared by their life at the same effective exposure; 1 where nothing is.
    pub(super) n_levels: usize,
    /// Level of each life; level 0 is what the others are held against.
    pub(super) level: Vec<usize>,
    /// The same lives as the fast likelihood takes them.
    pub(super) blocks: Blocks,
}

impl Observations {
    /// Joins lives that are alike and puts them in columns.
    ///
    /// Every list of an observation has `n_groups` entries; group 0 is the reference.
    ///
    /// # Panics
    /// Never: counts are joined only to a life that is there.
    #[must_use]
    pub fn new(n_groups: usize, lives: Vec<Observation>) -> Self {
        Self::leveled(n_groups, 1, lives.into_iter().map(|l| (l, 0)).collect())
    }

    /// The same for lives of several levels, each of which may stretch life by a factor of its own.
    ///
    /// Every level is below `n_levels`; level 0 is what the others are held against.
    ///
    /// # Panics
    /// Never: counts are joined only to a life that is there.
    #[must_use]
    pub fn leveled(n_groups: usize, n_levels: usize, mut lives: Vec<(Observation, usize)>) -> Self {
        lives.sort_by(|a, b| a.0.order(&b.0).then(a.1.cmp(&b.1)));
        let mut out = Self {
            n_groups,
            n_levels,
            ..Self::default()
        };
        let mut last: Option<&(Observation, usize)> = None;
        for pair in &lives {
            let (life, level) = pair;
            if last.is_some_and(|(l, of)| of == level && l.order(life).is_eq()) {
                *out.count.last_mut().expect("a last one was pushed") += life.count;
                continue;
            }
            out.entry.extend_from_slice(&life.entry);
            let low = if life.known == End::Between {
                &life.low
            } else {
                &life.end
            };
            out.low.extend_from_slice(low);
            out.step
                .extend(life.end.iter().zip(low).map(|(e, l)| e - l));
            out.known.push(life.known);
            out.count.push(life.count);
            out.machine.push(life.machine);
            out.level.push(*level);
            last = Some(pair);
        }
        out.laid_out()
    }

    /// With [`Self::blocks`] made of the other columns.
    fn laid_out(mut self) -> Self {
        self.blocks = Blocks::new(&self);
        self
    }

    /// The same lives with another reference group: group `group` and the reference change places.
    #[must_use]
    pub fn with_reference(&self, group: usize) -> Self {
        let mut out = self.clone();
        for column in [&mut out.entry, &mut out.low, &mut out.step] {
            for row in column.chunks_exact_mut(self.n_groups) {
                row.swap(0, group);
            }
        }
        out.laid_out()
    }

    /// The same lives held against another level: level `level` and level 0 change places.
    #[must_use]
    pub fn with_base(&self, level: usize) -> Self {
        let mut out = self.clone();
        for own in &mut out.level {
            *own = match *own {
                0 => level,
                l if l == level => 0,
                l => l,
            };
        }
        out.laid_out()
    }

    /// Every so many of these lives, from the first on: as they are sorted, each kind of life has its
    /// share among them.
    #[must_use]
    pub(super) fn every(&self, stride: usize) -> Self {
        let n = self.n_groups;
        let mut out = Self {
            n_groups: n,
            n_levels: self.n_levels,
            ..Self::default()
        };
        let stride = stride as f64;
        let (mut lives, mut taken) = (0.0, 0.0);
        for i in 0..self.len() {
            lives += self.count[i];
            let due = (lives / stride).ceil();
            if due <= taken {
                continue;
            }
            let row = i * n..(i + 1) * n;
            out.entry.extend_from_slice(&self.entry[row.clone()]);
            out.low.extend_from_slice(&self.low[row.clone()]);
            out.step.extend_from_slice(&self.step[row]);
            out.known.push(self.known[i]);
            out.count.push(due - taken);
            out.machine.push(self.machine[i]);
            out.level.push(self.level[i]);
            taken = due;
        }
        out.laid_out()
    }

    /// How many lives there are of each different one, in the order of the columns.
    #[must_use]
    pub fn counts(&self) -> &[f64] {
        &self.count
    }

    /// Counts the same lives anew, as a resample does: in the order of [`Self::counts`].
    ///
    /// # Panics
    /// When there are more or fewer counts than different lives.
    pub fn recount(&mut self, counts: &[f64]) {
        self.count.copy_from_slice(counts);
        self.blocks.recount(counts);
    }

    /// Number of different lives.
    #[must_use]
    pub fn len(&self) -> usize {
        self.known.len()
    }

    /// Whether there is none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.known.is_empty()
    }

    /// Number of groups.
    #[must_use]
    pub fn n_groups(&self) -> usize {
        self.n_groups
    }

    /// Number of levels.
    #[must_use]
    pub fn n_levels(&self) -> usize {
        self.n_levels
    }

    /// Parameters of a life model: ln shape, ln scale, a log wear factor for each group but the
    /// first, a log life ratio for each level but the first.
    #[must_use]
    pub fn n_parameters(&self) -> usize {
        self.n_groups + self.n_levels
    }

    /// Number of wear-outs.
    #[must_use]
    pub fn worn(&self) -> f64 {
        self.known
            .iter()
            .zip(&self.count)
            .filter(|(k, _)| **k != End::Censored)
            .map(|(_, c)| c)
            .sum()
    }

    /// Number of lives.
    #[must_use]
    pub fn lives(&self) -> f64 {
        self.count.iter().sum()
    }

    /// Whether any life that wore out saw that group.
    #[must_use]
    pub fn worn_under(&self, group: usize) -> bool {
        (0..self.len()).any(|i| {
            let at = i * self.n_groups + group;
            self.known[i] != End::Censored && 0.0 < self.low[at] + self.step[at]
        })
    }

    /// Whether any part was seen good after some use, or at the very end of its life. Without one, any
    /// life that is short enough explains the records.
    #[must_use]
    pub fn seen_good(&self) -> bool {
        let used = |row: &[f64]| row.iter().any(|u| 0.0 < *u);
        (0..self.len()).any(|i| {
            let row = i * self.n_groups..(i + 1) * self.n_groups;
            // The low of a life that is not known to lie between two is its end.
            used(&self.low[row.clone()]) || used(&self.entry[row])
        })
    }

    /// Whether any life of that level wore out.
    #[must_use]
    pub fn worn_at(&self, level: usize) -> bool {
        (0..self.len()).any(|i| self.level[i] == level && self.known[i] != End::Censored)
    }

    /// Exposure of life `i` at its end, every group counting 1.
    #[must_use]
    pub fn plain_end(&self, i: usize) -> f64 {
        let row = i * self.n_groups..(i + 1) * self.n_groups;
        self.low[row.clone()]
            .iter()
            .zip(&self.step[row])
            .map(|(l, s)| l + s)
            .sum()
    }

    /// Scale that would be most likely at that shape, every group counting 1; with no wear-out,
    /// as if half a wear-out had been seen. A start for the search, never a result.
    #[must_use]
    pub fn crude_ln_scale(&self, shape: f64) -> Option<f64> {
        let longest = (0..self.len())
            .map(|i| self.plain_end(i))
            .fold(0.0, f64::max);
        if longest <= 0.0 {
            return None;
        }
        let sum: f64 = (0..self.len())
            .map(|i| self.count[i] * (self.plain_end(i) / longest).powf(shape))
            .sum();
        Some(longest.ln() + (sum / self.worn().max(0.5)).ln() / shape)
    }
}
