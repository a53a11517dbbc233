#![doc = include_str!("../README.md")]
//!
//! # How it is laid out
//!
//! What peakorder's data *is*: strap profiles and packet decoding, the recording
//! log, the session folder, the per-swing file, the coach's remarks and live events.
//!
//! Nothing here waits, opens a socket, reads a clock or does the mathematics of
//! motion; the daemon and the analysis tool meet only through these types.

pub mod calibration;
pub mod curves;
pub mod document;
pub mod estimate;
pub mod event;
pub mod files;
pub mod import_warning;
pub mod log;
pub mod mobility;
pub mod order;
pub mod packet;
pub mod profile;
pub mod remark;
pub mod repetition;
pub mod role;
pub mod session;
pub mod swing;
pub mod text;
pub mod toml_line;
pub mod trouble;
pub mod unknown_word;
mod whole_number;

pub use role::{Handedness, Role};
pub use unknown_word::UnknownWord;
