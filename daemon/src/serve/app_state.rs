//! What all handlers of the API share.

use super::access::AccessControl;
use super::hub::Hub;
use super::lesson::LessonControl;
use super::library::Library;
use super::metrics::Metrics;
use super::remarks::RemarkWriter;
use super::strap_setup::SetupControl;
use super::viewers::ViewerRules;
use futures::stream::Stream;
use std::sync::Arc;
use std::task::Poll;
use tokio::sync::{Semaphore, watch};

/// What all handlers of the API share.
pub struct AppState {
    pub(super) hub: Arc<Hub>,
    pub(super) library: Arc<Library>,
    pub(super) lessons: LessonControl,
    pub(super) straps: SetupControl,
    pub(super) remarks: Arc<RemarkWriter>,
    pub(super) access: Arc<AccessControl>,
    pub(super) metrics: Metrics,
    pub(super) viewers: Arc<ViewerRules>,
    /// Past sessions that may still be played.
    pub(super) playbacks: Arc<Semaphore>,
    pub(super) closing: watch::Receiver<bool>,
}

impl AppState {
    /// The stream, ended when the program ends: an open one would keep it running. Items that
    /// are ready by then are still delivered, above all the end of the lesson.
    pub(super) fn until_closing<S: Stream>(&self, stream: S) -> impl Stream<Item = S::Item> + use<S> {
        let mut closing = self.closing.clone();
        let mut closed = Box::pin(async move {
            // An error means that the server is gone.
            let _ = closing.wait_for(|c| *c).await;
        });
        let mut stream = Box::pin(stream);
        let mut over = false;
        futures::stream::poll_fn(move |context| {
            over = over || closed.as_mut().poll(context).is_ready();
            match stream.as_mut().poll_next(context) {
                Poll::Pending if over => Poll::Ready(None),
                polled => polled,
            }
        })
    }
}
