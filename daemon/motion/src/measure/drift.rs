//! What a gyroscope bias that is not quite known does on the way from address.

use super::Part;
use crate::bias::largest_sd;
use nalgebra::{Matrix3, SymmetricEigen, Vector3};
use peakorder_protocol::Role;

/// Rotations (about the axes of the path's global frame, rad) by which the path may have drifted off from
/// `address_s` to `t_s`: by one standard uncertainty of each of three independent parts of the bias. They go
/// together from instant to instant, so that they cancel in a difference.
pub(super) fn drift(part: &Part<'_>, address_s: f64, t_s: f64) -> [Vector3<f64>; 3] {
    let eigen = SymmetricEigen::new(part.window.bias_covariance);
    let lever = lever(part, address_s, t_s);
    std::array::from_fn(|i| lever * eigen.eigenvectors.column(i) * eigen.eigenvalues[i].max(0.0).sqrt())
}

/// The same as one figure: at most so much about any axis, deg.
pub(super) fn drift_sd_deg(part: &Part<'_>, address_s: f64, t_s: f64) -> f64 {
    let lever = lever(part, address_s, t_s);
    largest_sd(&(lever * part.window.bias_covariance * lever.transpose())).to_degrees()
}

/// Standard uncertainty that the bias leaves in the speed whose peak is looked for, deg/s.
pub(super) fn speed_sd_dps(part: &Part<'_>) -> f64 {
    let covariance = &part.window.bias_covariance;
    match (part.window.mounting, part.window.role) {
        (Some(_), Role::Pelvis | Role::Thorax) => covariance[(1, 1)].max(0.0).sqrt(),
        _ => largest_sd(covariance),
    }
    .to_degrees()
}

/// Integral of the orientation between two times (backwards if `to_s` is the earlier), s.
fn lever(part: &Part<'_>, from_s: f64, to_s: f64) -> Matrix3<f64> {
    let path = &part.path;
    let (first, last) = (from_s.min(to_s), from_s.max(to_s));
    let mut sum = Matrix3::zeros();
    for i in path.index(first)..path.index(last).min(path.t_s.len()) {
        let step_s = path.t_s[i] - path.t_s[i.saturating_sub(1)].max(first);
        sum += path.orientation[i].to_rotation_matrix().matrix() * step_s;
    }
    if to_s < from_s { -sum } else { sum }
}
