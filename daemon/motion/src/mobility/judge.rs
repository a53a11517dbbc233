//! What was not as asked.

use super::find::Found;
use super::track::Track;
use super::{Performance, StrapTurn, round};
use peakorder_protocol::Role;
use peakorder_protocol::mobility::{MobilityCheck, NotAsAsked, Posture, REPETITIONS, Side};

/// A hole in the samples longer than this cannot be bridged, s.
const HOLE_S: f64 = 0.25;
/// Drift beyond this is no longer taken out on trust, deg/s. Own judgement: at rest a
/// gyroscope's bias is known to a twentieth of it.
const DRIFT_MAX_DPS: f64 = 1.0;
/// Come back within this, or within what the bias explains, the start position was taken again, deg.
const BACK_DEG: f64 = 8.0;
/// Seated, the pelvis stays within this, or within this share of the thorax's turn, deg. Own
/// judgement: beyond it the turn is no longer the trunk's own.
const SEATED_DEG: f64 = 8.0;
const SEATED_SHARE: f64 = 0.25;

/// What the marks leave open.
pub(super) fn marks(performance: &Performance, check: &mut MobilityCheck) {
    if performance.posture.is_none() {
        check.repeat.push(NotAsAsked::PostureNotSaid);
    }
    if !performance.end_marked {
        check.repeat.push(NotAsAsked::EndNotMarked);
    }
}

/// The strap worn at `role`, if it can be measured with.
pub(super) fn strap(performance: &Performance, role: Role) -> Result<&StrapTurn, NotAsAsked> {
    let strap = performance.strap(role).ok_or(NotAsAsked::NoStrap { role })?;
    let mounting = strap.mounting.ok_or(NotAsAsked::NotCalibrated { role })?;
    let age_s = performance.from_s - mounting.at_s;
    if age_s > performance.calibration_valid_s {
        return Err(NotAsAsked::CalibrationStale { role, age_h: round(age_s / 3600.0) });
    }
    if strap.restarted {
        return Err(NotAsAsked::Restarted { role });
    }
    let edges = [performance.from_s, performance.to_s];
    let mut times = vec![edges[0]];
    times.extend_from_slice(&strap.t_s);
    times.push(edges[1]);
    let hole_s = times.windows(2).fold(0.0_f64, |m, w| m.max(w[1] - w[0]));
    if strap.t_s.len() < 20 || hole_s > HOLE_S {
        return Err(NotAsAsked::SamplesMissing { role, longest_s: round(hole_s) });
    }
    if strap.clipped > 0 {
        return Err(NotAsAsked::RangeLimit { role, samples: strap.clipped });
    }
    Ok(strap)
}

/// Enough turns, back at the start, and no drift beyond trust.
pub(super) fn turns(check: &mut MobilityCheck, found: &Found, thorax: &Track, bias_sd: f64) {
    for side in Side::ALL {
        let seen = found.turns.iter().filter(|t| t.side == side).count();
        if seen < REPETITIONS {
            check.repeat.push(NotAsAsked::TooFewTurns { side, seen: seen as u32 });
        }
    }
    // The attitude is latched anew at every still position, but all of them could be elsewhere.
    let left_over = if thorax.left_over_deg().abs() > found.left_over_deg.abs() {
        thorax.left_over_deg()
    } else {
        found.left_over_deg
    };
    returned(check, Role::Thorax, left_over, thorax.seconds(), bias_sd);
}

/// The pelvis: back at the start, and seated still.
pub(super) fn pelvis(check: &mut MobilityCheck, found: &Found, pelvis: &Track, bias_sd: f64) {
    returned(check, Role::Pelvis, pelvis.left_over_deg(), pelvis.seconds(), bias_sd);
    if check.posture != Some(Posture::Seated) {
        return;
    }
    let thorax =
        Side::ALL.into_iter().filter_map(|s| Some(check.side(s)?.thorax.largest_deg)).fold(0.0_f64, f64::max);
    let turned = if found.turns.is_empty() { 0.0 } else { pelvis.largest_deg() };
    if turned > SEATED_DEG.max(SEATED_SHARE * thorax) {
        check.repeat.push(NotAsAsked::PelvisTurned { pelvis_deg: round(turned) });
    }
}

fn returned(check: &mut MobilityCheck, role: Role, left_over_deg: f64, seconds: f64, bias_sd: f64) {
    let deg = left_over_deg.abs();
    let explained = 3.0 * bias_sd.to_degrees() * seconds;
    let dps = deg / seconds.max(1e-6);
    if deg > BACK_DEG && deg > explained {
        check.repeat.push(NotAsAsked::NotReturned { role, left_over_deg: round(deg) });
    } else if dps > DRIFT_MAX_DPS {
        check.repeat.push(NotAsAsked::Drifting { role, drift_dps: round(dps) });
    }
}
