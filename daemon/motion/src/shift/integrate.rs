//! The strap's path by its own accelerometer, and how every error of the sensors bends it.

use super::still::Address;
use crate::fuse::latched;
use crate::window::SegmentWindow;
use nalgebra::{Matrix3, SMatrix, UnitQuaternion, Vector3};

/// Errors that a path depends on: accelerometer bias (3), its matrix of scale and cross-axis leak (9), the
/// gyroscope's (9), gyroscope bias (3), gravity (3), speed and place at the start (3 + 3).
pub(super) const ERRORS: usize = 33;
pub(super) const ACC_MATRIX: usize = 3;
pub(super) const GYRO_MATRIX: usize = 12;
pub(super) const GYRO_BIAS: usize = 21;
pub(super) const GRAVITY: usize = 24;
pub(super) const SPEED: usize = 27;
pub(super) const PLACE: usize = 30;

/// What the errors do is integrated in steps of about this, s: nothing of it changes faster than the body.
const ERROR_STEP_S: f64 = 0.02;

/// Derivatives of a vector by every error.
pub(super) type ByError = SMatrix<f64, 3, ERRORS>;
/// The same by the errors that are integrated; speed and place at the start need no integral.
type Integrand = SMatrix<f64, 3, SPEED>;
/// Rotation of the frame by each error of the gyroscope.
type Tilt = SMatrix<f64, 3, 12>;

/// The strap at one instant, in a frame that is the pelvis's at the start of the track.
#[derive(Debug, Clone)]
pub(super) struct Moment {
    /// Pelvis → track's frame.
    pub(super) turned: Matrix3<f64>,
    /// Speed without errors, m/s.
    pub(super) speed: Vector3<f64>,
    /// Place without errors, m.
    pub(super) place: Vector3<f64>,
    /// What each error adds to the speed.
    pub(super) by_speed: ByError,
    /// What each error adds to the place.
    pub(super) by_place: ByError,
}

impl Moment {
    const ZERO: Self = Self {
        turned: Matrix3::new(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0),
        speed: Vector3::new(0.0, 0.0, 0.0),
        place: Vector3::new(0.0, 0.0, 0.0),
        by_speed: ByError::from_array_storage(nalgebra::ArrayStorage([[0.0; 3]; ERRORS])),
        by_place: ByError::from_array_storage(nalgebra::ArrayStorage([[0.0; 3]; ERRORS])),
    };

    /// Mean of several.
    pub(super) fn mean<'a>(of: impl ExactSizeIterator<Item = &'a Self>) -> Self {
        let share = 1.0 / of.len() as f64;
        let mut mean = Self::ZERO;
        for moment in of {
            mean.turned += moment.turned * share;
            mean.speed += moment.speed * share;
            mean.place += moment.place * share;
            mean.by_speed += moment.by_speed * share;
            mean.by_place += moment.by_place * share;
        }
        mean
    }
}

/// A strap's path at the instants asked for.
#[derive(Debug)]
pub(super) struct Track {
    /// Mean specific force at address, track's frame, m/s².
    pub(super) gravity: Vector3<f64>,
    /// In the order asked for.
    pub(super) moments: Vec<Moment>,
}

/// The samples of one track, turned into its frame.
struct Samples<'a> {
    t_s: &'a [f64],
    gyro: &'a [Vector3<f64>],
    acc: &'a [Vector3<f64>],
    turned: Vec<UnitQuaternion<f64>>,
}

impl Track {
    /// Follows the strap from the start of address on.
    pub(super) fn follow(pelvis: &SegmentWindow, address: &Address, wanted_s: &[f64]) -> Self {
        let until_s = wanted_s.iter().fold(address.to_s, |a, b| a.max(*b));
        let lo = pelvis.index(address.from_s);
        let hi = (pelvis.index(until_s) + 2).min(pelvis.t_s.len());
        let (t_s, gyro, acc) = (&pelvis.t_s[lo..hi], &pelvis.gyro[lo..hi], &pelvis.acc[lo..hi]);
        let turned = latched::integrate(UnitQuaternion::identity(), t_s, gyro, pelvis.sample_is);
        let samples = Samples { t_s, gyro, acc, turned };
        let still = pelvis.index(address.to_s) - lo;
        let gravity = (0..still).map(|i| samples.force(i)).sum::<Vector3<f64>>() / still as f64;
        let stride = ((ERROR_STEP_S / pelvis.period_s) as usize).max(1);
        Self { gravity, moments: samples.moments(&gravity, wanted_s, stride) }
    }
}

