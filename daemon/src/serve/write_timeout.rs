//! A time limit for writes to a connection.

use std::future::Future as _;
use std::io;
use std::pin::Pin;
use std::task::{Context, Poll};
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::time::{Instant, Sleep};

/// A stream whose writes fail when the other end takes nothing for `limit`.
pub(super) struct WriteTimeout<S> {
    inner: S,
    limit: Duration,
    waiting: Option<Pin<Box<Sleep>>>,
}

impl<S> WriteTimeout<S> {
    pub(super) fn new(inner: S, limit: Duration) -> Self {
        Self { inner, limit, waiting: None }
    }

    fn limited<T>(&mut self, cx: &mut Context<'_>, polled: Poll<io::Result<T>>) -> Poll<io::Result<T>> {
        if polled.is_ready() {
            self.waiting = None;
            return polled;
        }
        let limit = self.limit;
        let waiting =
            self.waiting.get_or_insert_with(|| Box::pin(tokio::time::sleep_until(Instant::now() + limit)));
        match waiting.as_mut().poll(cx) {
            Poll::Ready(()) => Poll::Ready(Err(io::ErrorKind::TimedOut.into())),
            Poll::Pending => Poll::Pending,
        }
    }
}

impl<S: AsyncRead + Unpin> AsyncRead for WriteTimeout<S> {
    fn poll_read(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        buf: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        Pin::new(&mut self.inner).poll_read(cx, buf)
    }
}

impl<S: AsyncWrite + Unpin> AsyncWrite for WriteTimeout<S> {
    fn poll_write(mut self: Pin<&mut Self>, cx: &mut Context<'_>, buf: &[u8]) -> Poll<io::Result<usize>> {
        let polled = Pin::new(&mut self.inner).poll_write(cx, buf);
        self.limited(cx, polled)
    }

    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        let polled = Pin::new(&mut self.inner).poll_flush(cx);
        self.limited(cx, polled)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        let polled = Pin::new(&mut self.inner).poll_shutdown(cx);
        self.limited(cx, polled)
    }

    fn poll_write_vectored(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        bufs: &[io::IoSlice<'_>],
    ) -> Poll<io::Result<usize>> {
        let polled = Pin::new(&mut self.inner).poll_write_vectored(cx, bufs);
        self.limited(cx, polled)
    }

    fn is_write_vectored(&self) -> bool {
        self.inner.is_write_vectored()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::future::poll_fn;

    /// Takes one byte at every `every`-th attempt; never if that is 0.
    struct Peer {
        every: usize,
        attempts: usize,
    }

    impl AsyncWrite for Peer {
        fn poll_write(
            mut self: Pin<&mut Self>,
            cx: &mut Context<'_>,
            _buf: &[u8],
        ) -> Poll<io::Result<usize>> {
            self.attempts += 1;
            if self.every > 0 {
                if self.attempts.is_multiple_of(self.every) {
                    return Poll::Ready(Ok(1));
                }
                cx.waker().wake_by_ref();
            }
            Poll::Pending
        }

        fn poll_flush(self: Pin<&mut Self>, _cx: &mut Context<'_>) -> Poll<io::Result<()>> {
            Poll::Ready(Ok(()))
        }

        fn poll_shutdown(self: Pin<&mut Self>, _cx: &mut Context<'_>) -> Poll<io::Result<()>> {
            Poll::Ready(Ok(()))
        }
    }

    async fn write(every: usize, limit: Duration, bytes: usize) -> io::Result<usize> {
        let mut stream = WriteTimeout::new(Peer { every, attempts: 0 }, limit);
        let mut written = 0;
        for _ in 0..bytes {
            written += poll_fn(|cx| Pin::new(&mut stream).poll_write(cx, &[1])).await?;
        }
        Ok(written)
    }

    #[tokio::test]
    async fn a_stalled_peer_times_out_and_a_slow_one_does_not() {
        let stalled = write(0, Duration::from_millis(20), 1).await;
        assert_eq!(stalled.unwrap_err().kind(), io::ErrorKind::TimedOut);
        assert_eq!(write(3, Duration::from_hours(1), 50).await.unwrap(), 50);
    }

    #[tokio::test]
    async fn every_byte_taken_starts_the_limit_again() {
        let mut stream = WriteTimeout::new(Peer { every: 2, attempts: 0 }, Duration::from_hours(1));
        poll_fn(|cx| Pin::new(&mut stream).poll_write(cx, &[1])).await.unwrap();
        assert!(stream.waiting.is_none());
    }
}
