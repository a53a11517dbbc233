//! Where along their way do the curves of two sides differ? The largest t over all points.

use super::deal::{Deals, share_at_least};

/// Two-sample t at every point, and how large the largest becomes by dealing alone.
#[derive(Debug, Clone, PartialEq)]
pub struct MaxT {
    /// t of the difference, second side minus first (pooled variance), at every point; 0 where nothing varies.
    pub t: Vec<f64>,
    /// Largest |t| over all points of each deal; the first is the observed one.
    pub largest: Vec<f64>,
}

impl MaxT {
    /// Chance of so large a |t| anywhere, if sides mean nothing.
    pub fn p(&self, t: f64) -> f64 {
        share_at_least(&self.largest, t.abs())
    }

    /// What |t| must exceed for a p of at most `alpha`.
    pub fn threshold(&self, alpha: f64) -> f64 {
        threshold(&self.largest, alpha)
    }
}

/// The smallest of `largest` such that at most a share `alpha` lies above it.
pub(super) fn threshold(largest: &[f64], alpha: f64) -> f64 {
    let mut falling = largest.to_vec();
    falling.sort_by(|a, b| b.total_cmp(a));
    let above = (alpha * falling.len() as f64 + 1e-9).floor() as usize;
    falling.get(above).copied().unwrap_or(f64::INFINITY)
}

/// Tests `curves` (one row a swing, all of one length) of the sides of `deals`. Where the largest |t| of the observed
/// deal is among the largest 5 % of all deals', the sides differ; a point's p by the same distribution holds the chance
/// of any false finding over all points and all curves in the row. `None` for fewer than three swings, an empty side,
/// or rows of different length.
///
/// Source: Nichols TE, Holmes AP 2002, *Human Brain Mapping* 15:1–25 (the largest statistic); Pataky TC 2010,
/// *J Biomech* 43:1976–1982 (whole curves instead of chosen numbers). It is exact if every deal was as probable as the
/// observed one, which swings that drift or hang together are not.
pub fn max_t(curves: &[Vec<f64>], deals: &Deals) -> Option<MaxT> {
    let (centred, squares) = centred(curves)?;
    let n = curves.len();
    let observed = deals.sides.first()?;
    if observed.len() != n || observed.iter().all(|s| *s) || !observed.iter().any(|s| *s) {
        return None;
    }
    // Of the sum S over the second side and the sum of squares Q of all, t² = (n − 2) r / (1 − r) with
    // r = S² (1/n₁ + 1/n₂) / Q, which grows with r.
    let mut sums = vec![0.0; squares.len()];
    let mut largest = Vec::with_capacity(deals.sides.len());
    let mut t = Vec::new();
    for sides in &deals.sides {
        sums.fill(0.0);
        let mut second = 0;
        for (row, _) in centred.iter().zip(sides).filter(|(_, side)| **side) {
            second += 1;
            for (sum, value) in sums.iter_mut().zip(row) {
                *sum += value;
            }
        }
        let weight = 1.0 / f64::from(second) + 1.0 / (n as f64 - f64::from(second));
        let share =
            |(sum, square): (&f64, &f64)| if *square > 0.0 { sum * sum * weight / square } else { 0.0 };
        let most = sums.iter().zip(&squares).map(share).fold(0.0, f64::max);
        largest.push(t_of(most, n));
        if t.is_empty() {
            t = sums.iter().zip(&squares).map(|pair| t_of(share(pair), n).copysign(*pair.0)).collect();
        }
    }
    Some(MaxT { t, largest })
}

/// Student's |t| of the share r of the sum of squares that the difference explains.
pub(super) fn t_of(r: f64, n: usize) -> f64 {
    ((n as f64 - 2.0) * r / (1.0 - r).max(f64::MIN_POSITIVE)).sqrt()
}

/// Rows less their mean, and the sum of squares at every point, 0 where there is but rounding.
fn centred(curves: &[Vec<f64>]) -> Option<(Vec<Vec<f64>>, Vec<f64>)> {
    let (n, points) = (curves.len(), curves.first()?.len());
    if n < 3 || points == 0 || curves.iter().any(|c| c.len() != points) {
        return None;
    }
    let mean: Vec<f64> = (0..points).map(|i| curves.iter().map(|c| c[i]).sum::<f64>() / n as f64).collect();
    let rows: Vec<Vec<f64>> =
        curves.iter().map(|c| c.iter().zip(&mean).map(|(v, m)| v - m).collect()).collect();
    let squares = (0..points)
        .map(|i| {
            let square: f64 = rows.iter().map(|r| r[i] * r[i]).sum();
            if square > n as f64 * (1e-9 * mean[i]).powi(2) { square } else { 0.0 }
        })
        .collect();
    Some((rows, squares))
}
