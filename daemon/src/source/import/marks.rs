//! The marks file: `time_s,mark,detail`.

use super::ImportError;
use super::table::Table;
use peakorder_protocol::UnknownWord;
use peakorder_protocol::files;
use peakorder_protocol::log::{Mark, MarkKind};
use peakorder_protocol::text::{excerpt, is_visible};
use std::io::Read;
use std::path::Path;

/// A label or a note is no longer than this.
const DETAIL_LIMIT_CHARS: usize = 2000;
/// A lesson has some dozens; all are kept in memory.
const MARKS_LIMIT: usize = 100_000;

/// Marks with their times as in the file, in order of time.
pub fn read_marks(path: &Path) -> Result<Vec<(f64, Mark)>, ImportError> {
    let file = files::open(path).map_err(|source| ImportError::Io { path: path.to_owned(), source })?;
    marks_from(path, file)
}

/// Marks from `input`; `path` is what messages call it.
pub fn marks_from(path: &Path, input: impl Read) -> Result<Vec<(f64, Mark)>, ImportError> {
    let content = |line, problem| ImportError::Content { path: path.to_owned(), line, problem };
    let mut table = Table::new(path, input, true)?;
    let header = table.header().to_vec();
    let column = |name: &str| header.iter().position(|n| n == name);
    let (Some(time), Some(mark)) = (column("time_s"), column("mark")) else {
        let hint = table.header_hint(&["time_s", "mark", "detail"]).unwrap_or_else(|| {
            format!("the header must name time_s, mark and detail; it has {}", excerpt(&header.join(", ")))
        });
        return Err(content(Some(1), hint));
    };
    let detail = column("detail");
    let mut marks = Vec::new();
    let mut record = csv::ByteRecord::new();
    while table.next(&mut record)? {
        let line = record.position().map(csv::Position::line);
        let cell = |at: usize| String::from_utf8_lossy(record.get(at).unwrap_or_default()).into_owned();
        let text = cell(time);
        let t_s = text
            .parse::<f64>()
            .ok()
            .filter(|t| t.is_finite())
            .ok_or_else(|| content(line, format!("time_s is {}, not a number", excerpt(&text))))?;
        let kind: MarkKind = cell(mark).parse().map_err(|e: UnknownWord| content(line, e.to_string()))?;
        let detail = detail.map(cell).unwrap_or_default();
        if detail.chars().count() > DETAIL_LIMIT_CHARS {
            return Err(content(
                line,
                format!("the detail is {}; it may have {DETAIL_LIMIT_CHARS} characters", excerpt(&detail)),
            ));
        }
        if marks.len() == MARKS_LIMIT {
            return Err(content(
                line,
                format!("there are more than {MARKS_LIMIT} marks; this is something else"),
            ));
        }
        // A label that nobody can see is none.
        let detail = if is_visible(&detail) { detail } else { String::new() };
        marks.push((t_s, Mark { t_ns: 0, kind, detail }));
    }
    marks.sort_by(|a, b| a.0.total_cmp(&b.0));
    Ok(marks)
}
