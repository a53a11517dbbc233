//! Runs a session: what comes from the source goes to the recorder and to the computation, each
//! on a thread of its own, so that neither waits for the other.

use super::computation::Computation;
use super::{Batches, Engine, EngineError, Summary};
use crate::recorder::{self, Recorder, SYNC_EVERY};
use peakorder_protocol::log::Record;
use peakorder_protocol::session::SessionDir;
use peakorder_protocol::trouble::Trouble;
use std::future::Future;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use tokio::sync::{mpsc, oneshot};
use tokio::task::{JoinError, JoinHandle};

/// Batches that may wait for the computation while straps stream: minutes. Only the outputs can be
/// so slow, on a disk that hangs.
const LIVE_QUEUE: usize = 1 << 16;
/// The same for a source that can wait.
const PATIENT_QUEUE: usize = 64;

/// What the computation is handed.
enum Item {
    Records(Arc<Vec<Record>>),
    Trouble(Trouble),
    /// Answered when all before it is computed.
    Reached(oneshot::Sender<()>),
}

/// Hands everything to both, in one order: a replay of the recording sees what was seen live.
struct Tee {
    recorder: Option<Recorder>,
    /// `None` once the computation has ended or was given up.
    queue: Option<mpsc::Sender<Item>>,
    /// The source does not wait.
    live: bool,
    gave_up: bool,
}

impl Tee {
    async fn push(&mut self, records: Vec<Record>) {
        let records = Arc::new(records);
        if let Some(trouble) = self.recorder.as_mut().and_then(|r| r.push(&records)) {
            self.send(Item::Trouble(trouble)).await;
        }
        self.send(Item::Records(records)).await;
        self.tell_troubles().await;
    }

    async fn tell_troubles(&mut self) {
        let troubles: Vec<Trouble> = self.recorder.iter().flat_map(Recorder::troubles).collect();
        for trouble in troubles {
            self.send(Item::Trouble(trouble)).await;
        }
    }

    async fn send(&mut self, item: Item) {
        let Some(queue) = &self.queue else { return };
        let full_or_ended = if self.live {
            let sent = queue.try_send(item);
            self.gave_up |= matches!(sent, Err(mpsc::error::TrySendError::Full(_)));
            sent.is_err()
        } else {
            queue.send(item).await.is_err()
        };
        if full_or_ended {
            self.queue = None;
        }
    }

    /// Batches that wait for the computation.
    fn waiting(&self) -> usize {
        self.queue.as_ref().map_or(0, |q| q.max_capacity() - q.capacity())
    }

    /// Waits until the computation has taken everything.
    async fn reached(&mut self) {
        let (answer, reached) = oneshot::channel();
        self.send(Item::Reached(answer)).await;
        // An error means that the computation has ended.
        let _ = reached.await;
    }
}

/// Computes until the queue is closed. `seen` is shown every batch after it was taken.
fn compute(
    mut computation: Computation,
    mut queue: mpsc::Receiver<Item>,
    noticed: &mpsc::UnboundedSender<Vec<Record>>,
    mut seen: impl FnMut(&[Record], &Computation),
) -> Computation {
    // The panic hook has printed why. Whoever shows the session must not end it.
    let mut show = |records: &[Record], computation: &Computation| {
        let _ = catch_unwind(AssertUnwindSafe(|| seen(records, computation)));
    };
    while let Some(item) = queue.blocking_recv() {
        match item {
            Item::Records(records) => {
                let more = computation.take(&records);
                if !more.is_empty() {
                    // An error means that the session has ended.
                    let _ = noticed.send(more);
                }
                show(&records, &computation);
            }
            Item::Trouble(trouble) => {
                computation.trouble(trouble);
                show(&[], &computation);
            }
            // Nobody may wait for it any more.
            Item::Reached(answer) => drop(answer.send(())),
        }
    }
    computation
}

impl Engine {
    /// Runs until the source has no more or `shutdown` is done, then ends the session.
    pub async fn run(
        self,
        batches: Batches,
        shutdown: impl Future<Output = ()>,
    ) -> Result<(SessionDir, Summary), EngineError> {
        self.run_watched(batches, shutdown, |_, _| {}).await
    }

