//! Ties source, recorder, pipeline and outputs together.

use crate::ble::notices::StrapNotices;
use crate::output::Outputs;
use crate::recorder::{Recorder, SYNC_EVERY};
use peakorder_motion::pipeline::{Output, Pipeline, SetupError};
use peakorder_protocol::event::LiveEvent;
use peakorder_protocol::log::{LogError, Record};
use peakorder_protocol::session::{Session, SessionDir, SessionError, SourceKind};
use peakorder_protocol::trouble::Trouble;
use std::future::Future;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::time::Instant;
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
}

/// What a session came to.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Summary {
    /// Swings measured.
    pub swings: u32,
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

/// One session from its first record to its last.
pub struct Engine {
    recorder: Option<Recorder>,
    pipeline: Pipeline,
    outputs: Outputs,
    /// False after a panic of the pipeline: the rest is recorded and not computed.
    computing: bool,
    /// Only where straps are recorded: a replay finds in the log what was noticed.
    notices: Option<StrapNotices>,
    pending: Vec<Output>,
    summary: Summary,
}

impl Engine {
    /// A session in `dir`. With `record` its log is created; without (replay) the log is
    /// already there.
    pub fn new(dir: SessionDir, session: Session, record: bool) -> Result<Self, EngineError> {
        let pipeline = Pipeline::new(&session)?;
        let notices = (record && session.source == SourceKind::Straps).then(|| StrapNotices::new(&session));
        let log = dir.log_path();
        // The session file comes first: without it the log could not be opened after a crash.
        let outputs = Outputs::new(dir, session)?;
        let recorder = if record { Some(Recorder::create(&log, Instant::now())?) } else { None };
        Ok(Self {
            recorder,
            pipeline,
            computing: true,
            outputs,
            notices,
            pending: Vec::new(),
            summary: Summary::default(),
        })
    }

    /// A new watcher of live events.
    pub fn watch(&self) -> broadcast::Receiver<LiveEvent> {
        self.outputs.watch()
    }

    /// Takes a batch: to disk, then through the pipeline. Raw first: nothing looks at a
    /// notification before it is recorded. What fails after that does not end the recording.
    pub fn push(&mut self, records: &[Record]) {
        let mut noticed = Vec::new();
        self.record_and_compute(records, &mut noticed);
        if !noticed.is_empty() {
            self.record_and_compute(&noticed, &mut Vec::new());
        }
        self.write_outputs();
    }

    fn write_outputs(&mut self) {
        for output in self.pending.drain(..) {
            if matches!(output, Output::NotASwing { .. }) {
                self.summary.not_swings += 1;
            }
            self.outputs.write(&output, self.summary.seconds);
        }
    }

    fn record_and_compute(&mut self, records: &[Record], noticed: &mut Vec<Record>) {
        let newest_s = records.iter().map(|r| r.t_ns() as f64 * 1e-9).fold(0.0, f64::max);
        self.summary.seconds = self.summary.seconds.max(newest_s);
        if let Some(trouble) = self.recorder.as_mut().and_then(|r| r.append(records, Instant::now())) {
            self.outputs.trouble(self.summary.seconds, trouble);
        }
        self.compute(|pipeline, notices, pending| {
            for record in records {
                pipeline.push(record, pending);
                if let Some(notices) = notices {
                    notices.look(record, pipeline, noticed);
                }
            }
        });
    }

    /// Runs `step` on the pipeline. A panic in it turns the computation off: what follows is
    /// recorded, and a replay by a mended program computes it.
    fn compute(&mut self, step: impl FnOnce(&mut Pipeline, &mut Option<StrapNotices>, &mut Vec<Output>)) {
        if !self.computing {
            return;
        }
        let Self { pipeline, notices, pending, .. } = self;
        // What a panic leaves behind is only read afterwards, for counts and for the page.
        let done = catch_unwind(AssertUnwindSafe(|| step(pipeline, notices, pending)));
        if done.is_err() {
            self.computing = false;
            self.outputs.trouble(self.summary.seconds, Trouble::NotComputing);
        }
    }

