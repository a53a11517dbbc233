//! Two blocks set against each other.

use super::blocks::{OrderChange, Unlike};
use super::curves::Curves;
use super::shared::{Block, Numbers};
use crate::compare::{self, Comparison};
use crate::curves::CurveChange;
use serde::Serialize;

/// Schema of [`Compare`].
pub const COMPARE: &str = "peakorder.compare/1";

/// A comparison.
#[derive(Debug, Serialize)]
pub struct Compare {
    schema: &'static str,
    before: Side,
    after: Side,
    order: OrderChange,
    measures: Vec<Change>,
    family: usize,
    not_compared: Vec<NotCompared>,
    notes: Vec<String>,
    curves: Option<Curves>,
}

impl From<&Comparison> for Compare {
    fn from(c: &Comparison) -> Self {
        Self::with_curves(c, None)
    }
}

impl Compare {
    /// With what the curves show, if they were asked for.
    pub fn with_curves(c: &Comparison, curves: Option<&CurveChange>) -> Self {
        let why = |n: &compare::NotCompared| NotCompared { key: n.measure.key(), why: n.why.clone() };
        Self {
            schema: COMPARE,
            before: (&c.before).into(),
            after: (&c.after).into(),
            order: (&c.order).into(),
            measures: c.rows.iter().map(Into::into).collect(),
            family: c.rows.iter().filter(|r| r.p_holm.is_some()).count(),
            not_compared: c.not_compared.iter().map(why).collect(),
            notes: c.notes.clone(),
            curves: curves.map(Into::into),
        }
    }
}

#[derive(Debug, Serialize)]
struct Side {
    name: String,
    title: String,
    session: String,
    summary: Block,
    unlike: Vec<Unlike>,
}

impl From<&compare::Side> for Side {
    fn from(s: &compare::Side) -> Self {
        Self {
            name: s.name.clone(),
            title: s.title.clone(),
            session: s.session.clone(),
            summary: (&s.summary).into(),
            unlike: s.unlike.iter().map(Unlike::numbered).collect(),
        }
    }
}

#[derive(Debug, Serialize)]
struct Change {
    key: String,
    before: Numbers,
    after: Numbers,
    difference: f64,
    ci95_half: Option<f64>,
    df: Option<f64>,
    t: Option<f64>,
    p: Option<f64>,
    p_holm: Option<f64>,
    measuring_sd: Option<f64>,
    worn_anew_sd: Option<f64>,
    verdict: &'static str,
}

impl From<&compare::Row> for Change {
    fn from(r: &compare::Row) -> Self {
        Self {
            key: r.measure.key(),
            before: (&r.before).into(),
            after: (&r.after).into(),
            difference: r.difference,
            ci95_half: r.welch.map(|w| w.half_width),
            df: r.welch.map(|w| w.df),
            t: r.welch.map(|w| w.t),
            p: r.welch.map(|w| w.p),
            p_holm: r.p_holm,
            measuring_sd: r.measuring_sd,
            worn_anew_sd: r.worn_anew_sd,
            verdict: r.verdict.key(),
        }
    }
}

#[derive(Debug, Serialize)]
struct NotCompared {
    key: String,
    why: String,
}
