//! What really happened in a swing, searched on the exact functions of the body.
//!
//! Instants are found to 10⁻⁷ s by bisection and golden section. Definitions:
//!
//! * speed: pelvis and thorax, component about the own long axis, positive towards the
//!   target; lead arm, magnitude of the component perpendicular to its long axis.
//! * reversal: the speed's change of sign from away to towards. The arm's across-speed gets
//!   its sign from the direction that the across-component has, in the global frame, at the
//!   arm's peak.
//! * peak: the largest speed between the own reversal and impact. If that is at impact, the
//!   segment was still rising and there is no peak.
//! * turn, lateral tilt, flexion: Y–X–Z decomposition in ISB axes; turn is relative to the
//!   instant of takeaway.
//! * top: reversal of the lead arm, or of the thorax if no arm strap is worn.
//! * backswing: from the frames at takeaway and at the top alone.

use super::body::chain::Frame;
use super::body::skeleton::Body;
use super::body::swing::{SwingPlan, SwingStyle};
use nalgebra::{Rotation3, UnitQuaternion, Vector3};
use peakorder_protocol::swing::{Outcome, SpeedKind};
use peakorder_protocol::{Handedness, Role};
use serde::Serialize;
use std::collections::BTreeMap;

/// Searches stop at this width, seconds.
const TOLERANCE_S: f64 = 1e-7;
/// Step of the scans that bracket an extreme or a change of sign, seconds.
const SCAN_S: f64 = 0.002;
/// Speed that counts as motion in [`SwingTruth::moving_s`], rad/s (5 deg/s).
const MOVING_RAD_S: f64 = 0.087;
/// Speed and duration that count as settled in [`SwingTruth::slow_s`], rad/s (35 deg/s) and s.
const SLOW_RAD_S: f64 = 0.611;
const SLOW_FOR_S: f64 = 0.15;

/// True angle at a swing's instants, degrees.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct AngleTruth {
    /// At takeaway (0 for turn).
    pub address: f64,
    /// At the top.
    pub top: f64,
    /// At impact.
    pub impact: f64,
    /// Turn: the extreme away before the own reversal; tilts: at that instant.
    pub max_away: f64,
}

/// True numbers of one segment.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SegmentTruth {
    /// Which speed.
    pub speed_kind: SpeedKind,
    /// Session seconds.
    pub reversal_s: f64,
    /// Largest speed between reversal and impact, session seconds.
    pub peak_s: f64,
    /// Positive before impact, ms.
    pub peak_before_ms: f64,
    /// Speed there, deg/s.
    pub peak_dps: f64,
    /// Whether that is a peak.
    pub outcome: Outcome,
    /// Speed at impact, deg/s.
    pub speed_at_impact_dps: f64,
    /// Largest magnitude of angular velocity between reversal and impact: session seconds.
    pub resultant_peak_s: f64,
    /// Its size, deg/s.
    pub resultant_peak_dps: f64,
    /// Turn. Of the arm it is ill-conditioned where the arm is level sideways.
    pub turn_deg: AngleTruth,
    /// Lateral tilt, positive = trail side lower.
    pub lateral_tilt_deg: AngleTruth,
    /// Flexion, positive = forward.
    pub flexion_deg: AngleTruth,
    /// Segment → global as `[w, x, y, z]` at takeaway, top and impact.
    pub orientation_wxyz: [[f64; 4]; 3],
}

/// Thorax turn minus pelvis turn, degrees.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct SeparationTruth {
    /// At the top.
    pub top_deg: f64,
    /// Extreme between takeaway and impact, signed.
    pub max_deg: f64,
    /// At the pelvis' reversal.
    pub at_pelvis_reversal_deg: f64,
    /// |max| minus |at the pelvis' reversal|.
    pub stretch_deg: f64,
}