    /// Ends the session. An error means that the end of the recording could not be written.
    pub fn finish(mut self) -> Result<(SessionDir, Summary), EngineError> {
        self.compute(|pipeline, _, pending| pipeline.finish(pending));
        self.write_outputs();
        let recorded = self.recorder.take().map_or(Ok(()), |r| r.finish(Instant::now()).map(drop));
        let mut summary = self.summary;
        summary.swings = self.pipeline.swings();
        for (_, counts) in self.pipeline.counts() {
            summary.samples += counts.samples;
            summary.lost += counts.lost;
            summary.bad_packets += counts.bad_packets;
        }
        let (dir, missing_files) = self.outputs.finish(summary.seconds);
        summary.missing_files = missing_files;
        recorded?;
        Ok((dir, summary))
    }

    /// The session as it stands, calibration included.
    pub fn session(&self) -> &Session {
        self.outputs.session()
    }

    /// The pipeline, to be looked at.
    pub fn pipeline(&self) -> &Pipeline {
        &self.pipeline
    }

    /// Runs until the source has no more or `shutdown` is done, then ends the session.
    pub async fn run(
        self,
        batches: Batches,
        shutdown: impl Future<Output = ()>,
    ) -> Result<(SessionDir, Summary), EngineError> {
        self.run_watched(batches, shutdown, |_, _| {}).await
    }

    /// The same; `seen` is shown every batch after it was taken. It must not wait: the
    /// recording waits for it.
    pub async fn run_watched(
        mut self,
        mut batches: Batches,
        shutdown: impl Future<Output = ()>,
        mut seen: impl FnMut(&[Record], &Self),
    ) -> Result<(SessionDir, Summary), EngineError> {
        let mut timer = tokio::time::interval(SYNC_EVERY);
        let mut shutdown = std::pin::pin!(shutdown);
        loop {
            tokio::select! {
                biased;
                () = &mut shutdown => break,
                batch = batches.recv() => match batch {
                    Some(records) => self.push_shown(&records, &mut seen),
                    None => break,
                },
                _ = timer.tick() => {
                    if let Some(trouble) = self.recorder.as_mut().and_then(|r| r.sync_if_due(Instant::now())) {
                        self.outputs.trouble(self.summary.seconds, trouble);
                        self.push_shown(&[], &mut seen);
                    }
                }
            }
        }
        // What the source had handed over before the shutdown belongs to the session.
        batches.close();
        while let Some(records) = batches.recv().await {
            self.push_shown(&records, &mut seen);
        }
        self.finish()
    }

    fn push_shown(&mut self, records: &[Record], seen: &mut impl FnMut(&[Record], &Self)) {
        self.push(records);
        // The panic hook has printed why. Whoever shows the session must not end it.
        let _ = catch_unwind(AssertUnwindSafe(|| seen(records, self)));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use peakorder_protocol::log::LogReader;
    use peakorder_protocol::session::Player;
    use peakorder_protocol::swing::Swing;
    use peakorder_protocol::trouble::TroubleNote;
    use peakorder_virtual_straps::{PlayerParams, Population, PracticeOptions, Script, virtual_session};
    use std::path::Path;

    /// A session of three swings: its folder, engine and records.
    fn started(folder: &Path) -> (Engine, Vec<Record>) {
        let player = PlayerParams::drawn_from(Population::Amateur, 6);
        let script = Script::practice(6, player, 3, &PracticeOptions::default());
        let session = virtual_session(&script, "s", Player::default(), "2026-01-01T00:00:00Z");
        let dir = SessionDir::create(&folder.join("s"), false).unwrap();
        (Engine::new(dir, session, true).unwrap(), script.session().records().collect())
    }

    fn recorded(dir: &SessionDir) -> Vec<Record> {
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
        let (mut engine, records) = started(folder.path());
        let mut events = engine.watch();
        push_all(&mut engine, &records, 1, |e| e.compute(|_, _, _| panic!("a fault that the test makes")));
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
        let (mut whole, records) = started(&folder.path().join("whole"));
        push_all(&mut whole, &records, 3, |_| ());
        let want: Vec<Swing> = whole.finish().unwrap().0.read_swings().unwrap();

        let (mut engine, _) = started(folder.path());
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
            matches!(&kept[..], [TroubleNote { what: Trouble::FileNotWritten { file, .. }, .. }] if file.ends_with("swings")),
            "{kept:?}"
        );
    }

    #[test]
    fn a_folder_that_is_recorded_into_is_refused() {
        let folder = tempfile::tempdir().unwrap();
        let (mut engine, records) = started(folder.path());
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
