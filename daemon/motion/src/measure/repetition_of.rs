//! The file of one repetition: angles where it was furthest back and furthest through, and how long it took.

use super::angles_of::open;
use super::deviation::{Deviation, Deviations, Sources};
use super::skin::Skins;
use super::{Part, instant, round, stated};
use crate::path::SegmentPath;
use crate::repetition::{Found, When};
use crate::settings::Settings;
use crate::shake::Worn;
use crate::window::Window;
use peakorder_protocol::Role;
use peakorder_protocol::repetition::{
    PelvisShare, Repetition, RepetitionAngle, RepetitionEvents, RepetitionKind, RepetitionSegment,
    RepetitionSeparation, RepetitionTempo,
};
use peakorder_protocol::swing::{self, Note, Quality, Reason, SEPARATION_METHOD, Withheld, Withholding};
use std::collections::BTreeMap;

/// A hold is steady or not once it lasts this long, s.
const HOLD_FROM_S: f64 = 0.3;
/// A share of a smaller turn means nothing, deg.
const SHARE_FROM_DEG: f64 = 15.0;

/// What is known of the repetition besides its samples.
pub(crate) struct Of<'a> {
    /// Session id.
    pub(crate) session: &'a str,
    /// Number in the session.
    pub(crate) number: u32,
    /// Label of its block.
    pub(crate) block: &'a str,
    /// How often the straps were put on again before.
    pub(crate) wearing: u32,
    /// Settings.
    pub(crate) settings: &'a Settings,
    /// How each strap is worn, by the role's index.
    pub(crate) worn: &'a [Worn; 3],
}

struct Measured<'a> {
    part: &'a Part<'a>,
    sources: Sources<'a>,
}

impl Measured<'_> {
    fn turn(&self, t_s: f64) -> Option<f64> {
        self.part.path.at(&self.part.path.turn_deg, t_s)
    }
}

/// Measures one repetition. `paths` are those of `window`'s segments that cover it.
pub(crate) fn repetition(window: &Window, paths: Vec<SegmentPath>, found: &Found, of: &Of<'_>) -> Repetition {
    let parts: Vec<Part<'_>> = paths
        .into_iter()
        .filter_map(|path| {
            let window = window.get(path.role)?;
            Some(Part {
                window,
                path,
                reversal: None,
                peak: None,
                impact_decides: false,
                resultant_peak: None,
            })
        })
        .collect();
    let quality = quality(&parts, window, found, of);
    let withheld = |role| quality.withheld.iter().any(|w| w.what == Withholding::Angles(role));
    let measured: Vec<Measured<'_>> = parts
        .iter()
        .filter(|p| !withheld(p.window.role))
        .filter_map(|part| {
            Some(Measured { part, sources: Sources::new(part, window.handedness, found.address_s[1])? })
        })
        .collect();
    let skins = Skins(of.worn);
    let clock_sd_s = quality.clock_sd_ms * 1e-3;
    let trunk = if parts.iter().any(|p| p.window.role == Role::Thorax) { Role::Thorax } else { Role::Pelvis };
    let segments: BTreeMap<Role, RepetitionSegment> = parts
        .iter()
        .map(|part| {
            let role = part.window.role;
            let clock_sd_s = if role == trunk { 0.0 } else { clock_sd_s };
            let is_trunk = role == trunk;
            let at = measured.iter().find(|m| m.part.window.role == role);
            (
                role,
                at.map_or_else(RepetitionSegment::default, |m| {
                    segment(m, is_trunk, found, clock_sd_s, skins)
                }),
            )
        })
        .collect();
    let both = |role| measured.iter().find(|m| m.part.window.role == role);
    let turned = both(Role::Pelvis)
        .zip(both(Role::Thorax))
        .and_then(|(pelvis, thorax)| turns(pelvis, thorax, found, clock_sd_s, skins));
    let time_sd_s = skins.skin(trunk).time_sd_s;
    let bone = |when: When| swing::Instant {
        bone_sd_ms: stated(when.sd_s.hypot(time_sd_s) * 1e3, 3),
        ..instant(when.t_s, when.sd_s)
    };
    Repetition {
        schema: swing::SCHEMA.into(),
        session: of.session.into(),
        number: of.number,
        block: of.block.into(),
        wearing: of.wearing,
        handedness: window.handedness,
        kind: RepetitionKind::Repetition,
        events: RepetitionEvents {
            takeaway: bone(found.takeaway),
            top: bone(found.top.at),
            through: found.through.map(|through| bone(through.at)),
            finish: instant(found.finish.t_s, found.finish.sd_s),
        },
        separation: turned.map(separation),
        pelvis_share: turned.and_then(share),
        segments,
        tempo: tempo(found, both(trunk)),
        angle_order: swing::ANGLE_ORDER.into(),
        bone_prior: swing::BONE_PRIOR.into(),
        quality,
    }
}

