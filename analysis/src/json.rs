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
//! Verdicts: `changed`, `perhaps`, `cannot-tell`, `cannot-tell-straps-worn-anew`,
//! `too-few-swings`.

use crate::compare::{Comparison, Row, Side};
use crate::load::{Loaded, Problem};
use crate::measure::Measure;
use crate::mobility::{Checks, Comparison as MobilityComparison, PostureComparison};
use crate::order::{Order, Share};
use crate::summary::{BlockSummary, MeasureSummary, by_block, summarise};
use crate::trend::Trend;
use peakorder_protocol::remark::Remarks;
use peakorder_protocol::session::Session;
use peakorder_protocol::swing::Swing;
use serde_json::{Map, Value, json};

/// Schema of [`show`].
pub const SHOW: &str = "peakorder.show/1";
/// Schema of [`show_swing`].
pub const SHOW_SWING: &str = "peakorder.show-swing/1";
/// Schema of [`compare`].
pub const COMPARE: &str = "peakorder.compare/1";

/// Schema of [`mobility`].
pub const SHOW_MOBILITY: &str = "peakorder.show-mobility/1";
/// Schema of [`compare_mobility`].
pub const COMPARE_MOBILITY: &str = "peakorder.compare-mobility/1";

/// Schema of [`trend`].
pub const TREND: &str = "peakorder.trend/1";

/// A player's sessions.
pub fn trend(trend: &Trend) -> Value {
    json!({
        "schema": TREND,
        "player": trend.player,
        "block": trend.block,
        "sessions": trend
            .sessions
            .iter()
            .map(|s| json!({
                "name": s.name,
                "id": s.id,
                "started_utc": s.started_utc,
                "day": s.day,
                "invented": s.invented,
                "summary": summary(&s.summary),
            }))
            .collect::<Vec<_>>(),
        "measures": trend
            .rows
            .iter()
            .map(|r| json!({
                "key": r.measure.key(),
                "points": r.points.iter().map(|p| p.as_ref().map(measure)).collect::<Vec<_>>(),
                "slope_per_30_days": r.line.map(|l| l.slope),
                "ci95_half": r.line.map(|l| l.half_width),
                "df": r.line.map(|l| l.df),
                "p": r.line.map(|l| l.p),
                "p_holm": r.p_holm,
                "verdict": r.verdict.key(),
                "words": r.words,
            }))
            .collect::<Vec<_>>(),
        "notes": trend.notes,
    })
}

/// A session, or the block chosen.
pub fn show(loaded: &Loaded) -> Value {
    json!({
        "schema": SHOW,
        "session": session(&loaded.session),
        "block": loaded.block,
        "swings": loaded.swings.iter().map(|s| swing_row(s, &loaded.remarks)).collect::<Vec<_>>(),
        "blocks": by_block(&loaded.swings)
            .iter()
            .map(|(label, swings)| summary(&summarise(label, swings, &loaded.remarks)))
            .collect::<Vec<_>>(),
        "remarks": loaded.remarks,
        "problems": problems(&loaded.problems),
    })
}

/// One swing.
pub fn show_swing(loaded: &Loaded, swing: &Swing) -> Value {
    let curves = loaded.curves(swing.number);
    json!({
        "schema": SHOW_SWING,
        "session": session(&loaded.session),
        "swing": swing,
        "said": loaded.remarks.swing(swing.number),
        "order_text": Order::of_peaks(&swing.sequence).map(|o| o.text()),
        "curves": curves.is_ok(),
        "curves_problem": curves.err(),
    })
}

/// A comparison.
pub fn compare(comparison: &Comparison) -> Value {
    json!({
        "schema": COMPARE,
        "before": side(&comparison.before),
        "after": side(&comparison.after),
        "measures": comparison.rows.iter().map(row).collect::<Vec<_>>(),
        "family": comparison.rows.iter().filter(|r| r.p_holm.is_some()).count(),
        "not_compared": comparison
            .not_compared
            .iter()
            .map(|n| json!({"key": n.measure.key(), "why": n.why}))
            .collect::<Vec<_>>(),
        "notes": comparison.notes,
    })
}

/// A session's mobility checks.
pub fn mobility(checks: &Checks) -> Value {
    json!({
        "schema": SHOW_MOBILITY,
        "session": session(&checks.session),
        "mobility": checks.mobility,
    })
}

