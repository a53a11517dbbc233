//! Where records come from. Every source hands over the same records, in order of time.

pub mod import;
pub mod pace;
pub mod replay;
pub mod straps;