/// What the backswing was made of, takeaway to top.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct BackswingTruth {
    /// Thorax turn away over itself plus `arm_moved_deg`.
    pub turn_share: f64,
    /// Pelvis turn away over the same, when it wears a strap.
    pub hips_share: Option<f64>,
    /// Angle between the arm's two directions in the thorax, degrees.
    pub arm_moved_deg: f64,
    /// Growth of the arm's angle from hanging along the thorax, degrees.
    pub arm_raised_deg: f64,
    /// Change of its direction across the chest, degrees, positive away from the target.
    pub arm_across_deg: f64,
    /// Angle of the thorax's rotation over the angle between the arm's two directions in space.
    pub chest_per_arm: f64,
}

/// What really happened in one swing.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SwingTruth {
    /// 1-based, rehearsals counted.
    pub number: u32,
    /// Block label.
    pub block: String,
    /// Side.
    pub handedness: Handedness,
    /// How it was made.
    pub style: SwingStyle,
    /// A ball was struck.
    pub strike: bool,
    /// First lobe of motion begins, session seconds.
    pub takeaway_s: f64,
    /// The thorax (without its strap the pelvis) has 5 % of its fastest speed away, session seconds.
    pub onset_s: f64,
    /// First instant at which a segment moves away faster than 5 deg/s, session seconds.
    pub moving_s: f64,
    /// Top, session seconds.
    pub top_s: f64,
    /// Impact; of a rehearsal, the instant at which a ball would have been struck.
    pub impact_s: f64,
    /// Motion over, session seconds.
    pub finish_s: f64,
    /// All segments slower than 35 deg/s, and for 0.15 s on, session seconds.
    pub slow_s: f64,
    /// By segment; only segments with a strap.
    pub segments: BTreeMap<Role, SegmentTruth>,
    /// Segments that peaked before impact, in order of their peaks.
    pub order: Vec<Role>,
    /// Segments in order of their reversals.
    pub reversal_order: Vec<Role>,
    /// X-factor, when pelvis and thorax are worn.
    pub separation: Option<SeparationTruth>,
    /// Lead arm from hanging along the thorax, at the top, degrees.
    pub arm_elevation_top_deg: Option<f64>,
    /// Lead arm across the chest (horizontal plane of the thorax), at the top, degrees;
    /// 0 = straight ahead, positive = away from the target.
    pub arm_across_chest_top_deg: Option<f64>,
    /// Lead arm from hanging straight down, at the top, degrees.
    pub arm_elevation_gravity_top_deg: Option<f64>,
    /// Turn and lift, when thorax and lead arm are worn.
    pub backswing: Option<BackswingTruth>,
    /// Takeaway to top, seconds.
    pub backswing_s: f64,
    /// Top to impact, seconds.
    pub downswing_s: f64,
}

/// Axial, lateral and flexion angle of a frame, radians, before any unwrapping.
fn angles(frame: &Frame, side: f64) -> [f64; 3] {
    let r = &frame.rotation;
    let axial = r[(0, 2)].atan2(r[(2, 2)]);
    let lateral = -r[(1, 2)].clamp(-1.0, 1.0).asin();
    let flexion = -r[(1, 0)].atan2(r[(1, 1)]);
    [side * axial, side * lateral, flexion]
}

/// The same in degrees, for checks against published decompositions.
#[cfg(test)]
pub(crate) fn frame_angles_deg(frame: &Frame, handedness: Handedness) -> [f64; 3] {
    angles(frame, handedness.sign()).map(f64::to_degrees)
}

fn wrapped_deg(radians: f64) -> f64 {
    let d = radians.to_degrees();
    d - 360.0 * (d / 360.0).round()
}

/// Instant of the largest `f` in `from..=to`.
fn largest(f: impl Fn(f64) -> f64, from: f64, to: f64) -> f64 {
    let n = (((to - from) / SCAN_S).ceil() as usize).max(2);
    let at = |i: usize| from + (to - from) * i as f64 / n as f64;
    let mut best = 0;
    let mut size = f64::NEG_INFINITY;
    for i in 0..=n {
        let value = f(at(i));
        if value > size {
            (best, size) = (i, value);
        }
    }
    let (mut low, mut high) = (at(best.saturating_sub(1)), at((best + 1).min(n)));
    let golden = 0.5 * (5f64.sqrt() - 1.0);
    while high - low > TOLERANCE_S {
        let (c, d) = (high - golden * (high - low), low + golden * (high - low));
        if f(c) > f(d) {
            high = d;
        } else {
            low = c;
        }
    }
    0.5 * (low + high)
}

