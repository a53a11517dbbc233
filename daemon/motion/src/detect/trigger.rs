//! Something fast has come and gone: time to look.

use crate::settings::Settings;
use nalgebra::Vector3;
use peakorder_protocol::{Handedness, Role};

/// Speed below which a segment counts as settled, deg/s.
const SETTLED_DPS: f64 = 40.0;
/// All segments settled for this long ends a candidate, s.
const SETTLED_FOR_S: f64 = 0.25;
/// A candidate is looked at this long after its fastest moment at the latest, s.
const LATEST_S: f64 = 2.2;
/// A strap not heard for this long does not hold a candidate up, s.
const SILENT_S: f64 = 0.5;
/// Time constant of the smoothing that keeps one outlier from being a movement, s.
const SMOOTHING_S: f64 = 0.009;
/// Longest step that the smoothing takes, s: the first sample after a hole is one sample all the same.
const LONGEST_STEP_S: f64 = 0.012;

#[derive(Debug, Clone, Copy)]
struct Watch {
    latest_s: f64,
    last_fast_s: f64,
    smooth: f64,
}

/// Cheap per-sample watch over all straps.
#[derive(Debug, Clone)]
pub struct Trigger {
    thorax_rad_s: f64,
    arm_rad_s: f64,
    watches: [Option<Watch>; 3],
    candidate: Option<Candidate>,
}

/// A movement worth looking at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Candidate {
    /// Session time of the fastest moment, s.
    pub at_s: f64,
    /// How fast relative to the trigger level.
    pub strength: f64,
}

impl Trigger {
    /// With the levels of `settings`.
    pub fn new(settings: &Settings) -> Self {
        Self {
            thorax_rad_s: settings.trigger_thorax_dps.to_radians(),
            arm_rad_s: settings.trigger_arm_dps.to_radians(),
            watches: [None; 3],
            candidate: None,
        }
    }

    /// Takes one bias-free rate (rad/s). `aligned`: it is in the segment frame, so only turning
    /// towards the target counts for the trunk; otherwise any rotation does.
    #[inline]
    pub fn push(&mut self, role: Role, t_s: f64, rate: &Vector3<f64>, aligned: bool, handedness: Handedness) {
        let speed = rate.norm();
        let watch = self.watches[role.index()].get_or_insert(Watch {
            latest_s: t_s,
            last_fast_s: f64::NEG_INFINITY,
            smooth: 0.0,
        });
        let step_s = (t_s - watch.latest_s).clamp(0.0, LONGEST_STEP_S);
        watch.latest_s = t_s;
        if speed > SETTLED_DPS.to_radians() {
            watch.last_fast_s = t_s;
        }
        let (signal, level) = match role {
            Role::Thorax if aligned => (rate.y * handedness.sign(), self.thorax_rad_s),
            Role::Thorax => (speed, self.thorax_rad_s),
            Role::LeadArm => (speed, self.arm_rad_s),
            // The pelvis alone never makes a swing.
            Role::Pelvis => return,
        };
        watch.smooth += (signal - watch.smooth) * (step_s / (SMOOTHING_S + step_s));
        let strength = watch.smooth / level;
        if strength > 1.0 && self.candidate.is_none_or(|c| strength > c.strength) {
            self.candidate = Some(Candidate { at_s: t_s, strength });
        }
    }

    /// A candidate that is ready to be looked at.
    pub fn ready(&self) -> Option<Candidate> {
        let candidate = self.candidate?;
        let newest = self.watches.iter().flatten().map(|w| w.latest_s).fold(f64::NEG_INFINITY, f64::max);
        let live = || self.watches.iter().flatten().filter(move |w| newest - w.latest_s < SILENT_S);
        let settled = live().all(|w| w.latest_s - w.last_fast_s.max(candidate.at_s) >= SETTLED_FOR_S);
        let late = live().all(|w| w.latest_s - candidate.at_s >= LATEST_S);
        (settled || late).then_some(candidate)
    }

    /// A candidate exists at all (at the end of a recording it is looked at as it is).
    pub fn pending(&self) -> Option<Candidate> {
        self.candidate
    }

    /// Starts over.
    pub fn clear(&mut self) {
        self.candidate = None;
        for watch in self.watches.iter_mut().flatten() {
            watch.smooth = 0.0;
        }
    }
}
