//! The marks file: `time_s,mark,detail`.

use super::ImportError;
use peakorder_protocol::UnknownWord;
use peakorder_protocol::log::{Mark, MarkKind};
use std::fs::File;
use std::io::Read;
use std::path::Path;

/// Marks with their times as in the file, in order of time.
pub fn read_marks(path: &Path) -> Result<Vec<(f64, Mark)>, ImportError> {
    let file = File::open(path).map_err(|source| ImportError::Io { path: path.to_owned(), source })?;
    marks_from(path, file)
}

/// Marks from `input`; `path` is what messages call it.
pub fn marks_from(path: &Path, input: impl Read) -> Result<Vec<(f64, Mark)>, ImportError> {
    let content = |line, problem| ImportError::Content { path: path.to_owned(), line, problem };
    let mut reader =
        csv::ReaderBuilder::new().comment(Some(b'#')).trim(csv::Trim::All).flexible(true).from_reader(input);
    let header = reader.headers().map_err(|e| content(None, e.to_string()))?.clone();
    let column = |name: &str| header.iter().position(|n| n == name);
    let (Some(time), Some(mark)) = (column("time_s"), column("mark")) else {
        let found = header.iter().collect::<Vec<_>>().join(", ");
        return Err(content(
            Some(1),
            format!("the header must name time_s, mark and detail; it has '{found}'"),
        ));
    };
    let detail = column("detail");
    let mut marks = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|e| content(e.position().map(csv::Position::line), e.to_string()))?;
        let line = record.position().map(csv::Position::line);
        let text = record.get(time).unwrap_or_default();
        let t_s = text
            .parse::<f64>()
            .ok()
            .filter(|t| t.is_finite())
            .ok_or_else(|| content(line, format!("time_s is '{text}', not a number")))?;
        let kind: MarkKind = record
            .get(mark)
            .unwrap_or_default()
            .parse()
            .map_err(|e: UnknownWord| content(line, e.to_string()))?;
        let detail = detail.and_then(|i| record.get(i)).unwrap_or_default().to_owned();
        marks.push((t_s, Mark { t_ns: 0, kind, detail }));
    }
    marks.sort_by(|a, b| a.0.total_cmp(&b.0));
    Ok(marks)
}
