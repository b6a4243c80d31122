//! The renewal function: the expected number of replacements, exactly.

/// Expected replacements by the grid points `step, 2 step, ..` when the first part has life
/// distribution `first` and every later one `later`, both cumulative and 0 at 0.
///
/// Riemann-Stieltjes midpoint sums; the error falls with the square of the step.
///
/// # Source
/// M. Xie, On the solution of renewal-type integral equations, *Communications in Statistics -
/// Simulation and Computation* 18 (1989) 281-293 (method from memory; checked against the series
/// values in tests/reference).
#[must_use]
pub fn expected(
    first: impl Fn(f64) -> f64,
    later: impl Fn(f64) -> f64,
    step: f64,
    count: usize,
) -> Vec<f64> {
    let half: Vec<f64> = (0..count).map(|i| later((i as f64 + 0.5) * step)).collect();
    let mut m: Vec<f64> = Vec::with_capacity(count + 1);
    m.push(0.0);
    for i in 1..=count {
        let mut sum = first(i as f64 * step);
        for j in 1..i {
            sum += (m[j] - m[j - 1]) * half[i - j];
        }
        m.push((sum - m[i - 1] * half[0]) / (1.0 - half[0]));
    }
    m.remove(0);
    m
}

/// The same at one point, with the leading error removed by halving the step.
#[must_use]
pub fn expected_at(
    first: impl Fn(f64) -> f64,
    later: impl Fn(f64) -> f64,
    x: f64,
    count: usize,
) -> f64 {
    let at = |count: usize| expected(&first, &later, x / count as f64, count)[count - 1];
    let (coarse, fine) = (at(count), at(2 * count));
    fine + (fine - coarse) / 3.0
}
