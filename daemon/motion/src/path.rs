//! Orientation and speeds of every segment through one swing.

use super::angles::{Cardan, attitude_from_up, unwrap};
use super::fuse::latched;
use super::window::SegmentWindow;
use nalgebra::{Quaternion, UnitQuaternion, Vector3, Vector4};
use peakorder_protocol::{Handedness, Role};
use std::ops::RangeInclusive;

/// Angles at address are means over this, s, so that sway averages out …
const ZERO_OVER_S: f64 = 0.33;
/// … and turns count from that long, ending this before takeaway, s: what is told of takeaway's uncertainty at most.
const BEFORE_TAKEAWAY_S: f64 = 0.05;

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// A segment's path from address to finish. Index 0 is the start of address.
#[derive(Debug, Clone)]
pub struct SegmentPath {
    /// Segment.
    pub role: Role,
    /// Session times, s.
    pub t_s: Vec<f64>,
    /// Orientation, segment (or sensor) → global with heading zero at address.
    pub orientation: Vec<UnitQuaternion<f64>>,
    /// Speed the peak is of, deg/s: signed axial for the trunk, magnitude across for the arm.
    pub speed_dps: Vec<f64>,
    /// Signed speed whose change of sign is the reversal, deg/s.
    pub signed_dps: Vec<f64>,
    /// Magnitude, deg/s.
    pub resultant_dps: Vec<f64>,
    /// Turn since shortly before takeaway, deg, positive towards the target. Empty without alignment.
    pub turn_deg: Vec<f64>,
    /// Lateral tilt, deg, positive = trail side lower.
    pub lateral_deg: Vec<f64>,
    /// Flexion, deg, positive = forward.
    pub flexion_deg: Vec<f64>,
    /// Samples of address.
    address: RangeInclusive<usize>,
    /// Up at the end of address, in the segment (or sensor) frame.
    pub address_up: Vector3<f64>,
}

impl SegmentPath {
    /// Follows `segment` from the start of `address_s`, session times, to `to_s`; the attitude is latched over address.
    pub fn new(
        segment: &SegmentWindow,
        handedness: Handedness,
        [address_from_s, address_to_s]: [f64; 2],
        takeaway_s: f64,
        to_s: f64,
    ) -> Option<Self> {
        let (lo, hi) = (segment.index(address_from_s), segment.index(to_s));
        let anchor = segment.index(address_to_s).min(segment.t_s.len().saturating_sub(1));
        if hi < lo + 20 || anchor <= lo + 2 || anchor >= hi {
            return None;
        }
        let t_s = segment.t_s[lo..hi].to_vec();
        let gyro = &segment.gyro[lo..hi];
        // Integrated forward from the start of address, then set so that the anchor has the
        // latched attitude: one pass, and address itself gets its true sway.
        let free = latched::integrate(UnitQuaternion::identity(), &t_s, gyro, segment.sample_is);
        let seen = latched::up_at(&segment.t_s, &segment.gyro, &segment.acc, lo, anchor + 1, anchor)?;
        let up = latched::address_up(segment.up[anchor], seen);
        let set = attitude_from_up(&up) * free[anchor - lo].inverse();
        let orientation: Vec<UnitQuaternion<f64>> = free.iter().map(|q| set * q).collect();
        let sign = handedness.sign();
        let resultant_dps: Vec<f64> = gyro.iter().map(|w| w.norm().to_degrees()).collect();
        let aligned = segment.mounting.is_some();
        let mut path = Self {
            role: segment.role,
            speed_dps: resultant_dps.clone(),
            signed_dps: Vec::new(),
            resultant_dps,
            turn_deg: Vec::new(),
            address: 0..=anchor - lo,
            lateral_deg: Vec::new(),
            flexion_deg: Vec::new(),
            address_up: up,
            t_s,
            orientation,
        };
        if aligned {
            path.set_angles(handedness, takeaway_s);
            match segment.role {
                Role::LeadArm => {
                    path.speed_dps = gyro.iter().map(|w| w.x.hypot(w.z).to_degrees()).collect();
                }
                Role::Pelvis | Role::Thorax => {
                    path.signed_dps = gyro.iter().map(|w| (w.y * sign).to_degrees()).collect();
                    path.speed_dps.clone_from(&path.signed_dps);
                }
            }
        } else if segment.role != Role::LeadArm {
            // Mounting unknown: turning about the vertical still has a sign.
            path.signed_dps =
                gyro.iter().zip(&path.orientation).map(|(w, q)| ((q * w).y * sign).to_degrees()).collect();
        }
        Some(path)
    }

