//! Sums of columns, kept in a fixed number of lanes.
#![expect(
    clippy::inline_always,
    reason = "loops over lanes, vectorised where they are inlined"
)]

use super::LANES;

/// Adds up a column.
#[inline(always)]
pub(super) fn sum(lanes: &mut [f64; LANES], a: &[f64]) {
    let mut own = *lanes;
    for a in a.as_chunks::<LANES>().0 {
        for l in 0..LANES {
            own[l] += a[l];
        }
    }
    *lanes = own;
}

/// Adds up the products of two columns.
#[inline(always)]
pub(super) fn sum_of_products(lanes: &mut [f64; LANES], a: &[f64], b: &[f64]) {
    let mut own = *lanes;
    let (a, b) = (a.as_chunks::<LANES>().0, b.as_chunks::<LANES>().0);
    for (a, b) in a.iter().zip(b) {
        for l in 0..LANES {
            own[l] += a[l] * b[l];
        }
    }
    *lanes = own;
}

/// Adds up `a b + c d`.
#[inline(always)]
pub(super) fn sum_of_two(lanes: &mut [f64; LANES], a: &[f64], b: &[f64], c: &[f64], d: &[f64]) {
    let mut own = *lanes;
    let (a, b) = (a.as_chunks::<LANES>().0, b.as_chunks::<LANES>().0);
    let (c, d) = (c.as_chunks::<LANES>().0, d.as_chunks::<LANES>().0);
    for ((a, b), (c, d)) in a.iter().zip(b).zip(c.iter().zip(d)) {
        for l in 0..LANES {
            own[l] += a[l] * b[l] + c[l] * d[l];
        }
    }
    *lanes = own;
}

/// What the lanes of one sum come to, always added in the same order.
#[inline(always)]
pub(super) fn total(l: &[f64; LANES]) -> f64 {
    ((l[0] + l[1]) + (l[2] + l[3])) + ((l[4] + l[5]) + (l[6] + l[7]))
}
