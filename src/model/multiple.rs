//! Many comparisons at once: p-values corrected so that all of them together seldom cry wolf.

/// Holm's correction of the p-values that are known; the others stay unknown and are not counted.
///
/// With `p_1 <= .. <= p_m` the corrected value of `p_i` is the largest of `(m - j + 1) * p_j` over
/// `j <= i`, at most 1. Where no compared pair differs, the chance that any corrected value falls
/// below `a` is at most `a`, however the comparisons hang together.
///
/// # Source
/// S. Holm, A simple sequentially rejective multiple test procedure, *Scandinavian Journal of
/// Statistics* 6 (1979) 65-70.
#[must_use]
pub fn holm(p_values: &[Option<f64>]) -> Vec<Option<f64>> {
    let mut order: Vec<(usize, f64)> = p_values
        .iter()
        .enumerate()
        .filter_map(|(i, p)| Some((i, (*p)?)))
        .collect();
    order.sort_by(|a, b| a.1.total_cmp(&b.1));
    let mut out = vec![None; p_values.len()];
    let mut most: f64 = 0.0;
    for (rank, (index, p)) in order.iter().enumerate() {
        most = most.max((order.len() - rank) as f64 * p).min(1.0);
        out[*index] = Some(most);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::holm;

    /// Worked by hand: 4 x 0.01, 3 x 0.013, 2 x 0.03 and 1 x 0.04 in order, none below the one before.
    #[test]
    fn corrected_values_never_fall_and_unknown_ones_are_not_counted() {
        let corrected = holm(&[Some(0.04), Some(0.01), None, Some(0.03), Some(0.013)]);
        let wanted = [Some(0.06), Some(0.04), None, Some(0.06), Some(0.04)];
        for (got, wanted) in corrected.iter().zip(wanted) {
            assert_eq!(got.is_some(), wanted.is_some());
            let gap = got.unwrap_or(0.0) - wanted.unwrap_or(0.0);
            assert!(gap.abs() < 1e-15, "{corrected:?}");
        }
        assert_eq!(holm(&[Some(0.7), Some(0.6)]), vec![Some(1.0), Some(1.0)]);
    }
}