/// Mobility of two sessions.
pub fn compare_mobility(comparison: &MobilityComparison) -> Value {
    let side = |c: &Checks| json!({"name": c.name, "session": session(&c.session)});
    json!({
        "schema": COMPARE_MOBILITY,
        "before": side(&comparison.before),
        "after": side(&comparison.after),
        "postures": comparison.postures.iter().map(posture).collect::<Vec<_>>(),
        "not_compared": comparison
            .not_compared
            .iter()
            .map(|(posture, why)| json!({"posture": posture, "why": why}))
            .collect::<Vec<_>>(),
        "notes": comparison.notes,
    })
}

fn posture(p: &PostureComparison) -> Value {
    let measure = |r: &crate::mobility::Row| {
        json!({
            "key": r.quantity.key(),
            "before": r.before.0,
            "before_sd": r.before.1,
            "after": r.after.0,
            "after_sd": r.after.1,
            "difference": r.difference,
            "sem": r.sem,
            "mdc95": r.mdc95,
            "verdict": r.verdict.key(),
        })
    };
    json!({
        "posture": p.posture,
        "before_check": p.before,
        "after_check": p.after,
        "yardstick": p.yardstick(),
        "changed_means": p.changed_means(),
        "measures": p.rows.iter().map(measure).collect::<Vec<_>>(),
    })
}

fn session(session: &Session) -> Value {
    json!({
        "id": session.id,
        "started_utc": session.started_utc,
        "player": session.player.name,
        "handedness": session.player.handedness,
        "invented": session.invented,
    })
}

fn problems(problems: &[Problem]) -> Vec<Value> {
    problems.iter().map(|p| json!({"number": p.number, "text": p.text})).collect()
}

fn swing_row(swing: &Swing, remarks: &Remarks) -> Value {
    let measures: Map<String, Value> = Measure::ALL
        .into_iter()
        .filter_map(|m| {
            let v = m.of(swing)?;
            let value = json!({
                "value": v.value,
                "measuring_sd": v.sd,
                "definition": v.definition,
            });
            Some((m.key(), value))
        })
        .collect();
    json!({
        "number": swing.number,
        "block": swing.block,
        "kind": swing.kind,
        "usable": swing.quality.usable,
        "excluded": remarks.excluded(swing.number).is_some(),
        "order": swing.sequence.order,
        "rising_at_impact": swing.sequence.rising_at_impact,
        "order_text": Order::of_peaks(&swing.sequence).map(|o| o.text()),
        "reversal_order": swing.sequence.reversal_order,
        "measures": measures,
        "withheld": swing.quality.withheld,
    })
}

fn summary(summary: &BlockSummary) -> Value {
    json!({
        "label": summary.label,
        "used": summary.used,
        "rehearsals": summary.rehearsals,
        "unusable": summary
            .unusable
            .iter()
            .map(|(number, why)| json!({"number": number, "why": why}))
            .collect::<Vec<_>>(),
        "excluded": summary
            .excluded
            .iter()
            .map(|(number, why)| json!({"number": number, "why": why}))
            .collect::<Vec<_>>(),
        "orders": summary.orders.iter().map(share).collect::<Vec<_>>(),
        "reversal_orders": summary.reversal_orders.iter().map(share).collect::<Vec<_>>(),
        "measures": summary
            .measures
            .iter()
            .map(|m| (m.measure.key(), measure(m)))
            .collect::<Map<_, _>>(),
        "advice": summary.advice(),
    })
}

fn share(share: &Share) -> Value {
    json!({
        "order": share.order.of.groups(&[]),
        "resolved_pairs": share.order.of.resolved(),
        "tied_pairs": share.order.of.tied(),
        "rising_at_impact": share.order.rising,
        "order_text": share.order.text(),
        "tie": share.order.has_tie(),
        "count": share.count,
        "of": share.of,
        "share": share.share(),
        "share_ci95": [share.interval.0, share.interval.1],
    })
}

fn measure(m: &MeasureSummary) -> Value {
    json!({
        "n": m.sample.n,
        "mean": m.sample.mean,
        "ci95_half": m.half_width,
        "sd": m.sample.sd,
        "measuring_sd": m.measuring_sd,
        "definition": m.definition,
        "other_definition": m.other_definition,
    })
}

fn side(side: &Side) -> Value {
    json!({
        "name": side.name,
        "title": side.title,
        "session": side.session,
        "summary": summary(&side.summary),
    })
}

fn row(row: &Row) -> Value {
    json!({
        "key": row.measure.key(),
        "before": measure(&row.before),
        "after": measure(&row.after),
        "difference": row.difference,
        "ci95_half": row.welch.map(|w| w.half_width),
        "df": row.welch.map(|w| w.df),
        "t": row.welch.map(|w| w.t),
        "p": row.welch.map(|w| w.p),
        "p_holm": row.p_holm,
        "measuring_sd": row.measuring_sd,
        "verdict": row.verdict.key(),
    })
}
