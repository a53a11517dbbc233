//! What a MEMS sensor makes of the strap's motion: noise, bias, scale, range, counts.

use super::WornStrap;
use crate::body::GRAVITY;
use crate::rng::{Draw, Purpose};
use nalgebra::{Matrix3, Vector3};
use peakorder_protocol::Role;
use peakorder_protocol::packet::{ACC_MG_PER_COUNT, GYRO_DPS_PER_COUNT, RawCounts};
use std::f64::consts::TAU;

/// Sensor errors. Constants are drawn per strap and axis with the given SD.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SensorModel {
    /// Gyroscope noise density, dps/√Hz.
    pub gyro_noise_dps_rthz: f64,
    /// Accelerometer noise density, µg/√Hz.
    pub accel_noise_ug_rthz: f64,
    /// Gyroscope bias, SD, dps.
    pub gyro_bias_dps: f64,
    /// Slow drift of that bias (OU, τ 5 min), SD, dps.
    pub gyro_drift_dps: f64,
    /// Accelerometer bias, SD, mg.
    pub accel_bias_mg: f64,
    /// Scale error of each axis of both sensors, SD, share.
    pub scale: f64,
    /// Leakage of each axis into each other one, SD, share.
    pub cross_axis: f64,
    /// Gyroscope reading per specific force, SD, dps/g.
    pub g_sensitivity_dps_g: f64,
    /// First-order low-pass corner of both sensors, Hz: group delay 1/(2π·corner).
    pub low_pass_hz: Option<f64>,
    /// Gyroscope range, dps.
    pub gyro_range_dps: f64,
    /// Accelerometer range, g.
    pub accel_range_g: f64,
}

impl SensorModel {
    /// A consumer MEMS sensor (assumed figures of the usual size, no data sheet).
    pub const fn consumer() -> Self {
        Self {
            gyro_noise_dps_rthz: 0.007,
            accel_noise_ug_rthz: 150.0,
            gyro_bias_dps: 1.0,
            gyro_drift_dps: 0.05,
            accel_bias_mg: 8.0,
            scale: 0.006,
            cross_axis: 0.004,
            g_sensitivity_dps_g: 0.02,
            low_pass_hz: None,
            gyro_range_dps: 2000.0,
            accel_range_g: 16.0,
        }
    }

    /// No errors but range and counts.
    pub const fn ideal() -> Self {
        Self {
            gyro_noise_dps_rthz: 0.0,
            accel_noise_ug_rthz: 0.0,
            gyro_bias_dps: 0.0,
            gyro_drift_dps: 0.0,
            accel_bias_mg: 0.0,
            scale: 0.0,
            cross_axis: 0.0,
            g_sensitivity_dps_g: 0.0,
            low_pass_hz: None,
            gyro_range_dps: 2000.0,
            accel_range_g: 16.0,
        }
    }
}

const DRIFT_TAU_S: f64 = 300.0;
/// Step of the analogue low-pass, seconds.
const FILTER_STEP_S: f64 = 0.00125;
/// The low-pass settles over this time before the first sample or after a gap, seconds.
const FILTER_SETTLE_S: f64 = 0.04;

#[derive(Debug, Clone, Copy)]
struct Filtered {
    t: f64,
    input: (Vector3<f64>, Vector3<f64>),
    output: (Vector3<f64>, Vector3<f64>),
}

/// A sensor in a worn strap.
#[derive(Debug)]
pub(crate) struct Sensor {
    strap: WornStrap,
    model: SensorModel,
    gyro_matrix: Matrix3<f64>,
    accel_matrix: Matrix3<f64>,
    gyro_bias: Vector3<f64>,
    gyro_drift: Vector3<f64>,
    accel_bias: Vector3<f64>,
    g_sensitivity: Matrix3<f64>,
    noise: (f64, f64),
    filter: Option<Filtered>,
    last_s: f64,
    draw: Draw,
}

