//! What the lives of each kind add: the sums that do not depend on groups, and the columns from which
//! those of groups are made.
#![expect(
    clippy::inline_always,
    clippy::needless_range_loop,
    reason = "loops over several columns at a time, vectorised where they are inlined"
)]

use super::lanes::{sum, sum_of_products};
use super::{At, Columns, LANES, place};
use crate::model::vector::{exp, exp_m1, exp_moderate, ln};

/// Largest cumulative hazard that is told from infinity: its square still has room, and
/// survival to it is nothing.
const ENDLESS: f64 = 1e130;

/// `weight * H`, whose sums with powers of `z` say everything; [`super::close`] makes the rest of them.
#[inline(always)]
pub(super) fn hazards<const SLOPES: bool>(
    own: &mut Columns,
    weight: &[f64],
    at: At<'_>,
    lanes: &mut [[f64; LANES]],
) {
    let n = weight.len();
    moments::<SLOPES>(own, weight, at.shape, lanes);
    if SLOPES && 1 < at.factors.len() {
        let (first, yy, zy) = (&mut own.first[..n], &mut own.yy[..n], &mut own.zy[..n]);
        for i in 0..n {
            first[i] = at.shape * own.a[i];
            yy[i] = at.shape * first[i];
            zy[i] = yy[i] * own.z[i];
        }
    }
}

/// Sums of `weight * H`, and of its products with `z` and `z^2`; `weight * H` into column `a`.
#[inline(always)]
fn moments<const SLOPES: bool>(
    own: &mut Columns,
    weight: &[f64],
    shape: f64,
    lanes: &mut [[f64; LANES]],
) {
    let n = weight.len();
    let (z, a) = (&own.z[..n], &mut own.a[..n]);
    for i in 0..n {
        a[i] = weight[i] * exp_moderate(shape * z[i]);
    }
    sum(&mut lanes[0], a);
    if SLOPES {
        let b = &mut own.b[..n];
        for i in 0..n {
            b[i] = a[i] * z[i];
        }
        sum(&mut lanes[1], b);
        sum_of_products(&mut lanes[2], b, z);
    }
}

/// `weight * (t + ln shape - ln x - H)`.
#[inline(always)]
pub(super) fn exact<const SLOPES: bool>(
    own: &mut Columns,
    weight: &[f64],
    at: At<'_>,
    lanes: &mut [[f64; LANES]],
) {
    let n = weight.len();
    moments::<SLOPES>(own, weight, at.shape, lanes);
    if SLOPES && 1 < at.factors.len() {
        let (first, yy, zy) = (&mut own.first[..n], &mut own.yy[..n], &mut own.zy[..n]);
        for i in 0..n {
            first[i] = at.shape * (weight[i] - own.a[i]) - weight[i];
            yy[i] = -at.shape * at.shape * own.a[i];
            // ln x does not bend with the shape: its part of `first` is taken out again.
            zy[i] = yy[i] * own.z[i] + weight[i];
        }
    }
    sum_of_products(&mut lanes[3], weight, &own.z[..n]);
    sum(&mut lanes[4], weight);
}

/// `weight * ln(1 - exp(-H))`.
#[inline(always)]
pub(super) fn fresh<const SLOPES: bool>(
    own: &mut Columns,
    weight: &[f64],
    at: At<'_>,
    lanes: &mut [[f64; LANES]],
) {
    let n = weight.len();
    let square = at.shape * at.shape;
    let (z, a, first) = (&own.z[..n], &mut own.a[..n], &mut own.first[..n]);
    let (yy, zy, c) = (&mut own.yy[..n], &mut own.zy[..n], &mut own.c[..n]);
    for i in 0..n {
        let h = bounded(exp(at.shape * z[i]));
        let worn = exp_m1(-h);
        a[i] = weight[i] * ln(-worn);
        if SLOPES {
            let f = -h * (1.0 + worn) / worn;
            first[i] = weight[i] * f;
            yy[i] = square * weight[i] * (f - f * (f + h));
            zy[i] = yy[i] * z[i];
            c[i] = zy[i] * z[i];
        }
    }
    sum(&mut lanes[place::VALUE], a);
    if SLOPES {
        sum(&mut lanes[place::FIRST], first);
        sum_of_products(&mut lanes[place::FIRST_Z], first, z);
        sum(&mut lanes[place::SECOND], yy);
        sum(&mut lanes[place::SECOND_Z], zy);
        sum(&mut lanes[place::SECOND_ZZ], c);
        for i in 0..n {
            first[i] *= at.shape;
        }
    }
}

/// `weight * (ln(1 - exp(-D)) - H(low))`, with `D` the rise of `H` from low to end.
#[inline(always)]
pub(super) fn between<const SLOPES: bool>(
    own: &mut Columns,
    weight: &[f64],
    at: At<'_>,
    lanes: &mut [[f64; LANES]],
) {
    let n = weight.len();
    let (shape, square) = (at.shape, at.shape * at.shape);
    let (z, reach) = (&own.z[..n], &own.reach[..n]);
    let (first, first_d) = (&mut own.first[..n], &mut own.first_d[..n]);
    let (yy, yd, dd) = (&mut own.yy[..n], &mut own.yd[..n], &mut own.dd[..n]);
    let (a, b, c) = (&mut own.a[..n], &mut own.b[..n], &mut own.c[..n]);
    let (zy, zd) = (&mut own.zy[..n], &mut own.zd[..n]);
    for i in 0..n {
        let low = exp(shape * z[i]);
        let growth = exp_m1(shape * reach[i]);
        let rise = bounded(low * growth);
        let worn = exp_m1(-rise);
        a[i] = weight[i] * (ln(-worn) - low);
        if SLOPES {
            // D / (exp(D) - 1), H(end) / D, and what the square of the slope takes.
            let f = -rise * (1.0 + worn) / worn;
            let ratio = 1.0 + 1.0 / growth;
            let bend = f * (f + rise);
            let (w, far) = (weight[i], weight[i] * ratio);
            let (e, e_d) = (w * (f - low), far * f);
            yy[i] = square * (e - w * bend);
            yd[i] = square * far * (f - bend);
            dd[i] = square * far * (f - bend * ratio);
            zy[i] = yy[i] * z[i] + yd[i] * reach[i];
            zd[i] = yd[i] * z[i] + dd[i] * reach[i];
            b[i] = e * z[i] + e_d * reach[i];
            c[i] = zy[i] * z[i] + zd[i] * reach[i];
            first[i] = e;
            first_d[i] = e_d;
        }
    }
    sum(&mut lanes[place::VALUE], a);
    if SLOPES {
        sum(&mut lanes[place::FIRST], first);
        sum(&mut lanes[place::FIRST_Z], b);
        sum(&mut lanes[place::SECOND], yy);
        sum(&mut lanes[place::SECOND_Z], zy);
        sum(&mut lanes[place::SECOND_ZZ], c);
        for i in 0..n {
            first[i] *= shape;
            first_d[i] *= shape;
        }
    }
}

#[inline(always)]
fn bounded(h: f64) -> f64 {
    if ENDLESS < h { ENDLESS } else { h }
}
