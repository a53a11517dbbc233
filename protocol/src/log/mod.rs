//! The recording log, `samples.log`: raw arrivals, marks and strap events, appended in
//! frames that can each be checked on their own (byte layout: [`frame`]).
//!
//! Corruption is data, not an error: a reader hands out every frame that is whole,
//! never an altered record, and lists what it had to skip as [`Finding`]s.

mod error;
pub mod frame;
mod reader;
mod record;
mod strap;
pub mod wire;
mod writer;

pub use error::{Finding, FindingKind, LogError};
pub use reader::LogReader;
pub use record::{Arrival, Mark, MarkKind, Record};
pub use strap::{Disconnection, RestFault, StrapEvent, StrapEventKind, interval_ms, interval_of_ms};
pub use writer::{LogPosition, LogWriter, SharedStore, Store, Syncer, is_being_written};
