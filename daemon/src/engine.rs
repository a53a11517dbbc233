//! Ties source, recorder, pipeline and outputs together.

use crate::ble::notices::StrapNotices;
use crate::output::Outputs;
use crate::recorder::{Recorder, SYNC_EVERY};
use peakorder_motion::pipeline::{Output, Pipeline, SetupError};
use peakorder_protocol::event::LiveEvent;
use peakorder_protocol::log::{LogError, Record};
use peakorder_protocol::session::{Session, SessionDir, SessionError, SourceKind};
use std::future::Future;
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
}

/// One session from its first record to its last.
pub struct Engine {
    recorder: Option<Recorder>,
    pipeline: Pipeline,
    outputs: Outputs,
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
        let recorder = if record { Some(Recorder::create(&dir.log_path())?) } else { None };
        let notices = (record && session.source == SourceKind::Straps).then(|| StrapNotices::new(&session));
        let outputs = Outputs::new(dir, session)?;
        Ok(Self { recorder, pipeline, outputs, notices, pending: Vec::new(), summary: Summary::default() })
    }

    /// A new watcher of live events.
    pub fn watch(&self) -> broadcast::Receiver<LiveEvent> {
        self.outputs.watch()
    }

    /// Takes a batch: to disk, then through the pipeline. Raw first: nothing looks at a
    /// notification before it is recorded.
    pub fn push(&mut self, records: &[Record]) -> Result<(), EngineError> {
        let mut noticed = Vec::new();
        self.record_and_compute(records, &mut noticed)?;
        if !noticed.is_empty() {
            self.record_and_compute(&noticed, &mut Vec::new())?;
        }
        for output in self.pending.drain(..) {
            if matches!(output, Output::NotASwing { .. }) {
                self.summary.not_swings += 1;
            }
            self.outputs.write(&output)?;
        }
        Ok(())
    }

    fn record_and_compute(
        &mut self,
        records: &[Record],
        noticed: &mut Vec<Record>,
    ) -> Result<(), EngineError> {
        if let Some(recorder) = &mut self.recorder {
            recorder.append(records)?;
        }
        for record in records {
            self.summary.seconds = self.summary.seconds.max(record.t_ns() as f64 * 1e-9);
            self.pipeline.push(record, &mut self.pending);
            if let Some(notices) = &mut self.notices {
                notices.look(record, &self.pipeline, noticed);
            }
        }
        Ok(())
    }

    /// Ends the session.
    pub fn finish(mut self) -> Result<(SessionDir, Summary), EngineError> {
        self.pipeline.finish(&mut self.pending);
        self.push(&[])?;
        if let Some(recorder) = self.recorder.take() {
            recorder.finish()?;
        }
        let mut summary = self.summary;
        summary.swings = self.pipeline.swings();
        for (_, counts) in self.pipeline.counts() {
            summary.samples += counts.samples;
            summary.lost += counts.lost;
            summary.bad_packets += counts.bad_packets;
        }
        let dir = self.outputs.finish(summary.seconds)?;
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
                    Some(records) => {
                        self.push(&records)?;
                        seen(&records, &self);
                    }
                    None => break,
                },
                _ = timer.tick() => {
                    if let Some(recorder) = &mut self.recorder {
                        recorder.sync_if_due()?;
                    }
                }
            }
        }
        // What the source had handed over before the shutdown belongs to the session.
        batches.close();
        while let Some(records) = batches.recv().await {
            self.push(&records)?;
            seen(&records, &self);
        }
        self.finish()
    }
}
