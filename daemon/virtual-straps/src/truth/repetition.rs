//! What really happened in one repetition of a drill.

use super::finder::axial_angles;
use crate::body::Body;
use crate::body::drill::{DrillStyle, RepetitionPlan};
use peakorder_protocol::Role;
use serde::Serialize;
use std::collections::BTreeMap;

/// Instants are searched on this grid, s.
const STEP_S: f64 = 0.001;

/// True angles of a segment, degrees, as in the file of a repetition.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct RepetitionAngles {
    /// Turn since address where the thorax was furthest back.
    pub turn_top: f64,
    /// … and furthest through.
    pub turn_through: f64,
    /// Lateral tilt at the same instants.
    pub lateral_top: f64,
    /// Lateral tilt furthest through.
    pub lateral_through: f64,
    /// Flexion where it was furthest back.
    pub flexion_top: f64,
}

/// What really happened in one repetition.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RepetitionTruth {
    /// Label of its block.
    pub block: String,
    /// Through or home.
    pub style: DrillStyle,
    /// It was held furthest back.
    pub held: bool,
    /// The trunk has 5 % of its fastest speed away, session seconds.
    pub takeaway_s: f64,
    /// Thorax furthest back, session seconds.
    pub top_s: f64,
    /// Thorax furthest forward, session seconds.
    pub through_s: f64,
    /// Pelvis and thorax, if they wear a strap.
    pub segments: BTreeMap<Role, RepetitionAngles>,
}

pub(crate) fn of(body: &Body, plan: &RepetitionPlan, roles: &[Role]) -> RepetitionTruth {
    let trunk = if roles.contains(&Role::Thorax) { Role::Thorax } else { Role::Pelvis };
    let at = |role: Role, t: f64| axial_angles(body, role, t);
    let turn = |role: Role, t: f64| {
        let deg = at(role, t)[0] - at(role, plan.address_s)[0];
        deg - 360.0 * (deg / 360.0).round()
    };
    let steps =
        |from: f64, to: f64| (0..=((to - from) / STEP_S) as usize).map(move |i| from + i as f64 * STEP_S);
    let middle = 0.5 * (plan.forward_s.0 + plan.forward_s.1);
    let top_s = steps(plan.takeaway_s, middle)
        .min_by(|a, b| turn(trunk, *a).total_cmp(&turn(trunk, *b)))
        .unwrap_or(plan.forward_s.0);
    let through_s = steps(middle, plan.forward_s.1 + 0.1)
        .max_by(|a, b| turn(trunk, *a).total_cmp(&turn(trunk, *b)))
        .unwrap_or(plan.forward_s.1);
    let segments = roles
        .iter()
        .filter(|r| **r != Role::LeadArm)
        .map(|&role| {
            let ([_, lateral_top, flexion_top], [_, lateral_through, _]) =
                (at(role, top_s), at(role, through_s));
            let angles = RepetitionAngles {
                turn_top: turn(role, top_s),
                turn_through: turn(role, through_s),
                lateral_top,
                lateral_through,
                flexion_top,
            };
            (role, angles)
        })
        .collect();
    // 5 % of the fastest turn away, as of swings.
    let away = |t: f64| {
        let frame = body.frame(trunk, t);
        -body.handedness().sign() * frame.omega.dot(&frame.rotation.column(1))
    };
    let (fastest_s, fastest) = steps(plan.takeaway_s, top_s)
        .map(|t| (t, away(t)))
        .fold((plan.takeaway_s, 0.0), |best, next| if next.1 > best.1 { next } else { best });
    let began = steps(plan.takeaway_s - 0.2, fastest_s).rev().find(|t| away(*t) < 0.05 * fastest);
    RepetitionTruth {
        block: plan.block.clone(),
        style: plan.style,
        held: plan.held,
        takeaway_s: began.unwrap_or(plan.takeaway_s),
        top_s,
        through_s,
        segments,
    }
}
