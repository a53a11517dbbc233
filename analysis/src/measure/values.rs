//! Each measure computed from a swing file; `None` when it was not measured or is withheld.

use super::definition::top;
use super::{Definition, Value};
use peakorder_protocol::Role;
use peakorder_protocol::swing::{
    AngleSet, ArmUse, Backswing, HipShiftAt, Outcome, Peak, Segment, Separation, ShiftTowardsTarget,
    SpeedKind, Swing,
};

/// A value and its standard uncertainties, of the strap and of the bone, if stated.
type WithSds = (f64, Option<f64>, Option<f64>);

fn segment(swing: &Swing, role: Role) -> Option<&Segment> {
    swing.segments.get(&role)
}

fn speed_kind(swing: &Swing, role: Role) -> Option<SpeedKind> {
    segment(swing, role).map(|s| s.speed_kind)
}

pub(super) fn gap(swing: &Swing, from: Role, to: Role) -> Option<Value> {
    let definition = Definition::Gap(speed_kind(swing, from)?, speed_kind(swing, to)?);
    let found = |a: Role, b: Role| swing.sequence.gaps.iter().find(|g| (g.from, g.to) == (a, b));
    let (gap, sign) = found(from, to).map(|g| (g, 1.0)).or_else(|| Some((found(to, from)?, -1.0)))?;
    // Of a top that lasted until impact only the order is told.
    (!gap.held).then_some(Value {
        value: sign * gap.gap_ms,
        sd: Some(gap.sd_ms),
        bone_sd: gap.bone_sd_ms,
        definition,
        shared: None,
    })
}

pub(super) fn peak_before_impact(swing: &Swing, role: Role) -> Option<Value> {
    let peak = swing.peak(role)?;
    Some(Value {
        value: peak.before_impact_ms,
        sd: Some(peak.sd_ms.hypot(swing.events.impact.sd_ms)),
        bone_sd: peak.bone_sd_ms.map(|sd| sd.hypot(swing.events.impact.sd_ms)),
        definition: Definition::Speed(speed_kind(swing, role)?),
        shared: None,
    })
}

/// The top of a segment's speed. One still rising has none before impact.
fn topped(swing: &Swing, role: Role) -> Option<&Peak> {
    segment(swing, role)?.peak.as_ref().filter(|p| p.outcome != Outcome::Rising)
}

pub(super) fn peak_speed(swing: &Swing, role: Role) -> Option<Value> {
    let definition = Definition::Speed(speed_kind(swing, role)?);
    let peak = topped(swing, role)?;
    Some(Value {
        value: peak.speed_dps,
        sd: peak.speed_sd_dps,
        bone_sd: peak.speed_bone_sd_dps,
        definition,
        shared: None,
    })
}

pub(super) fn speed_kept(swing: &Swing, role: Role) -> Option<Value> {
    let segment = segment(swing, role)?;
    topped(swing, role)?;
    Some(Value {
        value: segment.speed_kept_at_impact? * 100.0,
        sd: segment.speed_kept_sd.map(|sd| sd * 100.0),
        bone_sd: segment.speed_kept_bone_sd.map(|sd| sd * 100.0),
        definition: Definition::Speed(segment.speed_kind),
        shared: None,
    })
}

fn lasting(swing: &Swing, (value, sd, bone_sd): WithSds) -> Value {
    Value { value, sd, bone_sd, definition: Definition::Tempo(top(swing)), shared: None }
}

fn ms((s, sd, bone_sd): WithSds) -> WithSds {
    (s * 1e3, sd.map(|sd| sd * 1e3), bone_sd.map(|sd| sd * 1e3))
}

pub(super) fn backswing(swing: &Swing) -> Value {
    let tempo = &swing.tempo;
    lasting(swing, ms((tempo.backswing_s, tempo.backswing_sd_s, tempo.backswing_bone_sd_s)))
}

pub(super) fn downswing(swing: &Swing) -> Value {
    let tempo = &swing.tempo;
    lasting(swing, ms((tempo.downswing_s, tempo.downswing_sd_s, tempo.downswing_bone_sd_s)))
}

