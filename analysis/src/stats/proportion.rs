//! Interval of a share.

use super::Z95;

/// 95 % interval of a share of `count` in `n` (score interval without continuity
/// correction); `None` for n = 0 or count > n.
///
/// Source: Wilson EB 1927, *J Am Stat Assoc* 22:209–212.
pub fn wilson(count: usize, n: usize) -> Option<(f64, f64)> {
    if n == 0 || count > n {
        return None;
    }
    let (k, n) = (count as f64, n as f64);
    let z2 = Z95 * Z95;
    let centre = (k + z2 / 2.0) / (n + z2);
    let half = Z95 / (n + z2) * (k * (n - k) / n + z2 / 4.0).sqrt();
    Some(((centre - half).max(0.0), (centre + half).min(1.0)))
}
