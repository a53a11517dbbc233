//! Two blocks set against each other.

use super::blocks::{OrderChange, Unlike};
use super::curves::Curves;
use super::picture::Picture;
use super::shared::{Block, Dependence, Numbers};
use crate::compare::{self, Comparison, How, Standing};
use crate::curves::CurveChange;
use crate::{design, words};
use serde::Serialize;

/// Schema of [`Compare`].
pub const COMPARE: &str = "peakorder.compare/1";

/// A comparison.
#[derive(Debug, Serialize)]
pub struct Compare {
    schema: &'static str,
    before: Side,
    also_before: Vec<Side>,
    after: Side,
    design: Option<Design>,
    order: OrderChange,
    measures: Vec<Change>,
    family: usize,
    not_compared: Vec<NotCompared>,
    notes: Vec<String>,
    curves: Option<Curves>,
    picture: Option<Picture>,
}

impl From<&Comparison> for Compare {
    fn from(c: &Comparison) -> Self {
        Self::with(c, None, None)
    }
}

impl Compare {
    /// With what the curves show and with pictures, as far as they were asked for.
    pub fn with(
        c: &Comparison,
        curves: Option<&CurveChange>,
        picture: Option<&crate::picture::Picture>,
    ) -> Self {
        let why = |n: &compare::NotCompared| NotCompared { key: n.measure.key(), why: n.why.clone() };
        Self {
            schema: COMPARE,
            before: (&c.before).into(),
            also_before: c.also_before.iter().map(Into::into).collect(),
            after: (&c.after).into(),
            design: c.design.as_ref().map(Into::into),
            order: (&c.order).into(),
            measures: c.rows.iter().map(Into::into).collect(),
            family: c.rows.iter().filter(|r| r.standing == Standing::Judged && r.p.is_some()).count(),
            not_compared: c.not_compared.iter().map(why).collect(),
            notes: c.notes.clone(),
            curves: curves.map(Into::into),
            picture: picture.map(Into::into),
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

/// The order of the swings.
#[derive(Debug, Serialize)]
struct Design {
    runs: Vec<Run>,
    returns: bool,
}

#[derive(Debug, Serialize)]
struct Run {
    side: &'static str,
    swings: usize,
}

impl From<&design::Design> for Design {
    fn from(d: &design::Design) -> Self {
        let run =
            |&(after, swings): &(bool, usize)| Run { side: if after { "after" } else { "before" }, swings };
        Self { runs: d.runs.iter().map(run).collect(), returns: d.returns() }
    }
}

#[derive(Debug, Serialize)]
struct Change {
    key: String,
    chosen: bool,
    before: Numbers,
    after: Numbers,
    difference: f64,
    means_apart: f64,
    ci95: Option<(f64, f64)>,
    ci95_half: Option<f64>,
    df: Option<f64>,
    t: Option<f64>,
    p: Option<f64>,
    p_holm: Option<f64>,
    p_false_discovery: Option<f64>,
    measuring_sd: Option<f64>,
    worn_anew_sd: Option<f64>,
    wearing_factor: Option<f64>,
    spread: Option<f64>,
    matters: Option<f64>,
    matters_named: bool,
    dependence: Option<Dependence>,
    more: Option<More>,
    verdict: &'static str,
}

impl From<&compare::Row> for Change {
    fn from(r: &compare::Row) -> Self {
        let judged = r.standing == Standing::Judged;
        Self {
            key: r.measure.key(),
            chosen: judged,
            before: (&r.before).into(),
            after: (&r.after).into(),
            difference: r.difference,
            means_apart: r.means_apart,
            ci95: r.interval,
            ci95_half: r.half_width(),
            df: r.df,
            t: r.t(),
            p: r.p,
            p_holm: r.p_adjusted.filter(|_| judged),
            p_false_discovery: r.p_adjusted.filter(|_| !judged),
            measuring_sd: r.measuring_sd,
            worn_anew_sd: r.worn_anew_sd,
            wearing_factor: r.wearing_factor,
            spread: r.spread,
            matters: r.matters,
            matters_named: r.matters_named,
            dependence: r.dependence.as_ref().map(Into::into),
            more: r.more.map(|m| (r, m).into()),
            verdict: r.verdict.key(),
        }
    }
}

/// What it would take to tell.
#[derive(Debug, Serialize)]
struct More {
    change: f64,
    named: bool,
    by: &'static str,
    swings_a_block: Option<usize>,
    words: String,
}

impl From<(&compare::Row, compare::More)> for More {
    fn from((row, more): (&compare::Row, compare::More)) -> Self {
        let (by, swings_a_block) = match more.how {
            How::Swings(n) => ("swings", Some(n)),
            How::Enough => ("enough", None),
            How::Return => ("return", None),
            How::Lessons => ("lessons", None),
            How::TooSmall => ("too-small", None),
        };
        let words = words::compared::more(row).unwrap_or_default();
        Self { change: more.change, named: more.named, by, swings_a_block, words }
    }
}

#[derive(Debug, Serialize)]
struct NotCompared {
    key: String,
    why: String,
}
