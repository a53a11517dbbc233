//! Where a segment is, and smooth ways from one pose to another.

use super::super::channel::Shape;
use nalgebra::{UnitQuaternion, Vector3};

/// A segment at one instant: segment → global, and the place of its joint, m.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Pose {
    pub(crate) rotation: UnitQuaternion<f64>,
    pub(crate) position: Vector3<f64>,
}

/// A change of pose or its rate: rotation vector in the segment's axes (rad), displacement (m).
pub(crate) type Change = (Vector3<f64>, Vector3<f64>);

impl Pose {
    /// Its mirror image in the sagittal plane.
    pub(crate) fn mirrored_if(self, left: bool) -> Self {
        if !left {
            return self;
        }
        let mut rotation = self.rotation.into_inner();
        (rotation.i, rotation.j) = (-rotation.i, -rotation.j);
        let position = Vector3::new(self.position.x, self.position.y, -self.position.z);
        Self { rotation: UnitQuaternion::new_unchecked(rotation), position }
    }

    pub(crate) fn changed(&self, change: Change) -> Self {
        Self {
            rotation: self.rotation * UnitQuaternion::from_scaled_axis(change.0),
            position: self.position + change.1,
        }
    }

    fn change_to(&self, other: &Self) -> Change {
        ((self.rotation.inverse() * other.rotation).scaled_axis(), other.position - self.position)
    }

    /// On the way to `other`, of which `x` (0…1) of the time has passed, from rest to rest.
    pub(crate) fn towards(&self, other: &Self, x: f64) -> Self {
        let share = Shape::MinJerk.at(x.clamp(0.0, 1.0)).value;
        let (turn, way) = self.change_to(other);
        self.changed((turn * share, way * share))
    }
}

/// A way out of rest into a movement that is under way, or, with its time reversed, out of it into rest.
pub(crate) struct Join {
    reached: Pose,
    rate: Change,
    accel: Change,
    duration_s: f64,
}

impl Join {
    /// Into the movement whose first poses, `step_s` apart, are given, in `duration_s` from where the body would
    /// have rested if it had gathered its speed evenly.
    pub(crate) fn into(poses: [Pose; 4], step_s: f64, duration_s: f64) -> Self {
        let away = poses.map(|p| poses[0].change_to(&p));
        // One-sided differences of third and second order.
        let combine = |k: [f64; 4], over: f64| {
            let mut sum: Change = (Vector3::zeros(), Vector3::zeros());
            for (k, change) in k.iter().zip(&away) {
                sum.0 += change.0 * (k / over);
                sum.1 += change.1 * (k / over);
            }
            sum
        };
        Self {
            reached: poses[0],
            rate: combine([-11.0, 18.0, -9.0, 2.0], 6.0 * step_s),
            accel: combine([2.0, -5.0, 4.0, -1.0], step_s * step_s),
            duration_s,
        }
    }

    /// `before_s` before the movement is reached: a quintic at rest when it begins.
    pub(crate) fn at(&self, before_s: f64) -> Pose {
        let d = self.duration_s;
        let x = (1.0 - before_s / d).clamp(0.0, 1.0);
        let quintic = |rate: Vector3<f64>, accel: Vector3<f64>| {
            let (v, a) = (rate * d, accel * (d * d));
            // From rest at −v/3 to 0 with v and a.
            let from = -v / 3.0;
            let step = -from;
            let (c3, c4, c5) =
                (step * 10.0 - v * 4.0 + a * 0.5, step * -15.0 + v * 7.0 - a, step * 6.0 - v * 3.0 + a * 0.5);
            from + (c3 + (c4 + c5 * x) * x) * (x * x * x)
        };
        let change = (quintic(self.rate.0, self.accel.0), quintic(self.rate.1, self.accel.1));
        self.reached.changed(change)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_join_arrives_with_the_movements_speed_and_acceleration() {
        let path = |t: f64| Pose {
            rotation: UnitQuaternion::from_scaled_axis(Vector3::new(
                0.3 * t,
                1.2 * t + 2.0 * t * t,
                -0.4 * t,
            )),
            position: Vector3::new(t, 0.5 * t * t, -0.2 * t),
        };
        let step = 1.0 / 120.0;
        let join = Join::into([0.0, 1.0, 2.0, 3.0].map(|i| path(i * step)), step, 0.4);
        let h = 1e-4;
        let [a, b, c] = [2.0 * h, h, 0.0].map(|before| join.at(before));
        let rate = b.change_to(&c);
        let back = b.change_to(&a);
        let speed = (rate.0 - back.0) / (2.0 * h);
        assert!((speed - Vector3::new(0.3, 1.2, -0.4)).norm() < 0.01, "{speed}");
        let accel = (rate.1 + back.1) / (h * h);
        assert!((accel - Vector3::new(0.0, 1.0, 0.0)).norm() < 0.05, "{accel}");
        let (start, next) = (join.at(0.4), join.at(0.4 - 1e-3));
        assert!(start.change_to(&next).0.norm() < 1e-6, "it begins at rest");
        assert!((c.position - path(0.0).position).norm() < 1e-12);
    }
}
