//! Wear that went back to near new: a part was swapped and nobody wrote it down.
//!
//! Readings fall a little when a gauge is held differently; that is measuring error and stays in
//! the model. A fall of a third of the way to the limit or more, to less than half of where it
//! was, is more than any gauge does (our own choice, no source).

/// Least fall, as a share of the way from new to the limit.
const FALL: f64 = 1.0 / 3.0;
/// Largest share of the earlier reading that is left after a swap.
const LEFT: f64 = 0.5;

/// Place of the first reading after the last swap; `None`: the readings go on as one part's.
///
/// - `shares`: mean reading of each day, days ascending, as shares of the way to the limit.
#[must_use]
pub fn last(shares: &[f64]) -> Option<usize> {
    (1..shares.len()).rev().find(|i| {
        let (before, after) = (shares[i - 1], shares[*i]);
        FALL <= before - after && after <= LEFT * before
    })
}