/// Last change of sign of `f` from minus to plus in `from..to`, or the end nearest to one.
fn upward_zero(f: impl Fn(f64) -> f64, from: f64, to: f64) -> f64 {
    let mut high = to;
    while high > from && f(high - SCAN_S) > 0.0 {
        high -= SCAN_S;
    }
    let mut low = high - SCAN_S;
    while high - low > TOLERANCE_S {
        let mid = 0.5 * (low + high);
        if f(mid) > 0.0 {
            high = mid;
        } else {
            low = mid;
        }
    }
    0.5 * (low + high)
}

struct Finder<'a> {
    body: &'a Body,
    plan: &'a SwingPlan,
    side: f64,
    /// Axial angle of each segment at takeaway, radians.
    address: [f64; 3],
}

impl Finder<'_> {
    fn axial(&self, role: Role, t: f64) -> f64 {
        let frame = self.body.frame(role, t);
        self.side * frame.omega.dot(&frame.rotation.column(1))
    }

    fn across(&self, t: f64) -> Vector3<f64> {
        let frame = self.body.frame(Role::LeadArm, t);
        let long: Vector3<f64> = frame.rotation.column(1).into();
        frame.omega - long * frame.omega.dot(&long)
    }

    fn resultant(&self, role: Role, t: f64) -> f64 {
        self.body.frame(role, t).omega.norm()
    }

    /// Speed towards the target (arm: magnitude).
    fn speed(&self, role: Role, t: f64) -> f64 {
        match role {
            Role::LeadArm => self.across(t).norm(),
            _ => self.axial(role, t),
        }
    }

    fn reversal(&self, role: Role) -> f64 {
        let (from, to) = self.plan.turn_round_s[role.index()];
        // Leans add a little to the planned spin, so the change of sign may lie outside.
        let (from, to) = (from - 0.1, to + 0.1);
        if role == Role::LeadArm {
            let peak = largest(|t| self.speed(role, t), to.min(self.plan.impact_s), self.plan.impact_s);
            let towards = self.across(peak).normalize();
            upward_zero(|t| self.across(t).dot(&towards), from, to)
        } else {
            upward_zero(|t| self.axial(role, t), from, to)
        }
    }

    fn angles(&self, role: Role, t: f64) -> [f64; 3] {
        angles(&self.body.frame(role, t), self.side)
    }

    /// Turn relative to takeaway, degrees.
    fn turn_deg(&self, role: Role, t: f64) -> f64 {
        wrapped_deg(self.angles(role, t)[0] - self.address[role.index()])
    }

    fn segment(&self, role: Role, reversal_s: f64, top_s: f64) -> SegmentTruth {
        let plan = self.plan;
        let impact = plan.impact_s;
        let peak_s = largest(|t| self.speed(role, t), reversal_s, impact);
        let resultant_peak_s = largest(|t| self.resultant(role, t), reversal_s, impact);
        let away = largest(|t| -self.turn_deg(role, t), plan.takeaway_s, reversal_s);
        let instants = [plan.takeaway_s, top_s, impact, away];
        let raw = instants.map(|t| self.angles(role, t));
        let set = |i: usize| {
            let [address, top, impact, max_away] = raw.map(|a| wrapped_deg(a[i]));
            AngleTruth { address, top, impact, max_away }
        };
        let turn = instants.map(|t| self.turn_deg(role, t));
        SegmentTruth {
            speed_kind: if role == Role::LeadArm { SpeedKind::Across } else { SpeedKind::Axial },
            reversal_s,
            peak_s,
            peak_before_ms: 1000.0 * (impact - peak_s),
            peak_dps: self.speed(role, peak_s).to_degrees(),
            outcome: if impact - peak_s < 10.0 * TOLERANCE_S { Outcome::Rising } else { Outcome::Peak },
            speed_at_impact_dps: self.speed(role, impact).to_degrees(),
            resultant_peak_s,
            resultant_peak_dps: self.resultant(role, resultant_peak_s).to_degrees(),
            turn_deg: AngleTruth { address: turn[0], top: turn[1], impact: turn[2], max_away: turn[3] },
            lateral_tilt_deg: set(1),
            flexion_deg: set(2),
            orientation_wxyz: [plan.takeaway_s, top_s, impact].map(|t| {
                let rotation = Rotation3::from_matrix_unchecked(self.body.frame(role, t).rotation);
                let q = UnitQuaternion::from_rotation_matrix(&rotation);
                [q.w, q.i, q.j, q.k]
            }),
        }
    }

    fn separation(&self, pelvis_reversal_s: f64, top_s: f64) -> SeparationTruth {
        let at = |t: f64| {
            wrapped_deg((self.turn_deg(Role::Thorax, t) - self.turn_deg(Role::Pelvis, t)).to_radians())
        };
        let extreme = largest(|t| at(t).abs(), self.plan.takeaway_s, self.plan.impact_s);
        let (max_deg, reversal) = (at(extreme), at(pelvis_reversal_s));
        SeparationTruth {
            top_deg: at(top_s),
            max_deg,
            at_pelvis_reversal_deg: reversal,
            stretch_deg: max_deg.abs() - reversal.abs(),
        }
    }

    /// Where the arm points, in the thorax.
    fn arm_in_thorax(&self, t: f64) -> Vector3<f64> {
        let thorax = self.body.frame(Role::Thorax, t).rotation;
        thorax.transpose() * -self.body.frame(Role::LeadArm, t).rotation.column(1)
    }

    /// Elevation and across-chest angle of the lead arm against the thorax, degrees.
    fn arm_use(&self, t: f64) -> (f64, f64) {
        let pointing = self.arm_in_thorax(t);
        let elevation = (-pointing.y).clamp(-1.0, 1.0).acos();
        let across = (self.side * pointing.z).atan2(pointing.x);
        (elevation.to_degrees(), across.to_degrees())
    }

    fn backswing(&self, pelvis: bool, top_s: f64) -> BackswingTruth {
        let from_s = self.plan.takeaway_s;
        let between = |a: Vector3<f64>, b: Vector3<f64>| a.dot(&b).clamp(-1.0, 1.0).acos().to_degrees();
        let moved = between(self.arm_in_thorax(from_s), self.arm_in_thorax(top_s));
        let [address, top] = [from_s, top_s].map(|t| self.arm_use(t));
        let turn = |role| -self.turn_deg(role, top_s);
        let all = turn(Role::Thorax) + moved;
        let [was, is] = [from_s, top_s].map(|t| self.body.frame(Role::Thorax, t).rotation);
        let rotation = ((was.transpose() * is).trace() - 1.0) / 2.0;
        let arm = [from_s, top_s].map(|t| -self.body.frame(Role::LeadArm, t).rotation.column(1));
        BackswingTruth {
            turn_share: turn(Role::Thorax) / all,
            hips_share: pelvis.then(|| turn(Role::Pelvis) / all),
            arm_moved_deg: moved,
            arm_raised_deg: top.0 - address.0,
            arm_across_deg: wrapped_deg((top.1 - address.1).to_radians()),
            chest_per_arm: rotation.clamp(-1.0, 1.0).acos().to_degrees() / between(arm[0], arm[1]),
        }
    }

    /// The arm's angle from hanging straight down, degrees.
    fn arm_from_vertical_deg(&self, t: f64) -> f64 {
        self.body.frame(Role::LeadArm, t).rotation[(1, 1)].clamp(-1.0, 1.0).acos().to_degrees()
    }

    /// Where all of `roles` have become slow for a while.
    fn slow(&self, roles: &[Role]) -> f64 {
        let fast = |t: f64| roles.iter().any(|&role| self.resultant(role, t) > SLOW_RAD_S);
        let (mut slow_for, mut t) = (0.0, self.plan.impact_s);
        while slow_for < SLOW_FOR_S && t < self.plan.finish_s + 1.0 {
            slow_for = if fast(t) { 0.0 } else { slow_for + SCAN_S };
            t += SCAN_S;
        }
        t - slow_for
    }

    /// Where the turn away of `role` that ends at `reversal_s` has 5 % of its fastest speed.
    fn onset(&self, role: Role, reversal_s: f64) -> f64 {
        let away = |t: f64| -self.axial(role, t);
        let fastest_s = largest(away, self.plan.takeaway_s, reversal_s);
        let level = 0.05 * away(fastest_s);
        let mut t = fastest_s;
        while t > self.plan.takeaway_s && away(t) > level {
            t -= SCAN_S;
        }
        t
    }

    fn moving(&self, roles: &[Role]) -> f64 {
        let away = |t: f64| {
            roles.iter().any(|&role| match role {
                Role::LeadArm => self.speed(role, t) > MOVING_RAD_S,
                _ => -self.axial(role, t) > MOVING_RAD_S,
            })
        };
        let mut t = self.plan.takeaway_s;
        while t < self.plan.impact_s && !away(t) {
            t += SCAN_S;
        }
        t
    }
}

