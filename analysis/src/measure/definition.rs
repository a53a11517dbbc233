//! How a value is defined in a swing.

use crate::words;
use peakorder_protocol::Role;
use peakorder_protocol::swing::{
    ANGLE_ORDER, ARM_METHOD, BACKSWING_METHOD, HIP_SHIFT_METHOD, SEPARATION_METHOD, SpeedKind, Swing,
};

/// How a value is defined: values of different definition are never averaged or compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Definition {
    /// From this kind of speed.
    Speed(SpeedKind),
    /// Between the peaks of these two kinds of speed.
    Gap(SpeedKind, SpeedKind),
    /// An angle by the project's order of rotations.
    Angle,
    /// The same, at a top that is this segment's reversal.
    AngleAtTop(Role),
    /// Thorax turn minus pelvis turn.
    Separation,
    /// The same, at a top that is this segment's reversal.
    SeparationAtTop(Role),
    /// A duration from or to a top that is this segment's reversal.
    Tempo(Role),
    /// Turn and arm, address to top.
    Backswing,
    /// Upper arm against gravity and thorax.
    Arm,
    /// Shift of the hips.
    HipShift,
    /// The same, at a top that is this segment's reversal.
    HipShiftAtTop(Role),
}

impl Definition {
    /// In words, as stored in documents for programs and printed beside numbers.
    pub fn text(self) -> String {
        let top = |role: Role| format!("top: {}", words::top(role));
        match self {
            Self::Speed(kind) => kind.definition().into(),
            Self::Gap(from, to) => format!("{} / {}", from.definition(), to.definition()),
            Self::Angle => ANGLE_ORDER.into(),
            Self::AngleAtTop(role) => format!("{ANGLE_ORDER}; {}", top(role)),
            Self::Separation => SEPARATION_METHOD.into(),
            Self::SeparationAtTop(role) => format!("{SEPARATION_METHOD}; {ANGLE_ORDER}; {}", top(role)),
            Self::Tempo(role) => words::top(role),
            Self::Backswing => BACKSWING_METHOD.into(),
            Self::Arm => ARM_METHOD.into(),
            Self::HipShift => HIP_SHIFT_METHOD.into(),
            Self::HipShiftAtTop(role) => format!("{HIP_SHIFT_METHOD}; {}", top(role)),
        }
    }
}

/// The segment whose reversal is the top of `swing`.
pub(super) fn top(swing: &Swing) -> Role {
    swing.tempo.downswing_from
}
