//! What every row says of its session.

use super::Phases;
use crate::codes::Codes;
use crate::load::Loaded;
use jiff::Timestamp;
use jiff::fmt::temporal::DateTimeParser;
use peakorder_tables::{Cell, Column, Table};

/// Why a session cannot be put into tables. The message says what to do.
#[derive(Debug, thiserror::Error)]
pub enum FactsError {
    /// Its player has no id, and the name is not to be told.
    #[error(
        "{session}: the session's player has a name but no id; name a file with --code-key, and a code is made of the name"
    )]
    NoId {
        /// The session, as it was named.
        session: String,
    },
    /// Its start is no time.
    #[error("{session}: started_utc in session.toml is {text:?}, not a time such as 2026-11-25T10:05:12Z")]
    Start {
        /// The session, as it was named.
        session: String,
        /// What stands there.
        text: String,
    },
}

/// A session's part in every row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Facts {
    /// Its id.
    pub session: String,
    /// The player's id, or the code of a name.
    pub player: String,
    /// Where it was recorded, as its owner calls the place; may be empty.
    pub bay: String,
    /// Microseconds since 1970 UTC.
    pub started_us: i64,
    /// Day in the session's own zone, days since 1970.
    pub day: i32,
    /// Month in UTC, `2026-11`.
    pub month: String,
    /// The session's blocks.
    pub phases: Phases,
}

impl Facts {
    /// Of a loaded session. A player without an id gets the code of the name, if there are `codes`.
    pub fn of(loaded: &Loaded, bay: &str, codes: Option<&Codes>) -> Result<Self, FactsError> {
        let session = &loaded.session;
        let start = || FactsError::Start { session: loaded.name(), text: session.started_utc.clone() };
        let started: Timestamp = session.started_utc.parse().map_err(|_| start())?;
        let player = match (&session.player.id, codes) {
            (Some(id), _) => id.clone(),
            (None, Some(codes)) => codes.player(&session.player),
            (None, None) => return Err(FactsError::NoId { session: loaded.name() }),
        };
        let utc = started.to_zoned_datetime(jiff::tz::TimeZone::UTC);
        let zone = DateTimeParser::new().parse_time_zone(&session.zone).unwrap_or(jiff::tz::TimeZone::UTC);
        let day = started.to_zoned_datetime(zone).date();
        Ok(Self {
            session: session.id.clone(),
            player,
            bay: bay.to_owned(),
            started_us: started.as_microsecond(),
            day: (day - jiff::civil::date(1970, 1, 1)).get_days(),
            month: utc.strftime("%Y-%m").to_string(),
            phases: Phases::of(loaded),
        })
    }

    /// The place where it was recorded, if it is said.
    pub fn bay(&self) -> Cell<'_> {
        if self.bay.is_empty() { Cell::None } else { Cell::Text(&self.bay) }
    }

    /// The drills, if there were any.
    pub fn drills(&self) -> Cell<'_> {
        self.phases.drills.as_deref().into()
    }
}

/// The columns that tell whose a row is.
pub(super) fn whose<R: 'static>(table: Table<R>, facts: fn(&R) -> &Facts) -> Table<R> {
    table
        .column(Column::text("session_id", "Id of the session.").required(), move |r| {
            Cell::Text(&facts(r).session)
        })
        .column(Column::text("player_id", "Id of the player; never a name.").required(), move |r| {
            Cell::Text(&facts(r).player)
        })
        .column(
            Column::text("bay", "Where it was recorded, as the owner of the dataset calls the place."),
            move |r| facts(r).bay(),
        )
        .column(Column::instant("started_utc", "When the session began.").required(), move |r| {
            Cell::Instant(facts(r).started_us)
        })
}

/// The columns that tell to which block a row belongs.
pub(super) fn which_block<R: 'static>(
    table: Table<R>,
    facts: fn(&R) -> &Facts,
    label: fn(&R) -> &str,
) -> Table<R> {
    table
        .column(
            Column::int("block_no", "Place of the block among the session's blocks, from 1, by first appearance.")
                .required(),
            move |r| Cell::Int(facts(r).phases.at(label(r)).map_or(0, |b| i64::from(b.number))),
        )
        .column(Column::text("block", "Label of the block; empty before the first.").required(), move |r| {
            Cell::Text(label(r))
        })
        .column(
            Column::text(
                "phase",
                "Part of the lesson: baseline (the block baseline, or else the first that counts), after (the last \
                 other block that counts), drill (between the two), other.",
            )
            .required(),
            move |r| Cell::Text(facts(r).phases.at(label(r)).map_or("other", |b| b.phase.key())),
        )
        .column(
            Column::text("drills", "Labels of the lesson's drills, joined by ' + '; nothing where there was none."),
            move |r| facts(r).drills(),
        )
}
