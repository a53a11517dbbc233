//! How far the hips moved towards or away from the target, from the strap on the sacrum.
//!
//! The strap's own path is found by integrating its accelerometer twice (`integrate`). What that gets
//! wrong, and what a player who stands still before the swing, turns round at the top and comes to rest
//! after it says of those errors, is one linear least-squares fit a swing (`rows`). The middle of the hips
//! lies some 12 cm ahead of the strap (`hips`), so the pelvis's turn carries it further than the strap: that
//! lever, not the accelerometer, limits what can be said.

pub mod hips;
mod integrate;
mod rows;
mod still;
#[cfg(test)]
mod tests;

use crate::bias::largest_sd;
use crate::window::SegmentWindow;
use hips::Hips;
use integrate::{Moment, Track};
use nalgebra::{Matrix3, Vector3};
use peakorder_protocol::Handedness;
use rows::Solution;
use still::Address;

/// The skin moves over the bone by so much at a full turn, m (own judgement).
const SKIN_SD_M: f64 = 0.007;
/// Gravity at address, that towards and up are measured along, is known to this, rad (0.3 deg: what is
/// left of sway and bias over a second and a half; own judgement).
const TILT_SD_RAD: f64 = 0.3 * std::f64::consts::PI / 180.0;
/// Beyond this standard uncertainty of the gyroscope's bias impact is not told, rad/s (0.3 deg/s). The fit
/// carries the bias and its covariance, which states about twice what the errors are.
const BIAS_SD_MAX_RAD_S: f64 = 0.3 * std::f64::consts::PI / 180.0;
/// Address is read at these times before it ends, s: sway averages out.
const ZERO_S: [f64; 3] = [0.25, 0.15, 0.05];
/// Longest time between two samples, s. A backswing is slow enough to be drawn straight over some missing ones,
/// a downswing is not (own judgement; tried on real swings).
const HOLE_BEFORE_TOP_S: f64 = 0.045;
const HOLE_AFTER_TOP_S: f64 = 0.021;

/// The instants that a swing's shift is made of, session seconds.
#[derive(Debug, Clone, Copy)]
pub struct Instants {
    /// The pelvis begins to move.
    pub onset_s: f64,
    /// Its turn reverses, if it was found.
    pub reversal_s: Option<f64>,
    /// Top.
    pub top_s: f64,
    /// Impact.
    pub impact_s: f64,
}

/// A shift towards the target since address, with where its uncertainty comes from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shift {
    /// Towards the target, m.
    pub towards_m: f64,
    /// Standard uncertainty of this swing's own, m.
    pub own_sd_m: f64,
    /// What the lever along the pelvis's three axes and the skin add, the same way in every swing that
    /// turns alike, m (signed).
    pub shared_m: [f64; 4],
}

impl Shift {
    /// Standard uncertainty in all, m.
    pub fn sd_m(&self) -> f64 {
        self.shared_m.iter().fold(self.own_sd_m, |sum, part| sum.hypot(*part))
    }
}

/// Shifts of the middle of the hips and of the trail hip at one instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct At {
    /// Middle of the hips.
    pub mid_hips: Shift,
    /// Trail hip.
    pub trail_hip: Shift,
}

/// Why a shift at impact is withheld.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum NoImpact {
    /// No quiet moment after it was recorded.
    NotQuietAfter,
    /// The gyroscope's bias is not known well enough: its standard uncertainty, rad/s.
    BiasUncertain(f64),
    /// Samples are missing between top and impact or soon after.
    SamplesLost,
    /// The accelerometer or gyroscope was at its limit.
    RangeLimit,
}

/// Why there is no shift at all.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum NoShift {
    /// The pelvis was still before the swing for so short a time, s.
    AddressShort(f64),
    /// The hips moved at address, m/s.
    AddressMoves(f64),
    /// Samples are missing between address and top.
    SamplesLost,
    /// The accelerometer or gyroscope was at its limit there.
    RangeLimit,
}

/// What a swing says of the shift of the hips.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HipShift {
    /// At the top.
    pub top: At,
    /// At impact: for means over a block, one swing tells little.
    pub impact: Result<At, NoImpact>,
}

