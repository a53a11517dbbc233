//! Uncertainty of the speeds at the peak and at impact.

use super::impact_of::FoundImpact;
use super::{GYRO_SCALE_SD, Part, stated};
use nalgebra::Vector3;
use peakorder_protocol::Role;
use peakorder_protocol::swing::{Outcome, Segment};

/// The slope of the speed up to impact is taken over this, s.
const SLOPE_OVER_S: f64 = 0.01;

/// Fills the standard uncertainties of the speeds.
pub(super) fn fill(segment: &mut Segment, part: &Part<'_>, impact: &FoundImpact) {
    let peaks = [(&mut segment.peak, part.peak), (&mut segment.resultant_peak, part.resultant_peak)];
    for (peak, found) in peaks {
        if let (Some(peak), Some(found)) = (peak, found) {
            peak.speed_sd_dps = stated(found.found.dps_sd.hypot(GYRO_SCALE_SD * found.found.dps), 2);
        }
    }
    let at = |t: f64| part.path.at(&part.path.speed_dps, t);
    let (Some(now), Some(before)) = (at(impact.t_s), at(impact.t_s - SLOPE_OVER_S)) else { return };
    // What the speed changes by within the uncertainty of impact.
    let within = (now - before) / SLOPE_OVER_S * impact.sd_s;
    let leak = leak_sd_dps(part, impact.t_s);
    segment.speed_at_impact_sd_dps = stated(within.hypot(leak).hypot(GYRO_SCALE_SD * now), 2);
    // The scale error is in the peak as well and drops out.
    segment.speed_kept_sd = part
        .peak
        .filter(|p| p.outcome != Outcome::Rising)
        .and_then(|peak| stated(within.hypot(leak).hypot(peak.found.dps_sd) / peak.found.dps, 4));
}

/// What a long axis that is off by its standard uncertainty lets leak into the speed at `t_s`,
/// deg/s. Without calibration the speed is the magnitude, into which nothing leaks.
fn leak_sd_dps(part: &Part<'_>, t_s: f64) -> f64 {
    let window = part.window;
    let Some(mounting) = window.mounting else { return 0.0 };
    let rate = window.gyro[window.index(t_s).min(window.gyro.len() - 1)];
    let tilt = mounting.long_axis_sd_deg.to_radians();
    let speed = |axis: Vector3<f64>| match window.role {
        Role::LeadArm => rate.cross(&axis).norm().to_degrees(),
        Role::Pelvis | Role::Thorax => rate.dot(&axis).to_degrees(),
    };
    let off = |x: f64, z: f64| speed(Vector3::new(x, 1.0, z).normalize()) - speed(Vector3::y());
    off(tilt, 0.0).hypot(off(0.0, tilt))
}
