//! Documents for programs. Names, units and meaning of these keys stay; keys may be added.
//!
//! Common: an absent number is `null`; `problems` lists swing files that could not be read
//! (`number`, `text`); a measure's `key` ends in its unit.
//!
//! - `peakorder.show/1`: `session` (`id`, `started_utc`, `player`, `handedness`,
//!   `invented`), `block` asked for or `null`, `swings` (`number`, `block`, `kind`,
//!   `usable`, `excluded` by the coach, `order` as lists of tied segments, `rising_at_impact`, `order_text`,
//!   `reversal_order`, `measures`: key → `value`, `measuring_sd`, `definition`; `withheld`),
//!   `remarks` (`swings`: number → `labels`, `note`, `excluded`, `reason`; `notes`, `target`,
//!   `targets`, `last`), `blocks` (`label`, `used`, `rehearsals`, `unusable`, `excluded`, `orders` and `reversal_orders`
//!   with `count`, `of`, `share`, `share_ci95`; `measures` with `n`, `mean`, `ci95_half`,
//!   `sd`, `measuring_sd`, `definition`, `other_definition`; `advice` or `null`).
//! - `peakorder.show-swing/1`: `session` as above, `swing` (the whole `peakorder.swing/1`
//!   object), `said` of it by the coach or `null`, `order_text`, `curves` (`true` when the curves file can be read) and
//!   `curves_problem`.
//! - `peakorder.compare/1`: `before`, `after` (`name`, `title`, `session`, `summary` as a
//!   block above), `measures` (`key`, `before`, `after`, `difference`, `ci95_half` which is
//!   also the smallest change that could be shown, `df`, `t`, `p` all unadjusted, `p_holm`,
//!   `measuring_sd`, `verdict`), `not_compared` (`key`, `why`), `family`, `notes`.
//! - `peakorder.show-mobility/1`: `session` as above, `mobility` (the whole
//!   `peakorder.mobility/1` object).
//! - `peakorder.compare-mobility/1`: `before`, `after` (`name`, `session` as above),
//!   `postures` (`posture`, `before_check`, `after_check`, `yardstick`, `changed_means`, `measures`
//!   with `key`, `before`, `before_sd`, `after`, `after_sd`, `difference`, `sem`, `mdc95`,
//!   `verdict`), `not_compared` (`posture`, `why`), `notes`.
//! - `peakorder.trend/1`: `player`, `block`, `sessions` (`name`, `id`, `started_utc`, `day`
//!   after the first, `invented`, `summary` as a block above), `measures` (`key`, `points`:
//!   one a session, as a measure of a block above or `null`; `slope_per_30_days` of the line
//!   through the session means with `ci95_half`, `df` and `p`, all `null` for fewer than four
//!   sessions; `p_holm`, `verdict`, `words`), `notes`.
//!
//! The structs below are the documents; `tests/golden/documents.txt` holds their shape.
//!
//! Verdicts: `changed`, `perhaps`, `cannot-tell`, `cannot-tell-straps-worn-anew`,
//! `too-few-swings`.

use crate::compare::Comparison;
use crate::load::Loaded;
use crate::measure::{self, Measure};
use crate::order::Order;
use crate::summary::{BlockSummary, MeasureSummary, by_block, summarise};
use crate::{compare, load, mobility, order, trend};
use peakorder_protocol::mobility::{Mobility, Posture};
use peakorder_protocol::remark::{Remarks, SwingRemarks};
use peakorder_protocol::swing::{Swing, SwingKind, Withheld};
use peakorder_protocol::{Handedness, Role, session};
use serde::Serialize;
use std::collections::BTreeMap;

/// Schema of [`Show`].
pub const SHOW: &str = "peakorder.show/1";
/// Schema of [`ShowSwing`].
pub const SHOW_SWING: &str = "peakorder.show-swing/1";
/// Schema of [`Compare`].
pub const COMPARE: &str = "peakorder.compare/1";
/// Schema of [`ShowMobility`].
pub const SHOW_MOBILITY: &str = "peakorder.show-mobility/1";
/// Schema of [`CompareMobility`].
pub const COMPARE_MOBILITY: &str = "peakorder.compare-mobility/1";
/// Schema of [`Follow`].
pub const TREND: &str = "peakorder.trend/1";

