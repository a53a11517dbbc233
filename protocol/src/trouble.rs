//! What goes wrong with a session while it is recorded.

use serde::{Deserialize, Serialize};

/// Something that went wrong. The recording goes on wherever it can.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(tag = "kind", rename_all = "snake_case")]
#[non_exhaustive]
pub enum Trouble {
    /// The recording cannot be written. It is tried again until it can.
    NotRecording {
        /// The system's reason.
        why: String,
    },
    /// The disk is so slow that the memory for what waits is full. Records are dropped.
    NoRoomToWait,
    /// The recording is written again.
    RecordingAgain {
        /// Records that had to be dropped meanwhile.
        dropped: u64,
        /// Session time over which they were dropped, milliseconds.
        missing_ms: u64,
    },
    /// A file that is computed from the recording cannot be written. It is tried again.
    FileNotWritten {
        /// The file, named from the session's folder on.
        file: String,
        /// The system's reason.
        why: String,
    },
    /// The computation failed, or fell behind without end. What comes is recorded and not computed.
    NotComputing,
    /// A part of the recording was lost after it was written. Noted when what is left was saved.
    PartLost {
        /// Session time that is missing from here on, milliseconds: the strap that lost most.
        missing_ms: u64,
    },
    /// The program that recorded was broken off, and the session was gone on with later.
    Interrupted {
        /// Session time from the last record before to the first after it, milliseconds.
        missing_ms: u64,
    },
}

impl Trouble {
    /// Whether a part of the recording is missing for it, which leaves a gap in the log.
    pub const fn leaves_gap(&self) -> bool {
        matches!(
            self,
            Self::PartLost { .. } | Self::Interrupted { .. } | Self::RecordingAgain { dropped: 1.., .. }
        )
    }
}

/// Something that went wrong, and when; as kept in `session.toml`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct TroubleNote {
    /// Session clock, milliseconds.
    pub t_ms: u64,
    /// What.
    #[serde(flatten)]
    pub what: Trouble,
}