/// Finds the shift of the hips in one swing. `heading_sd_rad`: how well the pelvis's anterior axis is known.
pub fn find(
    pelvis: &SegmentWindow,
    hips: &Hips,
    when: &Instants,
    heading_sd_rad: f64,
    handedness: Handedness,
) -> Result<HipShift, NoShift> {
    let address = Address::before(pelvis, when.onset_s).map_err(NoShift::AddressShort)?;
    match spoilt(pelvis, address.from_s, when.top_s, HOLE_BEFORE_TOP_S) {
        Some(Spoilt::Lost) => return Err(NoShift::SamplesLost),
        Some(Spoilt::Limit) => return Err(NoShift::RangeLimit),
        None => {}
    }
    let quiet_s = still::quiet_after(pelvis, when.impact_s);
    let through = spoilt(pelvis, when.top_s, quiet_s.unwrap_or(when.impact_s), HOLE_AFTER_TOP_S);
    // What lies beyond a hole says nothing of what was before it.
    let quiet_s = quiet_s.filter(|_| through.is_none());
    let last_s = if through.is_some() { when.top_s } else { quiet_s.unwrap_or(when.impact_s) };

    let mut wanted = Wanted::default();
    let still = address.rows_s().map(|t| wanted.at(t)).collect::<Vec<_>>();
    let zero = ZERO_S.map(|before| wanted.at(address.to_s - before));
    let reversal = when.reversal_s.filter(|t| *t <= last_s).map(|t| wanted.at(t));
    let (top, impact) = (wanted.at(when.top_s), (last_s >= when.impact_s).then(|| wanted.at(when.impact_s)));
    let quiet = quiet_s.map(|t| wanted.at(t));
    let track = Track::follow(pelvis, &address, &wanted.0);

    let bias_sd = largest_sd(&pelvis.bias_covariance);
    let mut fit = rows::Fit::new(&pelvis.bias_covariance);
    fit.gravity(&track.gravity);
    for i in &still {
        fit.standing(&track.moments[*i]);
    }
    if let Some(i) = reversal {
        fit.speed(&track.moments[i], rows::TURNING_SD_M_S);
    }
    if let Some(i) = quiet {
        fit.speed(&track.moments[i], rows::QUIET_SD_M_S);
    }
    let solution = fit.solve();
    let drift_m_s = address_drift(&track, &solution, &still);
    if drift_m_s > still::DRIFT_MAX_M_S {
        return Err(NoShift::AddressMoves(drift_m_s));
    }

    let view = View::new(&track, &zero, &solution, heading_sd_rad, handedness);
    let at = |i: usize| view.at(&track.moments[i], hips);
    Ok(HipShift {
        top: at(top),
        impact: match (impact, quiet, through) {
            (_, _, Some(Spoilt::Lost)) => Err(NoImpact::SamplesLost),
            (_, _, Some(Spoilt::Limit)) => Err(NoImpact::RangeLimit),
            _ if bias_sd > BIAS_SD_MAX_RAD_S => Err(NoImpact::BiasUncertain(bias_sd)),
            (Some(i), Some(_), None) => Ok(at(i)),
            _ => Err(NoImpact::NotQuietAfter),
        },
    })
}

/// Instants to be read along the way, in the order they were asked for.
#[derive(Default)]
struct Wanted(Vec<f64>);

impl Wanted {
    fn at(&mut self, t_s: f64) -> usize {
        self.0.push(t_s);
        self.0.len() - 1
    }
}

enum Spoilt {
    Lost,
    Limit,
}

/// Whether the samples between two times can be integrated.
fn spoilt(pelvis: &SegmentWindow, from_s: f64, to_s: f64, hole_s: f64) -> Option<Spoilt> {
    let (lo, hi) = (pelvis.index(from_s).max(1), (pelvis.index(to_s) + 1).min(pelvis.t_s.len()));
    if lo >= hi || (lo..hi).any(|i| pelvis.t_s[i] - pelvis.t_s[i - 1] > hole_s.max(1.5 * pelvis.period_s)) {
        return Some(Spoilt::Lost);
    }
    (pelvis.clipped(from_s, to_s) > 0).then_some(Spoilt::Limit)
}

/// How fast the strap moved along the ground at address by the fit (RMS), m/s.
fn address_drift(track: &Track, solution: &Solution, still: &[usize]) -> f64 {
    let up = track.gravity.normalize();
    let along = |v: Vector3<f64>| (v - up * v.dot(&up)).norm_squared();
    let sum: f64 = still.iter().map(|i| along(solution.speed(&track.moments[*i]))).sum();
    (sum / still.len() as f64).sqrt()
}

/// Directions at address, and what the hips' shift since then is read with.
struct View<'a> {
    solution: &'a Solution,
    /// Rows: towards the target, towards the ball, up; in the track's frame.
    directions: Matrix3<f64>,
    zero: Moment,
    heading_sd_rad: f64,
    handedness: Handedness,
}

impl<'a> View<'a> {
    fn new(
        track: &Track,
        zero: &[usize],
        solution: &'a Solution,
        heading_sd_rad: f64,
        handedness: Handedness,
    ) -> Self {
        let zero = Moment::mean(zero.iter().map(|i| &track.moments[*i]));
        let up = track.gravity.normalize();
        let ahead: Vector3<f64> = zero.turned.column(0).into();
        let ball = (ahead - up * ahead.dot(&up)).normalize();
        let target = up.cross(&ball) * handedness.sign();
        let directions = Matrix3::from_rows(&[target.transpose(), ball.transpose(), up.transpose()]);
        Self { solution, directions, zero, heading_sd_rad, handedness }
    }

    fn at(&self, moment: &Moment, hips: &Hips) -> At {
        let half_width = hips.half_width_m * self.handedness.sign();
        At {
            mid_hips: self.shift(moment, hips.lever_m, [hips.lever_sd_m; 3]),
            trail_hip: self.shift(
                moment,
                hips.lever_m + Vector3::z() * half_width,
                [hips.lever_sd_m, hips.lever_sd_m, hips.lever_sd_m.hypot(hips.half_width_sd_m)],
            ),
        }
    }

    /// Shift of the point at the end of `lever_m` from the strap.
    fn shift(&self, moment: &Moment, lever_m: Vector3<f64>, lever_sd_m: [f64; 3]) -> Shift {
        let turned = moment.turned - self.zero.turned;
        let path = self.solution.place(moment) - self.solution.place(&self.zero);
        let [towards, ball, up]: [f64; 3] = (self.directions * (path + turned * lever_m)).into();
        let target = self.directions.row(0);
        let by_path = target * (moment.by_place - self.zero.by_place);
        let path_var = (by_path * self.solution.covariance() * by_path.transpose())[0];
        let by_lever = target * turned;
        let [x, y, z]: [f64; 3] = std::array::from_fn(|i| by_lever[i] * lever_sd_m[i]);
        Shift {
            towards_m: towards,
            own_sd_m: path_var.sqrt().hypot(self.heading_sd_rad * ball).hypot(TILT_SD_RAD * up),
            shared_m: [x, y, z, SKIN_SD_M * turned.norm().min(1.0)],
        }
    }
}