/// A session, or the block chosen.
#[derive(Debug, Serialize)]
pub struct Show {
    schema: &'static str,
    session: Session,
    block: Option<String>,
    swings: Vec<SwingRow>,
    blocks: Vec<Block>,
    remarks: Remarks,
    problems: Vec<Problem>,
}

impl From<&Loaded> for Show {
    fn from(loaded: &Loaded) -> Self {
        let blocks = by_block(&loaded.swings);
        Self {
            schema: SHOW,
            session: (&loaded.session).into(),
            block: loaded.block.clone(),
            swings: loaded.swings.iter().map(|s| SwingRow::of(s, &loaded.remarks)).collect(),
            blocks: blocks.iter().map(|(l, s)| (&summarise(l, s, &loaded.remarks)).into()).collect(),
            remarks: loaded.remarks.clone(),
            problems: loaded.problems.iter().map(Into::into).collect(),
        }
    }
}

/// One swing.
#[derive(Debug, Serialize)]
pub struct ShowSwing {
    schema: &'static str,
    session: Session,
    swing: Swing,
    said: Option<SwingRemarks>,
    order_text: Option<String>,
    curves: bool,
    curves_problem: Option<String>,
}

impl ShowSwing {
    /// `swing` of the session `loaded`; looks whether its curves can be read.
    pub fn of(loaded: &Loaded, swing: &Swing) -> Self {
        let curves = loaded.curves(swing.number);
        Self {
            schema: SHOW_SWING,
            session: (&loaded.session).into(),
            swing: swing.clone(),
            said: loaded.remarks.swing(swing.number).cloned(),
            order_text: Order::of_peaks(&swing.sequence).map(|o| o.text()),
            curves: curves.is_ok(),
            curves_problem: curves.err().map(|e| e.to_string()),
        }
    }
}

/// A comparison.
#[derive(Debug, Serialize)]
pub struct Compare {
    schema: &'static str,
    before: Side,
    after: Side,
    measures: Vec<Change>,
    family: usize,
    not_compared: Vec<NotCompared>,
    notes: Vec<String>,
}

impl From<&Comparison> for Compare {
    fn from(c: &Comparison) -> Self {
        let why = |n: &compare::NotCompared| NotCompared { key: n.measure.key(), why: n.why.clone() };
        Self {
            schema: COMPARE,
            before: (&c.before).into(),
            after: (&c.after).into(),
            measures: c.rows.iter().map(Into::into).collect(),
            family: c.rows.iter().filter(|r| r.p_holm.is_some()).count(),
            not_compared: c.not_compared.iter().map(why).collect(),
            notes: c.notes.clone(),
        }
    }
}

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

/// A player's sessions.
#[derive(Debug, Serialize)]
pub struct Follow {
    schema: &'static str,
    player: String,
    block: String,
    sessions: Vec<Followed>,
    measures: Vec<Course>,
    notes: Vec<String>,
}

impl From<&trend::Trend> for Follow {
    fn from(t: &trend::Trend) -> Self {
        Self {
            schema: TREND,
            player: t.player.clone(),
            block: t.block.clone(),
            sessions: t.sessions.iter().map(Into::into).collect(),
            measures: t.rows.iter().map(Into::into).collect(),
            notes: t.notes.clone(),
        }
    }
}

