//! `exp`, `ln` and their kin for loops over many numbers: no branch and no call, so that the
//! compiler works on several numbers at a time.
//!
//! Every function is plain additions, multiplications and divisions in a fixed order, never fused, so a
//! number comes to the same bits whether one or eight are worked on at a time and whatever the
//! processor has; [`crate::registers::widest`] only lets the compiler use wider registers where there are any.
//! The crate `wide` has such functions too, but picks its registers when it is compiled, fuses on
//! some processors and not on others, and so is neither faster on a program for all nor the same
//! on all.
//!
//! Errors are below 2 units in the last place over the whole range, held against the standard library by
//! the tests below.
#![expect(
    clippy::inline_always,
    reason = "what is not inlined into a loop is not worked on several numbers at a time"
)]

pub(super) mod single;

use std::f64::consts::{LOG2_E, SQRT_2};

/// `ln 2` in two parts: the first has 21 trailing zeros, so its products with exponents are exact.
const LN_2_HIGH: f64 = f64::from_bits(0x3fe6_2e42_fee0_0000);
const LN_2_LOW: f64 = 1.908_214_929_270_587_7e-10;
/// Added and taken away again, it leaves the nearest whole number; its low bits are free.
const ROUND: f64 = 6_755_399_441_055_744.0;
/// Bits of the fraction of a number.
const FRACTION: u32 = 52;
/// Exponent of 1.
const BIAS: f64 = 1023.0;

/// `2^k` for a whole number `k` between -1022 and 1023.
#[inline(always)]
fn power_of_two(k: f64) -> f64 {
    f64::from_bits((k + (ROUND + BIAS)).to_bits() << FRACTION)
}

/// `c0 + c1 x + c2 x^2 + c3 x^3`; in pairs, as no step then waits for more than two others.
#[inline(always)]
fn four(c: [f64; 4], x: f64, x2: f64) -> f64 {
    (c[0] + c[1] * x) + (c[2] + c[3] * x) * x2
}

/// `(exp(r) - 1 - r) / r^2` for `|r| <= ln 2 / 2`.
///
/// Taylor's series: what is left out is below 2^-57 of `exp(r)`.
#[inline(always)]
fn bend(r: f64) -> f64 {
    let (r2, r4) = (r * r, (r * r) * (r * r));
    let first = four([1.0 / 2.0, 1.0 / 6.0, 1.0 / 24.0, 1.0 / 120.0], r, r2);
    let second = four(
        [1.0 / 720.0, 1.0 / 5_040.0, 1.0 / 40_320.0, 1.0 / 362_880.0],
        r,
        r2,
    );
    let third = four(
        [
            1.0 / 3_628_800.0,
            1.0 / 39_916_800.0,
            1.0 / 479_001_600.0,
            1.0 / 6_227_020_800.0,
        ],
        r,
        r2,
    );
    first + r4 * (second + r4 * third)
}

/// The whole number nearest to `x / ln 2`, still with [`ROUND`] added.
#[inline(always)]
fn rounded(x: f64) -> f64 {
    x * LOG2_E + ROUND
}

/// Between these limits; not-a-number passes.
#[inline(always)]
fn clamped(x: f64, least: f64, most: f64) -> f64 {
    let x = if x < least { least } else { x };
    if most < x { most } else { x }
}

/// `exp(x)`.
#[inline(always)]
pub(super) fn exp(x: f64) -> f64 {
    // 0 below, infinite above.
    let x = clamped(x, -746.0, 710.0);
    let k = rounded(x) - ROUND;
    let r = (x - k * LN_2_HIGH) - k * LN_2_LOW;
    // In two halves: the whole may be too large or too small for an exponent.
    let half = (k * 0.5 + ROUND) - ROUND;
    (1.0 + (r + r * r * bend(r))) * power_of_two(half) * power_of_two(k - half)
}

/// `exp(x)` for `x` between -708 and 709, else what it is at the nearer of the two: half the work.
#[inline(always)]
pub(super) fn exp_moderate(x: f64) -> f64 {
    let x = clamped(x, -708.0, 709.0);
    let lifted = rounded(x);
    let k = lifted - ROUND;
    let r = (x - k * LN_2_HIGH) - k * LN_2_LOW;
    let fraction = 1.0 + (r + r * r * bend(r));
    // k stands in the last bits of `lifted`, and is added to the exponent.
    f64::from_bits(
        fraction
            .to_bits()
            .wrapping_add(lifted.to_bits() << FRACTION),
    )
}

