//! Middle and spread that a few outlying values do not move.

/// Normal-consistent factor of the median absolute deviation: 1 / the 0.75 quantile of the standard normal distribution.
const SIGMA: f64 = 1.482_602_218_505_602;

/// Median; `None` without values.
pub fn median(values: &[f64]) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let n = sorted.len();
    let upper = *sorted.get(n / 2)?;
    Some(if n.is_multiple_of(2) { f64::midpoint(sorted[n / 2 - 1], upper) } else { upper })
}

/// Median absolute deviation from the median, times 1.4826, so that it is the standard deviation where values are
/// normal; `None` without values.
///
/// Source: Hampel FR 1974, *J Am Stat Assoc* 69:383–393 (from memory).
pub fn mad(values: &[f64]) -> Option<f64> {
    let middle = median(values)?;
    let deviations: Vec<f64> = values.iter().map(|v| (v - middle).abs()).collect();
    median(&deviations).map(|d| SIGMA * d)
}
