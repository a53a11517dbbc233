//! What the coach said, without what was typed.

use super::facts::whose;
use super::{Facts, table_id};
use crate::codes::OUTCOMES;
use peakorder_protocol::remark::{Bound, Remark, What};
use peakorder_tables::{Cell, Column, Kind, Table};
use std::sync::Arc;

/// One remark.
#[derive(Debug, Clone)]
pub struct RemarkRow {
    /// Whose it is.
    pub facts: Arc<Facts>,
    remark: Remark,
    outcome: Option<String>,
}

/// Remarks as rows, in the order made.
pub fn remark_rows(remarks: &[Remark], facts: &Arc<Facts>) -> Vec<RemarkRow> {
    remarks
        .iter()
        .map(|remark| {
            let outcome = match &remark.what {
                What::Outcome { labels, .. } => {
                    let known: Vec<&str> =
                        labels.iter().map(String::as_str).filter(|l| OUTCOMES.contains(l)).collect();
                    (!known.is_empty()).then(|| known.join(", "))
                }
                _ => None,
            };
            RemarkRow { facts: Arc::clone(facts), remark: remark.clone(), outcome }
        })
        .collect()
}

const fn key(what: &What) -> &'static str {
    match what {
        What::Outcome { .. } => "outcome",
        What::Note { .. } => "note",
        What::Exclude { .. } => "exclude",
        What::Balls { .. } => "balls",
        What::Rename { .. } => "rename",
        What::Ball { .. } => "ball",
        What::Target { .. } => "target",
        What::Chosen { .. } => "chosen",
        What::Practise { .. } => "practise",
        What::Undo { .. } => "undo",
    }
}

/// The columns of remarks.
pub fn remarks_table() -> Table<RemarkRow> {
    let target = |r: &RemarkRow| match &r.remark.what {
        What::Target { target } => target.clone(),
        _ => None,
    };
    whose(
        Table::new(
            table_id("remarks"),
            "A remark of the coach, without what was typed. Rows are added and never changed.",
        ),
        |r: &RemarkRow| &r.facts,
    )
    .column(Column::int("remark_id", "Its number in the session, from 1.").required(), |r| r.remark.id.into())
    .column(
        Column::real("t_s", "s", "When it was made, on the session clock: seconds after started_utc."),
        |r| Cell::Real(r.remark.t_s),
    )
    .column(
        Column::text(
            "what",
            "Kind: outcome, note, exclude, balls, rename, ball, target, chosen, practise, undo.",
        )
        .required(),
        |r| Cell::Text(key(&r.remark.what)),
    )
    .column(Column::int("swing", "The swing that it is about."), |r| match &r.remark.what {
        What::Outcome { swing, .. } | What::Exclude { swing, .. } | What::Ball { swing, .. } => {
            (*swing).into()
        }
        What::Note { swing: Some(swing), .. } => (*swing).into(),
        _ => Cell::None,
    })
    .column(Column::text("block", "The block that it is about."), |r| match &r.remark.what {
        What::Balls { block, .. } | What::Rename { block, .. } => Cell::Text(block),
        What::Target { target: Some(t) } if !t.block.is_empty() => Cell::Text(&t.block),
        _ => Cell::None,
    })
    .column(Column::text("new_label", "Of a rename: the block's label from now on."), |r| {
        match &r.remark.what {
            What::Rename { name, .. } => Cell::Text(name),
            _ => Cell::None,
        }
    })
    .column(Column::flag("excluded", "Of exclude: left out from now on."), |r| match &r.remark.what {
        What::Exclude { excluded, .. } => (*excluded).into(),
        _ => Cell::None,
    })
    .column(Column::flag("struck", "Of ball: it hit one."), |r| match &r.remark.what {
        What::Ball { struck: Some(struck), .. } => (*struck).into(),
        _ => Cell::None,
    })
    .column(Column::flag("every_swing", "Of balls: every swing of the block hits one."), |r| {
        match &r.remark.what {
            What::Balls { every_swing, .. } => (*every_swing).into(),
            _ => Cell::None,
        }
    })
    .column(
        Column::flag("without_ball", "Of balls: no swing of the block is meant to hit one."),
        |r| match &r.remark.what {
            What::Balls { without_ball, .. } => (*without_ball).into(),
            _ => Cell::None,
        },
    )
    .column(
        Column::text(
            "outcome",
            "Of outcome: what the ball did, in the page's own words; others are left out.",
        ),
        |r| r.outcome.as_deref().into(),
    )
    .column(Column::int("undone", "Of undo: the remark that is taken back."), |r| match &r.remark.what {
        What::Undo { id } => (*id).into(),
        _ => Cell::None,
    })
    .column(Column::text("measure", "Of target: key of the measure."), |r| match &r.remark.what {
        What::Target { target: Some(t) } => Cell::Text(&t.measure),
        _ => Cell::None,
    })
    .column(Column::text("bound", "Of target: at_least or at_most."), move |r| {
        match target(r).map(|t| t.bound) {
            Some(Bound::AtLeast) => Cell::Text("at_least"),
            Some(Bound::AtMost) => Cell::Text("at_most"),
            None => Cell::None,
        }
    })
    .column(Column::new("value", Kind::Real, "Of target: its value, in the measure's unit."), move |r| {
        target(r).map(|t| t.value).into()
    })
}
