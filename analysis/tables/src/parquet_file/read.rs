//! Reading what this project wrote, and saying what another file is.

use super::buffer::{Buffer, Values};
use super::{ABOUT_KEY, SCHEMA_KEY, UNITS_KEY, kind};
use crate::{Cell, Column, Schema};
use parquet::column::reader::{ColumnReader, get_typed_column_reader};
use parquet::data_type::{BoolType, ByteArrayType, DataType, DoubleType, Int32Type, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::reader::{FileReader, SerializedFileReader};
use serde_json::{Map, Value};
use std::fs::File;
use std::io;
use std::path::{Path, PathBuf};

/// Why a file is not read. The message says what it is.
#[derive(Debug, thiserror::Error)]
pub enum ReadError {
    /// The file system refuses.
    #[error("{}: {why}", path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// The reason.
        why: io::Error,
    },
    /// It is no Parquet, or it is cut off or damaged.
    #[error("{}: no whole Parquet file ({why}); it is cut off, damaged or something else", path.display())]
    Damaged {
        /// The file.
        path: PathBuf,
        /// The reason.
        why: ParquetError,
    },
    /// It is Parquet of something else.
    #[error("{}: Parquet that another program wrote (no {SCHEMA_KEY} in its footer)", path.display())]
    Foreign {
        /// The file.
        path: PathBuf,
    },
    /// A column has a type that no table has.
    #[error("{}: column {column} has a type that this version does not know", path.display())]
    Column {
        /// The file.
        path: PathBuf,
        /// The column.
        column: String,
    },
    /// The file lacks a column that is asked for.
    #[error("{}: no column {column}", path.display())]
    NoColumn {
        /// The file.
        path: PathBuf,
        /// The column.
        column: String,
    },
}

/// A Parquet file of one of the project's tables.
pub struct ParquetFile {
    path: PathBuf,
    reader: SerializedFileReader<File>,
    schema: Schema,
}

impl ParquetFile {
    /// Opens a file and reads its footer.
    pub fn open(path: &Path) -> Result<Self, ReadError> {
        let file = File::open(path).map_err(|why| ReadError::Io { path: path.to_owned(), why })?;
        let reader = SerializedFileReader::new(file)
            .map_err(|why| ReadError::Damaged { path: path.to_owned(), why })?;
        let schema = schema(path, &reader)?;
        Ok(Self { path: path.to_owned(), reader, schema })
    }

    /// Its columns.
    pub const fn schema(&self) -> &Schema {
        &self.schema
    }

    /// Number of rows.
    pub fn rows(&self) -> usize {
        self.reader.metadata().file_metadata().num_rows().max(0) as usize
    }

