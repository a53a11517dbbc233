//! From phases to the swing file: every number of one swing.

mod angles_of;
mod arm_of;
mod arm_pose;
mod backswing_of;
mod curves_of;
mod deviation;
mod drift;
mod hip_shift_of;
mod holes;
mod impact_of;
mod quality_of;
pub(crate) mod repetition_of;
mod sequence_of;
mod skin;
mod speed_of;
mod tempo_of;

#[cfg(test)]
mod strike_tests;

pub use curves_of::curves;

use super::calibrate::Mounting;
use super::calibrate::slip::Moved;
use super::detect::phases::Phases;
use super::path::SegmentPath;
use super::sequence::peak::half_width_s;
use super::sequence::reversal::Reversal;
use super::sequence::width::Told;
use super::settings::Settings;
use super::shake::Worn;
use super::shift::hips::Hips;
use super::window::{SegmentWindow, Window};
use impact_of::FoundImpact;
pub(crate) use peakorder_protocol::estimate::{round, stated};
use peakorder_protocol::swing::{self, Events, Evidence, Impact, Instant, Swing, SwingKind};
use peakorder_protocol::{Handedness, Role};
use std::collections::BTreeMap;

/// What the pipeline knows of the swing besides its samples.
#[derive(Debug, Clone)]
pub struct Context<'a> {
    /// Session id.
    pub session: &'a str,
    /// Number in the session.
    pub number: u32,
    /// Block label.
    pub block: &'a str,
    /// How often the straps were put on again before.
    pub wearing: u32,
    /// Settings.
    pub settings: &'a Settings,
    /// Straps whose gravity at address no longer agrees.
    pub moved: &'a [(Role, Moved)],
    /// The player's hips.
    pub hips: &'a Hips,
    /// How each strap is worn, by the role's index.
    pub worn: &'a [Worn; 3],
}

/// One segment while a swing is being measured.
#[derive(Debug, Clone)]
pub struct Part<'a> {
    /// Its samples.
    pub window: &'a SegmentWindow,
    /// Its path.
    pub path: SegmentPath,
    /// Reversal.
    pub reversal: Option<Reversal>,
    /// Peak of its own speed.
    pub peak: Option<Told>,
    /// Whether there is a peak at all depends on when impact was, within its uncertainty.
    pub impact_decides: bool,
    /// Peak of the magnitude.
    pub resultant_peak: Option<Told>,
}

/// A swing with what its curves are drawn from.
pub struct Measured<'a> {
    /// The swing.
    pub swing: Swing,
    /// Its segments, proximal to distal.
    pub parts: Vec<Part<'a>>,
}

/// Scale error of consumer gyroscopes, share of the angle turned (own judgement: data sheets
/// give 0.5–1 %).
const GYRO_SCALE_SD: f64 = 0.007;

pub(crate) fn instant(t_s: f64, sd_s: f64) -> Instant {
    Instant { t_s: round(t_s, 6), sd_ms: round(sd_s * 1e3, 3), bone_sd_ms: None }
}

/// Paths of all segments that cover the swing.
pub fn follow<'a>(window: &'a Window, phases: &Phases) -> Vec<Part<'a>> {
    window
        .segments
        .iter()
        .filter(|s| s.covers(phases.address_from_s, phases.finish_s) && s.reaches(phases.finish_s))
        .filter_map(|segment| {
            let path = SegmentPath::new(
                segment,
                window.handedness,
                [phases.address_from_s, phases.address_to_s],
                phases.takeaway.at_s,
                phases.finish_s + 0.1,
            )?;
            Some(Part {
                window: segment,
                path,
                reversal: None,
                peak: None,
                impact_decides: false,
                resultant_peak: None,
            })
        })
        .collect()
}

/// Standard uncertainty of a mounting about the long axis, deg.
fn turn_sd_deg(mounting: Mounting) -> f64 {
    (mounting.sd_deg.powi(2) - mounting.long_axis_sd_deg.powi(2)).max(0.0).sqrt()
}

/// The instants of the swing that numbers are read at.
struct When<'a> {
    phases: &'a Phases,
    top: Reversal,
    /// Segment whose reversal is the top.
    top_of: Role,
    impact: FoundImpact,
    handedness: Handedness,
    /// Standard uncertainty of two straps' alignment, the worst pair, s.
    clock_sd_s: f64,
}

/// Measures one swing. `parts` come from [`follow`].
pub fn measure<'a>(
    window: &Window,
    mut parts: Vec<Part<'a>>,
    phases: &Phases,
    context: &Context<'_>,
) -> Measured<'a> {
    let half_s = parts.iter().map(|p| half_width_s(p.window.period_s)).fold(0.0, f64::max);
    let found = impact_of::impact(&mut parts, phases, half_s);
    sequence_of::reversals_and_peaks(&mut parts, phases, &found, half_s);

    let by_role = |role: Role| parts.iter().find(|p| p.window.role == role);
    let trunk = if by_role(Role::Thorax).is_some() { Role::Thorax } else { Role::Pelvis };
    let (downswing_from, top) = [Role::LeadArm, Role::Thorax, Role::Pelvis]
        .into_iter()
        .find_map(|role| Some((role, by_role(role)?.reversal?)))
        .unwrap_or((trunk, Reversal { t_s: phases.trunk_reversal_s, sd_s: 0.02 }));
    let (sequence, clock_sd_s) = sequence_of::sequence(&parts);
    let mut quality = quality_of::quality(&parts, window, phases, context, &found.impact, clock_sd_s);
    let when = When {
        phases,
        top,
        top_of: downswing_from,
        impact: found.impact,
        handedness: window.handedness,
        clock_sd_s,
    };
    let mut segments = BTreeMap::new();
    for part in &parts {
        let mut segment =
            sequence_of::segment(part, phases.onsets[part.window.role.index()], found.impact.t_s);
        speed_of::fill(&mut segment, part, &found.impact);
        angles_of::fill(&mut segment, part, &when);
        segments.insert(part.window.role, segment);
    }
    let separation = angles_of::separation(&parts, &when);
    let lead_arm = arm_of::lead_arm(&parts, &segments, &when);
    quality.withheld.extend(lead_arm.withheld);
    let (hip_shift, not_told) = hip_shift_of::hip_shift(&parts, &when, context.hips);
    quality.withheld.extend(not_told);
    let mut swing = Swing {
        schema: swing::SCHEMA.into(),
        session: context.session.into(),
        number: context.number,
        block: context.block.into(),
        wearing: context.wearing,
        handedness: window.handedness,
        kind: match found.impact.evidence {
            Evidence::ArmShock | Evidence::TrunkShock => SwingKind::Strike,
            Evidence::Estimated => SwingKind::Unsure,
            Evidence::None => SwingKind::Rehearsal,
        },
        events: Events {
            takeaway: instant(phases.takeaway.at_s, phases.takeaway.sd_s),
            top: instant(top.t_s, top.sd_s),
            impact: Impact {
                t_s: round(found.impact.t_s, 6),
                sd_ms: round(found.impact.sd_s * 1e3, 3),
                evidence: found.impact.evidence,
            },
            finish: instant(phases.finish_s, phases.finish_sd_s),
        },
        segments,
        sequence,
        separation,
        arm: lead_arm.at_top,
        backswing: lead_arm.backswing,
        hip_shift,
        tempo: tempo_of::tempo(&when),
        angle_order: swing::ANGLE_ORDER.into(),
        bone_prior: swing::BONE_PRIOR.into(),
        quality,
    };
    quality_of::withhold(&mut swing);
    skin::state(&mut swing, context.worn);
    Measured { swing, parts }
}
