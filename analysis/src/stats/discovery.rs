//! Which of many numbers that were only looked through may be more than chance.

/// [`false_discovery`] over those p values that there are; the others stay absent.
pub fn false_discovery_known(p_values: &[Option<f64>]) -> Vec<Option<f64>> {
    super::over_known(p_values, false_discovery)
}

/// Adjusted p values, in the order given: calling those below a level keeps the expected share of false ones among them below that level, if
/// the numbers do not depend on one another, or positively.
///
/// Source: Benjamini Y, Hochberg Y 1995, *Journal of the Royal Statistical Society B* 57:289–300.
pub fn false_discovery(p_values: &[f64]) -> Vec<f64> {
    let m = p_values.len();
    let mut by_size: Vec<usize> = (0..m).collect();
    by_size.sort_by(|&a, &b| p_values[b].total_cmp(&p_values[a]));
    let mut adjusted = vec![1.0; m];
    let mut least = 1.0_f64;
    for (above, &i) in by_size.iter().enumerate() {
        least = least.min(p_values[i] * m as f64 / (m - above) as f64);
        adjusted[i] = least;
    }
    adjusted
}
