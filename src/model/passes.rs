//! One pass over Weibull lives: the sums that value, gradient and Hessian of the log-likelihood are
//! made of.
//!
//! With `x` the effective exposure of a life, `z = ln x - ln scale` and `y_g` the share of group
//! `g` in `x`, the derivatives of `t = shape * z` by `ln shape`, `ln scale` and `ln w_g` are
//! `shape * (z, -1, y_g)`, and every second derivative of a life's log-likelihood is a quadratic form in them, plus
//! the first derivatives where `t` itself bends. Where a life wore out between two exposures, `y` is
//! that at the first and `d` (`reach` for `z`) is what it grows by to the second; `d` is worked out
//! as a product, never as a difference, so that nothing is lost as the two come together.
//!
//! Lives are worked on block by block, each block in plain loops over columns that the compiler turns
//! into vector instructions; sums are kept in a fixed number of lanes and added in a fixed
//! order, so that neither the processor nor the number of threads changes a bit.
#![expect(
    clippy::inline_always,
    clippy::needless_range_loop,
    reason = "loops over several columns at a time, vectorised where they are inlined"
)]

mod kinds;
mod lanes;

use kinds::{between, exact, fresh, hazards};
use lanes::{sum_of_products, sum_of_two, total};

use super::blocks::{BLOCK, Kind, LANES, Segment};
use super::vector::{ln, ln_1p};
use crate::registers::widest;

/// Parameters of the lives of one level.
#[derive(Clone, Copy)]
pub(super) struct At<'a> {
    pub(super) shape: f64,
    pub(super) ln_scale: f64,
    /// Of every group; the first is 1.
    pub(super) factors: &'a [f64],
}

/// Places of the sums that do not depend on groups.
pub(super) mod place {
    /// The value, but for `ln shape` of each life seen to end exactly.
    pub(in crate::model) const VALUE: usize = 0;
    /// First derivatives by `t`, and times `z`.
    pub(in crate::model) const FIRST: usize = 1;
    pub(in crate::model) const FIRST_Z: usize = 2;
    /// The quadratic form at `(1, 1)`, `(1, z)`, `(z, z)`.
    pub(in crate::model) const SECOND: usize = 3;
    pub(in crate::model) const SECOND_Z: usize = 4;
    pub(in crate::model) const SECOND_ZZ: usize = 5;
    /// Lives seen to end exactly.
    pub(in crate::model) const EXACT: usize = 6;
    /// How many there are; those of groups follow.
    pub(in crate::model) const COUNT: usize = 7;
}

/// Number of sums: those of [`place`]; for each group but the first its first derivative and the
/// quadratic form with 1 and with `z`; then the form of each two groups.
pub(super) fn n_sums(n_groups: usize) -> usize {
    let n = n_groups - 1;
    place::COUNT + 3 * n + n * (n + 1) / 2
}

type Lane = [f64; BLOCK];

/// Columns of one block.
struct Columns {
    /// Effective exposure, its inverse, what it grows by.
    x: Lane,
    inverse: Lane,
    rise: Lane,
    /// `1 / (x + rise)`.
    end: Lane,
    z: Lane,
    /// Growth of `z`.
    reach: Lane,
    /// First derivatives of the value by the `y` and by their growth.
    first: Lane,
    first_d: Lane,
    /// The quadratic form in `y`, in `y` and `d`, in `d`.
    yy: Lane,
    yd: Lane,
    dd: Lane,
    /// The form's product with `(z, reach)`.
    zy: Lane,
    zd: Lane,
    /// Anything to be summed.
    a: Lane,
    b: Lane,
    c: Lane,
}

/// Buffers of a pass, kept from one to the next.
pub(super) struct Buffers {
    columns: Box<Columns>,
    /// Shares and their growth, and the form's product with them; a row a group.
    y: Vec<Lane>,
    d: Vec<Lane>,
    left_y: Vec<Lane>,
    left_d: Vec<Lane>,
    lanes: Vec<[f64; LANES]>,
}

impl Buffers {
    pub(super) fn new() -> Self {
        let zero = [0.0; BLOCK];
        Self {
            columns: Box::new(Columns {
                x: zero,
                inverse: zero,
                rise: zero,
                end: zero,
                z: zero,
                reach: zero,
                first: zero,
                first_d: zero,
                yy: zero,
                yd: zero,
                dd: zero,
                zy: zero,
                zd: zero,
                a: zero,
                b: zero,
                c: zero,
            }),
            y: Vec::new(),
            d: Vec::new(),
            left_y: Vec::new(),
            left_d: Vec::new(),
            lanes: Vec::new(),
        }
    }

