//! Holm's step-down adjustment.

/// [`holm`] over those p values that there are; the others stay absent.
pub fn holm_known(p_values: &[Option<f64>]) -> Vec<Option<f64>> {
    super::over_known(p_values, holm)
}

/// Adjusted p values, in the order given: the chance of one or more false alarms in the
/// whole family stays below the level at which an adjusted p is judged.
///
/// Source: Holm S 1979, *Scandinavian Journal of Statistics* 6:65–70.
pub fn holm(p_values: &[f64]) -> Vec<f64> {
    let m = p_values.len();
    let mut by_size: Vec<usize> = (0..m).collect();
    by_size.sort_by(|&a, &b| p_values[a].total_cmp(&p_values[b]));
    let mut adjusted = vec![1.0; m];
    let mut largest = 0.0_f64;
    for (rank, &i) in by_size.iter().enumerate() {
        // An adjusted p never falls below that of a smaller p before it.
        largest = largest.max(((m - rank) as f64 * p_values[i]).min(1.0));
        adjusted[i] = largest;
    }
    adjusted
}
