#![doc = include_str!("../README.md")]
//!
//! # How it is laid out
//!
//! Tables whose columns have a type, a unit and a description each.
//!
//! A [`Table`] says once what the columns of a row type are; from it come the header and the cells of CSV, the
//! schema, units and rows of Parquet, and the [data dictionary](dictionary()) in between. A file appears whole or not at
//! all. Nothing here knows of swings.

mod cell;
mod column;
mod csv_file;
mod dictionary;
mod parquet_file;
mod table;
mod writer;

pub use cell::Cell;
pub use column::{Column, Kind, Schema};
pub use dictionary::dictionary;
pub use parquet_file::{ParquetFile, ReadError};
pub use table::Table;
pub use writer::{Format, WriteError, Writer};