fn in_order(mut pairs: Vec<(f64, Role)>) -> Vec<Role> {
    pairs.sort_by(|a, b| a.0.total_cmp(&b.0));
    pairs.into_iter().map(|p| p.1).collect()
}

/// Searches the truth of one planned swing, for the segments that wear a strap.
pub(crate) fn of_swing(body: &Body, plan: &SwingPlan, roles: &[Role]) -> SwingTruth {
    let side = body.handedness().sign();
    let address = Role::ALL.map(|role| angles(&body.frame(role, plan.takeaway_s), side)[0]);
    let finder = Finder { body, plan, side, address };
    let trunk = if roles.contains(&Role::Thorax) { Role::Thorax } else { Role::Pelvis };
    let reversals: BTreeMap<Role, f64> = roles.iter().map(|&r| (r, finder.reversal(r))).collect();
    let top_s = reversals
        .get(&Role::LeadArm)
        .or_else(|| reversals.get(&Role::Thorax))
        .or_else(|| reversals.get(&Role::Pelvis))
        .copied()
        .unwrap_or(plan.turn_round_s[2].0);
    let segments: BTreeMap<Role, SegmentTruth> =
        reversals.iter().map(|(&role, &t)| (role, finder.segment(role, t, top_s))).collect();
    let worn = |role| segments.contains_key(&role);
    let peaked = |s: &&SegmentTruth| s.outcome == Outcome::Peak;
    let order = segments.iter().filter(|(_, s)| peaked(s)).map(|(&r, s)| (s.peak_s, r)).collect();
    let reversal_order = reversals.iter().map(|(&r, &t)| (t, r)).collect();
    let separation = (worn(Role::Pelvis) && worn(Role::Thorax))
        .then(|| finder.separation(reversals[&Role::Pelvis], top_s));
    let arm = (worn(Role::Thorax) && worn(Role::LeadArm)).then(|| finder.arm_use(top_s));
    SwingTruth {
        number: plan.number,
        block: plan.block.clone(),
        handedness: body.handedness(),
        style: plan.style,
        strike: plan.style.strikes(),
        takeaway_s: plan.takeaway_s,
        onset_s: finder.onset(trunk, finder.reversal(trunk)),
        moving_s: finder.moving(roles),
        top_s,
        impact_s: plan.impact_s,
        finish_s: plan.finish_s,
        slow_s: finder.slow(roles),
        order: in_order(order),
        reversal_order: in_order(reversal_order),
        separation,
        arm_elevation_top_deg: arm.map(|a| a.0),
        arm_across_chest_top_deg: arm.map(|a| a.1),
        arm_elevation_gravity_top_deg: worn(Role::LeadArm).then(|| finder.arm_from_vertical_deg(top_s)),
        backswing: arm.map(|_| finder.backswing(worn(Role::Pelvis), top_s)),
        backswing_s: top_s - plan.takeaway_s,
        downswing_s: plan.impact_s - top_s,
        segments,
    }
}
