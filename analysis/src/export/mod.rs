//! What is in a session, for other programs: one CSV of its swings ([`csv()`]), or everything in a folder of tables, MCAP
//! files or files for import ([`export()`]). The formats are described in `docs/formats/export.md`.

mod one_file;

#[cfg(feature = "open-data")]
mod computed;
#[cfg(feature = "open-data")]
mod curves;
#[cfg(feature = "open-data")]
mod error;
#[cfg(feature = "open-data")]
mod for_import;
#[cfg(feature = "open-data")]
mod log;
#[cfg(feature = "open-data")]
mod mcap_file;
#[cfg(feature = "open-data")]
mod rows;
#[cfg(feature = "open-data")]
mod run;
#[cfg(feature = "open-data")]
mod samples;
#[cfg(feature = "open-data")]
mod stage;
#[cfg(feature = "open-data")]
mod tables;
#[cfg(feature = "open-data")]
mod what;

pub use one_file::csv;

#[cfg(feature = "open-data")]
pub use error::ExportError;
#[cfg(feature = "open-data")]
pub use run::{Done, Kind, Wanted, export};
#[cfg(feature = "open-data")]
pub use what::What;
