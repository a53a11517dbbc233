//! The axis a segment turned about, from its gyroscope alone.

use nalgebra::{Matrix3, SymmetricEigen, Vector3};

/// Axis of a movement there and back.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HingeAxis {
    /// Unit axis; a right-handed turn about it is the movement's first direction.
    pub axis: Vector3<f64>,
    /// Largest angle from the start, deg.
    pub range_deg: f64,
    /// Share of the rotation that was not about the axis (0 = a perfect hinge).
    pub wobble: f64,
    /// Angle left over at the end, deg.
    pub left_over_deg: f64,
}

/// Fits one axis to bias-free rates (rad/s). `None` when nothing moved.
pub fn hinge_axis(times_s: &[f64], gyro_rad_s: &[Vector3<f64>]) -> Option<HingeAxis> {
    if gyro_rad_s.len() < 10 {
        return None;
    }
    let moment: Matrix3<f64> = gyro_rad_s.iter().map(|w| w * w.transpose()).sum();
    let eigen = SymmetricEigen::new(moment);
    let main = eigen.eigenvalues.imax();
    let total = eigen.eigenvalues.sum();
    if total <= 0.0 {
        return None;
    }
    let mut axis: Vector3<f64> = eigen.eigenvectors.column(main).into();
    let mut angle = 0.0;
    let mut area = 0.0;
    let mut extreme = 0.0_f64;
    for i in 1..gyro_rad_s.len() {
        let dt = times_s[i] - times_s[i - 1];
        angle += 0.5 * (gyro_rad_s[i] + gyro_rad_s[i - 1]).dot(&axis) * dt;
        area += angle * dt;
        if angle.abs() > extreme.abs() {
            extreme = angle;
        }
    }
    // Out and back: the time integral of the angle has the sign of the way out.
    if area < 0.0 {
        axis = -axis;
        angle = -angle;
    }
    Some(HingeAxis {
        axis,
        range_deg: extreme.abs().to_degrees(),
        wobble: ((total - eigen.eigenvalues[main]) / total).max(0.0).sqrt(),
        left_over_deg: angle.to_degrees(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn out_and_back_twice_gives_axis_and_direction() {
        let axis = Vector3::new(0.3, -0.5, 0.8).normalize();
        let times: Vec<f64> = (0..800).map(|i| f64::from(i) / 100.0).collect();
        // Angle = 40 deg × (1 − cos)/2, twice in 8 s.
        let rates: Vec<Vector3<f64>> = times
            .iter()
            .map(|t| {
                axis * (40.0_f64.to_radians()
                    * 0.5
                    * (t * std::f64::consts::FRAC_PI_2).sin()
                    * std::f64::consts::FRAC_PI_2)
            })
            .collect();
        let hinge = hinge_axis(&times, &rates).unwrap();
        assert!(hinge.axis.dot(&axis) > 0.999_999);
        assert!((hinge.range_deg - 40.0).abs() < 0.1);
        assert!(hinge.wobble < 1e-6);
        let back: Vec<Vector3<f64>> = rates.iter().map(|w| -w).collect();
        assert!(hinge_axis(&times, &back).unwrap().axis.dot(&axis) < -0.999_999);
    }

    #[test]
    fn no_motion_has_no_axis() {
        assert_eq!(hinge_axis(&[0.0; 20], &[Vector3::zeros(); 20]), None);
    }
}