impl Samples<'_> {
    /// Specific force in the track's frame, m/s².
    fn force(&self, i: usize) -> Vector3<f64> {
        self.turned[i] * self.acc[i]
    }

    fn moments(&self, gravity: &Vector3<f64>, wanted_s: &[f64], stride: usize) -> Vec<Moment> {
        let mut moments = vec![Moment::ZERO; wanted_s.len()];
        let mut order: Vec<usize> = (0..wanted_s.len()).collect();
        order.sort_by(|a, b| wanted_s[*a].total_cmp(&wanted_s[*b]));
        let mut next = order.into_iter().peekable();
        let (mut speed, mut place) = (Vector3::zeros(), Vector3::zeros());
        let mut felt = self.force(0) - gravity;
        let mut errors = Errors::new(self);
        for i in 1..self.t_s.len() {
            let step = self.t_s[i] - self.t_s[i - 1];
            let now = self.force(i) - gravity;
            let (before, whence) = (speed, place);
            speed += (felt + now) * (0.5 * step);
            place += (before + speed) * (0.5 * step);
            felt = now;
            if i % stride == 0 || next.peek().is_some_and(|w| wanted_s[*w] <= self.t_s[i]) {
                errors.advance(self, i);
            }
            while let Some(at) = next.next_if(|w| wanted_s[*w] <= self.t_s[i]) {
                let share = ((wanted_s[at] - self.t_s[i - 1]) / step).clamp(0.0, 1.0);
                let turned = self.turned[i - 1].slerp(&self.turned[i], share);
                moments[at] = Moment {
                    turned: turned.to_rotation_matrix().into_inner(),
                    speed: before.lerp(&speed, share),
                    place: whence.lerp(&place, share),
                    ..errors.at(wanted_s[at] - self.t_s[0])
                };
            }
        }
        moments
    }
}

/// What the errors have done so far.
struct Errors {
    t_s: f64,
    integrand: Integrand,
    turning: Tilt,
    tilt: Tilt,
    by_speed: Integrand,
    by_place: Integrand,
}

impl Errors {
    fn new(samples: &Samples<'_>) -> Self {
        let mut errors = Self {
            t_s: samples.t_s[0],
            integrand: Integrand::zeros(),
            turning: turning(samples, 0),
            tilt: Tilt::zeros(),
            by_speed: Integrand::zeros(),
            by_place: Integrand::zeros(),
        };
        errors.integrand = errors.integrand_at(samples, 0);
        errors
    }

    /// To sample `i` by the trapezoidal rule.
    fn advance(&mut self, samples: &Samples<'_>, i: usize) {
        let half = 0.5 * (samples.t_s[i] - self.t_s);
        let turning = turning(samples, i);
        self.tilt -= (self.turning + turning) * half;
        self.turning = turning;
        let integrand = self.integrand_at(samples, i);
        let before = self.by_speed;
        self.by_speed += (self.integrand + integrand) * half;
        self.by_place += (before + self.by_speed) * half;
        self.integrand = integrand;
        self.t_s = samples.t_s[i];
    }

    /// What each error adds to the acceleration at sample `i`.
    fn integrand_at(&self, samples: &Samples<'_>, i: usize) -> Integrand {
        let turned = samples.turned[i].to_rotation_matrix().into_inner();
        let (acc, force) = (samples.acc[i], samples.force(i));
        let mut columns = Integrand::zeros();
        for axis in 0..3 {
            let own: Vector3<f64> = turned.column(axis).into();
            columns.set_column(axis, &-own);
            for from in 0..3 {
                columns.set_column(ACC_MATRIX + 3 * axis + from, &(own * -acc[from]));
            }
            columns[(axis, GRAVITY + axis)] = -1.0;
        }
        for error in 0..12 {
            let tilt: Vector3<f64> = self.tilt.column(error).into();
            columns.set_column(GYRO_MATRIX + error, &tilt.cross(&force));
        }
        columns
    }

    /// The derivatives `since_start_s` after the start.
    fn at(&self, since_start_s: f64) -> Moment {
        let mut moment = Moment::ZERO;
        moment.by_speed.fixed_columns_mut::<SPEED>(0).copy_from(&self.by_speed);
        moment.by_place.fixed_columns_mut::<SPEED>(0).copy_from(&self.by_place);
        for axis in 0..3 {
            moment.by_speed[(axis, SPEED + axis)] = 1.0;
            moment.by_place[(axis, SPEED + axis)] = since_start_s;
            moment.by_place[(axis, PLACE + axis)] = 1.0;
        }
        moment
    }
}

/// How fast each error of the gyroscope turns the frame at sample `i`, matrix by rows, then bias.
fn turning(samples: &Samples<'_>, i: usize) -> Tilt {
    let turned = samples.turned[i].to_rotation_matrix().into_inner();
    let mut columns = Tilt::zeros();
    for axis in 0..3 {
        let own: Vector3<f64> = turned.column(axis).into();
        for from in 0..3 {
            columns.set_column(3 * axis + from, &(own * samples.gyro[i][from]));
        }
        columns.set_column(9 + axis, &own);
    }
    columns
}
