//! TCP connections: their number, their time limits and their end.

use super::access::Endpoints;
use super::connection_slots::{Slots, Trust};
use super::tls::Tls;
use axum::Router;
use axum::http::Request;
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::server::graceful::{GracefulShutdown, Watcher};
use std::sync::Arc;
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::{TcpListener, TcpStream};
use tower::ServiceExt as _;

use super::write_timeout::WriteTimeout;

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

/// Serves `router` until `closing` is done, then waits for the connections to finish.
pub(super) async fn serve(
    listener: TcpListener,
    tls: Option<Tls>,
    router: Router,
    closing: impl Future<Output = ()>,
) {
    let graceful = GracefulShutdown::new();
    let slots = Arc::new(Slots::default());
    tokio::pin!(closing);
    loop {
        tokio::select! {
            () = &mut closing => break,
            accepted = listener.accept() => match accepted {
                Ok((stream, peer)) => {
                    // Too many: the drop closes the connection.
                    let Some(slot) = slots.enter(peer.ip()) else { continue };
                    let Ok(local) = stream.local_addr() else { continue };
                    let ends = Endpoints { peer, local };
                    let served = connection(stream, ends, tls.clone(), router.clone(), graceful.watcher(), slot.trust.clone());
                    tokio::spawn(async move {
                        tokio::select! {
                            () = served => {}
                            () = slot.pushed_out() => {
                                tracing::debug!(%peer, "A connection made room for another.");
                            }
                        }
                    });
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

async fn connection(
    stream: TcpStream,
    ends: Endpoints,
    tls: Option<Tls>,
    router: Router,
    closing: Watcher,
    trust: Trust,
) {
    let socket = socket2::SockRef::from(&stream);
    // Both are optional.
    let _ = socket.set_send_buffer_size(SEND_BUFFER);
    let _ = socket.set_tcp_nodelay(true);
    match tls {
        None => requests(stream, ends, router, closing, trust).await,
        Some(tls) => match tls.accept(stream).await {
            Ok(stream) => requests(stream, ends, router, closing, trust).await,
            Err(why) => tracing::debug!(%why, "A connection was not encrypted as it must be."),
        },
    }
}

/// Answers the requests that come over `stream`.
async fn requests<S>(stream: S, ends: Endpoints, router: Router, closing: Watcher, trust: Trust)
where
    S: AsyncRead + AsyncWrite + Unpin + Send + 'static,
{
    let service = hyper::service::service_fn(move |mut request: Request<Incoming>| {
        request.extensions_mut().insert(ends);
        request.extensions_mut().insert(trust.clone());
        router.clone().oneshot(request)
    });
    let served = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(HEAD)
        .max_buf_size(HEAD_BYTES)
        .serve_connection(TokioIo::new(WriteTimeout::new(stream, STALLED)), service);
    if let Err(why) = closing.watch(served).await {
        tracing::debug!(%why, "A connection ended early.");
    }
}
