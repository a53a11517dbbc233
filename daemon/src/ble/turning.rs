//! Which strap is being turned: "twist the strap you wear on the pelvis now".

use peakorder_motion::stream::Sample;

/// The turned strap must have turned by at least this much, degrees of path.
const ENOUGH_DEG: f64 = 180.0;
/// … and this many times as much as every other.
const CLEARLY: f64 = 3.0;

/// What came of a look.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Turned {
    /// This one, clearly.
    One(usize),
    /// None has turned enough yet.
    None,
    /// These two have both turned.
    Unclear(usize, usize),
}

/// Adds up how far each strap has turned.
#[derive(Debug, Clone)]
pub struct Turning {
    path_deg: Vec<f64>,
}

impl Turning {
    /// For `n` straps.
    pub fn new(n: usize) -> Self {
        Self { path_deg: vec![0.0; n] }
    }

    /// Looks at samples of strap `strap`.
    pub fn look(&mut self, strap: usize, samples: &[Sample]) {
        /// A longer gap is not bridged, seconds.
        const GAP_S: f64 = 0.1;
        /// Slower than this is bias and sway, rad/s (20 deg/s).
        const SLOW_RAD_S: f64 = 20.0 * std::f64::consts::PI / 180.0;
        for sample in samples {
            let rate = sample.gyro.norm();
            if rate > SLOW_RAD_S && sample.step_s < GAP_S {
                self.path_deg[strap] += (rate * sample.step_s).to_degrees();
            }
        }
    }

    /// Which strap was turned, of those for which `still_asked` holds.
    pub fn judge(&self, still_asked: impl Fn(usize) -> bool) -> Turned {
        let mut order: Vec<usize> = (0..self.path_deg.len()).filter(|i| still_asked(*i)).collect();
        order.sort_by(|a, b| self.path_deg[*b].total_cmp(&self.path_deg[*a]));
        match order.as_slice() {
            [] => Turned::None,
            [first, ..] if self.path_deg[*first] < ENOUGH_DEG => Turned::None,
            [first, second, ..] if self.path_deg[*first] < CLEARLY * self.path_deg[*second] => {
                Turned::Unclear(*first, *second)
            }
            [first, ..] => Turned::One(*first),
        }
    }

    /// Starts over.
    pub fn clear(&mut self) {
        self.path_deg.fill(0.0);
    }

    /// How far strap `strap` has turned, degrees of path.
    pub fn path_deg(&self, strap: usize) -> f64 {
        self.path_deg[strap]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::Vector3;
    use peakorder_motion::clock::time::{DeviceTime, SessionTime};

    fn turn(turning: &mut Turning, strap: usize, seconds: f64, dps: f64) {
        let samples: Vec<Sample> = (0..(seconds * 100.0) as usize)
            .map(|i| Sample {
                device: DeviceTime::from_s(i as f64 / 100.0),
                session: SessionTime::from_s(i as f64 / 100.0),
                step_s: if i == 0 { f64::INFINITY } else { 0.01 },
                gyro: Vector3::new(0.0, dps.to_radians(), 0.0),
                acc: Vector3::zeros(),
                lost_before: 0,
                clipped: false,
            })
            .collect();
        turning.look(strap, &samples);
    }

    #[test]
    fn the_strap_that_turns_by_far_the_most_is_found() {
        let mut t = Turning::new(3);
        turn(&mut t, 0, 3.0, 5.0);
        turn(&mut t, 1, 3.0, 200.0);
        turn(&mut t, 2, 3.0, 30.0);
        assert!((t.path_deg(1) - 598.0).abs() < 5.0, "{}", t.path_deg(1));
        assert_eq!(t.judge(|_| true), Turned::One(1));
        assert_eq!(t.judge(|i| i != 1), Turned::None, "30 deg/s for 3 s are 90 degrees");
    }

    #[test]
    fn two_that_turn_are_unclear_and_stillness_is_none() {
        let mut t = Turning::new(2);
        assert_eq!(t.judge(|_| true), Turned::None);
        turn(&mut t, 0, 3.0, 150.0);
        turn(&mut t, 1, 3.0, 100.0);
        assert_eq!(t.judge(|_| true), Turned::Unclear(0, 1));
        t.clear();
        assert_eq!(t.judge(|_| true), Turned::None);
    }
}
