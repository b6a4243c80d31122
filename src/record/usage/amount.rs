//! Amounts in four bytes: thousandths where they are exact, as logs are written to two or three
//! decimals, and a place in a list where they are not.
//!
//! Sums of thousandths are whole numbers, and other amounts are added in fixed point, so a sum
//! never depends on which row came first or on how the rows were divided into batches.

use crate::registers::widest;

/// Thousandths in one.
const PER_ONE: f64 = 1000.0;
/// Codes below are thousandths.
const ODD: u32 = 1 << 31;
/// Codes from here on are places in the list of sums.
const SUM: u32 = 3 << 30;
/// Not recorded.
pub(super) const UNKNOWN: u32 = u32::MAX;
/// Fixed point has 64 binary places: amounts from 1/2000 on keep every digit.
const FIXED: f64 = 18_446_744_073_709_551_616.0;

/// A sum of amounts, exact: thousandths, and all others in fixed point.
///
/// Thousandths are in the unit of the log, the others in internal units.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Exact {
    thousandths: u64,
    odd: i128,
}

impl Exact {
    pub(super) fn of_thousandths(thousandths: u64) -> Self {
        Self {
            thousandths,
            odd: 0,
        }
    }

    pub(super) fn of_odd(value: f64) -> Self {
        Self {
            thousandths: 0,
            odd: (value * FIXED) as i128,
        }
    }

    pub(super) fn add(&mut self, other: Self) {
        self.thousandths = self.thousandths.saturating_add(other.thousandths);
        self.odd = self.odd.saturating_add(other.odd);
    }

    /// The sum in internal units, of which one of the log's has `factor`.
    pub(super) fn value(self, factor: f64) -> f64 {
        let plain = self.thousandths as f64 / PER_ONE * factor;
        if self.odd == 0 {
            plain
        } else {
            plain + self.odd as f64 / FIXED
        }
    }
}

/// Amounts that four bytes cannot hold.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Others {
    /// In internal units.
    odd: Vec<f64>,
    sums: Vec<Exact>,
}

impl Others {
    pub(super) fn is_empty(&self) -> bool {
        self.odd.is_empty() && self.sums.is_empty()
    }

    /// Memory is given back.
    pub(super) fn shrink(&mut self) {
        self.odd.shrink_to_fit();
        self.sums.shrink_to_fit();
    }

    fn place(list: usize, kind: u32) -> u32 {
        let place = u32::try_from(list).unwrap_or(u32::MAX);
        assert!(place < (1 << 30) - 1, "fewer than 2^30 amounts a machine");
        kind | place
    }

    /// The code of an amount in internal units.
    pub(super) fn keep(&mut self, value: f64) -> u32 {
        let code = Self::place(self.odd.len(), ODD);
        self.odd.push(value);
        code
    }

    /// The code of a sum.
    pub(super) fn keep_sum(&mut self, sum: Exact) -> u32 {
        if sum.odd == 0 && sum.thousandths < u64::from(ODD) {
            return sum.thousandths as u32;
        }
        let code = Self::place(self.sums.len(), SUM);
        self.sums.push(sum);
        code
    }

    /// What a code stands for as a sum; `None`: not recorded.
    pub(super) fn exact(&self, code: u32) -> Option<Exact> {
        match code {
            UNKNOWN => None,
            SUM.. => Some(self.sums[(code - SUM) as usize]),
            ODD.. => Some(Exact::of_odd(self.odd[(code - ODD) as usize])),
            thousandths => Some(Exact::of_thousandths(u64::from(thousandths))),
        }
    }

    /// The amount in internal units; `None`: not recorded.
    pub(super) fn value(&self, code: u32, factor: f64) -> Option<f64> {
        match code {
            UNKNOWN => None,
            SUM.. => Some(self.sums[(code - SUM) as usize].value(factor)),
            ODD.. => Some(self.odd[(code - ODD) as usize]),
            thousandths => Some(f64::from(thousandths) / PER_ONE * factor),
        }
    }

    /// Bits by which equal amounts are known.
    pub(super) fn bits(&self, code: u32) -> u64 {
        match code {
            UNKNOWN | 0..ODD => u64::from(code),
            SUM.. => u64::MAX,
            _ => self.odd[(code - ODD) as usize].to_bits(),
        }
    }

    /// The code in another list of an amount of this one.
    pub(super) fn moved(&self, code: u32, to: &mut Self) -> u32 {
        match code {
            UNKNOWN | 0..ODD => code,
            SUM.. => to.keep_sum(self.sums[(code - SUM) as usize]),
            _ => to.keep(self.odd[(code - ODD) as usize]),
        }
    }
}

/// The code of an amount that is a whole number of thousandths, and not too large a one.
///
/// `amount` is not negative; NaN stands for what is not recorded, and has a code of its own.
#[inline]
#[must_use]
pub fn thousandths(amount: f64) -> Option<u32> {
    let scaled = amount * PER_ONE + 0.5;
    if scaled < f64::from(ODD) {
        // Adding a half and cutting off rounds to the nearest; that it is exact is seen by going
        // back, to the last bit. Adding zero makes a negative zero zero.
        let code = scaled as u32;
        ((f64::from(code) / PER_ONE).to_bits() == (amount + 0.0).to_bits()).then_some(code)
    } else if amount.is_nan() {
        Some(UNKNOWN)
    } else {
        None
    }
}

/// The codes that [`thousandths`] gives, and whether all of them are of thousandths; of no use where
/// they are not.
#[must_use]
pub fn plain_thousandths(amounts: &[f64], codes: &mut [u32]) -> bool {
    widest(
        #[inline(always)]
        || {
            let mut are_plain = true;
            for (code, amount) in codes.iter_mut().zip(amounts) {
                let is_plain;
                (*code, is_plain) = plain(*amount);
                are_plain &= is_plain;
            }
            are_plain
        },
    )
}

