//! The tables of an export.

use std::fmt;
use std::str::FromStr;

/// A table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum What {
    /// One row a session.
    Sessions,
    /// One row a swing.
    Swings,
    /// One row a block, measure and definition.
    Blocks,
    /// One row a repetition of a drill.
    Repetitions,
    /// One row a remark of the coach.
    Remarks,
    /// One row a measure: what the columns of swings mean.
    Measures,
    /// Speed, turn and orientation through every swing.
    Curves,
    /// Speed and turn at the same points of every swing.
    CurvesNormalised,
    /// Samples in the axes of the segments.
    SamplesSegment,
    /// Samples as worn, in the axes of the straps.
    SamplesStrap,
    /// Orientations by the running filter.
    Orientations,
    /// Where samples are missing.
    Gaps,
    /// Marks of the recording.
    Marks,
    /// Judged calibration steps.
    Calibration,
    /// How each strap sat on its segment, and from when on.
    Mountings,
}

impl What {
    /// All of them, in the order written.
    pub const ALL: [Self; 15] = [
        Self::Sessions,
        Self::Swings,
        Self::Blocks,
        Self::Repetitions,
        Self::Remarks,
        Self::Measures,
        Self::Curves,
        Self::CurvesNormalised,
        Self::SamplesSegment,
        Self::SamplesStrap,
        Self::Orientations,
        Self::Gaps,
        Self::Marks,
        Self::Calibration,
        Self::Mountings,
    ];

    /// Its name, that of the file without ending.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Sessions => "sessions",
            Self::Swings => "swings",
            Self::Blocks => "blocks",
            Self::Repetitions => "repetitions",
            Self::Remarks => "remarks",
            Self::Measures => "measures",
            Self::Curves => "curves",
            Self::CurvesNormalised => "curves_normalised",
            Self::SamplesSegment => "samples_segment",
            Self::SamplesStrap => "samples_strap",
            Self::Orientations => "orientations",
            Self::Gaps => "gaps",
            Self::Marks => "marks",
            Self::Calibration => "calibration",
            Self::Mountings => "mountings",
        }
    }

    /// It is made of the recording itself.
    pub(super) const fn needs_log(self) -> bool {
        matches!(
            self,
            Self::SamplesSegment
                | Self::SamplesStrap
                | Self::Orientations
                | Self::Gaps
                | Self::Marks
                | Self::Mountings
        )
    }
}

impl fmt::Display for What {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.key())
    }
}

impl FromStr for What {
    type Err = String;

    fn from_str(word: &str) -> Result<Self, String> {
        Self::ALL
            .into_iter()
            .find(|w| w.key() == word)
            .ok_or_else(|| format!("no such table; there are {}", Self::ALL.map(Self::key).join(", ")))
    }
}
