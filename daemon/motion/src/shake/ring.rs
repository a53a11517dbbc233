//! A decaying oscillation, found by fitting it beside what a body does slowly.

use nalgebra::{DMatrix, Matrix6, Vector3};
use std::f64::consts::TAU;

/// The oscillation is looked for over this, s.
const OVER_S: f64 = 0.5;
/// Frequencies from …, Hz. Below, it could be the body.
const FROM_HZ: f64 = 5.0;
/// … to this, and no further than this share of the sample rate, Hz.
const TO_HZ: f64 = 30.0;
const OF_RATE: f64 = 0.4;
const STEP_HZ: f64 = 0.25;
/// Damping ratios tried. Above the last it is no oscillation.
const DAMPINGS: [f64; 9] = [0.03, 0.06, 0.1, 0.15, 0.2, 0.25, 0.3, 0.4, 0.5];
/// Two of the oscillation, four of a cubic.
const TERMS: usize = 6;
/// How much better than the cubic alone it must fit: F of the parameters added (own judgement; sway is no
/// white noise, so that F's own table does not count).
const LEAST_F: f64 = 8.0;

/// What was found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Ring {
    /// Hz.
    pub(super) hz: f64,
    /// Share of critical damping.
    pub(super) damping: f64,
    /// Amplitude at the first sample, all axes together, and its standard uncertainty, deg/s.
    pub(super) dps: f64,
    pub(super) sd_dps: f64,
}

struct Fitted {
    ring: Ring,
    left: f64,
}

/// The oscillation that fits best from the first sample on; `None` where there is none.
pub(super) fn find(t_s: &[f64], gyro_rad_s: &[Vector3<f64>]) -> Option<Ring> {
    let n = t_s.partition_point(|t| *t <= t_s[0] + OVER_S);
    if n < 4 * TERMS {
        return None;
    }
    let (t_s, gyro) = (&t_s[..n], &gyro_rad_s[..n]);
    let rate_hz = (n - 1) as f64 / (t_s[n - 1] - t_s[0]);
    let to_hz = TO_HZ.min(OF_RATE * rate_hz);
    let steps = ((to_hz - FROM_HZ) / STEP_HZ).floor().max(0.0) as usize;
    let mut best: Option<Fitted> = None;
    for hz in (0..=steps).map(|i| FROM_HZ + STEP_HZ * i as f64) {
        for damping in DAMPINGS {
            let Some(fitted) = fit(t_s, gyro, hz, damping) else { continue };
            if best.as_ref().is_none_or(|b| fitted.left < b.left) {
                best = Some(fitted);
            }
        }
    }
    let Fitted { ring, left } = best?;
    let alone = fit(t_s, gyro, 0.0, 0.0)?.left;
    // Amplitude and phase on three axes, frequency and damping.
    let added = 8.0;
    let free = (3 * (n - TERMS)) as f64 - 2.0;
    let f = (alone - left) / added / (left / free).max(f64::MIN_POSITIVE);
    // At the edge of what was tried it is the body's own movement.
    let within = ring.hz > FROM_HZ && ring.damping < DAMPINGS[DAMPINGS.len() - 1];
    (f > LEAST_F && within).then_some(ring)
}

/// Least squares of a cubic and an oscillation; without one (`hz` 0) of the cubic alone.
fn fit(t_s: &[f64], gyro: &[Vector3<f64>], hz: f64, damping: f64) -> Option<Fitted> {
    let span_s = t_s[t_s.len() - 1] - t_s[0];
    let basis = DMatrix::from_fn(t_s.len(), TERMS, |i, term| {
        let t = t_s[i] - t_s[0];
        let u = 2.0 * t / span_s - 1.0;
        let (w, decay) = (TAU * hz, (-damping * TAU * hz * t).exp());
        match term {
            0..4 => u.powi(term as i32),
            _ if hz == 0.0 => 0.0,
            4 => decay * (w * (1.0 - damping * damping).sqrt() * t).cos(),
            _ => decay * (w * (1.0 - damping * damping).sqrt() * t).sin(),
        }
    });
    let mut normal = Matrix6::zeros();
    normal.copy_from(&(basis.transpose() * &basis));
    if hz == 0.0 {
        (normal[(4, 4)], normal[(5, 5)]) = (1.0, 1.0);
    }
    let inverse = normal.try_inverse()?;
    let y = DMatrix::from_fn(t_s.len(), 3, |i, axis| gyro[i][axis]);
    let solved = inverse * (basis.transpose() * &y);
    let left = (y - basis * &solved).norm_squared();
    let size = solved.rows(4, 2).norm();
    let noise_var = left / (3 * (t_s.len() - TERMS)) as f64;
    let ring = Ring {
        hz,
        damping,
        dps: size.to_degrees(),
        // Of all axes together: along the direction that it has.
        sd_dps: (noise_var * 0.5 * (inverse[(4, 4)] + inverse[(5, 5)])).sqrt().to_degrees(),
    };
    Some(Fitted { ring, left })
}