/// `exp(x) - 1`, without loss where `x` is small.
#[inline(always)]
pub(super) fn exp_m1(x: f64) -> f64 {
    let x = clamped(x, -746.0, 710.0);
    let k = rounded(x) - ROUND;
    let (high, low) = (x - k * LN_2_HIGH, k * LN_2_LOW);
    let r = high - low;
    // What rounding took from r.
    let rest = (high - r) - low;
    let rise = r + (rest + r * r * bend(r));
    let half = (k * 0.5 + ROUND) - ROUND;
    let (a, b) = (power_of_two(half), power_of_two(k - half));
    (rise * a + (a - power_of_two(half - k))) * b
}

/// `ln(x)`; negative infinity at 0, not a number below.
///
/// With `x = 2^e (1 + f)` and `s = f / (2 + f)`, `ln(1 + f)` is `2 artanh(s)`, whose series is taken to
/// the 21st power of `s`: what is left out is below 2^-56 of it.
#[inline(always)]
pub(super) fn ln(x: f64) -> f64 {
    /// Lifts the smallest numbers to where the exponent tells their size.
    const LIFT: f64 = 18_014_398_509_481_984.0;
    let small = x < f64::MIN_POSITIVE;
    let out = ln_lifted(
        if small { x * LIFT } else { x },
        if small { 54.0 } else { 0.0 },
    );
    let out = if f64::MAX < x { x } else { out };
    let out = if x <= 0.0 { f64::NEG_INFINITY } else { out };
    // Also what is not a number itself.
    if 0.0 <= x { out } else { f64::NAN }
}

/// `ln(x)` for positive numbers with all their figures; some -709 for smaller ones and 0, some 710 for the infinite:
/// three quarters of the work.
#[inline(always)]
pub(super) fn ln_moderate(x: f64) -> f64 {
    ln_lifted(x, 0.0)
}

/// `ln(x) - lift ln 2`.
#[inline(always)]
fn ln_lifted(x: f64, lift: f64) -> f64 {
    const ROOT_HALF: u64 = (SQRT_2 / 2.0).to_bits();
    const ONE: u64 = 1_f64.to_bits();
    /// A number whose last bits count in ones.
    const COUNTER: f64 = 4_503_599_627_370_496.0;
    let bits = x.to_bits().wrapping_add(ONE - ROOT_HALF);
    let exponent = f64::from_bits((bits >> FRACTION) | COUNTER.to_bits()) - (COUNTER + BIAS);
    let exponent = exponent - lift;
    let f = f64::from_bits((bits & ((1 << FRACTION) - 1)).wrapping_add(ROOT_HALF)) - 1.0;
    let s = f / (2.0 + f);
    let z = s * s;
    let (z2, z4) = (z * z, (z * z) * (z * z));
    let first = four([2.0 / 3.0, 2.0 / 5.0, 2.0 / 7.0, 2.0 / 9.0], z, z2);
    let second = four([2.0 / 11.0, 2.0 / 13.0, 2.0 / 15.0, 2.0 / 17.0], z, z2);
    let third = 2.0 / 19.0 + 2.0 / 21.0 * z;
    let sum = first + z4 * (second + z4 * third);
    // 2 s = f - s f, and f is exact: f - f^2/2 + s (f^2/2 + ..) rounds less than 2 s does.
    let square = 0.5 * f * f;
    let low = s * (square + z * sum) + exponent * LN_2_LOW;
    exponent * LN_2_HIGH - ((square - low) - f)
}

/// `ln(1 + x)` for `x >= 0`, without loss where `x` is small.
#[inline(always)]
pub(super) fn ln_1p(x: f64) -> f64 {
    let sum = 1.0 + x;
    // What rounding took from the sum; nothing that counts in a large one.
    let rest = if x < 1e16 { x - (sum - 1.0) } else { 0.0 };
    ln(sum) + rest / sum
}

#[cfg(test)]
mod tests {
    use crate::registers::widest;

    use super::{exp, exp_m1, exp_moderate, ln, ln_1p, ln_moderate};

    /// Distance in units of the last place; 0 for two that are not numbers.
    fn apart(a: f64, b: f64) -> u64 {
        let place = |x: f64| {
            let bits = x.to_bits();
            if x.is_sign_negative() {
                (1 << 63) - (bits & !(1 << 63))
            } else {
                (1 << 63) + bits
            }
        };
        if a.is_nan() && b.is_nan() {
            return 0;
        }
        place(a).abs_diff(place(b))
    }

