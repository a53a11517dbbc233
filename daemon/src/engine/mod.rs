//! Ties source, recorder, pipeline and outputs together.

mod computation;
mod pulse;
mod resume;
mod run;

pub use computation::Computation;
pub use pulse::{Pulse, PulseWatch};
pub use resume::Resuming;

use crate::ble::notices::StrapNotices;
use crate::output::Outputs;
use crate::recorder::{Backlog, Recorder, WhenFull};
use crate::source::pace::Speed;
use peakorder_motion::pipeline::{Pipeline, SetupError};
use peakorder_protocol::event::LiveEvent;
use peakorder_protocol::log::{LogError, Record};
use peakorder_protocol::session::{Session, SessionDir, SessionError, SourceKind};
use std::sync::Arc;
use tokio::sync::{broadcast, mpsc};

/// Batches of records on their way from a source; a full channel makes the source wait.
pub type Batches = mpsc::Receiver<Vec<Record>>;
/// Room for this many batches.
pub const BATCHES: usize = 256;

/// Why a session broke off.
#[derive(Debug, thiserror::Error)]
pub enum EngineError {
    /// The pipeline could not be set up.
    #[error(transparent)]
    Setup(#[from] SetupError),
    /// The recording could not be written.
    #[error(transparent)]
    Log(#[from] LogError),
    /// A session file could not be written.
    #[error(transparent)]
    Session(#[from] SessionError),
    /// The computation broke down altogether.
    #[error("the computation broke down; the recording is whole: peakorderd replay computes it")]
    ComputationEnded,
}

/// What a session came to.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Summary {
    /// Swings measured.
    pub swings: u32,
    /// Repetitions of drills measured.
    pub repetitions: u32,
    /// Session time of the last record, s.
    pub seconds: f64,
    /// Samples that came in.
    pub samples: u64,
    /// Samples missing by the straps' own count.
    pub lost: u64,
    /// Packets that could not be decoded.
    pub bad_packets: u64,
    /// Fast movements that were looked at and were not swings.
    pub not_swings: u32,
    /// Computed files that could not be written; a replay makes them.
    pub missing_files: u32,
}

/// Whether and how a session's records are recorded.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Recording {
    /// The log is there already (replay).
    Off,
    /// From a source that does not wait: straps, or what plays in their place.
    Live,
    /// From a source that is as fast as the machine.
    Unpaced,
}

impl From<Speed> for Recording {
    fn from(speed: Speed) -> Self {
        match speed {
            Speed::Max => Self::Unpaced,
            Speed::Times(_) => Self::Live,
        }
    }
}

/// One session from its first record to its last.
pub struct Engine {
    recorder: Option<Recorder>,
    computation: Computation,
    /// The source does not wait.
    live: bool,
    pulse: Arc<Pulse>,
}

impl Engine {
    /// A session in `dir`.
    pub fn new(dir: SessionDir, session: Session, recording: Recording) -> Result<Self, EngineError> {
        let pipeline = Pipeline::new(&session)?;
        let when_full = match recording {
            Recording::Off => None,
            Recording::Live => Some(WhenFull::Drop),
            Recording::Unpaced => Some(WhenFull::Wait),
        };
        let notices = (when_full.is_some() && session.source == SourceKind::Straps)
            .then(|| StrapNotices::new(&session));
        let log = dir.log_path();
        // The session file comes first: without it the log could not be opened after a crash.
        let outputs = Outputs::new(dir, session)?;
        let recorder = when_full.map(|when_full| Recorder::create(&log, when_full)).transpose()?;
        let computation = Computation::new(pipeline, outputs, notices);
        Ok(Self { recorder, computation, live: recording == Recording::Live, pulse: Arc::default() })
    }

    /// A new watcher of live events.
    pub fn watch(&self) -> broadcast::Receiver<LiveEvent> {
        self.computation.watch()
    }

    /// How much waits to be safe on the disk; `None` if nothing is recorded.
    pub fn backlog(&self) -> Option<Arc<Backlog>> {
        self.recorder.as_ref().map(Recorder::backlog)
    }

    /// Whether it goes on, once it runs.
    pub fn pulse(&self) -> Arc<Pulse> {
        Arc::clone(&self.pulse)
    }

    /// Takes a batch on this thread: to the recorder, then through the computation.
    pub fn push(&mut self, records: &[Record]) {
        let mut records = records.to_vec();
        while !records.is_empty() {
            let batch = Arc::new(records);
            let trouble = self.recorder.as_mut().and_then(|r| r.push(&batch));
            let troubles = self.recorder.iter().flat_map(Recorder::troubles).chain(trouble);
            for trouble in troubles.collect::<Vec<_>>() {
                self.computation.trouble(trouble);
            }
            records = self.computation.take(&batch);
        }
    }

    /// Ends the session. An error means that the end of the recording could not be written.
    pub fn finish(self) -> Result<(SessionDir, Summary), EngineError> {
        let Self { recorder, mut computation, .. } = self;
        let (recorded, troubles) = recorder.map_or((Ok(()), Vec::new()), Recorder::finish);
        for trouble in troubles {
            computation.trouble(trouble);
        }
        let done = computation.finish();
        recorded?;
        Ok(done)
    }

