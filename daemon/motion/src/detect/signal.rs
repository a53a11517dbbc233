//! Signals on a uniform grid for finding phases. Timing is never read off this grid.

use crate::bias::largest_sd;
use crate::window::{SegmentWindow, Window};
use nalgebra::Vector3;
use peakorder_protocol::Role;

/// Grid step, s.
pub const STEP_S: f64 = 0.005;

/// One segment on the grid.
#[derive(Debug, Clone)]
pub struct Track {
    /// Where it is worn.
    pub role: Role,
    /// Turning towards the target, deg/s: about the long axis if aligned, else about the
    /// vertical at the calmest moment.
    pub forward_dps: Vec<f64>,
    /// Magnitude of the rate, deg/s.
    pub speed_dps: Vec<f64>,
    /// What begins with the backswing, deg/s: the trunk's turning away; of the arm, its speed without
    /// roll about its own axis (with it, where its axis is not known).
    pub away_dps: Vec<f64>,
    /// Standard uncertainty that the gyroscope's bias leaves in it, deg/s.
    pub bias_sd_dps: f64,
}

/// All segments on one grid.
#[derive(Debug, Clone)]
pub struct Tracks {
    /// Session time of index 0, s.
    pub start_s: f64,
    /// Number of grid points.
    pub len: usize,
    /// Segments.
    pub tracks: Vec<Track>,
}

impl Tracks {
    /// Resamples the window; `None` when no two straps' samples overlap for half a second.
    pub fn new(window: &Window) -> Option<Self> {
        Self::of(&live(window), window)
    }

    /// The same without the straps that were lost within the window, as the grid ends where
    /// the first strap ends. `None` if there is no such strap.
    pub fn without_lost(window: &Window) -> Option<Self> {
        let live = live(window);
        let last_s = live.iter().map(|s| s.last_s()).reduce(f64::max)?;
        let lasting: Vec<&SegmentWindow> = live.iter().copied().filter(|s| s.reaches(last_s)).collect();
        if lasting.len() == live.len() { None } else { Self::of(&lasting, window) }
    }

    fn of(live: &[&SegmentWindow], window: &Window) -> Option<Self> {
        let start_s = live.iter().map(|s| s.t_s[0]).reduce(f64::max)?;
        let end_s = live.iter().map(|s| s.last_s()).reduce(f64::min)?;
        if end_s - start_s < 0.5 {
            return None;
        }
        let len = ((end_s - start_s) / STEP_S) as usize;
        let sign = window.handedness.sign();
        let tracks = live.iter().map(|s| track(s, start_s, len, sign)).collect();
        Some(Self { start_s, len, tracks })
    }

    /// Track of one segment.
    pub fn get(&self, role: Role) -> Option<&Track> {
        self.tracks.iter().find(|t| t.role == role)
    }

    /// Session time of a grid index, s.
    pub fn time_s(&self, index: usize) -> f64 {
        self.start_s + index as f64 * STEP_S
    }

    /// Grid index at a session time, clamped.
    pub fn index(&self, t_s: f64) -> usize {
        (((t_s - self.start_s) / STEP_S).round().max(0.0) as usize).min(self.len - 1)
    }
}

fn live(window: &Window) -> Vec<&SegmentWindow> {
    window.segments.iter().filter(|s| s.t_s.len() > 20).collect()
}

fn track(s: &SegmentWindow, start_s: f64, len: usize, sign: f64) -> Track {
    let mut gyro = Vec::with_capacity(len);
    let mut j = 0;
    for i in 0..len {
        let t = start_s + i as f64 * STEP_S;
        while j + 2 < s.t_s.len() && s.t_s[j + 1] < t {
            j += 1;
        }
        let f = ((t - s.t_s[j]) / (s.t_s[j + 1] - s.t_s[j])).clamp(0.0, 1.0);
        gyro.push(s.gyro[j] * (1.0 - f) + s.gyro[j + 1] * f);
    }
    let speed: Vec<f64> = gyro.iter().map(|w| w.norm().to_degrees()).collect();
    let axis = if s.mounting.is_some() { Vector3::y() } else { calm_up(s) };
    let forward: Vec<f64> = gyro.iter().map(|w| w.dot(&axis).to_degrees() * sign).collect();
    let away: Vec<f64> = match s.role {
        Role::LeadArm if s.mounting.is_some() => gyro.iter().map(|w| w.x.hypot(w.z).to_degrees()).collect(),
        Role::LeadArm => speed.clone(),
        Role::Pelvis | Role::Thorax => forward.iter().map(|v| -v).collect(),
    };
    let bias_sd = match s.role {
        Role::LeadArm => largest_sd(&s.bias_covariance),
        Role::Pelvis | Role::Thorax => (axis.transpose() * s.bias_covariance * axis).x.max(0.0).sqrt(),
    };
    Track {
        role: s.role,
        forward_dps: smooth(&forward),
        speed_dps: smooth(&speed),
        away_dps: smooth(&away),
        bias_sd_dps: bias_sd.to_degrees(),
    }
}

/// Gravity's direction over the calmest 0.4 s of the window.
fn calm_up(s: &SegmentWindow) -> Vector3<f64> {
    let n = ((0.4 / s.period_s) as usize).clamp(3, s.t_s.len());
    let energy: Vec<f64> = s.gyro.iter().map(Vector3::norm_squared).collect();
    let mut sum: f64 = energy[..n].iter().sum();
    let (mut best, mut at) = (sum, 0);
    for i in n..energy.len() {
        sum += energy[i] - energy[i - n];
        if sum < best {
            (best, at) = (sum, i + 1 - n);
        }
    }
    s.acc[at..at + n].iter().sum::<Vector3<f64>>().try_normalize(1e-6).unwrap_or_else(Vector3::y)
}

/// Centred mean over 25 ms: detection must not hang on single samples.
fn smooth(x: &[f64]) -> Vec<f64> {
    const HALF: usize = 2;
    (0..x.len())
        .map(|i| {
            let (lo, hi) = (i.saturating_sub(HALF), (i + HALF + 1).min(x.len()));
            x[lo..hi].iter().sum::<f64>() / (hi - lo) as f64
        })
        .collect()
}
