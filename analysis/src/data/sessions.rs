//! Sessions.

use super::facts::whose;
use super::{Facts, table_id};
use crate::load::Loaded;
use peakorder_protocol::Role;
use peakorder_protocol::session::Session;
use peakorder_tables::{Cell, Column, Table};
use std::sync::Arc;

/// One session.
#[derive(Debug, Clone)]
pub struct SessionRow {
    /// Whose it is.
    pub facts: Arc<Facts>,
    /// Digest of all its rows, in a dataset.
    pub content: Option<String>,
    session: Session,
    swings: usize,
    repetitions: usize,
    counted: usize,
    lost_samples: i64,
    finish_s: Option<f64>,
}

/// A session as a row.
pub fn session_row(loaded: &Loaded, facts: &Arc<Facts>) -> SessionRow {
    let swings = loaded.swings.iter().map(|s| s.events.finish.t_s);
    let ends = swings.chain(loaded.repetitions.iter().map(|r| r.events.finish.t_s));
    SessionRow {
        facts: Arc::clone(facts),
        content: None,
        session: loaded.session.clone(),
        swings: loaded.swings.len(),
        repetitions: loaded.repetitions.len(),
        counted: loaded.swings.iter().filter(|s| loaded.remarks.counts(s)).count(),
        lost_samples: loaded.swings.iter().map(|s| i64::from(s.quality.lost_samples)).sum(),
        finish_s: ends.reduce(f64::max),
    }
}

/// The columns of sessions.
pub fn sessions_table() -> Table<SessionRow> {
    let table =
        whose(Table::new(table_id("sessions"), "A session: a lesson, or practice."), |r: &SessionRow| {
            &r.facts
        });
    let mut table = table
        .column(Column::date("lesson_date", "Its day, in the zone it was recorded in.").required(), |r| {
            Cell::Date(r.facts.day)
        })
        .column(
            Column::real("duration_s", "s", "From its start to the end of its last swing or repetition."),
            |r| r.finish_s.into(),
        )
        .column(Column::text("handedness", "Side the player swings from: right or left.").required(), |r| {
            Cell::Text(r.session.player.handedness.key())
        })
        .column(
            Column::flag("invented", "An invented scenario of virtual straps, not a person's session.")
                .required(),
            |r| r.session.invented.into(),
        )
        .column(Column::text("software", "Program and version that computed the swings.").required(), |r| {
            Cell::Text(&r.session.computed_by)
        });
    for role in Role::ALL {
        table = table.column(
            Column::text(
                format!("strap_{}", role.key()),
                format!(
                    "Profile of the strap on the {}; nothing where none was worn.",
                    role.key().replace('_', " ")
                ),
            ),
            move |r: &SessionRow| r.session.straps.get(&role).map(|s| s.profile.as_str()).into(),
        );
    }
    table
        .column(Column::int("swings", "Swings.").required(), |r| Cell::Int(r.swings as i64))
        .column(Column::int("repetitions", "Repetitions of drills.").required(), |r| {
            Cell::Int(r.repetitions as i64)
        })
        .column(Column::int("counted", "Swings that enter the summaries.").required(), |r| {
            Cell::Int(r.counted as i64)
        })
        .column(
            Column::text(
                "drills",
                "Labels of the lesson's drills, joined by ' + '; nothing where there was none.",
            ),
            |r| r.facts.drills(),
        )
        .column(
            Column::new(
                "lost_samples",
                peakorder_tables::Kind::Int64,
                "Samples lost in its swings, all straps.",
            )
            .required(),
            |r| Cell::Int(r.lost_samples),
        )
        .column(
            Column::text(
                "content",
                "Digest of all rows of the session: the same where nothing of it changed.",
            ),
            |r| r.content.as_deref().into(),
        )
}