    /// The session as it stands, calibration included.
    pub fn session(&self) -> &Session {
        self.computation.session()
    }

    /// What is computed, to be looked at.
    pub fn computation(&self) -> &Computation {
        &self.computation
    }

    /// The pipeline, to be looked at.
    pub fn pipeline(&self) -> &Pipeline {
        self.computation.pipeline()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use peakorder_protocol::log::LogReader;
    use peakorder_protocol::session::Player;
    use peakorder_protocol::swing::Swing;
    use peakorder_protocol::trouble::{Trouble, TroubleNote};
    use peakorder_virtual_straps::{PlayerParams, Population, PracticeOptions, Script, virtual_session};
    use std::path::Path;

    /// Three swings of an invented player.
    pub(super) fn script() -> Script {
        let player = PlayerParams::drawn_from(Population::Amateur, 6);
        Script::practice(6, player, 3, &PracticeOptions::default())
    }

    /// An engine for a session `s` in `folder`.
    pub(super) fn started(folder: &Path, recording: Recording) -> Engine {
        let session = virtual_session(&script(), "s", Player::default(), "2026-01-01T00:00:00Z");
        let dir = SessionDir::create(&folder.join("s"), false).unwrap();
        Engine::new(dir, session, recording).unwrap()
    }

    fn records() -> Vec<Record> {
        script().session().records().collect()
    }

    pub(super) fn recorded(dir: &SessionDir) -> Vec<Record> {
        let mut log = LogReader::open(&dir.log_path()).unwrap();
        let (mut batch, mut all) = (Vec::new(), Vec::new());
        while log.next_batch(&mut batch).unwrap() {
            all.append(&mut batch);
        }
        all
    }

    /// Pushes the records; after `swings` swings, `change` happens.
    fn push_all(engine: &mut Engine, records: &[Record], swings: u32, change: impl FnOnce(&mut Engine)) {
        let mut change = Some(change);
        for batch in records.chunks(64) {
            engine.push(batch);
            if engine.pipeline().swings() == swings
                && let Some(change) = change.take()
            {
                change(engine);
            }
        }
        assert!(change.is_none(), "it happened");
    }

    #[test]
    fn a_panic_of_the_computation_does_not_end_the_recording() {
        let folder = tempfile::tempdir().unwrap();
        let (mut engine, records) = (started(folder.path(), Recording::Unpaced), records());
        let mut events = engine.watch();
        push_all(&mut engine, &records, 1, |e| {
            e.computation.compute(|_, _, _| panic!("a fault that the test makes"));
        });
        let (dir, summary) = engine.finish().unwrap();
        assert_eq!(recorded(&dir), records, "all is recorded");
        assert_eq!((summary.swings, summary.missing_files), (1, 0));
        let kept = SessionDir::open(dir.path()).unwrap().1.troubles;
        assert!(matches!(kept[..], [TroubleNote { what: Trouble::NotComputing, .. }]), "{kept:?}");
        let told = std::iter::from_fn(|| events.try_recv().ok());
        assert_eq!(told.filter(|e| matches!(e, LiveEvent::Trouble { .. })).count(), 1);
    }

    #[test]
    fn swing_files_that_cannot_be_written_are_written_later() {
        let folder = tempfile::tempdir().unwrap();
        let (mut whole, records) = (started(&folder.path().join("whole"), Recording::Unpaced), records());
        push_all(&mut whole, &records, 3, |_| ());
        let want: Vec<Swing> = whole.finish().unwrap().0.read_swings().unwrap();

        let mut engine = started(folder.path(), Recording::Unpaced);
        let swings = folder.path().join("s/swings");
        // A file in the folder's place: nothing can be written there, whoever the user is.
        push_all(&mut engine, &records, 1, |_| {
            std::fs::rename(&swings, folder.path().join("moved")).unwrap();
            std::fs::write(&swings, "").unwrap();
        });
        std::fs::remove_file(&swings).unwrap();
        let (dir, summary) = engine.finish().unwrap();
        assert_eq!(recorded(&dir), records);
        assert_eq!(dir.read_swings().unwrap(), want[1..], "the later two were caught up");
        assert_eq!((summary.swings, summary.missing_files), (3, 1), "the first was taken away");
        let kept = SessionDir::open(dir.path()).unwrap().1.troubles;
        assert!(
            matches!(&kept[..], [TroubleNote { what: Trouble::FileNotWritten { file, .. }, .. }] if file == "swings"),
            "{kept:?}"
        );
    }

    #[test]
    fn a_folder_that_is_recorded_into_is_refused() {
        let folder = tempfile::tempdir().unwrap();
        let (mut engine, records) = (started(folder.path(), Recording::Unpaced), records());
        let path = folder.path().join("s");
        push_all(&mut engine, &records, 1, |_| {
            assert!(matches!(SessionDir::create(&path, true), Err(SessionError::BeingRecorded(_))));
        });
        let (dir, _) = engine.finish().unwrap();
        assert_eq!(recorded(&dir), records);
        dir.remarks()
            .append(1.0, peakorder_protocol::remark::What::Note { text: "old".into(), swing: None })
            .unwrap();
        SessionDir::create(&path, true).unwrap();
        assert!(!dir.remarks().path().exists(), "a new session is new");
    }
}
