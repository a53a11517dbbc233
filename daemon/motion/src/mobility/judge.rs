//! What was not as asked, and what to repeat.

use super::find::Found;
use super::track::Track;
use super::{Performance, StrapTurn};
use peakorder_protocol::Role;
use peakorder_protocol::mobility::{MobilityCheck, Posture, REPETITIONS, Side};

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
        check.repeat.push(
            "the start mark says neither seated nor standing, so it can be compared with no other day; \
             say which with the mark, then repeat the turns"
                .into(),
        );
    }
    if !performance.end_marked {
        check.repeat.push(
            "the turns were not ended with a turn-end mark; mark the end after holding still, then repeat the turns"
                .into(),
        );
    }
}

/// The strap worn at `role`, if it can be measured with.
pub(super) fn strap(performance: &Performance, role: Role) -> Result<&StrapTurn, String> {
    let Some(strap) = performance.strap(role) else {
        return Err(format!("there is no {role} strap; the turn is measured with a strap on the thorax"));
    };
    let Some(alignment) = strap.mounting else {
        return Err(format!(
            "the {role} strap is not calibrated; do the still position and the two bows, then repeat the turns"
        ));
    };
    let age_s = performance.from_s - alignment.at_s;
    if age_s > performance.calibration_valid_s {
        return Err(format!(
            "the calibration of the {role} strap is {:.1} h old; repeat the still position and the two bows, then the turns",
            age_s / 3600.0
        ));
    }
    if strap.restarted {
        return Err(format!(
            "the {role} strap started anew meanwhile; check its battery, then repeat the turns"
        ));
    }
    let edges = [performance.from_s, performance.to_s];
    let mut times = vec![edges[0]];
    times.extend_from_slice(&strap.t_s);
    times.push(edges[1]);
    let hole_s = times.windows(2).fold(0.0_f64, |m, w| m.max(w[1] - w[0]));
    if strap.t_s.len() < 20 || hole_s > HOLE_S {
        return Err(format!(
            "{hole_s:.1} s of the {role} strap's samples are missing; come closer to the receiver, then repeat the turns"
        ));
    }
    if strap.clipped > 0 {
        return Err(format!(
            "the {role} strap was at the limit of its range ({} samples); turn more slowly, then repeat the turns",
            strap.clipped
        ));
    }
    Ok(strap)
}

/// Enough turns, back at the start, and no drift beyond trust.
pub(super) fn turns(check: &mut MobilityCheck, found: &Found, thorax: &Track, bias_sd: f64) {
    for side in Side::ALL {
        let n = found.turns.iter().filter(|t| t.side == side).count();
        if n < REPETITIONS {
            check.repeat.push(format!(
                "{n} of {REPETITIONS} turns to the {side} seen; repeat with {REPETITIONS} to each side, as far as is comfortable, back to the start position after each"
            ));
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
        check.repeat.push(format!(
            "the pelvis turned along by {turned:.0}° although seated; sit with both feet on the ground and the knees still, then repeat the turns"
        ));
    }
}

fn returned(check: &mut MobilityCheck, role: Role, left_over_deg: f64, seconds: f64, bias_sd: f64) {
    let deg = left_over_deg.abs();
    let explained = 3.0 * bias_sd.to_degrees() * seconds;
    let dps = deg / seconds.max(1e-6);
    if deg > BACK_DEG && deg > explained {
        check.repeat.push(format!(
            "the {role} ended {deg:.0}° from where it began, more than drift explains; come back to the start position before the end mark, then repeat the turns"
        ));
    } else if dps > DRIFT_MAX_DPS {
        check.repeat.push(format!(
            "the {role} strap is still drifting ({dps:.1} deg/s); keep it at rest for five seconds, then repeat the turns"
        ));
    }
}
