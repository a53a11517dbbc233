//! A session as rows of tables: what `export` writes of one and what a dataset keeps of many.
//!
//! Each module is one table: its rows, and its columns as a [`Table`](peakorder_tables::Table), from which headers, types, units and the
//! data dictionary come. Players and sessions have ids, never names, and nothing that somebody typed stands in any of these
//! tables but the labels of blocks.

mod block_stats;
mod facts;
mod measures;
mod phase;
mod remarks;
mod repetitions;
mod sessions;
mod swings;

pub use block_stats::{BlockStat, block_stats, block_stats_table};
pub use facts::{Facts, FactsError};
pub use measures::{
    MeasureRow, bone_sd_key, def_key, measure_rows, measures, measures_table, sd_key, unit_text,
};
pub use phase::{BlockAt, Phase, Phases};
pub use remarks::{RemarkRow, remark_rows, remarks_table};
pub use repetitions::{RepetitionRow, repetition_rows, repetitions_table};
pub use sessions::{SessionRow, session_row, sessions_table};
pub use swings::{SwingRow, swing_rows, swings_table};

/// Version of the tables: their ids begin with it. A column may be added within a version; none changes its name, unit or meaning.
pub const SCHEMA: &str = "peakorder.dataset/1";

/// Id of the table of that name.
pub fn table_id(name: &str) -> String {
    format!("{SCHEMA}/{name}")
}
