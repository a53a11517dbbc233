//! Has a strap moved on the body since it was calibrated?
//!
//! A player takes much the same posture at every address, so gravity comes out much the same
//! in a segment's frame. A strap that tilts on the body turns that frame and with it
//! gravity. A strap that slides round the trunk or arm, about a vertical line, leaves gravity
//! where it was and is not seen.

use nalgebra::Vector3;

/// Addresses before which nothing is said, and after which the reference is full.
const LEAST: usize = 3;
const MOST: usize = 10;
/// Changes below this are posture (another club, another lie), deg; own judgement.
const NOTICED_DEG: f64 = 6.0;
/// … and so are changes within this many standard deviations of the addresses so far.
const NOTICED_SD: f64 = 4.0;

/// Gravity at address has moved, deg.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Moved {
    /// By more than this player's posture varies: another posture, or a strap that gave a little.
    Noticed(f64),
    /// So far that no posture explains it.
    Slipped(f64),
}

/// Up at the addresses since a strap was calibrated, segment frame.
#[derive(Debug, Clone, Default)]
pub struct AddressGravity {
    ups: Vec<Vector3<f64>>,
}

impl AddressGravity {
    /// Judges up at one more address, and remembers it if nothing has moved.
    pub fn look(&mut self, up: Vector3<f64>, slip_deg: f64) -> Option<Moved> {
        let moved = self.moved(&up, slip_deg);
        if moved.is_none() && self.ups.len() < MOST {
            self.ups.push(up);
        }
        moved
    }

    fn moved(&self, up: &Vector3<f64>, slip_deg: f64) -> Option<Moved> {
        if self.ups.len() < LEAST {
            return None;
        }
        let mean = self.ups.iter().sum::<Vector3<f64>>();
        let off_deg = |v: &Vector3<f64>| mean.angle(v).to_degrees();
        let n = (self.ups.len() - 1) as f64;
        let sd_deg = (self.ups.iter().map(|v| off_deg(v).powi(2)).sum::<f64>() / n).sqrt();
        let deg = off_deg(up);
        if deg > slip_deg {
            Some(Moved::Slipped(deg))
        } else if deg > NOTICED_DEG.max(NOTICED_SD * sd_deg) {
            Some(Moved::Noticed(deg))
        } else {
            None
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Up of a trunk flexed by `deg`.
    fn flexed(deg: f64) -> Vector3<f64> {
        let rad = deg.to_radians();
        Vector3::new(-rad.sin(), rad.cos(), 0.0)
    }

    #[test]
    fn fifteen_degrees_are_a_slip_nine_are_noticed_and_a_club_change_is_neither() {
        let mut gravity = AddressGravity::default();
        for deg in [36.0, 37.5, 36.5, 37.0] {
            assert_eq!(gravity.look(flexed(deg), 12.0), None);
        }
        assert_eq!(gravity.look(flexed(41.0), 12.0), None);
        assert!(matches!(gravity.look(flexed(47.0), 12.0), Some(Moved::Noticed(d)) if (d - 9.4).abs() < 0.1));
        assert!(
            matches!(gravity.look(flexed(52.0), 12.0), Some(Moved::Slipped(d)) if (d - 14.4).abs() < 0.1)
        );
        // What has moved does not become the reference: it is said again.
        assert!(gravity.look(flexed(52.0), 12.0).is_some());
        assert_eq!(gravity.look(flexed(37.0), 12.0), None);
    }

    #[test]
    fn two_addresses_are_too_few_to_judge_by() {
        let mut gravity = AddressGravity::default();
        assert_eq!(gravity.look(flexed(20.0), 12.0), None);
        assert_eq!(gravity.look(flexed(60.0), 12.0), None);
    }

    #[test]
    fn sliding_round_the_vertical_is_not_seen() {
        let mut gravity = AddressGravity::default();
        for _ in 0..4 {
            assert_eq!(gravity.look(Vector3::y(), 12.0), None);
        }
        let round = nalgebra::UnitQuaternion::from_scaled_axis(Vector3::y() * 0.5);
        assert_eq!(gravity.look(round * Vector3::y(), 12.0), None);
    }
}
