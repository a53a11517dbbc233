//! What can be said of a difference.

/// What can be said of a difference.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// Larger than ordinary variation, allowing for the measures that get a verdict.
    Changed,
    /// The whole interval lies within the smallest change that matters.
    NoneThatMatters,
    /// Neither can be said.
    CantTell,
    /// Of a measure that was only looked through: larger than chance alone makes most of them.
    Perhaps,
    /// Fewer than two swings on a side, or no variation at all: nothing to judge by.
    TooFew,
}

impl Verdict {
    /// All, in the order told.
    pub const ALL: [Self; 5] =
        [Self::Changed, Self::NoneThatMatters, Self::CantTell, Self::Perhaps, Self::TooFew];

    /// Stable name for programs.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Changed => "changed",
            Self::NoneThatMatters => "no-change-that-matters",
            Self::CantTell => "cannot-tell",
            Self::Perhaps => "perhaps",
            Self::TooFew => "too-few-swings",
        }
    }

    /// Words in a table.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Changed => "changed",
            Self::NoneThatMatters => "no change that matters",
            Self::CantTell => "can't tell yet",
            Self::Perhaps => "perhaps",
            Self::TooFew => "too few",
        }
    }

    /// What it means.
    pub const fn meaning(self) -> &'static str {
        match self {
            Self::Changed => {
                "larger than this player's ordinary variation makes by chance, also after allowing for all \
                 measures that get a verdict (adjusted p < 0.05)"
            }
            Self::NoneThatMatters => {
                "the whole interval lies within the smallest change that matters, on both sides of none"
            }
            Self::CantTell => "the interval holds no change as well as one that would matter",
            Self::Perhaps => {
                "of the numbers that were only looked through; about one in ten that are called so is there \
                 by chance alone (false discovery rate 0.1). Mean it beforehand next time to have a verdict"
            }
            Self::TooFew => "fewer than two swings on a side, or no variation to judge by",
        }
    }
}