    /// Calls `each` with the cells of every row, in the order of `columns`.
    pub fn read(&self, columns: &[&str], mut each: impl FnMut(&[Cell<'_>])) -> Result<(), ReadError> {
        let damaged = |why| ReadError::Damaged { path: self.path.clone(), why };
        let places: Vec<usize> = columns
            .iter()
            .map(|name| {
                let no_column =
                    || ReadError::NoColumn { path: self.path.clone(), column: (*name).to_owned() };
                self.schema.place(name).ok_or_else(no_column)
            })
            .collect::<Result<_, _>>()?;
        for at in 0..self.reader.num_row_groups() {
            let group = self.reader.get_row_group(at).map_err(damaged)?;
            let rows = group.metadata().num_rows().max(0) as usize;
            let mut buffers: Vec<Buffer> = Vec::with_capacity(places.len());
            for &place in &places {
                let mut buffer = Buffer::of(&self.schema.columns[place]);
                let column = group.get_column_reader(place).map_err(damaged)?;
                fill(&mut buffer, column, rows).map_err(damaged)?;
                buffers.push(buffer);
            }
            let mut next = vec![0; buffers.len()];
            let mut row = Vec::with_capacity(buffers.len());
            for at in 0..rows {
                row.clear();
                for (buffer, next) in buffers.iter().zip(&mut next) {
                    if buffer.required || buffer.levels[at] == 1 {
                        row.push(buffer.cell(*next));
                        *next += 1;
                    } else {
                        row.push(Cell::None);
                    }
                }
                each(&row);
            }
        }
        Ok(())
    }

    /// The same of all columns.
    pub fn read_all(&self, each: impl FnMut(&[Cell<'_>])) -> Result<(), ReadError> {
        let columns: Vec<&str> = self.schema.columns.iter().map(|c| c.name.as_str()).collect();
        self.read(&columns, each)
    }
}

fn schema(path: &Path, reader: &SerializedFileReader<File>) -> Result<Schema, ReadError> {
    let meta = reader.metadata().file_metadata();
    let footer = |key: &str| {
        let pairs = meta.key_value_metadata()?;
        pairs.iter().find(|pair| pair.key == key)?.value.clone()
    };
    let by_column = |key: &str| -> Map<String, Value> {
        footer(key).and_then(|text| serde_json::from_str(&text).ok()).unwrap_or_default()
    };
    let Some(id) = footer(SCHEMA_KEY) else { return Err(ReadError::Foreign { path: path.to_owned() }) };
    let (units, abouts) = (by_column(UNITS_KEY), by_column(ABOUT_KEY));
    let said = |of: &Map<String, Value>, name: &str| {
        of.get(name).and_then(Value::as_str).unwrap_or_default().to_owned()
    };
    let columns = meta
        .schema()
        .get_fields()
        .iter()
        .map(|field| {
            let name = field.name().to_owned();
            let Some(kind) = kind(field) else {
                return Err(ReadError::Column { path: path.to_owned(), column: name });
            };
            let required = !field.is_optional();
            Ok(Column { kind, unit: said(&units, &name).into(), about: said(&abouts, &name), required, name })
        })
        .collect::<Result<_, _>>()?;
    Ok(Schema { id, about: String::new(), columns })
}

fn fill(buffer: &mut Buffer, column: ColumnReader, rows: usize) -> Result<(), ParquetError> {
    let levels = (!buffer.required).then_some(&mut buffer.levels);
    match &mut buffer.values {
        Values::Real(all) => read_into::<DoubleType>(column, rows, levels, all),
        Values::Int32(all) => read_into::<Int32Type>(column, rows, levels, all),
        Values::Int64(all) => read_into::<Int64Type>(column, rows, levels, all),
        Values::Flag(all) => read_into::<BoolType>(column, rows, levels, all),
        Values::Text(all) => read_into::<ByteArrayType>(column, rows, levels, all),
    }
}

fn read_into<T: DataType>(
    column: ColumnReader,
    rows: usize,
    mut levels: Option<&mut Vec<i16>>,
    values: &mut Vec<T::T>,
) -> Result<(), ParquetError> {
    let mut reader = get_typed_column_reader::<T>(column);
    let mut done = 0;
    while done < rows {
        let (records, _, _) = reader.read_records(rows - done, levels.as_deref_mut(), None, values)?;
        if records == 0 {
            return Err(ParquetError::General(format!("{done} of {rows} rows")));
        }
        done += records;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Format, Kind, Writer};
    use proptest::prelude::*;

    #[derive(Debug, Clone, PartialEq)]
    struct Row(Option<f64>, Option<i32>, Option<i64>, Option<bool>, Option<String>, i64, Option<i32>);

    fn schema() -> Schema {
        Schema {
            id: "test/1/rows".into(),
            about: "A row.".into(),
            columns: vec![
                Column::real("a_deg", "deg", "An angle."),
                Column::int("b", ""),
                Column::new("c", Kind::Int64, ""),
                Column::flag("d", ""),
                Column::text("e", "Words."),
                Column::instant("f", "").required(),
                Column::date("g", ""),
            ],
        }
    }

    fn cells(row: &Row) -> Vec<Cell<'_>> {
        vec![
            row.0.into(),
            row.1.map_or(Cell::None, |n| Cell::Int(n.into())),
            row.2.map_or(Cell::None, Cell::Int),
            row.3.map_or(Cell::None, Cell::Flag),
            row.4.as_deref().into(),
            Cell::Instant(row.5),
            row.6.map_or(Cell::None, Cell::Date),
        ]
    }

    fn written(rows: &[Row], path: &Path) {
        let mut writer = Writer::create(path, &schema(), Format::Parquet).unwrap();
        for row in rows {
            writer.push(&cells(row)).unwrap();
        }
        writer.finish().unwrap();
    }

    fn row() -> impl Strategy<Value = Row> {
        (
            proptest::option::of(-1e9..1e9_f64),
            any::<Option<i32>>(),
            any::<Option<i64>>(),
            any::<Option<bool>>(),
            any::<Option<String>>(),
            any::<i64>(),
            any::<Option<i32>>(),
        )
            .prop_map(|(a, b, c, d, e, f, g)| Row(a, b, c, d, e, f, g))
    }

    proptest! {
        #[test]
        fn rows_are_read_back_as_they_were_written(rows in proptest::collection::vec(row(), 0..40)) {
            let folder = tempfile::tempdir().unwrap();
            let path = folder.path().join("rows.parquet");
            written(&rows, &path);
            let file = ParquetFile::open(&path).unwrap();
            let columns = schema().columns;
            prop_assert_eq!(&file.schema().columns, &columns);
            prop_assert_eq!(file.rows(), rows.len());
            let mut at = 0;
            file.read_all(|row| { assert_eq!(row, cells(&rows[at])); at += 1; }).unwrap();
            prop_assert_eq!(at, rows.len());
        }

        #[test]
        fn a_file_that_is_cut_off_is_never_read(keep in 0.0..1.0_f64) {
            let folder = tempfile::tempdir().unwrap();
            let path = folder.path().join("rows.parquet");
            written(&[Row(Some(1.0), None, Some(2), Some(true), Some("x".into()), 3, None)], &path);
            let bytes = std::fs::read(&path).unwrap();
            std::fs::write(&path, &bytes[..(bytes.len() as f64 * keep) as usize]).unwrap();
            let error = ParquetFile::open(&path).err().expect("refused").to_string();
            prop_assert!(error.contains("no whole Parquet file"), "{}", error);
        }
    }

    #[test]
    fn a_row_that_does_not_fit_is_refused_and_leaves_no_file() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("rows.parquet");
        let mut writer = Writer::create(&path, &schema(), Format::Parquet).unwrap();
        let mut cells = cells(&Row(None, None, None, None, None, 1, None)).clone();
        cells[1] = Cell::Int(i64::MAX);
        let error = writer.push(&cells).unwrap_err().to_string();
        assert!(error.contains("cell for b is of another kind"), "{error}");
        drop(writer);
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0);
    }

    #[test]
    fn a_table_of_many_groups_is_read_whole() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("rows.parquet");
        let schema =
            Schema { id: "test/1/n".into(), about: String::new(), columns: vec![Column::int("n", "")] };
        let mut writer = Writer::create(&path, &schema, Format::Parquet).unwrap();
        for n in 0..600_000 {
            writer.push(&[if n % 3 == 0 { Cell::None } else { Cell::Int(n) }]).unwrap();
        }
        writer.finish().unwrap();
        let file = ParquetFile::open(&path).unwrap();
        let mut n = 0;
        file.read(&["n"], |row| {
            assert_eq!(row[0].int(), (n % 3 != 0).then_some(n));
            n += 1;
        })
        .unwrap();
        assert_eq!(n, 600_000);
        assert!(matches!(file.read(&["m"], |_| ()), Err(ReadError::NoColumn { .. })));
    }
}
