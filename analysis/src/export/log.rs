//! Reading a session's recording: its samples, as the pipeline knows them, and its marks.

use super::error::ExportError;
use peakorder_motion::pipeline::SetupError;
use peakorder_motion::samples::{SampleRow, Samples};
use peakorder_protocol::Role;
use peakorder_protocol::log::{LogError, LogReader, Mark, Record};
use peakorder_protocol::session::{Session, SessionDir};
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;

/// What is seen of a recording.
pub(super) enum Seen<'a> {
    /// A sample; each strap's in order of time.
    Sample(&'a SampleRow),
    /// A mark.
    Mark(&'a Mark),
}

/// Why a session has no samples.
#[derive(Debug, thiserror::Error)]
pub(super) enum NoSamples {
    /// There is no log, or it is something else.
    #[error("samples.log: {0}; nothing that is made of samples was exported of it")]
    Log(LogError),
    /// The session's straps or settings are not valid.
    #[error("session.toml: {0}; nothing that is made of samples was exported of it")]
    Setup(SetupError),
}

/// How a recording was.
#[derive(Debug, Default)]
pub(super) struct Reading {
    /// Straps that sent samples but were never calibrated.
    pub(super) uncalibrated: Vec<Role>,
    /// Places where the log is damaged, in words; `None` for a whole one.
    pub(super) damage: Option<String>,
    /// No strap sent a sample.
    pub(super) empty: bool,
}

/// Places of damage that are named.
const NAMED: usize = 3;

/// Hands everything in the recording to `take`, in constant memory. A damaged log gives what can be read.
pub(super) fn read(
    dir: &SessionDir,
    session: &Session,
    take: &mut dyn FnMut(Seen<'_>) -> Result<(), ExportError>,
) -> Result<Result<Reading, NoSamples>, ExportError> {
    let mut samples = match Samples::new(session) {
        Ok(samples) => samples,
        Err(why) => return Ok(Err(NoSamples::Setup(why))),
    };
    let mut log = match LogReader::open(&dir.log_path()) {
        Ok(log) => log,
        Err(why) => return Ok(Err(NoSamples::Log(why))),
    };
    // By strap: whether it was ever calibrated.
    let mut straps: BTreeMap<Role, bool> = BTreeMap::new();
    let mut failed = None;
    let mut broke_off = None;
    let mut batch = Vec::new();
    let mut on_sample = |row: &SampleRow, take: &mut dyn FnMut(Seen<'_>) -> Result<(), ExportError>| {
        *straps.entry(row.role).or_default() |= row.mounting.is_some();
        if failed.is_none() {
            failed = take(Seen::Sample(row)).err();
        }
        failed.is_some()
    };
    'reading: loop {
        match log.next_batch(&mut batch) {
            Ok(true) => {}
            Ok(false) => break,
            Err(why) => {
                broke_off = Some(why);
                break;
            }
        }
        for record in &batch {
            let mut stop = false;
            samples.push(record, &mut |row| stop = on_sample(row, take));
            if stop {
                break 'reading;
            }
            if let Record::Mark(mark) = record {
                take(Seen::Mark(mark))?;
            }
        }
    }
    samples.finish(&mut |row| {
        on_sample(row, take);
    });
    if let Some(why) = failed {
        return Err(why);
    }
    let damage = damage(log.findings(), broke_off.as_ref());
    let uncalibrated: BTreeSet<Role> = straps.iter().filter(|(_, c)| !**c).map(|(r, _)| *r).collect();
    Ok(Ok(Reading { uncalibrated: uncalibrated.into_iter().collect(), damage, empty: straps.is_empty() }))
}

fn damage(findings: &[peakorder_protocol::log::Finding], broke_off: Option<&LogError>) -> Option<String> {
    if findings.is_empty() && broke_off.is_none() {
        return None;
    }
    let mut text = String::new();
    for finding in findings.iter().take(NAMED) {
        let _ = write!(text, "{finding}; ");
    }
    if let Some(more) = findings.len().checked_sub(NAMED).filter(|n| *n > 0) {
        let _ = write!(text, "and at {more} more places; ");
    }
    if let Some(why) = broke_off {
        let _ = write!(text, "{why}; ");
    }
    text.truncate(text.len() - 2);
    Some(text)
}
