//! Writing.

use super::buffer::{Buffer, Values};
use super::{ABOUT_KEY, SCHEMA_KEY, UNITS_KEY, VERSION_KEY, field};
use crate::writer::WriteReason;
use crate::{Cell, Kind, Schema};
use parquet::basic::{Compression, ZstdLevel};
use parquet::data_type::{BoolType, ByteArrayType, DoubleType, Int32Type, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::SerializedFileWriter;
use parquet::schema::types::{ColumnPath, Type};
use std::fs::File;
use std::sync::Arc;

/// Values in a group of rows: some 64 MB before they are compressed, whatever number of columns.
const GROUP_VALUES: usize = 8_000_000;
/// The most rows of a group.
const GROUP_ROWS: usize = 250_000;

pub(crate) struct ParquetRows {
    file: SerializedFileWriter<File>,
    names: Vec<String>,
    buffers: Vec<Buffer>,
    rows: usize,
    group_rows: usize,
}

impl ParquetRows {
    pub(crate) fn begin(file: File, schema: &Schema) -> Result<Self, ParquetError> {
        let fields = schema
            .columns
            .iter()
            .map(|c| field(c).map(Arc::new))
            .collect::<Result<Vec<_>, ParquetError>>()?;
        let root = Type::group_type_builder("row").with_fields(fields).build()?;
        let properties = properties(schema)?;
        Ok(Self {
            file: SerializedFileWriter::new(file, Arc::new(root), Arc::new(properties))?,
            names: schema.columns.iter().map(|c| c.name.clone()).collect(),
            buffers: schema.columns.iter().map(Buffer::of).collect(),
            rows: 0,
            group_rows: (GROUP_VALUES / schema.columns.len().max(1)).clamp(1, GROUP_ROWS),
        })
    }

    pub(crate) fn push(&mut self, row: &[Cell<'_>]) -> Result<(), WriteReason> {
        if row.len() != self.buffers.len() {
            return Err(WriteReason::Row(format!("{} of {} columns", row.len(), self.buffers.len())));
        }
        for ((buffer, cell), name) in self.buffers.iter_mut().zip(row).zip(&self.names) {
            buffer.push(*cell).ok_or_else(|| WriteReason::Row(name.clone()))?;
        }
        self.rows += 1;
        if self.rows == self.group_rows {
            self.write_group()?;
        }
        Ok(())
    }

    fn write_group(&mut self) -> Result<(), ParquetError> {
        let mut group = self.file.next_row_group()?;
        for buffer in &mut self.buffers {
            let Some(mut column) = group.next_column()? else { break };
            let levels = (!buffer.required).then_some(buffer.levels.as_slice());
            match &buffer.values {
                Values::Real(all) => column.typed::<DoubleType>().write_batch(all, levels, None)?,
                Values::Int32(all) => column.typed::<Int32Type>().write_batch(all, levels, None)?,
                Values::Int64(all) => column.typed::<Int64Type>().write_batch(all, levels, None)?,
                Values::Flag(all) => column.typed::<BoolType>().write_batch(all, levels, None)?,
                Values::Text(all) => column.typed::<ByteArrayType>().write_batch(all, levels, None)?,
            };
            column.close()?;
            buffer.clear();
        }
        group.close()?;
        self.rows = 0;
        Ok(())
    }

    pub(crate) fn finish(mut self) -> Result<(), ParquetError> {
        if self.rows > 0 {
            self.write_group()?;
        }
        self.file.close()?;
        Ok(())
    }
}

fn properties(schema: &Schema) -> Result<WriterProperties, ParquetError> {
    let by_column = |text: fn(&crate::Column) -> &str| {
        let all = schema.columns.iter().filter(|c| !text(c).is_empty());
        serde_json::Value::Object(all.map(|c| (c.name.clone(), text(c).into())).collect()).to_string()
    };
    let footer = [
        (SCHEMA_KEY, schema.id.clone()),
        (UNITS_KEY, by_column(|c| &c.unit)),
        (ABOUT_KEY, by_column(|c| &c.about)),
        (VERSION_KEY, env!("CARGO_PKG_VERSION").to_owned()),
    ];
    let mut properties = WriterProperties::builder()
        .set_created_by(format!("peakorder {}", env!("CARGO_PKG_VERSION")))
        .set_compression(Compression::ZSTD(ZstdLevel::try_new(1)?))
        .set_dictionary_enabled(false)
        .set_key_value_metadata(Some(
            footer.into_iter().map(|(key, value)| KeyValue::new(key.to_owned(), value)).collect(),
        ));
    // Measured values hardly repeat; words do.
    for column in schema.columns.iter().filter(|c| c.kind == Kind::Text) {
        properties =
            properties.set_column_dictionary_enabled(ColumnPath::new(vec![column.name.clone()]), true);
    }
    Ok(properties.build())
}
