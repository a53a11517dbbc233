//! A session whose program was broken off is gone on with: what it recorded is computed again, and new records follow.

use super::{Computation, Engine, EngineError};
use crate::ble::notices::StrapNotices;
use crate::output::Outputs;
use crate::recorder::{Recorder, WhenFull};
use crate::source::replay::Replay;
use peakorder_motion::pipeline::Pipeline;
use peakorder_protocol::event::LiveEvent;
use peakorder_protocol::log::{LogError, LogWriter, Record};
use peakorder_protocol::session::{Session, SessionDir, SourceKind};
use peakorder_protocol::trouble::Trouble;
use std::path::PathBuf;
use std::sync::Arc;
use tokio::sync::broadcast;

/// Records handed over at once.
const BATCH: usize = 64;

/// A session that was broken off, on its way to being recorded again.
pub struct Resuming {
    computation: Computation,
    replay: Replay,
    log: PathBuf,
    notices: Option<StrapNotices>,
    last_ns: u64,
}

impl Resuming {
    /// Opens the session in `dir`. Refused while another program records it.
    pub fn open(dir: SessionDir, session: Session) -> Result<Self, EngineError> {
        dir.refuse_if_recording()?;
        let log = dir.log_path();
        let replay = Replay::open(&log)?;
        let notices = (session.source == SourceKind::Straps).then(|| StrapNotices::new(&session));
        let pipeline = Pipeline::new(&session)?;
        // What was noticed of the straps before is in the log already.
        let computation = Computation::new(pipeline, Outputs::new(dir, session)?, None);
        Ok(Self { computation, replay, log, notices, last_ns: 0 })
    }

    /// A new watcher of live events.
    pub fn watch(&self) -> broadcast::Receiver<LiveEvent> {
        self.computation.watch()
    }

    /// Computes what was recorded; `seen` is shown every batch after it was taken. Returns the session time of the last
    /// record, nanoseconds.
    pub fn compute(&mut self, mut seen: impl FnMut(&[Record], &Computation)) -> Result<u64, EngineError> {
        loop {
            let batch: Vec<Record> = self.replay.by_ref().take(BATCH).collect();
            if batch.is_empty() {
                break;
            }
            self.last_ns = batch.iter().map(Record::t_ns).fold(self.last_ns, u64::max);
            self.computation.take(&batch);
            seen(&batch, &self.computation);
        }
        match self.replay.take_error() {
            Some(error) => Err(error.into()),
            None => Ok(self.last_ns),
        }
    }

    /// Records from session time `from_ns` on. The log gets a gap and the session a note of it, so that a replay gives
    /// the same files. To be called after [`Resuming::compute`].
    pub fn record(self, from_ns: u64) -> Result<Engine, EngineError> {
        let Self { mut computation, replay, log: path, notices, last_ns } = self;
        // The kill may have come between a swing's file and its last records.
        computation.remove_surplus()?;
        let log = LogWriter::reopen(&path, replay.end())?;
        computation.trouble(Trouble::Interrupted { missing_ms: from_ns.saturating_sub(last_ns) / 1_000_000 });
        computation.notice(notices);
        let open = |source| LogError::Open { path, source };
        let recorder = Some(Recorder::start(log, WhenFull::Drop).map_err(open)?);
        Ok(Engine { recorder, computation, live: true, pulse: Arc::default() })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::Recording;
    use crate::engine::tests::{recorded, script, started};
    use peakorder_protocol::log::{LogReader, StrapEvent, StrapEventKind};
    use std::fs;
    use std::path::Path;

    /// Numbers and bytes of the swing files.
    fn swings(folder: &Path) -> Vec<(String, Vec<u8>)> {
        let mut files: Vec<_> = fs::read_dir(folder.join("swings"))
            .unwrap()
            .map(|entry| entry.unwrap().path())
            .map(|path| (path.file_name().unwrap().to_string_lossy().into_owned(), fs::read(path).unwrap()))
            .collect();
        files.sort();
        files
    }

    /// Killed at any place of the log, a session goes on, and what it then has is what a replay gives.
    #[test]
    fn a_session_that_is_gone_on_with_replays_to_the_same_files() {
        let records: Vec<Record> = script().session().records().collect();
        let end_ns = records.last().unwrap().t_ns();
        for (share, torn) in [(0.0_f64, 0_u64), (0.3, 0), (0.55, 7), (0.8, 0), (0.9, 3)] {
            let folder = tempfile::tempdir().unwrap();
            let path = folder.path().join("s");
            let mut engine = started(folder.path(), Recording::Unpaced);
            let cut_ns = (share * end_ns as f64) as u64;
            let before = records.iter().position(|r| r.t_ns() > cut_ns).unwrap_or(0);
            records[..before].chunks(64).for_each(|batch| engine.push(batch));
            let (dir, _) = engine.finish().unwrap();
            // What a kill leaves: half a frame, and a swing whose records never came.
            let length = fs::metadata(dir.log_path()).unwrap().len();
            fs::OpenOptions::new().write(true).open(dir.log_path()).unwrap().set_len(length - torn).unwrap();
            fs::write(path.join("swings/0042.json"), "{}").unwrap();

            let (dir, session) = SessionDir::open(&path).unwrap();
            let mut resuming = Resuming::open(dir, session).unwrap();
            let last_ns = resuming.compute(|_, _| ()).unwrap();
            let from_ns = last_ns + 2_000_000_000;
            let mut engine = resuming.record(from_ns).unwrap();
            let role = *engine.session().straps.keys().next().unwrap();
            engine.push(&[Record::Strap(StrapEvent {
                t_ns: from_ns,
                role,
                what: StrapEventKind::CONNECTED,
            })]);
            let after: Vec<Record> = records.iter().filter(|r| r.t_ns() >= from_ns).cloned().collect();
            after.chunks(64).for_each(|batch| engine.push(batch));
            let (dir, summary) = engine.finish().unwrap();
            let have = swings(&path);
            assert_eq!(have.len(), 2 * summary.swings as usize, "cut at {share}");
            let mut log = LogReader::open(&dir.log_path()).unwrap();
            let mut batch = Vec::new();
            while log.next_batch(&mut batch).unwrap() {}
            let session = SessionDir::open(&path).unwrap().1;
            assert!(
                log.findings().len() <= session.known_gaps()
                    && log.findings().iter().all(|f| !f.kind.is_damage())
            );

            // The same records through a fresh engine, in place.
            let all = recorded(&dir);
            assert!(all.iter().any(|r| r.t_ns() == from_ns), "cut at {share}");
            dir.remove_swings().unwrap();
            let mut again = Engine::new(dir, session, Recording::Off).unwrap();
            all.chunks(97).for_each(|batch| again.push(batch));
            again.finish().unwrap();
            assert_eq!(swings(&path), have, "cut at {share}");
        }
    }

    #[test]
    fn a_session_that_is_being_recorded_is_not_gone_on_with() {
        let folder = tempfile::tempdir().unwrap();
        let _engine = started(folder.path(), Recording::Unpaced);
        let (dir, session) = SessionDir::open(&folder.path().join("s")).unwrap();
        assert!(matches!(Resuming::open(dir, session), Err(EngineError::Session(_))));
    }
}
