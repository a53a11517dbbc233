//! Where the pelvis stands still before a swing, and where it comes to rest after it.

use crate::window::SegmentWindow;
use nalgebra::Vector3;

/// Address ends this long before the pelvis begins to move, s.
const BEFORE_ONSET_S: f64 = 0.1;
/// It is used at most this long, and is no less than this, s.
const LONGEST_S: f64 = 1.5;
const SHORTEST_S: f64 = 0.6;
/// Still: the pelvis's mean rate over [`SMOOTH_S`], deg/s. Real golfers sway by 1–2 deg/s (own judgement).
const STILL_DPS: f64 = 8.0;
const SMOOTH_S: f64 = 0.1;
/// What is known of standing is said this often, s: sway is another by then.
const ROW_EVERY_S: f64 = 0.35;
const ROW_FROM_END_S: f64 = 0.05;
/// Hips that move faster than this at address by the fit (RMS), m/s. Real ones moved by up to 1.2 cm/s. A steady
/// drift of 2 cm/s is not told from that, because gravity's direction is as little known (own judgement).
pub(super) const DRIFT_MAX_M_S: f64 = 0.013;
/// The pelvis has slowed down this long after impact, s, and is looked at over this, s.
const AFTER_IMPACT_S: f64 = 0.4;
const QUIET_FOR_S: f64 = 0.2;
/// … and is quiet below this mean rate, deg/s (own judgement).
const QUIET_DPS: f64 = 30.0;

/// The stretch before a swing in which the pelvis stands still, session seconds.
#[derive(Debug, Clone, Copy)]
pub(super) struct Address {
    pub(super) from_s: f64,
    pub(super) to_s: f64,
}

impl Address {
    /// The stretch before `onset_s`; how long it was if that is too short.
    pub(super) fn before(pelvis: &SegmentWindow, onset_s: f64) -> Result<Self, f64> {
        let to_s = onset_s - BEFORE_ONSET_S;
        let (earliest, end) = (pelvis.index(to_s - LONGEST_S), pelvis.index(to_s));
        let per = ((SMOOTH_S / pelvis.period_s) as usize).max(1);
        let mut from = end;
        while from >= earliest + per && mean_dps(&pelvis.gyro[from - per..from]) < STILL_DPS {
            from -= per;
        }
        let from_s = pelvis.t_s.get(from).map_or(to_s, |t| t.min(to_s));
        if to_s - from_s < SHORTEST_S { Err(to_s - from_s) } else { Ok(Self { from_s, to_s }) }
    }

    /// Instants at which the pelvis is known to stand, the last first.
    pub(super) fn rows_s(self) -> impl Iterator<Item = f64> {
        let last = self.to_s - ROW_FROM_END_S;
        let more = ((last - self.from_s) / ROW_EVERY_S) as usize;
        (0..=more).map(move |i| last - i as f64 * ROW_EVERY_S)
    }
}

fn mean_dps(gyro: &[Vector3<f64>]) -> f64 {
    gyro.iter().map(Vector3::norm).sum::<f64>().to_degrees() / gyro.len() as f64
}

/// The quietest moment after impact, session seconds.
pub(super) fn quiet_after(pelvis: &SegmentWindow, impact_s: f64) -> Option<f64> {
    let n = ((QUIET_FOR_S / pelvis.period_s) as usize).max(2);
    let late = pelvis.index(impact_s + AFTER_IMPACT_S)..pelvis.t_s.len();
    let rates: Vec<f64> = pelvis.gyro[late.clone()].iter().map(Vector3::norm).collect();
    if rates.len() < n {
        return None;
    }
    let mut sum: f64 = rates[..n].iter().sum();
    let (mut least, mut at) = (sum, 0);
    for i in n..rates.len() {
        sum += rates[i] - rates[i - n];
        if sum < least {
            (least, at) = (sum, i + 1 - n);
        }
    }
    let quiet = least.to_degrees() / (n as f64) < QUIET_DPS;
    quiet.then(|| pelvis.t_s[late.start + at + n / 2])
}
