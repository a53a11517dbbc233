//! The quantities that are summarised and compared: one list for every command.

use crate::order::short;
use crate::words;
use peakorder_protocol::Role;
use peakorder_protocol::swing::{AngleSet, Outcome, Segment, Swing};

/// A quantity of a swing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Measure {
    /// Time from the first segment's peak to the second's, ms.
    Gap(Role, Role),
    /// Peak before impact, ms.
    PeakBeforeImpact(Role),
    /// Speed at the peak, deg/s.
    PeakSpeed(Role),
    /// Speed at impact as a share of the peak, per cent.
    SpeedKept(Role),
    /// Takeaway to top, ms.
    Backswing,
    /// Top to impact, ms.
    Downswing,
    /// Backswing over downswing.
    TempoRatio,
    /// Turn at the top, degrees.
    TurnAtTop(Role),
    /// Turn at impact, degrees.
    TurnAtImpact(Role),
    /// Thorax turn minus pelvis turn at the top, degrees.
    SeparationAtTop,
    /// Its largest value, degrees.
    SeparationLargest,
    /// Its growth after the pelvis reversed, degrees.
    SeparationStretch,
    /// Lateral tilt at the top, degrees.
    TiltAtTop(Role),
    /// Flexion at impact minus flexion at address, degrees.
    FlexionChange(Role),
    /// Angle of the upper arm from hanging straight down, at the top, degrees.
    ArmElevationGravity,
    /// Angle of the upper arm from hanging along the thorax, at the top, degrees.
    ArmElevation,
    /// Angle of the upper arm across the chest, at the top, degrees.
    ArmAcross,
    /// Share of the lead arm's travel made by the thorax turn, per cent.
    ArmTurnShare,
}

/// Kind of quantity, for grouping on screen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Group {
    /// Gaps and peak times.
    Timing,
    /// Speeds.
    Speed,
    /// Durations.
    Tempo,
    /// Turns of the trunk.
    Turn,
    /// Tilt and flexion of the trunk.
    Posture,
    /// Thorax against pelvis.
    Separation,
    /// Lead arm against thorax.
    Arm,
}

/// A quantity's value in one swing.
#[derive(Debug, Clone, PartialEq)]
pub struct Value {
    /// In the measure's unit.
    pub value: f64,
    /// Standard uncertainty of the measurement, same unit; `None` where the swing file
    /// states none.
    pub sd: Option<f64>,
    /// How it is defined in this swing: values of different definition are never averaged.
    pub definition: String,
}

use Measure as M;
use Role::{LeadArm, Pelvis, Thorax};

impl Measure {
    /// All of them, in the order shown.
    pub const ALL: [Self; 30] = [
        M::Gap(Pelvis, Thorax),
        M::Gap(Thorax, LeadArm),
        M::Gap(Pelvis, LeadArm),
        M::PeakBeforeImpact(Pelvis),
        M::PeakBeforeImpact(Thorax),
        M::PeakBeforeImpact(LeadArm),
        M::PeakSpeed(Pelvis),
        M::PeakSpeed(Thorax),
        M::PeakSpeed(LeadArm),
        M::SpeedKept(Pelvis),
        M::SpeedKept(Thorax),
        M::SpeedKept(LeadArm),
        M::Backswing,
        M::Downswing,
        M::TempoRatio,
        M::TurnAtTop(Pelvis),
        M::TurnAtImpact(Pelvis),
        M::TurnAtTop(Thorax),
        M::TurnAtImpact(Thorax),
        M::SeparationAtTop,
        M::SeparationLargest,
        M::SeparationStretch,
        M::TiltAtTop(Pelvis),
        M::TiltAtTop(Thorax),
        M::FlexionChange(Pelvis),
        M::FlexionChange(Thorax),
        M::ArmElevationGravity,
        M::ArmElevation,
        M::ArmAcross,
        M::ArmTurnShare,
    ];