    fn set_angles(&mut self, handedness: Handedness, takeaway_s: f64) {
        let sign = handedness.sign();
        let cardan: Vec<Cardan> = self.orientation.iter().map(Cardan::from_quaternion).collect();
        let mut axial: Vec<f64> = cardan.iter().map(|c| c.axial).collect();
        unwrap(&mut axial);
        let zero = mean(&axial[self.before_takeaway(takeaway_s)]);
        self.turn_deg = axial.iter().map(|a| (a - zero).to_degrees() * sign).collect();
        let role = self.role;
        for readable in cardan.iter().map(|c| c.for_people(role, handedness)) {
            self.lateral_deg.push(readable.lateral_deg);
            self.flexion_deg.push(readable.flexion_deg);
        }
    }

    /// Samples of the last third of a second of address.
    fn late_address(&self) -> RangeInclusive<usize> {
        self.third_of_a_second_to(*self.address.end())
    }

    /// Samples that the turn is counted from. Address ends with the first motion of any segment, and an arm
    /// may roll 0.4 s before the trunk turns; in the meantime the trunk creeps by up to a degree, which is no part
    /// of its turn.
    fn before_takeaway(&self, takeaway_s: f64) -> RangeInclusive<usize> {
        let end = self.t_s.partition_point(|t| *t <= takeaway_s - BEFORE_TAKEAWAY_S);
        self.third_of_a_second_to(end.saturating_sub(1).max(*self.address.end()))
    }

    fn third_of_a_second_to(&self, end: usize) -> RangeInclusive<usize> {
        self.t_s.partition_point(|t| *t < self.t_s[end] - ZERO_OVER_S)..=end
    }

    /// Mean of a series over the last third of a second of address: sway averages out.
    fn late_at_address(&self, series: &[f64]) -> f64 {
        mean(&series[self.late_address()])
    }

    /// Mean orientation over the same: that of the quaternions' sum, which is the mean where they lie
    /// as near to each other as sway does (Markley et al. 2007, J Guid Control Dyn 30:1193–1197, from memory).
    pub fn mean_at_address(&self) -> UnitQuaternion<f64> {
        let late = &self.orientation[self.late_address()];
        let sum: Vector4<f64> =
            late.iter().map(|q| if q.coords.dot(&late[0].coords) < 0.0 { -q.coords } else { q.coords }).sum();
        UnitQuaternion::from_quaternion(Quaternion::from_vector(sum))
    }

    /// How much a series sways at address (SD about where it ends): so well its value there
    /// is known.
    pub fn sway(&self, series: &[f64]) -> f64 {
        let late = self.late_at_address(series);
        let still = &series[self.address.clone()];
        (still.iter().map(|v| (v - late).powi(2)).sum::<f64>() / still.len() as f64).sqrt()
    }

    /// For the arm: signed speed about the mean axis of its downswing, which has its own
    /// direction in space. `peak_s` is where its speed is greatest before impact.
    pub fn set_arm_direction(&mut self, segment: &SegmentWindow, peak_s: f64) {
        let offset = segment.index(self.t_s[0]);
        let aligned = segment.mounting.is_some();
        let across: Vec<Vector3<f64>> = self
            .orientation
            .iter()
            .enumerate()
            .map(|(i, q)| {
                let w = segment.gyro[offset + i];
                q * if aligned { Vector3::new(w.x, 0.0, w.z) } else { w }
            })
            .collect();
        let from = self.index(peak_s - 0.06);
        let to = self.index(peak_s).max(from + 1).min(across.len());
        let axis = across[from..to]
            .iter()
            .map(|w| w * w.norm())
            .sum::<Vector3<f64>>()
            .try_normalize(1e-9)
            .unwrap_or_else(Vector3::y);
        self.signed_dps = across.iter().map(|w| w.dot(&axis).to_degrees()).collect();
    }

    /// Index of the first sample at or after `t_s`.
    pub fn index(&self, t_s: f64) -> usize {
        self.t_s.partition_point(|t| *t < t_s)
    }

    /// Linear interpolation of a series of this path at `t_s`.
    pub fn at(&self, series: &[f64], t_s: f64) -> Option<f64> {
        let i = self.index(t_s).clamp(1, self.t_s.len() - 1);
        let f = (t_s - self.t_s[i - 1]) / (self.t_s[i] - self.t_s[i - 1]);
        Some(series.get(i - 1)? * (1.0 - f) + series.get(i)? * f)
    }

    /// Angle swept by a signed speed between two times, deg.
    pub fn swept_deg(&self, series: &[f64], from_s: f64, to_s: f64) -> f64 {
        let (lo, hi) = (self.index(from_s).max(1), self.index(to_s).min(self.t_s.len()));
        (lo..hi).map(|i| 0.5 * (series[i] + series[i - 1]) * (self.t_s[i] - self.t_s[i - 1])).sum()
    }

    /// Orientation nearest to `t_s`.
    pub fn orientation_at(&self, t_s: f64) -> UnitQuaternion<f64> {
        let i = self.index(t_s).clamp(1, self.t_s.len() - 1);
        let f = ((t_s - self.t_s[i - 1]) / (self.t_s[i] - self.t_s[i - 1])).clamp(0.0, 1.0);
        self.orientation[i - 1].slerp(&self.orientation[i], f)
    }
}
