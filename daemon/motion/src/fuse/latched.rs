//! Gyroscope-only orientation through a swing, from an attitude latched at address.
//!
//! The step is the `ahrs` crate's own gyroscope update (Madgwick's filter with the
//! accelerometer left out), in sub-steps small enough that its first-order integration
//! error stays below a hundredth of a degree over a swing.

use ahrs::{Ahrs, Madgwick};
use nalgebra::{UnitQuaternion, Vector3};
use peakorder_protocol::profile::SampleIs;

/// Largest rotation of one sub-step, rad. First-order error per step is θ³/12.
const MAX_STEP_RAD: f64 = 0.005;

/// Orientations at `times_s`, the first being `start`. `gyro_rad_s` is bias-free, in the
/// frame whose orientation is asked for. Where a sample is the rate at an instant, the
/// rate over a step is found from its ends and their neighbours; where the sensor delivers
/// interval means, the later sample is already exact.
pub fn integrate(
    start: UnitQuaternion<f64>,
    times_s: &[f64],
    gyro_rad_s: &[Vector3<f64>],
    sample_is: SampleIs,
) -> Vec<UnitQuaternion<f64>> {
    let mut filter = Madgwick::new_with_quat(1.0, 0.0, start);
    let mut out = Vec::with_capacity(times_s.len());
    for i in 0..times_s.len() {
        if i > 0 {
            let dt_s = times_s[i] - times_s[i - 1];
            let rate = match sample_is {
                SampleIs::Instant => mean_rate(times_s, gyro_rad_s, i),
                SampleIs::IntervalMean => gyro_rad_s[i],
            };
            let sub = (rate.norm() * dt_s / MAX_STEP_RAD).ceil().max(1.0);
            *filter.sample_period_mut() = dt_s / sub;
            for _ in 0..sub as usize {
                filter.update_gyro(&rate);
            }
        }
        out.push(filter.quat());
    }
    out
}

/// Mean rate between samples `i − 1` and `i`: the integral of the cubic through four samples
/// where they are evenly spaced, else the mean of the two. The cross product is the first
/// term by which a turning axis adds to the rotation (coning; Bortz 1971, IEEE Trans Aerosp
/// Electron Syst AES-7:61–66, from memory).
fn mean_rate(times_s: &[f64], gyro_rad_s: &[Vector3<f64>], i: usize) -> Vector3<f64> {
    let (a, b) = (gyro_rad_s[i - 1], gyro_rad_s[i]);
    let step = times_s[i] - times_s[i - 1];
    let even = |other: f64| (other - step).abs() < 0.1 * step;
    let mean = if i >= 2
        && i + 1 < times_s.len()
        && even(times_s[i - 1] - times_s[i - 2])
        && even(times_s[i + 1] - times_s[i])
    {
        ((a + b) * 13.0 - gyro_rad_s[i - 2] - gyro_rad_s[i + 1]) / 24.0
    } else {
        (a + b) * 0.5
    };
    mean + a.cross(&b) * (step / 12.0)
}

/// Up in the frame at `times_s[anchor]`, from the accelerometer between `from` and `to`:
/// each sample is carried to the anchor by the gyroscope before averaging, so sway
/// neither blurs nor biases the mean.
pub fn up_at(
    times_s: &[f64],
    gyro_rad_s: &[Vector3<f64>],
    acc_m_s2: &[Vector3<f64>],
    from: usize,
    to: usize,
    anchor: usize,
) -> Option<Vector3<f64>> {
    let lo = from.min(anchor);
    let hi = to.max(anchor + 1).min(times_s.len());
    if from >= to || to > times_s.len() || anchor >= times_s.len() {
        return None;
    }
    let path =
        integrate(UnitQuaternion::identity(), &times_s[lo..hi], &gyro_rad_s[lo..hi], SampleIs::Instant);
    let anchor_inv = path[anchor - lo].inverse();
    let carried: Vector3<f64> = (from..to).map(|i| anchor_inv * (path[i - lo] * acc_m_s2[i])).sum();
    (carried / (to - from) as f64).try_normalize(1.0)
}

/// The running filter and the accelerometer's mean over address may differ by this much, deg.
/// Sway and waggles at address move the mean by up to about 4 deg; a filter that has just
/// started or comes out of a swing may be further off than that.
const UNSETTLED_DEG: f64 = 6.0;

/// Up at the end of address: the running filter's, which remembers more than address and so
/// is the better one for a player who sways. Where it plainly has not settled, the
/// accelerometer's mean over address.
pub fn address_up(running: Vector3<f64>, accelerometer: Vector3<f64>) -> Vector3<f64> {
    if running.angle(&accelerometer).to_degrees() > UNSETTLED_DEG { accelerometer } else { running }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_filter_that_has_not_settled_is_not_believed() {
        let up = Vector3::y();
        let tilted = |deg: f64| UnitQuaternion::from_axis_angle(&Vector3::x_axis(), deg.to_radians()) * up;
        assert_eq!(address_up(tilted(3.0), up), tilted(3.0));
        assert_eq!(address_up(tilted(20.0), up), up);
    }

    /// Body rates (0,0,477), (0,150,0), (60,0,300) deg/s for 0.1 s each, composed in that order.
    /// Expected quaternion computed with scipy 1.17.1 `Rotation.from_rotvec` products.
    #[test]
    fn three_steps_compose_like_scipy() {
        let mut q = UnitQuaternion::identity();
        for rate in [[0.0, 0.0, 477.0], [0.0, 150.0, 0.0], [60.0, 0.0, 300.0]] {
            let rate = Vector3::from(rate).map(f64::to_radians);
            let path = integrate(q, &[0.0, 0.1], &[rate, rate], SampleIs::Instant);
            q = path[1];
        }
        let c = q.coords;
        for (got, want) in c.iter().zip([0.026893, 0.149546, 0.615090, 0.773678]) {
            assert!((got - want).abs() < 1e-5, "{c}");
        }
        assert!((q.angle().to_degrees() - 78.629351).abs() < 1e-3);
    }

    #[test]
    fn sub_steps_keep_a_fast_arm_within_a_hundredth_of_a_degree() {
        let n = 105; // half a second at 208 Hz
        let times: Vec<f64> = (0..n).map(|i| f64::from(i) / 208.0).collect();
        let rate = Vector3::new(3.0, 17.0, -5.0);
        let rates = vec![rate; times.len()];
        let path = integrate(UnitQuaternion::identity(), &times, &rates, SampleIs::Instant);
        let exact = UnitQuaternion::from_scaled_axis(rate * *times.last().unwrap());
        assert!(path.last().unwrap().angle_to(&exact).to_degrees() < 0.01);
    }
}