    fn fit(&mut self, n_groups: usize) {
        let n = n_sums(n_groups);
        if self.lanes.len() < n {
            self.lanes.resize(n, [0.0; LANES]);
            for rows in [&mut self.y, &mut self.d, &mut self.left_y, &mut self.left_d] {
                rows.resize(n_groups - 1, [0.0; BLOCK]);
            }
        }
    }
}

/// Adds the sums of some blocks of one segment to `sums`; the value alone where `slopes` is false.
pub(super) fn add(
    segment: &Segment,
    blocks: std::ops::Range<usize>,
    at: At<'_>,
    slopes: bool,
    buffers: &mut Buffers,
    sums: &mut [f64],
) {
    buffers.fit(at.factors.len());
    widest(
        #[inline(always)]
        || {
            if slopes {
                pass::<true>(segment, blocks, at, buffers, sums);
            } else {
                pass::<false>(segment, blocks, at, buffers, sums);
            }
        },
    );
}

#[inline(always)]
fn pass<const SLOPES: bool>(
    segment: &Segment,
    blocks: std::ops::Range<usize>,
    at: At<'_>,
    buffers: &mut Buffers,
    sums: &mut [f64],
) {
    let n_groups = at.factors.len();
    let used = if SLOPES {
        n_sums(n_groups)
    } else {
        place::COUNT
    };
    buffers.lanes[..used].fill([0.0; LANES]);
    for index in blocks {
        let (columns, weight) = segment.block(index);
        let own = &mut buffers.columns;
        if n_groups == 1 {
            let (z, reach) = columns.split_at(weight.len());
            for i in 0..weight.len() {
                own.z[i] = z[i] - at.ln_scale;
            }
            if segment.kind == Kind::Between {
                own.reach[..weight.len()].copy_from_slice(reach);
            }
        } else {
            expose(own, columns, weight.len(), segment.kind, at);
        }
        let lanes = &mut buffers.lanes;
        match segment.kind {
            Kind::Entered | Kind::Survived => hazards::<SLOPES>(own, weight, at, lanes),
            Kind::Exact => exact::<SLOPES>(own, weight, at, lanes),
            Kind::Fresh => fresh::<SLOPES>(own, weight, at, lanes),
            Kind::Between => between::<SLOPES>(own, weight, at, lanes),
        }
        if SLOPES && 1 < n_groups {
            if segment.kind == Kind::Between {
                shares::<true>(buffers, columns, weight.len(), at.factors);
            } else {
                shares::<false>(buffers, columns, weight.len(), at.factors);
            }
        }
    }
    close::<SLOPES>(segment.kind, at, &buffers.lanes[..used], sums);
}

/// Effective exposure of each life, and what is made of it.
#[inline(always)]
fn expose(own: &mut Columns, columns: &[f64], n: usize, kind: Kind, at: At<'_>) {
    weigh(&mut own.x[..n], columns, at.factors);
    for i in 0..n {
        own.inverse[i] = 1.0 / own.x[i];
        own.z[i] = ln(own.x[i]) - at.ln_scale;
    }
    if kind == Kind::Between {
        weigh(
            &mut own.rise[..n],
            &columns[n * at.factors.len()..],
            at.factors,
        );
        for i in 0..n {
            own.reach[i] = ln_1p(own.rise[i] * own.inverse[i]);
            own.end[i] = 1.0 / (own.x[i] + own.rise[i]);
        }
    }
}

#[inline(always)]
fn weigh(x: &mut [f64], columns: &[f64], factors: &[f64]) {
    let n = x.len();
    x.copy_from_slice(&columns[..n]);
    for (factor, column) in factors.iter().zip(columns.chunks_exact(n)).skip(1) {
        for i in 0..n {
            x[i] += factor * column[i];
        }
    }
}

