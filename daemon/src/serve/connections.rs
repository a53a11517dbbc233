//! Connections: how many, how long, and how they end.

use super::access::Endpoints;
use axum::Router;
use axum::http::Request;
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::server::graceful::GracefulShutdown;
use std::collections::HashMap;
use std::net::IpAddr;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::net::{TcpListener, TcpStream};
use tower::ServiceExt as _;

use super::write_timeout::WriteTimeout;

/// Connections at once.
const CONNECTIONS: usize = 128;
/// Of which one address may have this many: a browser opens up to six a page.
const PER_ADDRESS: usize = 32;
/// A request's head must have come after this long.
const HEAD: Duration = Duration::from_secs(10);
/// Whoever takes nothing for this long is let go.
const STALLED: Duration = Duration::from_secs(20);
/// What the system keeps for one who does not take it, bytes: little, so that a stalled one
/// is noticed and costs nothing.
const SEND_BUFFER: usize = 64 << 10;
/// Connections get this long to end by themselves.
const CLOSING: Duration = Duration::from_secs(3);
/// Largest head of a request, bytes.
const HEAD_BYTES: usize = 16 << 10;

/// Counts connections.
#[derive(Debug, Default)]
struct Count(Mutex<HashMap<IpAddr, usize>>);

impl Count {
    fn lock(&self) -> std::sync::MutexGuard<'_, HashMap<IpAddr, usize>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Counts one more, unless there are too many.
    fn enter(self: &Arc<Self>, from: IpAddr) -> Option<Counted> {
        let mut count = self.lock();
        if count.values().sum::<usize>() >= CONNECTIONS {
            return None;
        }
        let of = count.entry(from).or_default();
        if *of >= PER_ADDRESS {
            return None;
        }
        *of += 1;
        Some(Counted { count: Arc::clone(self), from })
    }
}

/// One connection that is counted as long as this lives.
struct Counted {
    count: Arc<Count>,
    from: IpAddr,
}

impl Drop for Counted {
    fn drop(&mut self) {
        let mut count = self.count.lock();
        if let Some(of) = count.get_mut(&self.from) {
            *of -= 1;
            if *of == 0 {
                count.remove(&self.from);
            }
        }
    }
}

/// Serves `router` until `closing` is done, then lets the connections end.
pub(super) async fn serve(listener: TcpListener, router: Router, closing: impl Future<Output = ()>) {
    let graceful = GracefulShutdown::new();
    let count = Arc::new(Count::default());
    tokio::pin!(closing);
    loop {
        tokio::select! {
            () = &mut closing => break,
            accepted = listener.accept() => match accepted {
                Ok((stream, peer)) => {
                    // Too many: the connection is closed at once.
                    let Some(counted) = count.enter(peer.ip()) else { continue };
                    let Ok(local) = stream.local_addr() else { continue };
                    connection(stream, Endpoints { peer, local }, router.clone(), &graceful, counted);
                }
                Err(why) => {
                    // Out of file descriptors, most likely: others must end first.
                    tracing::warn!(%why, "A connection could not be accepted.");
                    tokio::time::sleep(Duration::from_millis(100)).await;
                }
            }
        }
    }
    drop(listener);
    if tokio::time::timeout(CLOSING, graceful.shutdown()).await.is_err() {
        tracing::debug!("Some connections did not end and are cut.");
    }
}

fn connection(
    stream: TcpStream,
    ends: Endpoints,
    router: Router,
    graceful: &GracefulShutdown,
    counted: Counted,
) {
    let socket = socket2::SockRef::from(&stream);
    // Without either it works all the same.
    let _ = socket.set_send_buffer_size(SEND_BUFFER);
    let _ = socket.set_tcp_nodelay(true);
    let service = hyper::service::service_fn(move |mut request: Request<Incoming>| {
        request.extensions_mut().insert(ends);
        router.clone().oneshot(request)
    });
    let served = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(HEAD)
        .max_buf_size(HEAD_BYTES)
        .serve_connection(TokioIo::new(WriteTimeout::new(stream, STALLED)), service);
    let served = graceful.watch(served);
    tokio::spawn(async move {
        if let Err(why) = served.await {
            tracing::debug!(%why, "A connection ended early.");
        }
        drop(counted);
    });
}