impl Sensor {
    pub(crate) fn new(strap: WornStrap, model: SensorModel, rate_hz: f64, seed: u64, role: Role) -> Self {
        let mut draw = Draw::new(seed, Purpose::SensorErrors, role.index() as u64);
        let mut matrix = |model: &SensorModel| {
            Matrix3::from_fn(|i, j| {
                if i == j {
                    1.0 + draw.bounded(0.0, model.scale)
                } else {
                    draw.bounded(0.0, model.cross_axis)
                }
            })
        };
        let (gyro_matrix, accel_matrix) = (matrix(&model), matrix(&model));
        let mut vector = |sd: f64| Vector3::from_fn(|_, _| draw.bounded(0.0, sd));
        let gyro_bias = vector(model.gyro_bias_dps.to_radians());
        let gyro_drift = vector(model.gyro_drift_dps.to_radians());
        let accel_bias = vector(model.accel_bias_mg * 1e-3 * GRAVITY);
        let per_g = model.g_sensitivity_dps_g.to_radians() / GRAVITY;
        let g_sensitivity = Matrix3::from_fn(|_, _| draw.bounded(0.0, per_g));
        // White noise of a given density in the band that sampling leaves.
        let band = (rate_hz / 2.0).sqrt();
        let noise = (
            model.gyro_noise_dps_rthz.to_radians() * band,
            model.accel_noise_ug_rthz * 1e-6 * GRAVITY * band,
        );
        let draw = Draw::new(seed, Purpose::SensorNoise, role.index() as u64);
        Self {
            strap,
            model,
            gyro_matrix,
            accel_matrix,
            gyro_bias,
            gyro_drift,
            accel_bias,
            g_sensitivity,
            noise,
            filter: None,
            last_s: 0.0,
            draw,
        }
    }

    fn low_passed(&mut self, corner_hz: f64, t: f64) -> (Vector3<f64>, Vector3<f64>) {
        let running = self.filter.filter(|f| t - f.t < FILTER_SETTLE_S);
        let mut state = running.unwrap_or_else(|| {
            let from = t - FILTER_SETTLE_S;
            let input = self.strap.read(from);
            Filtered { t: from, input, output: input }
        });
        let n = ((t - state.t) / FILTER_STEP_S).ceil().max(1.0);
        let (h, from) = ((t - state.t) / n, state.t);
        // Exact for an input that is a straight line over each step.
        let w = TAU * corner_hz;
        let keep = (-w * h).exp();
        let old = (1.0 - keep) / (w * h) - keep;
        let new = 1.0 - keep - old;
        for i in 1..=n as usize {
            let next = self.strap.read(if i == n as usize { t } else { from + h * i as f64 });
            state.output.0 = state.output.0 * keep + state.input.0 * old + next.0 * new;
            state.output.1 = state.output.1 * keep + state.input.1 * old + next.1 * new;
            state.input = next;
        }
        state.t = t;
        self.filter = Some(state);
        state.output
    }

    /// Reading at host time `t` with all errors but range and counts: rad/s and m/s².
    pub(crate) fn read(&mut self, t: f64) -> (Vector3<f64>, Vector3<f64>) {
        let (omega, force) = match self.model.low_pass_hz {
            Some(corner) => self.low_passed(corner, t),
            None => self.strap.read(t),
        };
        let keep = (-(t - self.last_s).max(0.0) / DRIFT_TAU_S).exp();
        self.last_s = t;
        let fresh = self.model.gyro_drift_dps.to_radians() * (1.0 - keep * keep).sqrt();
        let mut white = |sd: f64| Vector3::from_fn(|_, _| sd * self.draw.standard());
        self.gyro_drift = self.gyro_drift * keep + white(fresh);
        let gyro = self.gyro_matrix * omega
            + self.gyro_bias
            + self.gyro_drift
            + self.g_sensitivity * force
            + white(self.noise.0);
        let accel = self.accel_matrix * force + self.accel_bias + white(self.noise.1);
        (gyro, accel)
    }

    /// Reading in counts, and whether the sensor was at its range limit.
    pub(crate) fn counts(&mut self, t: f64) -> (RawCounts, bool) {
        let (gyro, accel) = self.read(t);
        let mut saturated = false;
        let mut count = |value: f64, per_count: f64, range: f64| {
            let limit = (range / per_count).floor().min(f64::from(i16::MAX));
            let n = (value / per_count).round();
            saturated |= n.abs() >= limit;
            n.clamp(-limit, limit) as i16
        };
        let g = |i: usize| gyro[i].to_degrees();
        let a = |i: usize| accel[i] / GRAVITY * 1000.0;
        let gyro_range = self.model.gyro_range_dps;
        let accel_range = self.model.accel_range_g * 1000.0;
        let counts = RawCounts {
            gyro: [0, 1, 2].map(|i| count(g(i), GYRO_DPS_PER_COUNT, gyro_range)),
            acc: [0, 1, 2].map(|i| count(a(i), ACC_MG_PER_COUNT, accel_range)),
        };
        (counts, saturated)
    }
}
