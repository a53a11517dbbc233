//! The mobility check: how far the trunk turns to either side, and how much of it the pelvis did.
//!
//! Between two marks the player, arms crossed, holds a start position, turns to either side
//! as far as is comfortable, three times each, and comes to rest at the start position. Where
//! pelvis and thorax are still there, gravity gives the attitude anew; between two such still
//! positions the gyroscope alone carries it, and what is left over at the second one is taken
//! out in proportion to time and reported. The check judges itself: what was not as asked has
//! to be repeated.
//!
//! Angles are the axial ones of a Y–X–Z decomposition; + = to the player's left (right-hand
//! rule about the cranial axis), for left- and right-handed players alike.

mod find;
mod judge;
mod recorder;
mod summary;
mod track;

#[cfg(test)]
mod pipeline_tests;
#[cfg(test)]
mod tests;

pub use recorder::Turns;

use super::calibrate::Mounting;
use nalgebra::Vector3;
use peakorder_protocol::mobility::{Drift, MobilityCheck, MobilityNote, NotAsAsked, Posture};
use peakorder_protocol::profile::SampleIs;
use peakorder_protocol::{Handedness, Role};
use track::Track;

/// One strap's samples between the two marks.
#[derive(Debug, Clone)]
pub struct StrapTurn {
    /// Pelvis or thorax.
    pub role: Role,
    /// Session times, s, ascending.
    pub t_s: Vec<f64>,
    /// Rate, bias taken off, rad/s; segment frame if aligned, else of no use.
    pub gyro: Vec<Vector3<f64>>,
    /// Specific force, m/s²; same frame.
    pub acc: Vec<Vector3<f64>>,
    /// Calibration in force.
    pub mounting: Option<Mounting>,
    /// Standard uncertainty of the bias about the segment's long axis (while not calibrated, about the least
    /// certain one), rad/s.
    pub bias_sd: f64,
    /// What a sample stands for.
    pub sample_is: SampleIs,
    /// Samples at the sensor's limit.
    pub clipped: u32,
    /// The strap's clock started anew in between; what came before was dropped.
    pub restarted: bool,
}

/// What a check is made of.
#[derive(Debug, Clone)]
pub struct Performance {
    /// 1-based number in the session.
    pub number: u32,
    /// What the start mark said.
    pub posture: Option<Posture>,
    /// Side the player swings from.
    pub handedness: Handedness,
    /// Session time of the start mark, s.
    pub from_s: f64,
    /// Session time of the end mark, s.
    pub to_s: f64,
    /// Was there an end mark?
    pub end_marked: bool,
    /// Calibration older than this is stale, s.
    pub calibration_valid_s: f64,
    /// Pelvis and thorax, as far as the session has them.
    pub straps: Vec<StrapTurn>,
}

impl Performance {
    /// One strap's part.
    pub fn strap(&self, role: Role) -> Option<&StrapTurn> {
        self.straps.iter().find(|s| s.role == role)
    }
}

/// Measures one check. Always gives one: what could not be measured is absent from it, and
/// its `repeat` says why.
pub fn measure(performance: &Performance) -> MobilityCheck {
    let mut check = MobilityCheck {
        number: performance.number,
        posture: performance.posture,
        start_s: round(performance.from_s),
        end_s: round(performance.to_s),
        ok: false,
        repeat: Vec::new(),
        notes: Vec::new(),
        left: None,
        right: None,
        thorax_balance: None,
        thorax_on_pelvis_balance: None,
        drift: None,
    };
    judge::marks(performance, &mut check);
    if let Err(why) = measured(performance, &mut check) {
        check.repeat.push(why);
    }
    check.ok = check.repeat.is_empty();
    check
}

fn measured(performance: &Performance, check: &mut MobilityCheck) -> Result<(), NotAsAsked> {
    let thorax = judge::strap(performance, Role::Thorax)?;
    let pelvis = match judge::strap(performance, Role::Pelvis) {
        Ok(strap) => Some(strap),
        Err(why) => {
            if performance.strap(Role::Pelvis).is_some() {
                check.repeat.push(why);
            } else {
                check.notes.push(MobilityNote::NoPelvisStrap);
            }
            None
        }
    };
    let found = find::find(thorax)?;
    let thorax_track = Track::new(thorax, &found.stills).ok_or(NotAsAsked::StillNotRead)?;
    let pelvis_track = pelvis.and_then(|p| Track::new(p, &found.stills));
    check.drift = Some(drift(&thorax_track, pelvis_track.as_ref()));
    summary::fill(check, performance.handedness, &found, &thorax_track, pelvis_track.as_ref());
    judge::turns(check, &found, &thorax_track, thorax.bias_sd);
    if let (Some(track), Some(strap)) = (&pelvis_track, pelvis) {
        judge::pelvis(check, &found, track, strap.bias_sd);
    }
    Ok(())
}

fn drift(thorax: &Track, pelvis: Option<&Track>) -> Drift {
    Drift {
        still_positions: thorax.stills.len() as u32,
        thorax_dps: round(thorax.drift_dps()),
        thorax_largest_deg: round(thorax.largest_step_deg()),
        pelvis_dps: pelvis.map(|p| round(p.drift_dps())),
        pelvis_largest_deg: pelvis.map(|p| round(p.largest_step_deg())),
    }
}

/// To a thousandth, so that files stay readable.
fn round(value: f64) -> f64 {
    peakorder_protocol::estimate::round(value, 3)
}

/// Mean of a part of a series; NaN-free because the part is never empty.
fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len().max(1) as f64
}