#[derive(Debug, Serialize)]
struct Session {
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
struct Problem {
    number: u32,
    text: String,
}

impl From<&load::Problem> for Problem {
    fn from(p: &load::Problem) -> Self {
        Self { number: p.number, text: p.text.clone() }
    }
}

#[derive(Debug, Serialize)]
struct SwingRow {
    number: u32,
    block: String,
    kind: SwingKind,
    usable: bool,
    excluded: bool,
    order: Vec<Vec<Role>>,
    rising_at_impact: Vec<Role>,
    order_text: Option<String>,
    reversal_order: Vec<Vec<Role>>,
    measures: BTreeMap<String, Measured>,
    withheld: Vec<Withheld>,
}

impl SwingRow {
    fn of(swing: &Swing, remarks: &Remarks) -> Self {
        let value = |m: Measure| Some((m.key(), Measured::from(m.of(swing)?)));
        Self {
            number: swing.number,
            block: swing.block.clone(),
            kind: swing.kind,
            usable: swing.quality.usable,
            excluded: remarks.excluded(swing.number).is_some(),
            order: swing.sequence.order.clone(),
            rising_at_impact: swing.sequence.rising_at_impact.clone(),
            order_text: Order::of_peaks(&swing.sequence).map(|o| o.text()),
            reversal_order: swing.sequence.reversal_order.clone(),
            measures: Measure::ALL.into_iter().filter_map(value).collect(),
            withheld: swing.quality.withheld.clone(),
        }
    }
}

#[derive(Debug, Serialize)]
struct Measured {
    value: f64,
    measuring_sd: Option<f64>,
    definition: String,
}

impl From<measure::Value> for Measured {
    fn from(v: measure::Value) -> Self {
        Self { value: v.value, measuring_sd: v.sd, definition: v.definition.text() }
    }
}

#[derive(Debug, Serialize)]
struct Block {
    label: String,
    used: Vec<u32>,
    rehearsals: Vec<u32>,
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

#[derive(Debug, Serialize)]
struct Numbers {
    n: usize,
    mean: f64,
    ci95_half: Option<f64>,
    sd: Option<f64>,
    measuring_sd: Option<f64>,
    definition: String,
    other_definition: usize,
}

impl From<&MeasureSummary> for Numbers {
    fn from(m: &MeasureSummary) -> Self {
        Self {
            n: m.sample.n,
            mean: m.sample.mean,
            ci95_half: m.half_width,
            sd: m.sample.sd,
            measuring_sd: m.measuring_sd,
            definition: m.definition.text(),
            other_definition: m.other_definition,
        }
    }
}

#[derive(Debug, Serialize)]
struct Side {
    name: String,
    title: String,
    session: String,
    summary: Block,
}

impl From<&compare::Side> for Side {
    fn from(s: &compare::Side) -> Self {
        Self {
            name: s.name.clone(),
            title: s.title.clone(),
            session: s.session.clone(),
            summary: (&s.summary).into(),
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
            verdict: r.verdict.key(),
        }
    }
}

#[derive(Debug, Serialize)]
struct NotCompared {
    key: String,
    why: String,
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

#[derive(Debug, Serialize)]
struct Followed {
    name: String,
    id: String,
    started_utc: String,
    day: f64,
    invented: bool,
    summary: Block,
}

impl From<&trend::Session> for Followed {
    fn from(s: &trend::Session) -> Self {
        Self {
            name: s.name.clone(),
            id: s.id.clone(),
            started_utc: s.started_utc.clone(),
            day: s.day,
            invented: s.invented,
            summary: (&s.summary).into(),
        }
    }
}

#[derive(Debug, Serialize)]
struct Course {
    key: String,
    points: Vec<Option<Numbers>>,
    slope_per_30_days: Option<f64>,
    ci95_half: Option<f64>,
    df: Option<f64>,
    p: Option<f64>,
    p_holm: Option<f64>,
    verdict: &'static str,
    words: String,
}

impl From<&trend::TrendRow> for Course {
    fn from(r: &trend::TrendRow) -> Self {
        Self {
            key: r.measure.key(),
            points: r.points.iter().map(|p| p.as_ref().map(Into::into)).collect(),
            slope_per_30_days: r.line.map(|l| l.slope),
            ci95_half: r.line.map(|l| l.half_width),
            df: r.line.map(|l| l.df),
            p: r.line.map(|l| l.p),
            p_holm: r.p_holm,
            verdict: r.verdict.key(),
            words: r.words.clone(),
        }
    }
}
