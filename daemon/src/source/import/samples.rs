//! One strap's CSV file, row by row.

use super::ImportError;
use super::columns::{Column, Columns};
use peakorder_protocol::Role;
use std::fs::File;
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
    reader: csv::Reader<Box<dyn Read + Send>>,
    columns: Columns,
    record: csv::ByteRecord,
    next: Option<Row>,
    first_s: f64,
    last_s: f64,
}

impl SampleFile {
    /// Opens `path` and reads its header and first row.
    pub fn open(role: Role, path: &Path) -> Result<Self, ImportError> {
        let file = File::open(path).map_err(|source| ImportError::Io { path: path.to_owned(), source })?;
        Self::read_from(role, path, Box::new(file))
    }

    /// Reads header and first row from `input`; `path` is what messages call it.
    pub fn read_from(role: Role, path: &Path, input: Box<dyn Read + Send>) -> Result<Self, ImportError> {
        let mut reader = csv::ReaderBuilder::new()
            .comment(Some(b'#'))
            .trim(csv::Trim::All)
            .buffer_capacity(1 << 16)
            .from_reader(input);
        let content = |line, problem| ImportError::Content { path: path.to_owned(), line, problem };
        let header = reader.headers().map_err(|e| content(None, e.to_string()))?;
        let names: Vec<String> = header.iter().map(ToOwned::to_owned).collect();
        if names.is_empty() {
            return Err(content(
                None,
                "the file is empty; it needs a header line (time_s, gyro_x_dps, …) and one line a sample"
                    .into(),
            ));
        }
        let columns = Columns::from_header(&names).map_err(|e| content(Some(1), e.to_string()))?;
        let mut file = Self {
            role,
            path: path.to_owned(),
            reader,
            columns,
            record: csv::ByteRecord::new(),
            next: None,
            first_s: f64::NAN,
            last_s: f64::NAN,
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
        self.reader.position().byte()
    }

    /// Columns that were not read, for one notice a file.
    pub fn notice(&self) -> Option<String> {
        let ignored = &self.columns.ignored;
        (!ignored.is_empty()).then(|| format!("{}: not used: {}", self.path.display(), ignored.join(", ")))
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
        let more = self.reader.read_byte_record(&mut self.record).map_err(|e| {
            let line = e.position().map(csv::Position::line);
            let problem = match e.kind() {
                csv::ErrorKind::UnequalLengths { expected_len, len, .. } => format!(
                    "this line has {len} values, the header names {expected_len}; the file may be cut short or mixed up: export it again"
                ),
                _ => e.to_string(),
            };
            ImportError::Content { path: self.path.clone(), line, problem }
        })?;
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
        Ok(Some(row))
    }

    fn number(&self, at: usize, scale: f64, what: &str) -> Result<f64, ImportError> {
        let bytes = self.record.get(at).unwrap_or_default();
        let value = std::str::from_utf8(bytes).ok().and_then(|s| s.parse::<f64>().ok());
        match value {
            Some(v) if v.is_finite() => Ok(v * scale),
            _ => Err(self.wrong(format!(
                "{what} is '{}', not a number; take out or repair that line and try again",
                String::from_utf8_lossy(bytes)
            ))),
        }
    }

    fn wrong(&self, problem: String) -> ImportError {
        ImportError::Content {
            path: self.path.clone(),
            line: self.record.position().map(csv::Position::line),
            problem,
        }
    }
}