fn segment(
    m: &Measured<'_>,
    is_trunk: bool,
    found: &Found,
    clock_sd_s: f64,
    skins: Skins<'_>,
) -> RepetitionSegment {
    let path = &m.part.path;
    let skin = skins.skin(m.part.window.role);
    let address_s = found.zero_s.min(found.takeaway.t_s);
    let set = |series: &[f64], of: fn(&Deviations) -> Deviation, is_turn: bool| {
        let sway = path.sway(series);
        let zero = if is_turn { sway } else { 0.0 };
        let followed = if is_turn { skin.turn } else { skin.tilt };
        let at = |t: f64| path.at(series, t);
        let told = |when: When| -> Option<(f64, f64, Option<f64>)> {
            // What is at its extreme is that whenever it was.
            let moment =
                if is_turn && is_trunk { 0.0 } else { open(at, when.t_s, when.sd_s.hypot(clock_sd_s))? };
            let sd = of(&m.sources.at(when.t_s)).sd_deg().hypot(zero).hypot(moment);
            let value = at(when.t_s)?;
            Some((round(value, 3), round(sd, 3), stated(sd.hypot(followed.sd_deg(value)), 3)))
        };
        let (top, sd, bone_sd) = told(found.top.read)?;
        let through = found.through.and_then(|through| told(through.read));
        Some(RepetitionAngle {
            address: round(if is_turn { 0.0 } else { at(address_s)? }, 3),
            top,
            sd,
            bone_sd,
            through: through.map(|t| t.0),
            through_sd: through.map(|t| t.1),
            through_bone_sd: through.and_then(|t| t.2),
        })
    };
    RepetitionSegment {
        turn_deg: set(&path.turn_deg, |d| d.turn, true),
        lateral_tilt_deg: set(&path.lateral_deg, |d| d.lateral, false),
        flexion_deg: set(&path.flexion_deg, |d| d.flexion, false),
    }
}

/// A turn with the standard uncertainties of strap and skin, deg.
type Turned = (f64, f64, f64);

/// Turns of pelvis and thorax where the thorax was furthest back, with standard uncertainties of strap and skin.
fn turns(
    pelvis: &Measured<'_>,
    thorax: &Measured<'_>,
    found: &Found,
    clock_sd_s: f64,
    skins: Skins<'_>,
) -> Option<[Turned; 2]> {
    let one = |m: &Measured<'_>| {
        let role = m.part.window.role;
        let value = m.turn(found.top.read.t_s)?;
        let when_sd_s = found.top.read.sd_s.hypot(if role == Role::Thorax { 0.0 } else { clock_sd_s });
        let at_extreme = role == Role::Thorax;
        let moment = if at_extreme { 0.0 } else { open(|t| m.turn(t), found.top.read.t_s, when_sd_s)? };
        let sd = m
            .sources
            .at(found.top.read.t_s)
            .turn
            .sd_deg()
            .hypot(m.part.path.sway(&m.part.path.turn_deg))
            .hypot(moment);
        Some((value, sd, skins.skin(role).turn.sd_deg(value)))
    };
    Some([one(pelvis)?, one(thorax)?])
}