    /// So many numbers from `a` to `b`, evenly, with odd fractions.
    fn grid(a: f64, b: f64) -> impl Iterator<Item = f64> {
        let n = 400_000;
        (0..n).map(move |i| a + (b - a) * (f64::from(i) + 0.317_21) / f64::from(n))
    }

    fn check(
        name: &str,
        own: impl Fn(f64) -> f64,
        std: impl Fn(f64) -> f64,
        at: impl Iterator<Item = f64>,
    ) {
        for x in at {
            let (a, b) = (own(x), std(x));
            // The standard library is within 1 unit itself.
            assert!(apart(a, b) <= 2, "{name}({x:e}): {a:e} for {b:e}");
        }
    }

    /// Numbers of every size: each exponent with many fractions.
    fn sizes() -> impl Iterator<Item = f64> {
        (0_u64..0x7ff0).flat_map(|top| {
            (0..16_u64).map(move |i| {
                f64::from_bits((top << 48) | (i.wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 16))
            })
        })
    }

    #[test]
    fn functions_are_those_of_the_standard_library_to_two_units_in_the_last_place() {
        check("exp", exp, f64::exp, grid(-750.0, 712.0));
        check("exp", exp, f64::exp, grid(-1.5, 1.5));
        check("exp", exp, f64::exp, grid(-745.2, -708.0));
        check("exp_m1", exp_m1, f64::exp_m1, grid(-60.0, 712.0));
        check("exp_m1", exp_m1, f64::exp_m1, grid(-1.5, 1.5));
        check("ln", ln, f64::ln, grid(0.4, 2.5));
        check("ln_1p", ln_1p, f64::ln_1p, grid(0.0, 3.0));
        for sign in [1.0, -1.0] {
            check("exp", exp, f64::exp, sizes().map(|x| sign * x));
            check("exp_m1", exp_m1, f64::exp_m1, sizes().map(|x| sign * x));
        }
        check("ln", ln, f64::ln, sizes());
        check("ln_1p", ln_1p, f64::ln_1p, sizes());
        let normal = sizes().filter(|x| x.is_normal());
        check("ln_moderate", ln_moderate, f64::ln, normal);
        let moderate = grid(-708.0, 709.0);
        check("exp_moderate", exp_moderate, f64::exp, moderate);
    }

    #[test]
    fn ends_of_the_range_are_those_of_the_standard_library() {
        let ends = [
            0.0,
            f64::from_bits(1),
            f64::MIN_POSITIVE,
            1.0,
            f64::MAX,
            f64::INFINITY,
            f64::NAN,
        ];
        for x in ends {
            for (own, std) in [
                (exp(x), x.exp()),
                (exp(-x), (-x).exp()),
                (exp_m1(x), x.exp_m1()),
                (exp_m1(-x), (-x).exp_m1() + 0.0),
                (ln(x), x.ln()),
                (ln_1p(x), x.ln_1p()),
            ] {
                assert!(apart(own, std) <= 2, "{x:e}: {own:e} for {std:e}");
            }
        }
        assert!((-710.0..-708.0).contains(&ln_moderate(0.0)));
        assert!((709.0..711.0).contains(&ln_moderate(f64::INFINITY)));
        assert_eq!(exp_moderate(-1e9).to_bits(), exp(-708.0).to_bits());
        assert!(ln(-1.0).is_nan() && ln(f64::NEG_INFINITY).is_nan());
    }

    /// Every length of a loop, so that both the wide part and what is left over are met.
    #[test]
    fn wide_registers_change_no_bit() {
        let numbers: Vec<f64> = grid(-30.0, 30.0).step_by(97).collect();
        for length in [1, 7, 8, 64, numbers.len()] {
            let mut wide = numbers[..length].to_vec();
            widest(
                #[inline(always)]
                || {
                    for x in &mut wide {
                        *x = ln_1p(exp(*x)) + exp_m1(*x);
                    }
                },
            );
            for (x, y) in numbers.iter().zip(&wide) {
                let one = ln_1p(exp(*x)) + exp_m1(*x);
                assert_eq!(one.to_bits(), y.to_bits(), "{x}");
            }
        }
    }
}
