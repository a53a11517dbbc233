//! Rows as Apache Parquet, by the column writer and reader of the `parquet` crate, without arrow.
//!
//! What a file holds stands in its footer: under [`SCHEMA_KEY`] the table's id, under [`UNITS_KEY`] a JSON object
//! of units by column, under [`ABOUT_KEY`] one of descriptions.

mod buffer;
mod read;
mod write;

pub use read::{ParquetFile, ReadError};
pub(crate) use write::ParquetRows;

use crate::{Column, Kind};
use parquet::basic::{LogicalType, Repetition, TimeUnit, Type as Physical};
use parquet::errors::ParquetError;
use parquet::schema::types::Type;

/// Footer key of the table's id.
pub(crate) const SCHEMA_KEY: &str = "peakorder.schema";
/// Footer key of the units.
pub(crate) const UNITS_KEY: &str = "peakorder.units";
/// Footer key of the descriptions.
pub(crate) const ABOUT_KEY: &str = "peakorder.about";
/// Footer key of the version of the program that wrote the file.
pub(crate) const VERSION_KEY: &str = "peakorder.version";

fn field(column: &Column) -> Result<Type, ParquetError> {
    let (physical, logical) = match column.kind {
        Kind::Real => (Physical::DOUBLE, None),
        Kind::Int32 => (Physical::INT32, None),
        Kind::Int64 => (Physical::INT64, None),
        Kind::Flag => (Physical::BOOLEAN, None),
        Kind::Text => (Physical::BYTE_ARRAY, Some(LogicalType::String)),
        Kind::Instant => (Physical::INT64, Some(LogicalType::timestamp(true, TimeUnit::MICROS))),
        Kind::Date => (Physical::INT32, Some(LogicalType::Date)),
    };
    let repetition = if column.required { Repetition::REQUIRED } else { Repetition::OPTIONAL };
    Type::primitive_type_builder(&column.name, physical)
        .with_logical_type(logical)
        .with_repetition(repetition)
        .build()
}

/// The kind of a field; `None` for what this project does not write.
fn kind(field: &Type) -> Option<Kind> {
    if !field.is_primitive() {
        return None;
    }
    Some(match (field.get_physical_type(), field.get_basic_info().logical_type_ref()) {
        (Physical::DOUBLE, None) => Kind::Real,
        (Physical::INT32, None) => Kind::Int32,
        (Physical::INT32, Some(LogicalType::Date)) => Kind::Date,
        (Physical::INT64, None) => Kind::Int64,
        (Physical::INT64, Some(LogicalType::Timestamp(_))) => Kind::Instant,
        (Physical::BOOLEAN, None) => Kind::Flag,
        (Physical::BYTE_ARRAY, Some(LogicalType::String)) => Kind::Text,
        _ => return None,
    })
}
