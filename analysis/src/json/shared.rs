//! Parts of several documents.

use crate::order;
use crate::stats;
use crate::summary::{BlockSummary, MeasureSummary};
use peakorder_protocol::{Handedness, Role, session};
use serde::Serialize;
use std::collections::BTreeMap;

#[derive(Debug, Serialize)]
pub(super) struct Session {
    id: String,
    started_utc: String,
    player: String,
    handedness: Handedness,
    invented: bool,
}

impl From<&session::Session> for Session {
    fn from(s: &session::Session) -> Self {
        Self {
            id: s.id.clone(),
            started_utc: s.started_utc.clone(),
            player: s.player.name.clone(),
            handedness: s.player.handedness,
            invented: s.invented,
        }
    }
}

#[derive(Debug, Serialize)]
pub(super) struct Numbers {
    n: usize,
    mean: f64,
    ci95_half: Option<f64>,
    sd: Option<f64>,
    measuring_sd: Option<f64>,
    bone_sd: Option<f64>,
    dependence: Option<Dependence>,
    definition: String,
    other_definition: usize,
}

impl From<&MeasureSummary> for Numbers {
    fn from(m: &MeasureSummary) -> Self {
        Self {
            n: m.sample.n,
            mean: m.sample.mean,
            ci95_half: m.half_width(),
            sd: m.sample.sd,
            measuring_sd: m.measuring_sd,
            bone_sd: m.bone_sd,
            dependence: m.level.as_ref().map(|l| (&l.dependence).into()),
            definition: m.definition.text(),
            other_definition: m.other_definition,
        }
    }
}

/// How swings depended on one another.
#[derive(Debug, Serialize)]
pub(super) struct Dependence {
    correlation: f64,
    correlation_ci95: (f64, f64),
    drift: f64,
    drift_sd: f64,
}

impl From<&stats::Dependence> for Dependence {
    fn from(d: &stats::Dependence) -> Self {
        Self {
            correlation: d.correlation,
            correlation_ci95: d.correlation_interval,
            drift: d.drift,
            drift_sd: d.drift_sd,
        }
    }
}

#[derive(Debug, Serialize)]
pub(super) struct Block {
    label: String,
    used: Vec<u32>,
    rehearsals: Vec<u32>,
    unsure: Vec<u32>,
    struck: Vec<u32>,
    without_ball: bool,
    unusable: Vec<LeftOut>,
    excluded: Vec<LeftOut>,
    orders: Vec<OrderShare>,
    reversal_orders: Vec<OrderShare>,
    measures: BTreeMap<String, Numbers>,
    advice: Option<&'static str>,
}

impl From<&BlockSummary> for Block {
    fn from(s: &BlockSummary) -> Self {
        let left_out = |swings: &[(u32, String)]| {
            swings.iter().map(|(number, why)| LeftOut { number: *number, why: why.clone() }).collect()
        };
        Self {
            label: s.label.clone(),
            used: s.used.clone(),
            rehearsals: s.rehearsals.clone(),
            unsure: s.unsure.clone(),
            struck: s.struck.clone(),
            without_ball: s.without_ball,
            unusable: left_out(&s.unusable),
            excluded: left_out(&s.excluded),
            orders: s.orders.iter().map(Into::into).collect(),
            reversal_orders: s.reversal_orders.iter().map(Into::into).collect(),
            measures: s.measures.iter().map(|m| (m.measure.key(), m.into())).collect(),
            advice: s.advice(),
        }
    }
}

#[derive(Debug, Serialize)]
struct LeftOut {
    number: u32,
    why: String,
}

#[derive(Debug, Serialize)]
struct OrderShare {
    order: Vec<Vec<Role>>,
    resolved_pairs: Vec<(Role, Role)>,
    tied_pairs: Vec<(Role, Role)>,
    rising_at_impact: Vec<Role>,
    order_text: String,
    tie: bool,
    count: usize,
    of: usize,
    share: f64,
    share_ci95: (f64, f64),
}

impl From<&order::Share> for OrderShare {
    fn from(s: &order::Share) -> Self {
        Self {
            order: s.order.of.groups(&[]),
            resolved_pairs: s.order.of.resolved(),
            tied_pairs: s.order.of.tied(),
            rising_at_impact: s.order.rising.clone(),
            order_text: s.order.text(),
            tie: s.order.has_tie(),
            count: s.count,
            of: s.of,
            share: s.share(),
            share_ci95: s.interval,
        }
    }
}