    /// The same; `seen` is shown every batch after it was computed. The recording does not wait
    /// for it.
    pub async fn run_watched(
        self,
        mut batches: Batches,
        shutdown: impl Future<Output = ()>,
        seen: impl FnMut(&[Record], &Computation) + Send + 'static,
    ) -> Result<(SessionDir, Summary), EngineError> {
        let Self { recorder, computation, live, pulse } = self;
        let (queue, items) = mpsc::channel(if live { LIVE_QUEUE } else { PATIENT_QUEUE });
        let (notice, mut noticed) = mpsc::unbounded_channel();
        let computing = tokio::task::spawn_blocking(move || compute(computation, items, &notice, seen));
        let mut tee = Tee { recorder, queue: Some(queue), live, gave_up: false };

        let mut timer = tokio::time::interval(SYNC_EVERY);
        let mut shutdown = std::pin::pin!(shutdown);
        loop {
            pulse.beat(tee.waiting());
            tokio::select! {
                biased;
                () = &mut shutdown => break,
                Some(records) = noticed.recv() => tee.push(records).await,
                batch = batches.recv() => match batch {
                    Some(records) => tee.push(records).await,
                    None => break,
                },
                _ = timer.tick() => tee.tell_troubles().await,
            }
        }
        pulse.close();
        // What the source had handed over before the shutdown belongs to the session.
        batches.close();
        while let Some(records) = batches.recv().await {
            tee.push(records).await;
        }
        // So does what is noticed in it.
        loop {
            tee.reached().await;
            let Ok(records) = noticed.try_recv() else { break };
            tee.push(records).await;
        }
        end(tee, computing).await
    }
}

async fn end(mut tee: Tee, computing: JoinHandle<Computation>) -> Result<(SessionDir, Summary), EngineError> {
    // Raw first: its end is safe before anything is computed of it.
    let mut recorded = Ok(());
    if let Some(recorder) = tee.recorder.take() {
        let ended = tokio::task::spawn_blocking(|| recorder.finish()).await;
        let (result, troubles) = ended.unwrap_or_else(|_| (Err(recorder::broken()), Vec::new()));
        recorded = result;
        for trouble in troubles {
            tee.send(Item::Trouble(trouble)).await;
        }
    }
    let gave_up = tee.gave_up;
    drop(tee);
    let finished = finish(computing, gave_up).await;
    recorded?;
    finished.map_err(|_| EngineError::ComputationEnded)
}

async fn finish(
    computing: JoinHandle<Computation>,
    gave_up: bool,
) -> Result<(SessionDir, Summary), JoinError> {
    let mut computation = computing.await?;
    tokio::task::spawn_blocking(move || {
        if gave_up {
            computation.give_up();
        }
        computation.finish()
    })
    .await
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::tests::{recorded, script, started};
    use crate::engine::{BATCHES, Recording};
    use std::sync::mpsc as std_mpsc;
    use std::time::Duration;

    /// What is shown hangs at the first batch; all is recorded meanwhile, and computed afterwards.
    #[tokio::test(flavor = "multi_thread", worker_threads = 2)]
    async fn a_computation_that_hangs_does_not_hold_the_recording() {
        let folder = tempfile::tempdir().unwrap();
        let engine = started(folder.path(), Recording::Live);
        let dir = SessionDir::open(&folder.path().join("s")).unwrap().0;
        let pulse = engine.pulse();
        let (to, batches) = mpsc::channel(BATCHES);
        let (release, released) = std_mpsc::channel::<()>();
        // It waits until the sender is gone.
        let seen = move |_: &[Record], _: &Computation| while released.recv().is_ok() {};
        let running = tokio::spawn(engine.run_watched(batches, std::future::pending(), seen));
        let records: Vec<Record> = script().session().records().collect();
        for batch in records.chunks(64) {
            to.send(batch.to_vec()).await.unwrap();
        }
        let beats = pulse.beats().expect("it runs");
        tokio::time::sleep(Duration::from_secs(1)).await;
        assert!(pulse.beats() > Some(beats), "what shows that the session goes on does so");
        drop(to);
        let all_there = async {
            while recorded(&dir).len() < records.len() {
                tokio::time::sleep(Duration::from_millis(50)).await;
            }
        };
        tokio::time::timeout(Duration::from_mins(1), all_there).await.expect("recorded while it hangs");
        assert_eq!(recorded(&dir), records);
        assert!(dir.read_swings().unwrap().is_empty(), "nothing is computed yet");
        drop(release);
        let (dir, summary) = running.await.unwrap().unwrap();
        assert_eq!((summary.swings, dir.read_swings().unwrap().len()), (3, 3));
    }
}
