//! A connection whose other end must take what is written, sooner or later.

use std::future::Future as _;
use std::io;
use std::pin::Pin;
use std::task::{Context, Poll};
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::time::{Instant, Sleep};

/// Fails when nothing could be written for too long.
pub(super) struct WriteTimeout<S> {
    inner: S,
    limit: Duration,
    waiting: Option<Pin<Box<Sleep>>>,
}

impl<S> WriteTimeout<S> {
    pub(super) fn new(inner: S, limit: Duration) -> Self {
        Self { inner, limit, waiting: None }
    }

    fn patience<T>(&mut self, cx: &mut Context<'_>, polled: Poll<io::Result<T>>) -> Poll<io::Result<T>> {
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
        self.patience(cx, polled)
    }

    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        let polled = Pin::new(&mut self.inner).poll_flush(cx);
        self.patience(cx, polled)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        let polled = Pin::new(&mut self.inner).poll_shutdown(cx);
        self.patience(cx, polled)
    }

    fn poll_write_vectored(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        bufs: &[io::IoSlice<'_>],
    ) -> Poll<io::Result<usize>> {
        let polled = Pin::new(&mut self.inner).poll_write_vectored(cx, bufs);
        self.patience(cx, polled)
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
    struct Other {
        every: usize,
        attempts: usize,
    }

    impl AsyncWrite for Other {
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
        let mut patient = WriteTimeout::new(Other { every, attempts: 0 }, limit);
        let mut written = 0;
        for _ in 0..bytes {
            written += poll_fn(|cx| Pin::new(&mut patient).poll_write(cx, &[1])).await?;
        }
        Ok(written)
    }

    #[tokio::test]
    async fn one_who_takes_nothing_is_let_go_and_a_slow_one_is_not() {
        let stalled = write(0, Duration::from_millis(20), 1).await;
        assert_eq!(stalled.unwrap_err().kind(), io::ErrorKind::TimedOut);
        assert_eq!(write(3, Duration::from_hours(1), 50).await.unwrap(), 50);
    }

    #[tokio::test]
    async fn patience_begins_anew_with_every_byte_taken() {
        let mut patient = WriteTimeout::new(Other { every: 2, attempts: 0 }, Duration::from_hours(1));
        poll_fn(|cx| Pin::new(&mut patient).poll_write(cx, &[1])).await.unwrap();
        assert!(patient.waiting.is_none());
    }
}
