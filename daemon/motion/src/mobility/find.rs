//! Where the player was still at the start position, and where the turns are.

use super::{StrapTurn, mean, round};
use peakorder_protocol::mobility::{NotAsAsked, Side};

/// Slower than this (resultant, smoothed) is still, deg/s. Own judgement: above the sway of a
/// person asked to hold still and a gyroscope's unknown bias, far below any turn.
const STILL_DPS: f64 = 8.0;
/// Smoothing for that, s.
const SMOOTH_S: f64 = 0.15;
/// Shortest stillness that counts, s.
const STILL_MIN_S: f64 = 0.3;
/// Longer ones lose this at both ends, where the turn sets off or dies away, s.
const TRIM_S: f64 = 0.1;
/// A still position within this share of the largest turn (or this many degrees) is the start position.
const START_SHARE: f64 = 0.12;
const START_DEG: f64 = 4.0;
/// Turned further than this since the mark, the start position was missed, deg.
const MISSED_DEG: f64 = 8.0;
/// A turn smaller than this is none, deg.
const TURN_MIN_DEG: f64 = 10.0;
/// A turn ends where the angle has come back by this share of the largest turn.
const BACK_SHARE: f64 = 0.35;
const BACK_MIN_DEG: f64 = 8.0;

/// A time of stillness, session time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Still {
    pub(super) from_s: f64,
    pub(super) to_s: f64,
}

/// One turn to one side: where the thorax is more than half-way there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Turn {
    pub(super) side: Side,
    pub(super) from_s: f64,
    pub(super) to_s: f64,
}

/// What was found in a performance.
#[derive(Debug, Clone)]
pub(super) struct Found {
    /// Still at the start position, the first before the first turn, the last after the last.
    pub(super) stills: Vec<Still>,
    /// Turns in order of time.
    pub(super) turns: Vec<Turn>,
    /// Rough angle between the last and the first still position before drift is taken out, deg.
    pub(super) left_over_deg: f64,
}

/// Looks through the thorax's samples.
pub(super) fn find(thorax: &StrapTurn) -> Result<Found, NotAsAsked> {
    let t = &thorax.t_s;
    // Upright, the rate about the long axis adds up to the turn well enough to find it by.
    let mut rough = vec![0.0; t.len()];
    for i in 1..t.len() {
        let rate = 0.5 * (thorax.gyro[i].y + thorax.gyro[i - 1].y);
        rough[i] = rough[i - 1] + rate.to_degrees() * (t[i] - t[i - 1]);
    }
    let moved = rough.iter().fold(0.0_f64, |m, a| m.max((a - rough[0]).abs()));
    if moved < TURN_MIN_DEG {
        return Err(NotAsAsked::NoTurn { largest_deg: round(moved) });
    }
    let runs = still_runs(thorax);
    let middle = |&(lo, hi): &(usize, usize)| mean(&rough[lo..hi]);
    let first =
        runs.first().filter(|r| (middle(r) - rough[0]).abs() < MISSED_DEG).ok_or(NotAsAsked::StartNotHeld)?;
    let last = runs
        .last()
        .filter(|r| r.0 > first.0 && (middle(r) - rough[t.len() - 1]).abs() < MISSED_DEG)
        .ok_or(NotAsAsked::EndNotHeld)?;
    let centre = |r: &(usize, usize)| 0.5 * (t[r.0] + t[r.1 - 1]);
    let (start, end) = (middle(first), middle(last));
    let slope = (end - start) / (centre(last) - centre(first)).max(1e-6);
    let angle: Vec<f64> = rough.iter().zip(t).map(|(a, t)| a - start - slope * (t - centre(first))).collect();
    let inside = first.0..last.1;
    let largest = angle[inside.clone()].iter().fold(0.0_f64, |m, a| m.max(a.abs()));
    if largest < TURN_MIN_DEG {
        return Err(NotAsAsked::NoTurn { largest_deg: round(largest) });
    }
    let near = START_DEG.max(START_SHARE * largest);
    let stills = runs
        .iter()
        .filter(|r| *r == first || *r == last || mean(&angle[r.0..r.1]).abs() <= near)
        .map(|r| Still { from_s: t[r.0], to_s: t[r.1 - 1] })
        .collect();
    let turns = turns(&angle, inside, largest)
        .into_iter()
        .map(|(side, lo, hi)| Turn { side, from_s: t[lo], to_s: t[hi] })
        .collect();
    Ok(Found { stills, turns, left_over_deg: end - start })
}

/// Index ranges of stillness.
fn still_runs(strap: &StrapTurn) -> Vec<(usize, usize)> {
    let t = &strap.t_s;
    let n = t.len();
    let speed: Vec<f64> = strap.gyro.iter().map(|w| w.norm().to_degrees()).collect();
    let mut runs: Vec<(usize, usize)> = Vec::new();
    let (mut lo, mut hi, mut sum) = (0, 0, 0.0);
    let mut open: Option<usize> = None;
    let mut close = |from: usize, to: usize| {
        let (mut from, mut to) = (from, to);
        if t[to - 1] - t[from] < STILL_MIN_S {
            return;
        }
        if t[to - 1] - t[from] > 2.0 * TRIM_S + STILL_MIN_S {
            (from, to) = (
                t.partition_point(|x| *x < t[from] + TRIM_S),
                t.partition_point(|x| *x <= t[to - 1] - TRIM_S),
            );
        }
        runs.push((from, to));
    };
    for i in 0..n {
        while hi < n && t[hi] <= t[i] + 0.5 * SMOOTH_S {
            sum += speed[hi];
            hi += 1;
        }
        while t[lo] < t[i] - 0.5 * SMOOTH_S {
            sum -= speed[lo];
            lo += 1;
        }
        let still = sum < STILL_DPS * (hi - lo).max(1) as f64;
        match (still, open) {
            (true, None) => open = Some(i),
            (false, Some(from)) => {
                close(from, i);
                open = None;
            }
            _ => {}
        }
    }
    if let Some(from) = open {
        close(from, n);
    }
    runs
}

/// Turns in the detrended angle: side, and where it is more than half-way to its extreme.
fn turns(angle: &[f64], inside: std::ops::Range<usize>, largest: f64) -> Vec<(Side, usize, usize)> {
    let back = BACK_MIN_DEG.max(BACK_SHARE * largest);
    let (start, end) = (inside.start, inside.end);
    let mut out: Vec<(Side, usize, usize)> = Vec::new();
    for side in Side::ALL {
        let a = |i: usize| side.sign() * angle[i];
        // The extreme since the angle was last back; it is a turn once the angle has come back again.
        let mut top: Option<usize> = None;
        let mut valley = a(start);
        let mut extremes = Vec::new();
        for i in start..end {
            match top {
                None => {
                    valley = valley.min(a(i));
                    if a(i) > TURN_MIN_DEG && a(i) - valley >= back {
                        top = Some(i);
                    }
                }
                Some(at) if a(i) > a(at) => top = Some(i),
                // Half-way back at least: a halt on the way is no second turn.
                Some(at) if a(at) - a(i) >= back && a(i) < 0.5 * a(at) => {
                    extremes.push(at);
                    valley = a(i);
                    top = None;
                }
                Some(_) => {}
            }
        }
        for at in extremes {
            let half = 0.5 * a(at);
            let lo = (start..at).rev().find(|&i| a(i) < half).map_or(start, |i| i + 1);
            let hi = (at..end).find(|&i| a(i) < half).map_or(end - 1, |i| i - 1);
            out.push((side, lo, hi));
        }
    }
    out.sort_by_key(|t| t.1);
    out
}
