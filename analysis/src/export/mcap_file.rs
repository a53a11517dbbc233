//! The recording as an MCAP file: a channel for each strap and one of marks. Messages are JSON; their schemas are made of
//! the tables' columns.

use super::error::ExportError;
use super::rows::{self, MarkRow, Of};
use mcap::records::{MessageHeader, Metadata};
use mcap::{WriteOptions, Writer};
use peakorder_motion::samples::SampleRow;
use peakorder_protocol::Role;
use peakorder_protocol::files::private_file;
use peakorder_protocol::session::Session;
use peakorder_tables::{Cell, Column, Kind, Schema, Table};
use serde_json::json;
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs::{File, OpenOptions};
use std::io::BufWriter;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Columns that the channel says already.
const OF_THE_CHANNEL: [&str; 2] = ["session_id", "segment"];

/// The file of one session.
pub(super) struct McapFile {
    path: PathBuf,
    writer: Writer<BufWriter<File>>,
    session: Arc<str>,
    /// Nanoseconds from 1970 to the start of the session.
    start_ns: u64,
    samples: Messages<Of<SampleRow>>,
    marks: Messages<Of<MarkRow>>,
    straps: BTreeMap<Role, Channel>,
    mark_channel: Channel,
    rows: u64,
}

#[derive(Clone, Copy)]
struct Channel {
    id: u16,
    sequence: u32,
}

/// Rows as JSON objects.
struct Messages<R> {
    table: Table<R>,
    /// By column: `"name":`, or nothing for one that is left out.
    names: Vec<Option<String>>,
    text: String,
}

impl<R> Messages<R> {
    fn of(table: Table<R>) -> Self {
        let name =
            |c: &Column| (!OF_THE_CHANNEL.contains(&c.name.as_str())).then(|| format!("\"{}\":", c.name));
        Self { names: table.schema().columns.iter().map(name).collect(), table, text: String::new() }
    }

    fn message(&mut self, row: &R) -> &[u8] {
        let mut cells = Vec::with_capacity(self.names.len());
        self.table.row(row, &mut cells);
        self.text.clear();
        for (name, cell) in self.names.iter().zip(cells) {
            let Some(name) = name else { continue };
            self.text.push(if self.text.is_empty() { '{' } else { ',' });
            self.text.push_str(name);
            // Writing to a string cannot fail.
            let _ = match cell {
                Cell::Real(x) if x.is_finite() => write!(self.text, "{x}"),
                Cell::None | Cell::Real(_) => write!(self.text, "null"),
                Cell::Int(n) | Cell::Instant(n) => write!(self.text, "{n}"),
                Cell::Date(n) => write!(self.text, "{n}"),
                Cell::Flag(on) => write!(self.text, "{on}"),
                Cell::Text(text) => write!(self.text, "{}", serde_json::Value::from(text)),
            };
        }
        self.text.push('}');
        self.text.as_bytes()
    }
}

/// JSON Schema of the messages that rows of these columns become.
fn json_schema(schema: &Schema) -> Vec<u8> {
    let columns = || schema.columns.iter().filter(|c| !OF_THE_CHANNEL.contains(&c.name.as_str()));
    let property = |column: &Column| {
        let kind = match column.kind {
            Kind::Real => "number",
            Kind::Int32 | Kind::Int64 | Kind::Instant | Kind::Date => "integer",
            Kind::Flag => "boolean",
            Kind::Text => "string",
        };
        let kinds = if column.required { json!(kind) } else { json!([kind, "null"]) };
        let mut property = json!({ "type": kinds, "description": column.about });
        if !column.unit.is_empty() {
            property["unit"] = column.unit.as_ref().into();
        }
        (column.name.clone(), property)
    };
    json!({
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": schema.id,
        "title": schema.id,
        "description": schema.about,
        "type": "object",
        "properties": columns().map(property).collect::<serde_json::Map<_, _>>(),
        "required": columns().filter(|c| c.required).map(|c| &c.name).collect::<Vec<_>>(),
    })
    .to_string()
    .into_bytes()
}