    /// The measure of that key.
    pub fn from_key(key: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|m| m.key() == key)
    }

    /// Stable name for programs, e.g. `gap_pelvis_thorax_ms`; ends in the unit.
    pub fn key(self) -> String {
        match self {
            M::Gap(a, b) => format!("gap_{}_{}_ms", a.key(), b.key()),
            M::PeakBeforeImpact(r) => format!("{}_peak_before_impact_ms", r.key()),
            M::PeakSpeed(r) => format!("{}_peak_speed_dps", r.key()),
            M::SpeedKept(r) => format!("{}_speed_kept_percent", r.key()),
            M::Backswing => "backswing_ms".into(),
            M::Downswing => "downswing_ms".into(),
            M::TempoRatio => "tempo_ratio".into(),
            M::TurnAtTop(r) => format!("{}_turn_top_deg", r.key()),
            M::TurnAtImpact(r) => format!("{}_turn_impact_deg", r.key()),
            M::SeparationAtTop => "separation_top_deg".into(),
            M::SeparationLargest => "separation_max_deg".into(),
            M::SeparationStretch => "separation_stretch_deg".into(),
            M::TiltAtTop(r) => format!("{}_lateral_tilt_top_deg", r.key()),
            M::FlexionChange(r) => format!("{}_flexion_change_deg", r.key()),
            M::ArmElevationGravity => "arm_elevation_gravity_top_deg".into(),
            M::ArmElevation => "arm_elevation_top_deg".into(),
            M::ArmAcross => "arm_across_chest_top_deg".into(),
            M::ArmTurnShare => "arm_turn_share_percent".into(),
        }
    }

    /// Name on screen, without the unit.
    pub fn label(self) -> String {
        match self {
            M::Gap(a, b) => format!("{} → {} gap", short(a), short(b)),
            M::PeakBeforeImpact(r) => format!("{} peak to impact", short(r)),
            M::PeakSpeed(r) => format!("{} peak speed", short(r)),
            M::SpeedKept(r) => format!("{} speed kept", short(r)),
            M::Backswing => "backswing".into(),
            M::Downswing => "downswing".into(),
            M::TempoRatio => "backswing / downswing".into(),
            M::TurnAtTop(r) => format!("{} turn at top", short(r)),
            M::TurnAtImpact(r) => format!("{} turn at impact", short(r)),
            M::SeparationAtTop => "separation at top".into(),
            M::SeparationLargest => "largest separation".into(),
            M::SeparationStretch => "separation stretch".into(),
            M::TiltAtTop(r) => format!("{} tilt at top", short(r)),
            M::FlexionChange(r) => format!("{} flexion change", short(r)),
            M::ArmElevationGravity => "arm elevation, gravity".into(),
            M::ArmElevation => "arm elevation, thorax".into(),
            M::ArmAcross => "arm across chest".into(),
            M::ArmTurnShare => "arm travel by turn".into(),
        }
    }

    /// Unit on screen; empty for a ratio.
    pub const fn unit(self) -> &'static str {
        match self {
            M::Gap(..) | M::PeakBeforeImpact(_) | M::Backswing | M::Downswing => "ms",
            M::PeakSpeed(_) => "°/s",
            M::SpeedKept(_) | M::ArmTurnShare => "%",
            M::TempoRatio => "",
            M::TurnAtTop(_)
            | M::TurnAtImpact(_)
            | M::SeparationAtTop
            | M::SeparationLargest
            | M::SeparationStretch
            | M::TiltAtTop(_)
            | M::FlexionChange(_)
            | M::ArmElevationGravity
            | M::ArmElevation
            | M::ArmAcross => "°",
        }
    }

    /// Digits after the point in a mean.
    pub const fn decimals(self) -> usize {
        match self {
            M::PeakSpeed(_) | M::SpeedKept(_) | M::Backswing | M::Downswing | M::ArmTurnShare => 0,
            M::TempoRatio => 2,
            _ => 1,
        }
    }

    /// Whether a sign tells a direction, so that `+` is printed too.
    pub const fn signed(self) -> bool {
        matches!(
            self,
            M::Gap(..)
                | M::TurnAtTop(_)
                | M::TurnAtImpact(_)
                | M::SeparationAtTop
                | M::SeparationLargest
                | M::SeparationStretch
                | M::TiltAtTop(_)
                | M::FlexionChange(_)
                | M::ArmAcross
        )
    }

    /// Kind of quantity.
    pub const fn group(self) -> Group {
        match self {
            M::Gap(..) | M::PeakBeforeImpact(_) => Group::Timing,
            M::PeakSpeed(_) | M::SpeedKept(_) => Group::Speed,
            M::Backswing | M::Downswing | M::TempoRatio => Group::Tempo,
            M::TurnAtTop(_) | M::TurnAtImpact(_) => Group::Turn,
            M::SeparationAtTop | M::SeparationLargest | M::SeparationStretch => Group::Separation,
            M::TiltAtTop(_) | M::FlexionChange(_) => Group::Posture,
            M::ArmElevationGravity | M::ArmElevation | M::ArmAcross | M::ArmTurnShare => Group::Arm,
        }
    }

    /// The value in one swing; `None` when it was not measured or is withheld.
    pub fn of(self, swing: &Swing) -> Option<Value> {
        let (value, sd, definition) = match self {
            M::Gap(from, to) => gap(swing, from, to)?,
            M::PeakBeforeImpact(role) => {
                let peak = swing.peak(role)?;
                let sd = peak.sd_ms.hypot(swing.events.impact.sd_ms);
                (peak.before_impact_ms, Some(sd), speed_definition(swing, role)?)
            }
            M::PeakSpeed(role) => (swing.peak(role)?.speed_dps, None, speed_definition(swing, role)?),
            M::SpeedKept(role) => {
                let segment = swing.segments.get(&role)?;
                // A speed still rising has no peak to be kept of.
                segment.peak.as_ref().filter(|p| p.outcome == Outcome::Peak)?;
                let kept = segment.speed_kept_at_impact? * 100.0;
                (kept, segment.speed_kept_sd.map(|sd| sd * 100.0), segment.speed_definition.clone())
            }
            M::Backswing | M::Downswing | M::TempoRatio => self.tempo(swing),
            M::TurnAtTop(role) => {
                let turn = turn(swing, role)?;
                (turn.top, Some(turn.sd), at_top(swing))
            }
            M::TurnAtImpact(role) => {
                let turn = turn(swing, role)?;
                (turn.impact, Some(turn.impact_sd.max(turn.sd)), swing.angle_order.clone())
            }
            M::SeparationAtTop => {
                let s = swing.separation.as_ref()?;
                (s.top_deg, Some(s.sd_deg), format!("{}; {}", s.method, at_top(swing)))
            }
            M::SeparationLargest => {
                let s = swing.separation.as_ref()?;
                (s.max_deg, Some(s.sd_deg), s.method.clone())
            }
            M::SeparationStretch => {
                let s = swing.separation.as_ref()?;
                (s.stretch_deg, Some(s.sd_deg), s.method.clone())
            }
            M::TiltAtTop(role) => {
                let tilt = swing.segments.get(&role)?.lateral_tilt_deg?;
                (tilt.top, Some(tilt.sd), at_top(swing))
            }
            M::FlexionChange(role) => {
                let flexion = swing.segments.get(&role)?.flexion_deg?;
                (flexion.impact - flexion.address, Some(flexion.sd), swing.angle_order.clone())
            }
            M::ArmElevationGravity | M::ArmElevation | M::ArmAcross | M::ArmTurnShare => self.arm(swing)?,
        };
        value.is_finite().then_some(Value { value, sd, definition })
    }

    fn arm(self, swing: &Swing) -> Option<(f64, Option<f64>, String)> {
        let arm = swing.arm.as_ref()?;
        let (value, sd) = match self {
            M::ArmElevationGravity => (arm.elevation_gravity_top_deg, Some(arm.elevation_gravity_sd_deg)),
            M::ArmElevation => (arm.elevation_top_deg?, arm.elevation_sd_deg),
            M::ArmAcross => (arm.across_chest_top_deg?, arm.across_chest_sd_deg),
            _ => (arm.turn_share_of_travel? * 100.0, arm.turn_share_sd.map(|sd| sd * 100.0)),
        };
        Some((value, sd, arm.method.clone()))
    }

    /// Durations with the uncertainty that the events give them.
    fn tempo(self, swing: &Swing) -> (f64, Option<f64>, String) {
        let tempo = &swing.tempo;
        let (start, top, impact) =
            (swing.events.takeaway.sd_ms, swing.events.top.sd_ms, swing.events.impact.sd_ms);
        let (back, down) = (tempo.backswing_s * 1e3, tempo.downswing_s * 1e3);
        let (value, sd) = match self {
            M::Backswing => (back, start.hypot(top)),
            M::Downswing => (down, top.hypot(impact)),
            // The top enters both durations with opposite sign, so its share adds up.
            _ => (
                tempo.ratio,
                ((start / down).powi(2)
                    + (top * (back + down) / down.powi(2)).powi(2)
                    + (impact * back / down.powi(2)).powi(2))
                .sqrt(),
            ),
        };
        (value, Some(sd).filter(|s| s.is_finite()), words::top(tempo.downswing_from))
    }
}

fn gap(swing: &Swing, from: Role, to: Role) -> Option<(f64, Option<f64>, String)> {
    let definition = format!("{} / {}", speed_definition(swing, from)?, speed_definition(swing, to)?);
    swing.sequence.gaps.iter().find_map(|g| {
        if (g.from, g.to) == (from, to) {
            Some((g.gap_ms, Some(g.sd_ms), definition.clone()))
        } else if (g.from, g.to) == (to, from) {
            Some((-g.gap_ms, Some(g.sd_ms), definition.clone()))
        } else {
            None
        }
    })
}

fn turn(swing: &Swing, role: Role) -> Option<AngleSet> {
    swing.segments.get(&role).and_then(|s: &Segment| s.turn_deg)
}

fn speed_definition(swing: &Swing, role: Role) -> Option<String> {
    swing.segments.get(&role).map(|s| s.speed_definition.clone())
}

/// Angles at the top depend on what the top is as well as on the angles' order.
fn at_top(swing: &Swing) -> String {
    format!("{}; top: {}", swing.angle_order, words::top(swing.tempo.downswing_from))
}
