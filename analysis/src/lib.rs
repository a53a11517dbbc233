#![doc = include_str!("../README.md")]
//!
//! # How it is laid out
//!
//! Swings in, insight out: reads session folders and tells a coach what is in them.
//!
//! [`load()`](load::load) reads a session or one block of it, [`summary`] describes blocks,
//! [`compare`] sets two against each other, [`against`] sets one swing against the baseline, [`usual`] says what is usual by it,
//! [`target`] answers a drill's swings, [`trend`] follows a player over sessions, [`render`] turns
//! each into text for a terminal, [`json`] into documents for programs, [`report`] into a page on
//! paper; [`integrity`] says what of a folder is intact, and saves it. What reads the disk is named for it: `load`, `mobility::load`, `library::find`,
//! `json::show_swing`, `integrity`. The rest are pure functions that the daemon and the demo call as well.
//!
//! No number is judged good or bad here. The only yardstick is the player's own ordinary
//! variation from swing to swing.

#[cfg(feature = "open-data")]
pub mod academy;
pub mod against;
pub mod arranged;
pub mod chosen;
pub mod codes;
pub mod compare;
pub mod curves;
#[cfg(feature = "open-data")]
pub mod data;
#[cfg(feature = "open-data")]
pub mod dataset;
pub mod design;
pub mod drill;
pub mod exit;
pub mod export;
mod hex;
pub mod integrity;
pub mod json;
pub mod kept;
pub mod known_datasets;
pub mod library;
pub mod load;
pub mod measure;
pub mod mobility;
pub mod order;
pub mod order_change;
pub mod outliers;
#[cfg(feature = "packaged")]
pub mod packaged;
pub mod parallel;
pub mod picture;
pub mod render;
pub mod report;
pub mod stats;
pub mod summary;
pub mod target;
pub mod terminal;
pub mod trend;
pub mod usual;
pub mod wearing;
pub mod words;

/// Label of the block that is what the player brought, unless another is named. Everything looks for it by this name, which
/// codes therefore keep.
pub const BASELINE: &str = "baseline";

/// Version of the programs and the commit they were built from, as `--version` says it.
pub const VERSION: &str = concat!(env!("CARGO_PKG_VERSION"), " (", env!("PEAKORDER_COMMIT"), ")");

/// What an invented session says of itself, wherever it is shown.
pub const INVENTED: &str = "Invented scenario: simulated straps, nobody was measured.";

/// Where reports end.
pub const SAFETY: &str = "peakorder measures timing and motion. It gives no medical advice and \
predicts no injury. Stop on pain; what a body should or should not do is for licensed \
practitioners to say.";

/// The fewest swings whose mean is shown without a word of caution.
///
/// Source: Villarrasa-Sapiña I et al. 2022, Sensors 22(23):9069: 7 driver or 10 six-iron
/// swings for a reliable mean, found for outcomes of club and ball, not for timing.
pub const ADVISED_SWINGS: usize = 7;

/// What is said when a block has fewer than [`ADVISED_SWINGS`] swings.
pub const FEW_SWINGS_ADVICE: &str = "Fewer than 7 swings: read the means with care. For outcomes of \
club and ball 7 driver or 10 six-iron swings gave a reliable mean (Villarrasa-Sapiña et al. 2022, \
Sensors 22:9069); that is outcome-based evidence only, none is known to us for timing.";
