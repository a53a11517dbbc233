//! The repetitions of a drill: what each measured, and how alike they are.

use crate::stats::{mean, sd};
use peakorder_protocol::Role;
use peakorder_protocol::repetition::{Repetition, RepetitionAngle};

/// A quantity of a repetition. Sizes back are positive here: a drill has a direction.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Quantity {
    /// Turn back at its furthest, degrees.
    Back(Role),
    /// Turn through at its furthest, degrees.
    Through(Role),
    /// Lateral tilt of the thorax where it is furthest back, degrees; trail side lower is positive.
    Tilt,
    /// Thorax turn less pelvis turn there, degrees; thorax further back is positive.
    Separation,
    /// Pelvis turn as a share of thorax turn there, percent.
    PelvisShare,
    /// Takeaway to furthest back, seconds.
    BackSeconds,
    /// How long it was held there, seconds.
    HoldSeconds,
    /// From there to the furthest through, or home, seconds.
    ForwardSeconds,
}

impl Quantity {
    /// All of them, in the order shown.
    pub const ALL: [Self; 10] = [
        Self::Back(Role::Pelvis),
        Self::Back(Role::Thorax),
        Self::Through(Role::Pelvis),
        Self::Through(Role::Thorax),
        Self::Tilt,
        Self::Separation,
        Self::PelvisShare,
        Self::BackSeconds,
        Self::HoldSeconds,
        Self::ForwardSeconds,
    ];

    /// Stable name for programs; ends in the unit.
    pub fn key(self) -> String {
        match self {
            Self::Back(role) => format!("{}_back_deg", role.key()),
            Self::Through(role) => format!("{}_through_deg", role.key()),
            Self::Tilt => "thorax_tilt_deg".into(),
            Self::Separation => "separation_deg".into(),
            Self::PelvisShare => "pelvis_share_percent".into(),
            Self::BackSeconds => "back_s".into(),
            Self::HoldSeconds => "hold_s".into(),
            Self::ForwardSeconds => "forward_s".into(),
        }
    }

    /// What it is, in a sentence.
    pub const fn meaning(self) -> &'static str {
        match self {
            Self::Back(Role::Pelvis) => {
                "Turn of the pelvis back at its furthest, since address; back is positive."
            }
            Self::Back(_) => "Turn of the thorax back at its furthest, since address; back is positive.",
            Self::Through(Role::Pelvis) => {
                "Turn of the pelvis through at its furthest, since address; nothing where it came home and no further."
            }
            Self::Through(_) => {
                "Turn of the thorax through at its furthest, since address; nothing where it came home and no further."
            }
            Self::Tilt => {
                "Lateral tilt of the thorax where it is furthest back; trail side lower is positive."
            }
            Self::Separation => {
                "Thorax turn less pelvis turn where the thorax is furthest back; further back is positive."
            }
            Self::PelvisShare => "Pelvis turn as a share of thorax turn where the thorax is furthest back.",
            Self::BackSeconds => "Takeaway to furthest back.",
            Self::HoldSeconds => "How long it was held there.",
            Self::ForwardSeconds => "From there to the furthest through, or home.",
        }
    }

    /// Digits after the point.
    pub const fn decimals(self) -> usize {
        match self {
            Self::BackSeconds | Self::HoldSeconds | Self::ForwardSeconds => 1,
            _ => 0,
        }
    }

    /// Value and standard uncertainty in one repetition; `None` where it was not measured.
    pub fn of(self, repetition: &Repetition) -> Option<(f64, Option<f64>)> {
        let turn = |role: Role| repetition.segments.get(&role)?.turn_deg;
        let back = |angle: RepetitionAngle| (-angle.top, Some(angle.sd));
        let tempo = &repetition.tempo;
        match self {
            Self::Back(role) => turn(role).map(back),
            Self::Through(role) => turn(role).and_then(|a| Some((a.through?, a.through_sd))),
            Self::Tilt => {
                repetition.segments.get(&Role::Thorax)?.lateral_tilt_deg.map(|a| (a.top, Some(a.sd)))
            }
            Self::Separation => repetition.separation.as_ref().map(|s| (-s.top_deg, Some(s.sd_deg))),
            Self::PelvisShare => repetition.pelvis_share.map(|s| (100.0 * s.top, Some(100.0 * s.sd))),
            Self::BackSeconds => Some((tempo.back_s, Some(tempo.back_sd_s))),
            Self::HoldSeconds => Some((tempo.hold_s, None)),
            Self::ForwardSeconds => Some((tempo.forward_s, Some(tempo.forward_sd_s))),
        }
    }
}

/// A quantity over the repetitions of a block.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    /// Which.
    pub quantity: Quantity,
    /// In so many repetitions.
    pub n: usize,
    /// Mean.
    pub mean: f64,
    /// Standard deviation between repetitions: how steady they are. `None` of one.
    pub sd: Option<f64>,
}

/// Every quantity that was measured, over `repetitions`.
pub fn spreads(repetitions: &[&Repetition]) -> Vec<Spread> {
    Quantity::ALL
        .into_iter()
        .filter_map(|quantity| {
            let values: Vec<f64> = repetitions.iter().filter_map(|r| Some(quantity.of(r)?.0)).collect();
            Some(Spread { quantity, n: values.len(), mean: mean(&values)?, sd: sd(&values) })
        })
        .collect()
}

/// Repetitions by block, in the order made.
pub fn by_block(repetitions: &[Repetition]) -> Vec<(&str, Vec<&Repetition>)> {
    let mut blocks: Vec<(&str, Vec<&Repetition>)> = Vec::new();
    for repetition in repetitions {
        match blocks.iter_mut().find(|(label, _)| *label == repetition.block) {
            Some((_, of)) => of.push(repetition),
            None => blocks.push((&repetition.block, vec![repetition])),
        }
    }
    blocks
}
