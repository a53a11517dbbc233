//! Each measure computed from a swing file; `None` when it was not measured or is withheld.

use super::definition::top;
use super::{Definition, Value};
use peakorder_protocol::Role;
use peakorder_protocol::swing::{
    AngleSet, ArmUse, Backswing, Outcome, Peak, Segment, Separation, SpeedKind, Swing,
};

/// A value and its standard uncertainty, if stated.
type WithSd = (f64, Option<f64>);

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
    (!gap.held).then_some(Value { value: sign * gap.gap_ms, sd: Some(gap.sd_ms), definition })
}

pub(super) fn peak_before_impact(swing: &Swing, role: Role) -> Option<Value> {
    let peak = swing.peak(role)?;
    Some(Value {
        value: peak.before_impact_ms,
        sd: Some(peak.sd_ms.hypot(swing.events.impact.sd_ms)),
        definition: Definition::Speed(speed_kind(swing, role)?),
    })
}

/// The top of a segment's speed. One still rising has none before impact.
fn topped(swing: &Swing, role: Role) -> Option<&Peak> {
    segment(swing, role)?.peak.as_ref().filter(|p| p.outcome != Outcome::Rising)
}

pub(super) fn peak_speed(swing: &Swing, role: Role) -> Option<Value> {
    let definition = Definition::Speed(speed_kind(swing, role)?);
    let peak = topped(swing, role)?;
    Some(Value { value: peak.speed_dps, sd: peak.speed_sd_dps, definition })
}

pub(super) fn speed_kept(swing: &Swing, role: Role) -> Option<Value> {
    let segment = segment(swing, role)?;
    topped(swing, role)?;
    Some(Value {
        value: segment.speed_kept_at_impact? * 100.0,
        sd: segment.speed_kept_sd.map(|sd| sd * 100.0),
        definition: Definition::Speed(segment.speed_kind),
    })
}

fn lasting(swing: &Swing, value: f64, sd: Option<f64>) -> Value {
    Value { value, sd, definition: Definition::Tempo(top(swing)) }
}

pub(super) fn backswing(swing: &Swing) -> Value {
    let tempo = &swing.tempo;
    lasting(swing, tempo.backswing_s * 1e3, tempo.backswing_sd_s.map(|sd| sd * 1e3))
}

pub(super) fn downswing(swing: &Swing) -> Value {
    let tempo = &swing.tempo;
    lasting(swing, tempo.downswing_s * 1e3, tempo.downswing_sd_s.map(|sd| sd * 1e3))
}

pub(super) fn tempo_ratio(swing: &Swing) -> Value {
    lasting(swing, swing.tempo.ratio, swing.tempo.ratio_sd)
}

fn turn(swing: &Swing, role: Role) -> Option<AngleSet> {
    segment(swing, role)?.turn_deg
}

pub(super) fn turn_at_top(swing: &Swing, role: Role) -> Option<Value> {
    let turn = turn(swing, role)?;
    Some(Value { value: turn.top, sd: Some(turn.sd), definition: Definition::AngleAtTop(top(swing)) })
}

pub(super) fn turn_at_impact(swing: &Swing, role: Role) -> Option<Value> {
    let turn = turn(swing, role)?;
    Some(Value { value: turn.impact, sd: turn.impact_sd, definition: Definition::Angle })
}

pub(super) fn separation_at_top(swing: &Swing) -> Option<Value> {
    let s = swing.separation.as_ref()?;
    let definition = Definition::SeparationAtTop(top(swing));
    Some(Value { value: s.top_deg, sd: Some(s.sd_deg), definition })
}

pub(super) fn separation(swing: &Swing, pick: fn(&Separation) -> WithSd) -> Option<Value> {
    let (value, sd) = pick(swing.separation.as_ref()?);
    Some(Value { value, sd, definition: Definition::Separation })
}

pub(super) fn tilt_at_top(swing: &Swing, role: Role) -> Option<Value> {
    let tilt = segment(swing, role)?.lateral_tilt_deg?;
    Some(Value { value: tilt.top, sd: Some(tilt.sd), definition: Definition::AngleAtTop(top(swing)) })
}

pub(super) fn flexion_change(swing: &Swing, role: Role) -> Option<Value> {
    let flexion = segment(swing, role)?.flexion_deg?;
    let value = flexion.impact - flexion.address;
    Some(Value { value, sd: flexion.address_to_impact_sd, definition: Definition::Angle })
}

pub(super) fn made_of(swing: &Swing, pick: fn(&Backswing) -> Option<WithSd>) -> Option<Value> {
    let (value, sd) = pick(swing.backswing.as_ref()?)?;
    Some(Value { value, sd, definition: Definition::Backswing })
}

pub(super) fn arm(swing: &Swing, pick: fn(&ArmUse) -> Option<WithSd>) -> Option<Value> {
    let (value, sd) = pick(swing.arm.as_ref()?)?;
    Some(Value { value, sd, definition: Definition::Arm })
}
