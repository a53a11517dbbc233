//! Live events: what the daemon tells its watchers, one JSON object each.

use crate::calibration::JudgedStep;
use crate::log::StrapEventKind;
use crate::mobility::MobilityCheck;
use crate::repetition::Repetition;
use crate::role::Role;
use crate::swing::Swing;
use crate::trouble::Trouble;
use serde::{Deserialize, Serialize};

/// Something a watcher should know.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(tag = "event", rename_all = "snake_case")]
#[non_exhaustive]
pub enum LiveEvent {
    /// A session folder was opened.
    SessionStarted {
        /// Session id.
        session: String,
    },
    /// A strap's link or health changed.
    Strap {
        /// Session clock, seconds.
        t_s: f64,
        /// Which strap.
        role: Role,
        /// What happened: `kind` with its data beside it.
        #[serde(flatten)]
        what: StrapEventKind,
    },
    /// A step of the calibration was judged.
    Calibration {
        /// The step, with `ok` and what came of it beside.
        #[serde(flatten)]
        #[cfg_attr(feature = "openapi", schema(value_type = crate::calibration::StoredStep))]
        judged: JudgedStep,
    },
    /// A block began.
    Block {
        /// Session clock, seconds.
        t_s: f64,
        /// Its label.
        label: String,
        /// It is of repetitions without a ball.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        drill: bool,
    },
    /// The straps were taken off and put on again; they are to be calibrated anew.
    Wearing {
        /// Session clock, seconds.
        t_s: f64,
        /// Which wearing of the session begins; the first is 0.
        wearing: u32,
    },
    /// A swing was measured.
    Swing {
        /// The whole swing, as in its file.
        swing: Box<Swing>,
    },
    /// A repetition of a drill was measured.
    Repetition {
        /// The whole repetition, as in its file.
        repetition: Box<Repetition>,
    },
    /// A mobility check was measured or has to be repeated.
    Mobility {
        /// The whole check, as in its file.
        check: Box<MobilityCheck>,
    },
    /// Something is wrong with the recording or with what is computed from it.
    Trouble {
        /// Session clock, seconds.
        t_s: f64,
        /// What: `kind` with its data beside it.
        #[serde(flatten)]
        what: Trouble,
    },
    /// The session was closed.
    SessionEnded {
        /// Session clock, seconds.
        t_s: f64,
        /// Number of swings.
        swings: u32,
    },
}