fn separation([(p, p_sd, p_skin), (t, t_sd, t_skin)]: [Turned; 2]) -> RepetitionSeparation {
    let sd = p_sd.hypot(t_sd);
    RepetitionSeparation {
        top_deg: round(t - p, 3),
        sd_deg: round(sd, 3),
        bone_sd_deg: stated(sd.hypot(p_skin).hypot(t_skin), 3),
        method: SEPARATION_METHOD.into(),
    }
}

fn share([(p, p_sd, p_skin), (t, t_sd, t_skin)]: [Turned; 2]) -> Option<PelvisShare> {
    if t > -SHARE_FROM_DEG {
        return None;
    }
    let top = p / t;
    let joined = |p_sd: f64, t_sd: f64| p_sd.hypot(top * t_sd) / t.abs();
    let (sd, skin) = (joined(p_sd, t_sd), joined(p_skin, t_skin));
    Some(PelvisShare { top: round(top, 4), sd: round(sd, 4), bone_sd: stated(sd.hypot(skin), 4) })
}

fn tempo(found: &Found, trunk: Option<&Measured<'_>>) -> RepetitionTempo {
    let [from, to] = found.held;
    let hold_s = to.t_s - from.t_s;
    let hold_sway_deg = trunk.filter(|_| hold_s >= HOLD_FROM_S).map(|m| {
        let path = &m.part.path;
        let held = &path.turn_deg[path.index(from.t_s)..path.index(to.t_s)];
        let mean = held.iter().sum::<f64>() / held.len() as f64;
        round((held.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / held.len() as f64).sqrt(), 3)
    });
    RepetitionTempo {
        back_s: round(from.t_s - found.takeaway.t_s, 4),
        back_sd_s: round(from.sd_s.hypot(found.takeaway.sd_s), 4),
        hold_s: round(hold_s, 4),
        hold_sway_deg,
        forward_s: round(found.forward.t_s - to.t_s, 4),
        forward_sd_s: round(found.forward.sd_s.hypot(to.sd_s), 4),
    }
}

fn quality(parts: &[Part<'_>], window: &Window, found: &Found, of: &Of<'_>) -> Quality {
    let (from_s, to_s) = (found.takeaway.t_s, found.finish.t_s);
    let (mut withheld, mut notes) = (Vec::new(), Vec::new());
    for segment in &window.segments {
        if !parts.iter().any(|p| p.window.role == segment.role) {
            withheld.push(Withheld { what: Withholding::Segment(segment.role), why: Reason::TooFewSamples });
        }
    }
    for part in parts {
        let role = part.window.role;
        let why = match part.window.mounting {
            None => Some(Reason::NotCalibrated),
            Some(m) if from_s - m.at_s > of.settings.calibration_valid_s => Some(Reason::CalibrationStale),
            Some(_) => None,
        };
        withheld.extend(why.map(|why| Withheld { what: Withholding::Angles(role), why }));
        if let Some(doubt) = part.window.clock.uncertain.filter(|_| !part.window.clock.settling) {
            let clock_sd_ms = round(part.window.clock.sd_s * 1e3, 3);
            notes.push(Note::ClockUncertain { role, clock_sd_ms, doubt });
        }
    }
    let clock_sd_s = parts.iter().map(|p| p.window.clock.sd_s).fold(0.0, f64::max);
    Quality {
        usable: parts.iter().any(|p| !withheld.iter().any(|w| w.what == Withholding::Angles(p.window.role))),
        withheld,
        notes,
        lost_samples: parts.iter().map(|p| p.window.lost(found.address_s[0], to_s)).sum(),
        clipped_samples: parts.iter().map(|p| p.window.clipped(found.address_s[0], to_s)).sum(),
        clock_sd_ms: round(if parts.len() > 1 { clock_sd_s * 2_f64.sqrt() } else { 0.0 } * 1e3, 3),
    }
}
