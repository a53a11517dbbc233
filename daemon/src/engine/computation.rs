//! Pipeline and outputs: what can be done again from the recording.

use super::Summary;
use crate::ble::notices::StrapNotices;
use crate::output::Outputs;
use peakorder_motion::pipeline::{Output, Pipeline};
use peakorder_protocol::event::LiveEvent;
use peakorder_protocol::log::Record;
use peakorder_protocol::session::{Session, SessionDir};
use peakorder_protocol::trouble::Trouble;
use std::panic::{AssertUnwindSafe, catch_unwind};
use tokio::sync::broadcast;

/// What is computed from a session's records. What fails in it does not end the recording.
pub struct Computation {
    pipeline: Pipeline,
    outputs: Outputs,
    /// False after a panic of the pipeline: the rest is recorded and not computed.
    computing: bool,
    /// Only where straps are recorded: a replay finds in the log what was noticed.
    notices: Option<StrapNotices>,
    pending: Vec<Output>,
    summary: Summary,
}

impl Computation {
    pub(super) fn new(pipeline: Pipeline, outputs: Outputs, notices: Option<StrapNotices>) -> Self {
        Self { pipeline, outputs, computing: true, notices, pending: Vec::new(), summary: Summary::default() }
    }

    /// Computes what comes of `records`. What is noticed of the straps is to be recorded and
    /// handed over in its turn.
    pub(super) fn take(&mut self, records: &[Record]) -> Vec<Record> {
        let newest_s = records.iter().map(|r| r.t_ns() as f64 * 1e-9).fold(0.0, f64::max);
        self.summary.seconds = self.summary.seconds.max(newest_s);
        let mut noticed = Vec::new();
        self.compute(|pipeline, notices, pending| {
            for record in records {
                pipeline.push(record, pending);
                if let Some(notices) = notices {
                    notices.look(record, pipeline, &mut noticed);
                }
            }
        });
        self.write_outputs();
        noticed
    }

    fn write_outputs(&mut self) {
        for output in self.pending.drain(..) {
            if matches!(output, Output::NotASwing { .. }) {
                self.summary.not_swings += 1;
            }
            self.outputs.write(&output, self.summary.seconds);
        }
    }

    /// Runs `step` on the pipeline. A panic in it turns the computation off: what follows is
    /// recorded, and a replay by a mended program computes it.
    pub(super) fn compute(
        &mut self,
        step: impl FnOnce(&mut Pipeline, &mut Option<StrapNotices>, &mut Vec<Output>),
    ) {
        if !self.computing {
            return;
        }
        let Self { pipeline, notices, pending, .. } = self;
        // What a panic leaves behind is only read afterwards, for counts and for the page.
        if catch_unwind(AssertUnwindSafe(|| step(pipeline, notices, pending))).is_err() {
            self.give_up();
        }
    }

    /// Computes no more.
    pub(super) fn give_up(&mut self) {
        if std::mem::replace(&mut self.computing, false) {
            self.trouble(Trouble::NotComputing);
        }
    }

    /// Notes a trouble of the session at its newest record.
    pub(super) fn trouble(&mut self, trouble: Trouble) {
        self.outputs.trouble(self.summary.seconds, trouble);
    }

    /// Computes what the end of the records brings, and closes the files.
    pub(super) fn finish(mut self) -> (SessionDir, Summary) {
        self.compute(|pipeline, _, pending| pipeline.finish(pending));
        self.write_outputs();
        let mut summary = self.summary;
        summary.swings = self.pipeline.swings();
        summary.repetitions = self.pipeline.repetitions();
        for (_, counts) in self.pipeline.counts() {
            summary.samples += counts.samples;
            summary.lost += counts.lost;
            summary.bad_packets += counts.bad_packets;
        }
        let (dir, missing_files) = self.outputs.finish(summary.seconds);
        summary.missing_files = missing_files;
        (dir, summary)
    }

    /// A new watcher of live events.
    pub fn watch(&self) -> broadcast::Receiver<LiveEvent> {
        self.outputs.watch()
    }

    /// The session as it stands, calibration included.
    pub fn session(&self) -> &Session {
        self.outputs.session()
    }

    /// The pipeline, to be looked at.
    pub fn pipeline(&self) -> &Pipeline {
        &self.pipeline
    }
}
