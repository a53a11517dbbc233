//! The VQF filter (Laidig, Seel 2023, Information Fusion 91:187–204), without magnetometer, of
//! the `vqf-rs` crate. Its own estimate of the gyroscope bias is switched off: ours has a covariance, and half of
//! the filter's time went into it.

use super::{OrientationFilter, Reading};
use nalgebra::{Quaternion, UnitQuaternion};
use vqf_rs::{Params, VQF};

/// Readings until the sample period is known. The filter's coefficients depend on it and
/// the first interval may be anything.
const LEARN: usize = 16;

/// The accelerometer corrects with every fourth sample: the filter looks at it through a low pass of 3 s, so that
/// nothing is lost, and takes two thirds of the time.
const CORRECT_EVERY: u32 = 4;

/// VQF, starting as soon as the sample period is known.
pub struct Vqf {
    filter: Option<VQF>,
    waiting: Vec<Reading>,
    since_correction: u32,
}

impl Vqf {
    /// With the first reading, not started yet.
    pub fn new(first: &Reading) -> Self {
        let mut waiting = Vec::with_capacity(LEARN);
        waiting.push(*first);
        Self { filter: None, waiting, since_correction: 0 }
    }

    fn start(&mut self) {
        let mut periods: Vec<f64> = self.waiting.iter().skip(1).map(|r| r.dt_s).collect();
        periods.sort_by(f64::total_cmp);
        let period_s = periods[periods.len() / 2];
        let params = Params {
            motion_bias_est_enabled: false,
            rest_bias_est_enabled: false,
            mag_dist_rejection_enabled: false,
            ..Params::default()
        };
        let filter = self.filter.insert(VQF::new(
            period_s,
            Some(period_s * f64::from(CORRECT_EVERY)),
            None,
            Some(params),
        ));
        // Nothing is before the first reading; like the others it stands for one period.
        self.waiting[0].dt_s = period_s;
        for reading in self.waiting.drain(..) {
            feed(filter, &mut self.since_correction, &reading);
        }
    }
}

fn feed(filter: &mut VQF, since_correction: &mut u32, reading: &Reading) {
    filter.update_gyr_with_ts((reading.gyro - reading.bias).into(), reading.dt_s);
    *since_correction += 1;
    if *since_correction == CORRECT_EVERY {
        *since_correction = 0;
        filter.update_acc(reading.acc.into());
    }
}

impl OrientationFilter for Vqf {
    fn step(&mut self, reading: &Reading) {
        if let Some(filter) = &mut self.filter {
            feed(filter, &mut self.since_correction, reading);
            return;
        }
        self.waiting.push(*reading);
        if self.waiting.len() == LEARN {
            self.start();
        }
    }

    fn z_up(&self) -> UnitQuaternion<f64> {
        if let Some(filter) = &self.filter {
            let q = filter.quat_6d();
            return UnitQuaternion::from_quaternion(Quaternion::new(q.0, q.1, q.2, q.3));
        }
        self.waiting.last().map_or_else(UnitQuaternion::identity, |r| super::running::level(&r.acc))
    }
}