impl McapFile {
    /// Begins `path` for `session`; `id` is what it is called, `start_ns` when it began.
    pub(super) fn create(
        path: &Path,
        session: &Session,
        id: &Arc<str>,
        start_ns: u64,
    ) -> Result<Self, ExportError> {
        let file = private_file(path, OpenOptions::new().write(true).create_new(true))
            .map_err(ExportError::io(path))?;
        let failed = |why| ExportError::Mcap { path: path.to_owned(), why };
        let options = WriteOptions::new()
            .profile("")
            .library(format!("peakorder {}", env!("CARGO_PKG_VERSION")))
            // They would be half of the file.
            .emit_message_indexes(false)
            .compression_threads(0);
        let mut writer = options.create(BufWriter::with_capacity(1 << 16, file)).map_err(failed)?;
        let (samples, marks) = (Messages::of(rows::samples_strap()), Messages::of(rows::marks()));
        let mut schema = |s: &Schema| writer.add_schema(&s.id, "jsonschema", &json_schema(s)).map_err(failed);
        let sample_schema = schema(samples.table.schema())?;
        let mark_schema = schema(marks.table.schema())?;
        let none = BTreeMap::new();
        let channel = |id| Channel { id, sequence: 0 };
        let mut straps = BTreeMap::new();
        for (role, strap) in &session.straps {
            let about = BTreeMap::from([
                ("segment".to_owned(), role.key().to_owned()),
                ("profile".to_owned(), strap.profile.clone()),
            ]);
            let topic = format!("/{}/samples", role.key());
            straps.insert(
                *role,
                channel(writer.add_channel(sample_schema, &topic, "json", &about).map_err(failed)?),
            );
        }
        let mark_channel = channel(writer.add_channel(mark_schema, "/marks", "json", &none).map_err(failed)?);
        let metadata = Metadata {
            name: "peakorder.session".into(),
            metadata: BTreeMap::from(
                [
                    ("schema", "peakorder.export/1/mcap".to_owned()),
                    ("session_id", id.to_string()),
                    ("started_utc", session.started_utc.clone()),
                    ("handedness", session.player.handedness.key().to_owned()),
                    ("invented", session.invented.to_string()),
                    ("recorded_by", session.recorded_by.clone()),
                ]
                .map(|(key, value)| (key.to_owned(), value)),
            ),
        };
        writer.write_metadata(&metadata).map_err(failed)?;
        Ok(Self {
            path: path.to_owned(),
            writer,
            session: id.clone(),
            start_ns,
            samples,
            marks,
            straps,
            mark_channel,
            rows: 0,
        })
    }

    /// Takes a sample.
    pub(super) fn sample(&mut self, row: &SampleRow) -> Result<(), ExportError> {
        let failed = |why| ExportError::Mcap { path: self.path.clone(), why };
        let channel = match self.straps.get_mut(&row.role) {
            Some(channel) => channel,
            None => return Ok(()),
        };
        // Numbers of lost samples are left out.
        channel.sequence = channel.sequence.wrapping_add(u32::from(row.lost_before));
        let header = MessageHeader {
            channel_id: channel.id,
            sequence: channel.sequence,
            log_time: self.start_ns + nanoseconds(row.arrival_s),
            publish_time: self.start_ns + nanoseconds(row.t_s),
        };
        channel.sequence = channel.sequence.wrapping_add(1);
        let message = self.samples.message(&Of { session: self.session.clone(), row: *row }).to_vec();
        self.rows += 1;
        self.writer.write_to_known_channel(&header, &message).map_err(failed)
    }

    /// Takes a mark.
    pub(super) fn mark(&mut self, row: MarkRow) -> Result<(), ExportError> {
        let failed = |why| ExportError::Mcap { path: self.path.clone(), why };
        let time = self.start_ns + nanoseconds(row.t_s);
        let header = MessageHeader {
            channel_id: self.mark_channel.id,
            sequence: self.mark_channel.sequence,
            log_time: time,
            publish_time: time,
        };
        self.mark_channel.sequence += 1;
        let message = self.marks.message(&Of { session: self.session.clone(), row }).to_vec();
        self.rows += 1;
        self.writer.write_to_known_channel(&header, &message).map_err(failed)
    }

    /// Brings the file to the disk; returns the number of messages. Dropped without it, the writer would swallow errors.
    pub(super) fn finish(mut self) -> Result<u64, ExportError> {
        let path = self.path.clone();
        self.writer.finish().map_err(|why| ExportError::Mcap { path: path.clone(), why })?;
        let file =
            self.writer.into_inner().into_inner().map_err(|e| ExportError::io(&path)(e.into_error()))?;
        file.sync_all().map_err(ExportError::io(&path))?;
        Ok(self.rows)
    }
}

/// A session time in whole nanoseconds; what lies before the start counts as it.
fn nanoseconds(seconds: f64) -> u64 {
    (seconds.max(0.0) * 1e9).round() as u64
}
