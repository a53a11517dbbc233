//! Curves of two blocks.

use crate::curves::align::{IMPACT, TOP};
use crate::curves::{self, Band, CurveChange, CurvePair};
use peakorder_protocol::Role;
use serde::Serialize;

/// How the curves differ.
#[derive(Debug, Serialize)]
pub(super) struct Curves {
    time_s: Vec<f64>,
    takeaway_index: usize,
    top_index: usize,
    impact_index: usize,
    before: Vec<u32>,
    after: Vec<u32>,
    threshold: f64,
    deals: usize,
    all_deals: bool,
    dealt: &'static str,
    least_p: f64,
    #[serde(rename = "curves")]
    pairs: Vec<Pair>,
    left_out: Vec<LeftOut>,
    method: String,
    notes: Vec<String>,
}

impl From<&CurveChange> for Curves {
    fn from(c: &CurveChange) -> Self {
        Self {
            time_s: c.time_s.clone(),
            takeaway_index: 0,
            top_index: TOP,
            impact_index: IMPACT,
            before: c.before.clone(),
            after: c.after.clone(),
            threshold: c.threshold,
            deals: c.deals,
            all_deals: c.all_deals,
            dealt: if c.by_runs { "runs" } else { "swings" },
            least_p: c.least_p,
            pairs: c.curves.iter().map(Into::into).collect(),
            left_out: c.left_out.iter().map(Into::into).collect(),
            method: c.method(),
            notes: c.notes(),
        }
    }
}

#[derive(Debug, Serialize)]
struct Pair {
    segment: Role,
    kind: &'static str,
    unit: &'static str,
    before: Side,
    after: Side,
    t: Vec<f64>,
    p: f64,
    fwhm_points: Option<f64>,
    threshold_random_field: Option<f64>,
    stretches: Vec<Stretch>,
    words: Vec<String>,
    /// The same for a player.
    plain: Vec<String>,
}

impl From<&CurvePair> for Pair {
    fn from(p: &CurvePair) -> Self {
        Self {
            segment: p.curve.role,
            kind: p.curve.kind.key(),
            unit: p.curve.kind.unit(),
            before: (&p.before).into(),
            after: (&p.after).into(),
            t: p.t.clone(),
            p: p.p,
            fwhm_points: p.fwhm_points,
            threshold_random_field: p.field_threshold,
            stretches: p.stretches.iter().map(Into::into).collect(),
            words: p.sentences(),
            plain: p.plain(),
        }
    }
}

#[derive(Debug, Serialize)]
struct Side {
    mean: Vec<f64>,
    ci95_half: Vec<f64>,
}

impl From<&Band> for Side {
    fn from(b: &Band) -> Self {
        Self { mean: b.mean.clone(), ci95_half: b.half.clone() }
    }
}

#[derive(Debug, Serialize)]
struct Stretch {
    from_index: usize,
    to_index: usize,
    from_s: f64,
    to_s: f64,
    largest_index: usize,
    difference: f64,
    ci95_half: f64,
    p: f64,
    p_dependent: Option<f64>,
    verdict: &'static str,
}

impl From<&curves::Stretch> for Stretch {
    fn from(s: &curves::Stretch) -> Self {
        Self {
            from_index: s.points.0,
            to_index: s.points.1,
            from_s: s.from_to_s.0,
            to_s: s.from_to_s.1,
            largest_index: s.largest_at,
            difference: s.difference,
            ci95_half: s.half,
            p: s.p,
            p_dependent: s.p_dependent,
            verdict: s.verdict.key(),
        }
    }
}

#[derive(Debug, Serialize)]
struct LeftOut {
    what: String,
    why: String,
}

impl From<&curves::LeftOut> for LeftOut {
    fn from(l: &curves::LeftOut) -> Self {
        Self { what: l.what.clone(), why: l.why.clone() }
    }
}
