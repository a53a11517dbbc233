//! TCP connections: their number, their time limits and their end.

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
/// Connections of one address: a browser opens up to six for a page.
const PER_ADDRESS: usize = 32;
/// Time limit for the head of a request.
const HEAD: Duration = Duration::from_secs(10);
/// A connection that takes nothing for this long is closed.
const STALLED: Duration = Duration::from_secs(20);
/// The system's send buffer of a connection, bytes. It is small, so that a stalled connection is
/// noticed soon and costs little.
const SEND_BUFFER: usize = 64 << 10;
/// At the end, connections get this long to finish.
const CLOSING: Duration = Duration::from_secs(3);
/// Largest head of a request, bytes.
const HEAD_BYTES: usize = 16 << 10;

/// Counts connections by address.
#[derive(Debug, Default)]
struct ConnectionCount(Mutex<HashMap<IpAddr, usize>>);

impl ConnectionCount {
    fn lock(&self) -> std::sync::MutexGuard<'_, HashMap<IpAddr, usize>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Counts one more; `None` if there are too many.
    fn enter(self: &Arc<Self>, from: IpAddr) -> Option<CountedConnection> {
        let mut count = self.lock();
        if count.values().sum::<usize>() >= CONNECTIONS {
            return None;
        }
        let of = count.entry(from).or_default();
        if *of >= PER_ADDRESS {
            return None;
        }
        *of += 1;
        Some(CountedConnection { count: Arc::clone(self), from })
    }
}

/// A connection that is counted until this is dropped.
struct CountedConnection {
    count: Arc<ConnectionCount>,
    from: IpAddr,
}

impl Drop for CountedConnection {
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

/// Serves `router` until `closing` is done, then waits for the connections to finish.
pub(super) async fn serve(listener: TcpListener, router: Router, closing: impl Future<Output = ()>) {
    let graceful = GracefulShutdown::new();
    let count = Arc::new(ConnectionCount::default());
    tokio::pin!(closing);
    loop {
        tokio::select! {
            () = &mut closing => break,
            accepted = listener.accept() => match accepted {
                Ok((stream, peer)) => {
                    // Too many: the drop closes the connection.
                    let Some(counted) = count.enter(peer.ip()) else { continue };
                    let Ok(local) = stream.local_addr() else { continue };
                    connection(stream, Endpoints { peer, local }, router.clone(), &graceful, counted);
                }
                Err(why) => {
                    // Most likely no file descriptor is left: another connection must end first.
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
    counted: CountedConnection,
) {
    let socket = socket2::SockRef::from(&stream);
    // Both are optional.
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
