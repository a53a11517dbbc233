//! The largest t over curves for swings that depend on those before them and drift.
//!
//! Dealing swings out presumes that any order of them was as probable. A player settles in, tires, and repeats what the
//! last swing was; two blocks one after the other then differ by that alone. Here the swings are first made independent
//! by a working covariance that allows for more of both than is likely, and the null distribution comes from random
//! rotations of them instead of deals.

use super::deal::share_at_least;
use super::maxt::t_of;
use chacha20::ChaCha8Rng;
use rand::SeedableRng as _;
use rand_distr::{Distribution as _, StandardNormal};

/// Correlation of neighbouring swings in the working covariance. Own judgement: a stricter value than published
/// for repeated skilled movements; the false alarms that come of it are in `analysis/benches/BLOCKS.md`.
pub const WORKING_CORRELATION: f64 = 0.6;
/// Drift from the first swing to the last in the working covariance, as a standard deviation, in SDs of a swing. Own
/// judgement likewise.
pub const WORKING_DRIFT: f64 = 1.0;
/// So many rotations are drawn. At p = 0.05 that is known to ± 0.006 (95 %).
pub const ROTATIONS: usize = 4_999;
const SEED: u64 = 0x74_75_72_6e;

/// t at every point with dependence and drift allowed for, and how large the largest is under rotation.
#[derive(Debug, Clone, PartialEq)]
pub struct RotatedMaxT {
    /// Generalised least-squares t of the difference, second side minus first, at every point.
    pub t: Vec<f64>,
    /// Largest |t| over all points of each rotation; the first is the observed one.
    pub largest: Vec<f64>,
}

impl RotatedMaxT {
    /// p of the largest |t| observed.
    pub fn largest_p(&self) -> f64 {
        self.largest.first().map_or(1.0, |largest| self.p(*largest))
    }

    /// Chance of so large a |t| anywhere, if sides mean nothing.
    pub fn p(&self, t: f64) -> f64 {
        share_at_least(&self.largest, t.abs())
    }
}

/// Tests `curves` (one row a swing, all of one length) of which `second` says the side. `places` are the swings' places
/// in the lesson, in ascending order, left-out swings counted. `None` for fewer than four swings, an empty side,
/// or rows of different length.
///
/// Source: Langsrud Ø 2005, *Statistics and Computing* 15:53–60 (rotation tests; from memory): of normal values whose
/// covariance between swings is the working one, whatever it is along the curve, p is exact. The working covariance is
/// that of [`WORKING_CORRELATION`]^|distance| plus [`WORKING_DRIFT`]² along the places, drift from −½ to ½.
pub fn rotated_max_t(curves: &[Vec<f64>], second: &[bool], places: &[f64]) -> Option<RotatedMaxT> {
    let (n, points) = (curves.len(), curves.first()?.len());
    let sides = second.iter().filter(|s| **s).count();
    if n < 4 || points == 0 || [second.len(), places.len()] != [n, n] || sides == 0 || sides == n {
        return None;
    }
    if curves.iter().any(|c| c.len() != points) || places.windows(2).any(|w| w[1] <= w[0]) {
        return None;
    }
    let factor = cholesky(&covariance(places))?;
    // Independent swings: the mean is one direction among them, the side another.
    let ones = unit(solve(&factor, &vec![1.0; n]))?;
    let side = solve(&factor, &second.iter().map(|s| f64::from(u8::from(*s))).collect::<Vec<f64>>());
    let side = unit(without(&side, &ones))?;
    let mut rows = vec![vec![0.0; points]; n];
    let mut squares = vec![0.0; points];
    for point in 0..points {
        let values: Vec<f64> = curves.iter().map(|c| c[point]).collect();
        let free = without(&solve(&factor, &values), &ones);
        let square = dot(&free, &free);
        let size = values.iter().fold(0.0_f64, |m, v| m.max(v.abs()));
        if square > n as f64 * (1e-9 * size).powi(2) {
            squares[point] = square;
            for (row, value) in rows.iter_mut().zip(free) {
                row[point] = value;
            }
        }
    }
    let along = |direction: &[f64]| {
        let mut sums = vec![0.0; points];
        for (row, weight) in rows.iter().zip(direction) {
            for (sum, value) in sums.iter_mut().zip(row) {
                *sum += weight * value;
            }
        }
        sums
    };
    let share = |(sum, square): (&f64, &f64)| if *square > 0.0 { sum * sum / square } else { 0.0 };
    let observed = along(&side);
    let t: Vec<f64> =
        observed.iter().zip(&squares).map(|pair| t_of(share(pair), n).copysign(*pair.0)).collect();
    let mut largest = vec![t.iter().fold(0.0_f64, |m, t| m.max(t.abs()))];
    let mut rng = ChaCha8Rng::seed_from_u64(SEED);
    while largest.len() <= ROTATIONS {
        let drawn: Vec<f64> = (0..n).map(|_| StandardNormal.sample(&mut rng)).collect();
        let Some(direction) = unit(without(&drawn, &ones)) else { continue };
        let most = along(&direction).iter().zip(&squares).map(share).fold(0.0, f64::max);
        largest.push(t_of(most, n));
    }
    Some(RotatedMaxT { t, largest })
}

fn covariance(places: &[f64]) -> Vec<Vec<f64>> {
    let (first, last) = (places[0], places[places.len() - 1]);
    let drift: Vec<f64> = places.iter().map(|p| (p - first) / (last - first) - 0.5).collect();
    let cell = |i: usize, j: usize| {
        WORKING_CORRELATION.powf((places[i] - places[j]).abs())
            + WORKING_DRIFT * WORKING_DRIFT * drift[i] * drift[j]
    };
    (0..places.len()).map(|i| (0..places.len()).map(|j| cell(i, j)).collect()).collect()
}

/// Lower factor L of a = L Lᵀ; `None` where there is none.
fn cholesky(a: &[Vec<f64>]) -> Option<Vec<Vec<f64>>> {
    let n = a.len();
    let mut l = vec![vec![0.0; n]; n];
    for i in 0..n {
        for j in 0..=i {
            let rest = a[i][j] - (0..j).map(|k| l[i][k] * l[j][k]).sum::<f64>();
            l[i][j] = if i == j { rest.sqrt() } else { rest / l[j][j] };
        }
        if l[i][i].is_nan() || l[i][i] <= 0.0 {
            return None;
        }
    }
    Some(l)
}

/// x of L x = b.
fn solve(l: &[Vec<f64>], b: &[f64]) -> Vec<f64> {
    let mut x: Vec<f64> = Vec::with_capacity(b.len());
    for (i, row) in l.iter().enumerate() {
        x.push((b[i] - dot(&row[..i], &x)) / row[i]);
    }
    x
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

fn without(a: &[f64], direction: &[f64]) -> Vec<f64> {
    let along = dot(a, direction);
    a.iter().zip(direction).map(|(a, d)| a - along * d).collect()
}

fn unit(a: Vec<f64>) -> Option<Vec<f64>> {
    let length = dot(&a, &a).sqrt();
    (length > 1e-12).then(|| a.into_iter().map(|v| v / length).collect())
}