pub(super) fn tempo_ratio(swing: &Swing) -> Value {
    lasting(swing, (swing.tempo.ratio, swing.tempo.ratio_sd, swing.tempo.ratio_bone_sd))
}

fn turn(swing: &Swing, role: Role) -> Option<AngleSet> {
    segment(swing, role)?.turn_deg
}

pub(super) fn turn_at_top(swing: &Swing, role: Role) -> Option<Value> {
    let turn = turn(swing, role)?;
    Some(Value {
        value: turn.top,
        sd: Some(turn.sd),
        bone_sd: turn.bone_sd,
        definition: Definition::AngleAtTop(top(swing)),
        shared: None,
    })
}

pub(super) fn turn_at_impact(swing: &Swing, role: Role) -> Option<Value> {
    let turn = turn(swing, role)?;
    Some(Value {
        value: turn.impact,
        sd: turn.impact_sd,
        bone_sd: turn.impact_bone_sd,
        definition: Definition::Angle,
        shared: None,
    })
}

pub(super) fn separation_at_top(swing: &Swing) -> Option<Value> {
    let s = swing.separation.as_ref()?;
    let definition = Definition::SeparationAtTop(top(swing));
    Some(Value { value: s.top_deg, sd: Some(s.sd_deg), bone_sd: s.bone_sd_deg, definition, shared: None })
}

pub(super) fn separation(swing: &Swing, pick: fn(&Separation) -> WithSds) -> Option<Value> {
    let (value, sd, bone_sd) = pick(swing.separation.as_ref()?);
    Some(Value { value, sd, bone_sd, definition: Definition::Separation, shared: None })
}

pub(super) fn tilt_at_top(swing: &Swing, role: Role) -> Option<Value> {
    let tilt = segment(swing, role)?.lateral_tilt_deg?;
    Some(Value {
        value: tilt.top,
        sd: Some(tilt.sd),
        bone_sd: tilt.bone_sd,
        definition: Definition::AngleAtTop(top(swing)),
        shared: None,
    })
}

pub(super) fn flexion_change(swing: &Swing, role: Role) -> Option<Value> {
    let flexion = segment(swing, role)?.flexion_deg?;
    let value = flexion.impact - flexion.address;
    Some(Value {
        value,
        sd: flexion.address_to_impact_sd,
        bone_sd: flexion.address_to_impact_bone_sd,
        definition: Definition::Angle,
        shared: None,
    })
}

pub(super) fn made_of(swing: &Swing, pick: fn(&Backswing) -> Option<WithSds>) -> Option<Value> {
    let (value, sd, bone_sd) = pick(swing.backswing.as_ref()?)?;
    Some(Value { value, sd, bone_sd, definition: Definition::Backswing, shared: None })
}

pub(super) fn arm(swing: &Swing, pick: fn(&ArmUse) -> Option<WithSds>) -> Option<Value> {
    let (value, sd, bone_sd) = pick(swing.arm.as_ref()?)?;
    Some(Value { value, sd, bone_sd, definition: Definition::Arm, shared: None })
}

fn shift(shift: &ShiftTowardsTarget, definition: Definition) -> Value {
    Value {
        value: shift.towards_target_cm,
        sd: Some(shift.sd_cm),
        bone_sd: Some(shift.sd_cm),
        definition,
        shared: Some(shift.shared_sd_cm),
    }
}

pub(super) fn hip_shift_at_top(swing: &Swing, pick: fn(&HipShiftAt) -> ShiftTowardsTarget) -> Option<Value> {
    Some(shift(&pick(&swing.hip_shift.as_ref()?.top), Definition::HipShiftAtTop(top(swing))))
}

pub(super) fn hip_shift_at_impact(
    swing: &Swing,
    pick: fn(&HipShiftAt) -> ShiftTowardsTarget,
) -> Option<Value> {
    let at = swing.hip_shift.as_ref()?.impact_for_block_means?;
    Some(shift(&pick(&at), Definition::HipShift))
}