/// Sums by group: first derivatives, and the quadratic form with 1, `z` and every other group.
#[inline(always)]
fn shares<const GROWING: bool>(buffers: &mut Buffers, columns: &[f64], n: usize, factors: &[f64]) {
    let own = &mut buffers.columns;
    let n_groups = factors.len();
    let (first, first_d) = (&own.first[..n], &own.first_d[..n]);
    let (zy, zd) = (&own.zy[..n], &own.zd[..n]);
    let mut at = place::COUNT;
    // Shares bend too: y_g by w_h is -y_g y_h, which is the first derivatives' part of the form.
    let (a, b, c) = (&mut own.a[..n], &mut own.b[..n], &mut own.c[..n]);
    for i in 0..n {
        a[i] = own.yy[i] - first[i];
        if GROWING {
            b[i] = own.yd[i] - first_d[i];
            c[i] = own.dd[i] - first_d[i];
        }
    }
    for g in 1..n_groups {
        let factor = factors[g];
        let (y, d) = (&mut buffers.y[g - 1][..n], &mut buffers.d[g - 1][..n]);
        let left_y = &mut buffers.left_y[g - 1][..n];
        let left_d = &mut buffers.left_d[g - 1][..n];
        let u = &columns[g * n..(g + 1) * n];
        let (inverse, rise, end) = (&own.inverse[..n], &own.rise[..n], &own.end[..n]);
        if GROWING {
            let step = &columns[(n_groups + g) * n..(n_groups + g + 1) * n];
            for i in 0..n {
                let share = factor * u[i] * inverse[i];
                let grown = (factor * step[i] - share * rise[i]) * end[i];
                y[i] = share;
                d[i] = grown;
                left_y[i] = a[i] * share + b[i] * grown;
                left_d[i] = b[i] * share + c[i] * grown;
            }
        } else {
            for i in 0..n {
                let share = factor * u[i] * inverse[i];
                y[i] = share;
                left_y[i] = a[i] * share;
            }
        }
        let lanes = &mut buffers.lanes;
        let (yy, yd) = (&own.yy[..n], &own.yd[..n]);
        if GROWING {
            sum_of_two(&mut lanes[at], first, y, first_d, d);
            sum_of_two(&mut lanes[at + 1], yy, y, yd, d);
            sum_of_two(&mut lanes[at + 2], zy, y, zd, d);
        } else {
            sum_of_products(&mut lanes[at], first, y);
            sum_of_products(&mut lanes[at + 1], yy, y);
            sum_of_products(&mut lanes[at + 2], zy, y);
        }
        at += 3;
    }
    for g in 0..n_groups - 1 {
        let (left_y, left_d) = (&buffers.left_y[g][..n], &buffers.left_d[g][..n]);
        for h in 0..=g {
            let (y, d) = (&buffers.y[h][..n], &buffers.d[h][..n]);
            if GROWING {
                sum_of_two(&mut buffers.lanes[at], left_y, y, left_d, d);
            } else {
                sum_of_products(&mut buffers.lanes[at], left_y, y);
            }
            at += 1;
        }
    }
}

/// What a count of exact ends adds beside `-H(end)`, given the sum of their `z`.
pub(super) fn add_rates((count, z): (f64, f64), at: At<'_>, sums: &mut [f64]) {
    // t - ln x = (shape - 1) z - ln scale
    sums[place::VALUE] += (at.shape - 1.0) * z - at.ln_scale * count;
    sums[place::FIRST] += count;
    sums[place::FIRST_Z] += z;
    sums[place::EXACT] += count;
}

/// Lanes to sums, always in the same order.
#[inline(always)]
fn close<const SLOPES: bool>(kind: Kind, at: At<'_>, lanes: &[[f64; LANES]], sums: &mut [f64]) {
    let groups = if SLOPES { place::COUNT } else { lanes.len() };
    let power = |i: usize| if SLOPES { total(&lanes[i]) } else { 0.0 };
    if matches!(kind, Kind::Fresh | Kind::Between) {
        for i in 0..if SLOPES { place::EXACT } else { 1 } {
            sums[i] += total(&lanes[i]);
        }
    } else {
        let square = at.shape * at.shape;
        let sign = if kind == Kind::Exact { -1.0 } else { 1.0 };
        let (h, hz, hzz) = (sign * total(&lanes[0]), sign * power(1), sign * power(2));
        sums[place::VALUE] += h;
        sums[place::FIRST] += h;
        sums[place::FIRST_Z] += hz;
        sums[place::SECOND] += square * h;
        sums[place::SECOND_Z] += square * hz;
        sums[place::SECOND_ZZ] += square * hzz;
    }
    if kind == Kind::Exact {
        add_rates((total(&lanes[4]), total(&lanes[3])), at, sums);
    }
    for (sum, lane) in sums.iter_mut().zip(lanes).skip(groups) {
        *sum += total(lane);
    }
}
