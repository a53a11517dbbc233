//! Mobility checks, of one session and of two.

use super::shared::Session;
use crate::mobility;
use peakorder_protocol::mobility::{Mobility, Posture};
use serde::Serialize;

/// Schema of [`ShowMobility`].
pub const SHOW_MOBILITY: &str = "peakorder.show-mobility/1";
/// Schema of [`CompareMobility`].
pub const COMPARE_MOBILITY: &str = "peakorder.compare-mobility/1";

/// A session's mobility checks.
#[derive(Debug, Serialize)]
pub struct ShowMobility {
    schema: &'static str,
    session: Session,
    mobility: Mobility,
}

impl From<&mobility::Checks> for ShowMobility {
    fn from(checks: &mobility::Checks) -> Self {
        Self { schema: SHOW_MOBILITY, session: (&checks.session).into(), mobility: checks.mobility.clone() }
    }
}

/// Mobility of two sessions.
#[derive(Debug, Serialize)]
pub struct CompareMobility {
    schema: &'static str,
    before: Named,
    after: Named,
    postures: Vec<PostureChange>,
    not_compared: Vec<PostureNotCompared>,
    notes: Vec<String>,
}

impl From<&mobility::Comparison> for CompareMobility {
    fn from(c: &mobility::Comparison) -> Self {
        let side = |c: &mobility::Checks| Named { name: c.name.clone(), session: (&c.session).into() };
        let why =
            |(posture, why): &(Posture, String)| PostureNotCompared { posture: *posture, why: why.clone() };
        Self {
            schema: COMPARE_MOBILITY,
            before: side(&c.before),
            after: side(&c.after),
            postures: c.postures.iter().map(Into::into).collect(),
            not_compared: c.not_compared.iter().map(why).collect(),
            notes: c.notes.clone(),
        }
    }
}

#[derive(Debug, Serialize)]
struct Named {
    name: String,
    session: Session,
}

#[derive(Debug, Serialize)]
struct PostureChange {
    posture: Posture,
    before_check: u32,
    after_check: u32,
    yardstick: String,
    changed_means: &'static str,
    measures: Vec<TurnChange>,
}

impl From<&mobility::PostureComparison> for PostureChange {
    fn from(p: &mobility::PostureComparison) -> Self {
        Self {
            posture: p.posture,
            before_check: p.before,
            after_check: p.after,
            yardstick: p.yardstick(),
            changed_means: p.changed_means(),
            measures: p.rows.iter().map(Into::into).collect(),
        }
    }
}

#[derive(Debug, Serialize)]
struct TurnChange {
    key: String,
    before: f64,
    before_sd: f64,
    after: f64,
    after_sd: f64,
    difference: f64,
    sem: f64,
    mdc95: f64,
    verdict: &'static str,
}

impl From<&mobility::Row> for TurnChange {
    fn from(r: &mobility::Row) -> Self {
        Self {
            key: r.quantity.key(),
            before: r.before.0,
            before_sd: r.before.1,
            after: r.after.0,
            after_sd: r.after.1,
            difference: r.difference,
            sem: r.sem,
            mdc95: r.mdc95,
            verdict: r.verdict.key(),
        }
    }
}

#[derive(Debug, Serialize)]
struct PostureNotCompared {
    posture: Posture,
    why: String,
}
