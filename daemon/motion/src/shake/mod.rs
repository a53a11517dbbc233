//! Shake test: two quick turns and a stop show whether a strap rings on its seat or has slid.
//!
//! Standing still, turned quickly one way, the other, back, and stopped. What oscillates after the stop is the strap
//! on soft tissue: a body stops once. What gravity shows otherwise afterwards than before has slid, as far as a
//! person stands up alike twice. A slide round a vertical line, and skin that gives and comes
//! back whole, leave nothing behind and are not found.

mod ring;
mod worn;

pub use worn::Worn;

use super::calibrate::steps::{StepSamples, mean};
use nalgebra::Vector3;
use peakorder_protocol::calibration::{Found, Refusal};
use ring::Ring;

/// Quick is this fast, deg/s: twice a mobility turn, half a swing (own judgement).
const LEAST_SPEED_DPS: f64 = 120.0;
/// Standing still, before and after, s.
const LEAST_STILL_S: f64 = 0.6;
/// The turns last from where the speed first passes this share of its largest to where it last does.
const MOVING: f64 = 0.12;
/// Speeds are taken over this, s.
const OVER_S: f64 = 0.06;
/// The body's own stop is over so long after the speed has passed that share, s.
const STOPPED_AFTER_S: f64 = 0.03;
/// Less than this is no ringing that matters in a swing, deg/s and share of the speed of the turn (own
/// judgement).
const LEAST_RING_DPS: f64 = 2.0;
const LEAST_RING: f64 = 0.01;
/// An amplitude less than so many of its standard uncertainties is none.
const CLEARLY: f64 = 5.0;
/// 99 of 100 pairs of poses lie within so many SDs of one axis: Rayleigh's distribution.
const POSES_WITHIN: f64 = 3.03;

/// What the test says of a strap; `pose_sd_deg` is how alike a person stands twice, about each
/// axis. With what was found comes the standard uncertainty of how far the strap has moved, deg.
pub fn judge(samples: StepSamples<'_>, pose_sd_deg: f64) -> Result<(Found, f64), Refusal> {
    let t_s = samples.times_s;
    let smooth = smoothed(samples);
    let speed_dps = smooth.iter().map(|w| w.norm().to_degrees()).fold(0.0, f64::max);
    if speed_dps < LEAST_SPEED_DPS {
        return Err(Refusal::TooSlow { speed_dps, least_dps: LEAST_SPEED_DPS });
    }
    let moves = |w: &Vector3<f64>| w.norm().to_degrees() > MOVING * speed_dps;
    let first = smooth.iter().position(moves).unwrap_or(0);
    let last = smooth.iter().rposition(moves).unwrap_or(0);
    let still_s = (t_s[first] - t_s[0]).min(t_s[t_s.len() - 1] - t_s[last]);
    if still_s < LEAST_STILL_S {
        return Err(Refusal::NotHeld { still_s, least_s: LEAST_STILL_S });
    }
    let stop = t_s.partition_point(|t| *t < t_s[last] + STOPPED_AFTER_S);
    let ring = ring::find(&t_s[stop..], &samples.gyro_rad_s[stop..]);

    // Gravity, while it stood: not the half of a window in which the turns begin, and the last of what follows.
    let before = t_s.partition_point(|t| *t < t_s[first] - OVER_S);
    let after = t_s.partition_point(|t| *t < t_s[t_s.len() - 1] - LEAST_STILL_S / 2.0);
    let [before, after] = [&samples.acc_m_s2[..before], &samples.acc_m_s2[after..]].map(mean);
    let moved_deg = before.angle(&after).to_degrees();
    let sd_deg = pose_sd_deg * std::f64::consts::SQRT_2;

    let least_dps = LEAST_RING_DPS.max(LEAST_RING * speed_dps);
    match ring {
        Some(Ring { hz, damping, dps, sd_dps }) if dps > least_dps && dps > CLEARLY * sd_dps => {
            Err(Refusal::Rings { hz, damping, ring_dps: dps, ring_sd_dps: sd_dps, moved_deg })
        }
        _ if moved_deg > POSES_WITHIN * sd_deg => Err(Refusal::Slid { moved_deg, moved_sd_deg: sd_deg }),
        ring => Ok((Found::Firm { ring_dps: ring.map_or(0.0, |r| r.dps), moved_deg }, sd_deg)),
    }
}

/// Rates over [`OVER_S`] around each sample.
fn smoothed(samples: StepSamples<'_>) -> Vec<Vector3<f64>> {
    let t_s = samples.times_s;
    let (mut from, mut to) = (0, 0);
    let mut sum = Vector3::zeros();
    t_s.iter()
        .map(|t| {
            while to < t_s.len() && t_s[to] <= t + OVER_S / 2.0 {
                sum += samples.gyro_rad_s[to];
                to += 1;
            }
            while t_s[from] < t - OVER_S / 2.0 {
                sum -= samples.gyro_rad_s[from];
                from += 1;
            }
            sum / (to - from) as f64
        })
        .collect()
}

#[cfg(test)]
mod tests;
