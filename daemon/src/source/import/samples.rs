//! One strap's CSV file, row by row.

use super::ImportError;
use super::audit::Audit;
use super::columns::{Column, Columns, MissingColumns, WANTED, listed};
use super::table::{Table, has_decimal_comma};
use peakorder_protocol::Role;
use peakorder_protocol::files;
use peakorder_protocol::import_warning::ImportWarning;
use peakorder_protocol::text::excerpt;
use std::io::Read;
use std::path::{Path, PathBuf};

/// One row in SI units.
#[derive(Debug, Clone, Copy)]
pub struct Row {
    /// Time as in the file, s.
    pub t_s: f64,
    /// Rate, rad/s.
    pub gyro_rad_s: [f64; 3],
    /// Specific force, m/s².
    pub acc_m_s2: [f64; 3],
}

/// A sample file with its next row read ahead.
pub struct SampleFile {
    role: Role,
    path: PathBuf,
    table: Table<Box<dyn Read + Send>>,
    columns: Columns,
    record: csv::ByteRecord,
    next: Option<Row>,
    first_s: f64,
    last_s: f64,
    audit: Audit,
}

impl SampleFile {
    /// Opens `path` and reads its header and first row.
    pub fn open(role: Role, path: &Path) -> Result<Self, ImportError> {
        let file = files::open(path).map_err(|source| ImportError::Io { path: path.to_owned(), source })?;
        Self::read_from(role, path, Box::new(file))
    }

    /// Reads header and first row from `input`; `path` is what messages call it.
    pub fn read_from(role: Role, path: &Path, input: Box<dyn Read + Send>) -> Result<Self, ImportError> {
        let table = Table::new(path, input, false)?;
        let content = |line, problem| ImportError::Content { path: path.to_owned(), line, problem };
        if table.header().iter().all(String::is_empty) {
            return Err(content(
                None,
                "the file is empty; it needs a header line (time_s, gyro_x_dps, …) and one line a sample"
                    .into(),
            ));
        }
        let columns = Columns::from_header(table.header()).map_err(|missing: MissingColumns| {
            content(Some(1), table.header_hint(&WANTED).unwrap_or_else(|| missing.to_string()))
        })?;
        let mut file = Self {
            role,
            path: path.to_owned(),
            table,
            columns,
            record: csv::ByteRecord::new(),
            next: None,
            first_s: f64::NAN,
            last_s: f64::NAN,
            audit: Audit::default(),
        };
        file.next = file.read()?;
        match file.next {
            Some(row) => file.first_s = row.t_s,
            None => {
                return Err(content(
                    Some(1),
                    "there is a header but no sample below it; export the recording again".into(),
                ));
            }
        }
        Ok(file)
    }

    /// Where the strap was worn.
    pub fn role(&self) -> Role {
        self.role
    }

    /// Time of the next row.
    pub fn peek_s(&self) -> Option<f64> {
        self.next.map(|row| row.t_s)
    }

    /// Time of the first row.
    pub fn first_s(&self) -> f64 {
        self.first_s
    }

    /// Time of the last row taken.
    pub fn last_s(&self) -> f64 {
        self.last_s
    }

    /// Bytes read so far.
    pub fn bytes_read(&self) -> u64 {
        self.table.bytes_read()
    }

    /// Columns that were not read, for one notice a file.
    pub fn notice(&self) -> Option<String> {
        let ignored = &self.columns.ignored;
        (!ignored.is_empty()).then(|| format!("{}: not used: {}", self.path.display(), listed(ignored)))
    }

    /// What is suspicious about the samples read so far.
    pub fn warnings(&self) -> Vec<ImportWarning> {
        let both = self.columns.both_units.iter().map(|(used, unused)| ImportWarning::BothUnits {
            role: self.role,
            used: used.clone(),
            unused: unused.clone(),
        });
        both.chain(self.audit.warnings(self.role)).collect()
    }

    /// Takes the next row and reads the one after it.
    pub fn take(&mut self) -> Result<Option<Row>, ImportError> {
        let taken = self.next.take();
        if let Some(row) = &taken {
            self.last_s = row.t_s;
            self.next = self.read()?;
        }
        Ok(taken)
    }

    fn read(&mut self) -> Result<Option<Row>, ImportError> {
        let more = self.table.next(&mut self.record)?;
        if !more {
            return Ok(None);
        }
        let t_s = self.number(self.columns.time, 1.0, "time_s")?;
        if t_s <= self.last_s {
            return Err(self.wrong(format!(
                "time goes from {} back to {t_s} s; times must rise from line to line: sort the file or cut the repeated part",
                self.last_s
            )));
        }
        let axis = |c: Column, what: &str| self.number(c.at, c.scale, what);
        let [gx, gy, gz] = self.columns.gyro;
        let [ax, ay, az] = self.columns.accel;
        let row = Row {
            t_s,
            gyro_rad_s: [axis(gx, "gyro_x")?, axis(gy, "gyro_y")?, axis(gz, "gyro_z")?],
            acc_m_s2: [axis(ax, "accel_x")?, axis(ay, "accel_y")?, axis(az, "accel_z")?],
        };
        self.audit.take(&row, self.line().unwrap_or_default());
        Ok(Some(row))
    }

    fn number(&self, at: usize, scale: f64, what: &str) -> Result<f64, ImportError> {
        let bytes = self.record.get(at).unwrap_or_default();
        let value = std::str::from_utf8(bytes).ok().and_then(|s| s.parse::<f64>().ok());
        match value {
            Some(v) if v.is_finite() => Ok(v * scale),
            _ => {
                let text = String::from_utf8_lossy(bytes);
                let advice = if has_decimal_comma(&text) {
                    "it has a decimal comma: export with decimal points"
                } else {
                    "not a number; take out or repair that line and try again"
                };
                Err(self.wrong(format!("{what} is {}, {advice}", excerpt(&text))))
            }
        }
    }

    fn line(&self) -> Option<u64> {
        self.record.position().map(csv::Position::line)
    }

    fn wrong(&self, problem: String) -> ImportError {
        ImportError::Content { path: self.path.clone(), line: self.line(), problem }
    }
}
