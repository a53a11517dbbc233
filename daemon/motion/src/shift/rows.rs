//! What is known of a swing's errors, as rows of a linear least-squares fit.

use super::integrate::{ACC_MATRIX, ByError, ERRORS, GRAVITY, GYRO_BIAS, GYRO_MATRIX, Moment, PLACE, SPEED};
use nalgebra::{Matrix3, SMatrix, SVector, Vector3};
use peakorder_protocol::estimate::STANDARD_GRAVITY_M_S2 as G_M_S2;

/// Consumer accelerometers: bias, m/s² (20 mg); share of a scale error; share that leaks between axes (own
/// judgement: data sheets give 20–40 mg, 1 % and 1–2 % as limits).
const ACC_BIAS_SD: f64 = 0.02 * G_M_S2;
const SCALE_SD: f64 = 0.003;
const CROSS_SD: f64 = 0.005;
/// The gyroscope's bias is never trusted to be better known than this, rad/s (0.08 deg/s: sway looks like it).
const GYRO_BIAS_LEAST_SD: f64 = 0.08 * std::f64::consts::PI / 180.0;
/// Gravity's mean at address: m/s² along each axis, for sway; and its size.
const GRAVITY_SD: f64 = 0.5;
const GRAVITY_SIZE_SD: f64 = 0.005;
/// Speed and place at the start, m/s and m.
const START_SPEED_SD: f64 = 0.2;
const START_PLACE_SD: f64 = 0.1;
/// Standing: the hips move at this speed, m/s, about one place, m. Of real swings, whose address is no stillness, these
/// held what they state (own judgement, by other sessions than those of the tests).
const STANDING_SPEED_SD: f64 = 0.012;
const STANDING_PLACE_SD: f64 = 0.005;
/// Where the pelvis's turn reverses the strap is slow: m/s along the pelvis's axes at address.
pub(super) const TURNING_SD_M_S: [f64; 3] = [0.05, 0.05, 0.10];
/// In the quietest moment after impact, the same. True speeds there were 3–9 cm/s: with drift taken
/// out so that they are 0, errors were twice those of plain integration.
pub(super) const QUIET_SD_M_S: [f64; 3] = [0.05, 0.035, 0.06];

/// Collects rows.
pub(super) struct Fit {
    information: SMatrix<f64, ERRORS, ERRORS>,
    seen: SVector<f64, ERRORS>,
}

impl Fit {
    /// With what is known before: covariance of the gyroscope's bias, (rad/s)².
    pub(super) fn new(gyro_bias: &Matrix3<f64>) -> Self {
        let mut sd = SVector::<f64, ERRORS>::repeat(ACC_BIAS_SD);
        for i in 0..9 {
            let share = if i % 4 == 0 { SCALE_SD } else { CROSS_SD };
            (sd[ACC_MATRIX + i], sd[GYRO_MATRIX + i]) = (share, share);
        }
        for (at, each) in [
            (GYRO_BIAS, GYRO_BIAS_LEAST_SD),
            (GRAVITY, GRAVITY_SD),
            (SPEED, START_SPEED_SD),
            (PLACE, START_PLACE_SD),
        ] {
            sd.fixed_rows_mut::<3>(at).fill(each);
        }
        let mut information = SMatrix::from_diagonal(&sd.map(|sd| 1.0 / (sd * sd)));
        let gyro_bias = gyro_bias + Matrix3::identity() * GYRO_BIAS_LEAST_SD.powi(2);
        if let Some(inverse) = gyro_bias.try_inverse() {
            information.fixed_view_mut::<3, 3>(GYRO_BIAS, GYRO_BIAS).copy_from(&inverse);
        }
        Self { information, seen: SVector::zeros() }
    }

    /// The errors add up to `value` ± `sd` by `row`.
    fn row(&mut self, row: &SVector<f64, ERRORS>, value: f64, sd: f64) {
        let weight = 1.0 / (sd * sd);
        self.information.ger(weight, row, row, 1.0);
        self.seen.axpy(weight * value, row, 1.0);
    }

    fn rows(&mut self, by_error: &ByError, is: &Vector3<f64>, sd: [f64; 3]) {
        for axis in 0..3 {
            self.row(&by_error.row(axis).transpose(), -is[axis], sd[axis]);
        }
    }

    /// The mean specific force at address is as large as gravity.
    pub(super) fn gravity(&mut self, seen: &Vector3<f64>) {
        let mut row = SVector::<f64, ERRORS>::zeros();
        row.fixed_rows_mut::<3>(GRAVITY).copy_from(&seen.normalize());
        self.row(&row, G_M_S2 - seen.norm(), GRAVITY_SIZE_SD);
    }

    /// The player stands.
    pub(super) fn standing(&mut self, moment: &Moment) {
        self.speed(moment, [STANDING_SPEED_SD; 3]);
        self.rows(&moment.by_place, &moment.place, [STANDING_PLACE_SD; 3]);
    }

    /// The strap's speed is 0 ± `sd` along each axis.
    pub(super) fn speed(&mut self, moment: &Moment, sd: [f64; 3]) {
        self.rows(&moment.by_speed, &moment.speed, sd);
    }

    /// The errors that agree best with all rows.
    pub(super) fn solve(self) -> Solution {
        // What is known before makes it positive definite.
        let covariance = self.information.cholesky().expect("every error has a prior").inverse();
        Solution { errors: covariance * self.seen, covariance }
    }
}

/// The errors of a swing.
pub(super) struct Solution {
    errors: SVector<f64, ERRORS>,
    covariance: SMatrix<f64, ERRORS, ERRORS>,
}

impl Solution {
    /// Their covariance.
    pub(super) fn covariance(&self) -> &SMatrix<f64, ERRORS, ERRORS> {
        &self.covariance
    }

    /// Speed of the strap, m/s.
    pub(super) fn speed(&self, moment: &Moment) -> Vector3<f64> {
        moment.speed + moment.by_speed * self.errors
    }

    /// Place of the strap, m.
    pub(super) fn place(&self, moment: &Moment) -> Vector3<f64> {
        moment.place + moment.by_place * self.errors
    }
}
