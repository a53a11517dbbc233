//! Sensor-to-segment alignment from three guided movements.
//!
//! Straps are worn askew, upside down, on the other side; nothing is assumed about how.
//! *Still* (upright) gives each trunk strap its cranial axis from gravity. *Bow* (hip hinge
//! forward and back) gives each its mediolateral axis, which is also the heading that
//! all straps share, so no magnetometer is needed. *Arm raise* (hanging → forward
//! horizontal → back) does the same for the arm. Each step judges itself.

pub mod axis;
pub mod slip;
pub mod steps;

use nalgebra::{Matrix3, Rotation3, UnitQuaternion, Vector3};

/// How a strap sits on its segment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mounting {
    /// Rotates sensor-frame vectors into the segment frame (X anterior, Y cranial or
    /// proximal, Z right).
    pub to_segment: UnitQuaternion<f64>,
    /// Standard uncertainty, deg.
    pub sd_deg: f64,
    /// Of which that of the long axis, about each axis across it, deg.
    pub long_axis_sd_deg: f64,
    /// Session time it was completed, s.
    pub at_s: f64,
}

/// Axes found so far for one strap, sensor frame.
#[derive(Debug, Clone, Default)]
pub struct Axes {
    cranial: Option<(Vector3<f64>, f64)>,
    right: Option<(Vector3<f64>, f64)>,
}

impl Axes {
    /// The long axis, from gravity while upright or hanging; `sd_deg` its uncertainty.
    pub fn set_cranial(&mut self, axis: Vector3<f64>, sd_deg: f64) {
        self.cranial = Some((axis, sd_deg));
    }

    /// The axis to the wearer's right, from the gyroscope.
    pub fn set_right(&mut self, axis: Vector3<f64>, sd_deg: f64) {
        self.right = Some((axis, sd_deg));
    }

    /// The long axis if known.
    pub fn cranial(&self) -> Option<Vector3<f64>> {
        self.cranial.map(|(axis, _)| axis)
    }

    /// The alignment once both axes are known. Gravity is the better of the two, so the
    /// right axis gives way where they are not square.
    pub fn mounting(&self, at_s: f64) -> Option<Mounting> {
        let ((y, y_sd), (z, z_sd)) = (self.cranial?, self.right?);
        let z = (z - y * z.dot(&y)).try_normalize(0.3)?;
        let x = y.cross(&z);
        // Rows are the segment's axes in the sensor frame.
        let rows = Matrix3::from_rows(&[x.transpose(), y.transpose(), z.transpose()]);
        Some(Mounting {
            to_segment: UnitQuaternion::from_rotation_matrix(&Rotation3::from_matrix_unchecked(rows)),
            sd_deg: y_sd.hypot(z_sd),
            long_axis_sd_deg: y_sd,
            at_s,
        })
    }
}

#[cfg(test)]
mod pipeline_tests;
#[cfg(test)]
mod wearing_tests;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn alignment_undoes_any_mounting() {
        for (roll, pitch, yaw) in [(0.0, 0.0, 0.0), (0.6, -0.5, 2.9), (3.1, 0.2, -1.4)] {
            let mounting = UnitQuaternion::from_euler_angles(roll, pitch, yaw);
            let mut axes = Axes::default();
            axes.set_cranial(mounting * Vector3::y(), 1.0);
            axes.set_right(mounting * Vector3::z(), 2.0);
            let a = axes.mounting(1.0).unwrap();
            assert!((a.to_segment * mounting).angle() < 1e-12);
        }
    }

    #[test]
    fn axes_nearly_parallel_are_refused() {
        let mut axes = Axes::default();
        axes.set_cranial(Vector3::y(), 1.0);
        axes.set_right(Vector3::new(0.1, 1.0, 0.0).normalize(), 1.0);
        assert_eq!(axes.mounting(0.0), None);
    }
}