/// The code of an amount, and whether it is one of thousandths.
#[expect(clippy::inline_always, reason = "several are then coded at a time")]
#[inline(always)]
fn plain(amount: f64) -> (u32, bool) {
    let scaled = amount * PER_ONE + 0.5;
    let code = scaled as i32;
    let back = f64::from(code) / PER_ONE;
    let is_exact = back.to_bits() == (amount + 0.0).to_bits();
    let is_plain = is_exact && scaled < f64::from(ODD) && 0 <= code;
    (code.cast_unsigned(), is_plain)
}

/// The codes of sums of thousandths, where four bytes hold them; of what nobody records there is none.
pub(super) fn plain_codes(sums: [u64; 3], kept: [Kept; 3]) -> Option<[u32; 3]> {
    let mut codes = [UNKNOWN; 3];
    for ((code, sum), kept) in codes.iter_mut().zip(sums).zip(kept) {
        if kept == Kept::Thousandths {
            *code = u32::try_from(sum).ok().filter(|code| *code < ODD)?;
        }
    }
    Some(codes)
}

/// What codes of one measure are.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) enum Kept {
    /// None is recorded.
    #[default]
    Nothing,
    /// All are recorded, and are thousandths.
    Thousandths,
    /// Some of them are not.
    Various,
}

impl Kept {
    pub(super) fn of(codes: &[u32]) -> Self {
        // Without a way out several are looked at at a time.
        if codes.iter().fold(0, |any, code| any | code) < ODD {
            Self::Thousandths
        } else if codes.iter().fold(UNKNOWN, |all, code| all & code) == UNKNOWN {
            Self::Nothing
        } else {
            Self::Various
        }
    }
}

/// Whether some row of thousandths has none of any measure.
pub(super) fn has_nothing([acres, tons, hours]: &[Vec<u32>; 3]) -> bool {
    let rows = acres.iter().zip(tons).zip(hours);
    // Counted rather than looked for, as several are then counted at a time.
    0 < rows.filter(|((a, b), c)| *a | *b | *c == 0).count()
}

/// The amount of a code of thousandths; NaN where it is not recorded.
pub(super) fn of_thousandths(code: u32) -> f64 {
    if code == UNKNOWN {
        f64::NAN
    } else {
        f64::from(code) / PER_ONE
    }
}

/// The sum of two codes of thousandths, where four bytes hold it.
#[inline]
fn plain_sum(a: u32, b: u32) -> Option<u32> {
    match (a, b) {
        (UNKNOWN, b) if b < ODD || b == UNKNOWN => Some(b),
        (a, UNKNOWN) if a < ODD => Some(a),
        (a, b) if a < ODD && b < ODD && a + b < ODD => Some(a + b),
        _ => None,
    }
}

/// The sum of codes of thousandths, where four bytes hold it.
pub(super) fn plain_total(codes: impl Iterator<Item = u32>) -> Option<u32> {
    let mut sum = UNKNOWN;
    for code in codes {
        sum = plain_sum(sum, code)?;
    }
    Some(sum)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn amounts_of_three_decimals_come_back_to_the_last_bit() {
        for amount in [0.0, 0.001, 0.1, 0.3, 12.345, 1234.567, 2_147_483.647] {
            let code = thousandths(amount).expect("thousandths");
            let back = Others::default().value(code, 1.0).expect("known");
            assert_eq!(back.to_bits(), f64::to_bits(amount));
            assert_eq!(plain(amount), (code, true));
        }
        for amount in [0.000_5, 1.0 / 3.0, 2_147_483.648, 1e15] {
            assert_eq!(thousandths(amount), None, "{amount}");
            assert!(!plain(amount).1, "{amount}");
        }
        assert_eq!(thousandths(f64::NAN), Some(UNKNOWN));
        for amount in [f64::NAN, f64::INFINITY, -0.001, -5.0, f64::NEG_INFINITY] {
            assert!(!plain(amount).1, "{amount}");
        }
        assert_eq!(plain(-0.0), (0, true));
        let mut codes = [7; 3];
        assert!(plain_thousandths(&[0.5, -0.0, 12.0], &mut codes));
        assert_eq!(codes, [500, 0, 12_000]);
        assert!(!plain_thousandths(&[0.5, f64::NAN, 12.0], &mut codes));
    }

    #[test]
    fn what_is_not_recorded_adds_nothing_to_what_is() {
        assert_eq!(plain_sum(UNKNOWN, 5), Some(5));
        assert_eq!(plain_sum(5, UNKNOWN), Some(5));
        assert_eq!(plain_sum(UNKNOWN, UNKNOWN), Some(UNKNOWN));
        assert_eq!(plain_sum(ODD - 1, 1), None);
        assert_eq!(plain_sum(ODD, 1), None);
    }

    #[test]
    fn a_sum_is_the_same_in_any_order() {
        let mut others = Others::default();
        let amounts = [0.1, 1.0 / 3.0, 1e9, 0.000_7, 2_000_000.25];
        let codes = amounts.map(|a| thousandths(a).unwrap_or_else(|| others.keep(a)));
        let sum = |order: &[usize]| {
            let mut sum = Exact::default();
            for i in order {
                sum.add(others.exact(codes[*i]).expect("known"));
            }
            sum.value(1.0)
        };
        let forward = sum(&[0, 1, 2, 3, 4]);
        assert_eq!(forward.to_bits(), sum(&[4, 2, 0, 3, 1]).to_bits());
        // 1e9 + 2,000,000.25 + 0.1 + 1/3 + 0.0007, by hand.
        assert!((forward - 1_002_000_000.684_033_3).abs() < 1e-6);
    }
}
