//! Lives laid out for the fast likelihood: those of one level and one kind of end stand together,
//! in blocks of columns, a number of lives at a time.

use std::collections::BTreeMap;

use super::observations::{End, Observations};
use super::vector;
use crate::registers::widest;

/// Sums are kept in so many lanes, on every processor; lives are padded to whole lanes.
pub(super) const LANES: usize = 8;
/// Lives of a block: a block's columns stay in the nearest cache.
pub(super) const BLOCK: usize = 64;

/// What one life adds to the log-likelihood, with `H` the cumulative hazard. A life that entered
/// late stands twice: by its entry, and by its end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    /// `H(entry)`.
    Entered,
    /// `-H(end)`.
    Survived,
    /// `ln h(end) - H(end)`, where there are several groups.
    Exact,
    /// `ln(1 - exp(-H(end)))`: worn, and never seen good.
    Fresh,
    /// `ln(exp(-H(low)) - exp(-H(end)))`.
    Between,
}

impl Kind {
    const ALL: [Self; 5] = [
        Self::Entered,
        Self::Survived,
        Self::Exact,
        Self::Fresh,
        Self::Between,
    ];

    /// Sign of the weight that the life's count becomes.
    fn sign(self) -> f64 {
        if self == Self::Survived { -1.0 } else { 1.0 }
    }

    /// Rows of exposure that a life of this kind has: at one point, or at a point and from there on.
    fn points(self) -> usize {
        if self == Self::Between { 2 } else { 1 }
    }
}

/// Lives of one level and kind.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Segment {
    pub(super) level: usize,
    pub(super) kind: Kind,
    /// Signed counts; 0 for the padding.
    pub(super) weight: Vec<f64>,
    /// Which life each is.
    row: Vec<usize>,
    n_columns: usize,
    /// Block after block; in each, column after column.
    columns: Vec<f64>,
}

impl Segment {
    pub(super) fn blocks(&self) -> usize {
        self.weight.len().div_ceil(BLOCK)
    }

    /// Columns and weights of one block.
    pub(super) fn block(&self, index: usize) -> (&[f64], &[f64]) {
        let from = index * BLOCK;
        let to = (from + BLOCK).min(self.weight.len());
        (
            &self.columns[from * self.n_columns..to * self.n_columns],
            &self.weight[from..to],
        )
    }
}

/// `ln h(end)` of all exact ends of one level, which their count and the sum of their logarithms tell.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Rates {
    pub(super) level: usize,
    /// Lives, and logarithms of their ends.
    ends: Vec<(usize, f64)>,
    pub(super) count: f64,
    pub(super) ln_ends: f64,
}

impl Rates {
    fn recount(&mut self, counts: &[f64]) {
        (self.count, self.ln_ends) = (0.0, 0.0);
        for (row, ln_end) in &self.ends {
            self.count += counts[*row];
            self.ln_ends += counts[*row] * ln_end;
        }
    }
}

/// All lives of a fit.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Blocks {
    /// By level, then by kind.
    pub(super) segments: Vec<Segment>,
    /// What exact ends add beside `-H(end)` where there is one group, by level: with those that
    /// survived they then stand in one segment.
    pub(super) rates: Vec<Rates>,
    /// Whether a life without any use is said to have worn out.
    pub(super) impossible: bool,
}

impl Blocks {
    pub(super) fn new(lives: &Observations) -> Self {
        let mut rows = vec![Vec::new(); Kind::ALL.len() * lives.n_levels];
        let mut rates: BTreeMap<usize, Rates> = BTreeMap::new();
        let mut impossible = false;
        let n = lives.n_groups;
        let some = |column: &[f64], i: usize| column[i * n..(i + 1) * n].iter().any(|u| 0.0 < *u);
        for i in 0..lives.len() {
            let at = lives.level[i] * Kind::ALL.len();
            if some(&lives.entry, i) {
                rows[at + Kind::Entered as usize].push(i);
            }
            let low = some(&lives.low, i);
            let kind = match lives.known[i] {
                known if !low && !some(&lives.step, i) => {
                    impossible |= known != End::Censored;
                    continue;
                }
                End::Censored => Kind::Survived,
                End::At if n == 1 => {
                    let level = lives.level[i];
                    let ln_end = vector::ln(lives.low[i] + lives.step[i]);
                    let rates = rates.entry(level).or_default();
                    rates.level = level;
                    rates.ends.push((i, ln_end));
                    Kind::Survived
                }
                End::At => Kind::Exact,
                End::Between if low => Kind::Between,
                End::Between => Kind::Fresh,
            };
            rows[at + kind as usize].push(i);
        }
        let segment = |(at, row): (usize, Vec<usize>)| {
            let kind = Kind::ALL[at % Kind::ALL.len()];
            (!row.is_empty()).then(|| Segment::new(at / Kind::ALL.len(), kind, row, lives))
        };
        let mut rates: Vec<Rates> = rates.into_values().collect();
        for rates in &mut rates {
            rates.recount(&lives.count);
        }
        Self {
            segments: rows.into_iter().enumerate().filter_map(segment).collect(),
            rates,
            impossible,
        }
    }

    /// The same lives, counted anew.
    pub(super) fn recount(&mut self, counts: &[f64]) {
        for rates in &mut self.rates {
            rates.recount(counts);
        }
        for segment in &mut self.segments {
            let sign = segment.kind.sign();
            for (weight, row) in segment.weight.iter_mut().zip(&segment.row) {
                *weight = sign * counts[*row];
            }
        }
    }
}

impl Segment {
    fn new(level: usize, kind: Kind, row: Vec<usize>, lives: &Observations) -> Self {
        let n = lives.n_groups;
        let points = kind.points();
        let padded = row.len().next_multiple_of(LANES);
        let mut out = Self {
            level,
            kind,
            weight: row.iter().map(|i| kind.sign() * lives.count[*i]).collect(),
            n_columns: n * points,
            columns: Vec::with_capacity(n * points * padded),
            row,
        };
        out.weight.resize(padded, 0.0);
        for from in (0..padded).step_by(BLOCK) {
            let to = (from + BLOCK).min(padded);
            for point in 0..points {
                for group in 0..n {
                    // The padding is the last life over again, with no weight.
                    let life = |i: usize| out.row[i.min(out.row.len() - 1)] * n + group;
                    out.columns.extend((from..to).map(|i| {
                        let at = life(i);
                        match (kind, point) {
                            (Kind::Entered, _) => lives.entry[at],
                            (Kind::Between, 0) => lives.low[at],
                            (Kind::Between, _) => lives.step[at],
                            _ => lives.low[at] + lives.step[at],
                        }
                    }));
                }
            }
        }
        if n == 1 {
            out.take_logs();
        }
        out
    }

    /// With one group exposures never move: their logarithms are taken once, and in place of a
    /// step stands `ln(end) - ln(low)`.
    fn take_logs(&mut self) {
        let (kind, n_columns, columns) = (self.kind, self.n_columns, &mut self.columns);
        widest(
            #[inline(always)]
            || {
                for block in columns.chunks_mut(BLOCK * n_columns) {
                    if kind == Kind::Between {
                        let (low, step) = block.split_at_mut(block.len() / 2);
                        for (low, step) in low.iter_mut().zip(step) {
                            *step = vector::ln_1p(*step / *low);
                            *low = vector::ln(*low);
                        }
                    } else {
                        for x in block.iter_mut() {
                            *x = vector::ln(*x);
                        }
                    }
                }
            },
        );
    }
}
