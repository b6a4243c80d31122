//! `exp` and `ln` of single precision, for looks that a closer one follows.
#![expect(
    clippy::inline_always,
    reason = "what is not inlined into a loop is not worked on several numbers at a time"
)]

use std::f32::consts::{LN_2, LOG2_E, SQRT_2};

/// Bits of the fraction of a number.
const FRACTION: u32 = 23;
/// Added and taken away again, it leaves the nearest whole number; its low bits are free.
const ROUND: f32 = 12_582_912.0;

/// `exp(x)` for `x` between -87 and 88, else what it is at the nearer of the two; within 4 units in the
/// last place, and what the rounding of `x` itself takes.
///
/// Taylor's series: what is left out is below 2^-23 of it.
#[inline(always)]
pub(in crate::model) fn exp(x: f32) -> f32 {
    let x = if x < -87.0 { -87.0 } else { x };
    let x = if 88.0 < x { 88.0 } else { x };
    let lifted = x * LOG2_E + ROUND;
    let r = x - (lifted - ROUND) * LN_2;
    let r2 = r * r;
    let bend =
        (0.5 + r * (1.0 / 6.0)) + r2 * ((1.0 / 24.0 + r * (1.0 / 120.0)) + r2 * (1.0 / 720.0));
    let fraction = 1.0 + (r + r2 * bend);
    // The exponent stands in the last bits of `lifted`.
    f32::from_bits(
        fraction
            .to_bits()
            .wrapping_add(lifted.to_bits() << FRACTION),
    )
}

/// `ln(x)` within 4 units in the last place of the larger of it and 1; some -88 for the smallest numbers and
/// 0.
///
/// The series of `2 artanh(s)`, as in [`super::ln`].
#[inline(always)]
pub(in crate::model) fn ln(x: f32) -> f32 {
    const ROOT_HALF: u32 = (SQRT_2 / 2.0).to_bits();
    const ONE: u32 = 1_f32.to_bits();
    const BIAS: i32 = 127;
    let bits = x.to_bits().wrapping_add(ONE - ROOT_HALF);
    let exponent = ((bits >> FRACTION).cast_signed() - BIAS) as f32;
    let f = f32::from_bits((bits & ((1 << FRACTION) - 1)) + ROOT_HALF) - 1.0;
    let s = f / (2.0 + f);
    let z = s * s;
    let series = s * ((2.0 + z * (2.0 / 3.0)) + (z * z) * (2.0 / 5.0 + z * (2.0 / 7.0)));
    series + exponent * LN_2
}

#[cfg(test)]
mod tests {
    use super::{exp, ln};

    #[test]
    fn both_are_those_of_the_standard_library() {
        let mut worst = [0.0_f64; 2];
        for i in 0..2_000_000_u32 {
            let x = f32::from_bits(0x0080_0000 + i * 1_061);
            let exact = f64::from(x).ln();
            let error = (f64::from(ln(x)) - exact).abs() / exact.abs().max(1.0);
            worst[0] = worst[0].max(error);
            let x = -87.0 + i as f32 * (175.0 / 2_000_000.0);
            let exact = f64::from(x).exp();
            // The product with LN_2 is rounded where `x` is large.
            let scale = exact * f64::from(x.abs().max(4.0)) / 4.0;
            worst[1] = worst[1].max((f64::from(exp(x)) - exact).abs() / scale);
        }
        let unit = f64::from(f32::EPSILON);
        assert!(worst.iter().all(|w| *w < 4.0 * unit), "{worst:?}");
        assert!((-90.0..-87.0).contains(&ln(0.0)));
        assert_eq!(exp(-1e30).to_bits(), exp(-87.0).to_bits());
        assert_eq!(exp(f32::INFINITY).to_bits(), exp(88.0).to_bits());
    }
}
