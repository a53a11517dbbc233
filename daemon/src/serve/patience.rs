//! A connection whose other end must take what is written, sooner or later.

use std::future::Future as _;
use std::io;
use std::pin::Pin;
use std::task::{Context, Poll};
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::time::{Instant, Sleep};

/// Fails when nothing could be written for too long.
pub(super) struct Patient<S> {
    inner: S,
    limit: Duration,
    waiting: Option<Pin<Box<Sleep>>>,
}

impl<S> Patient<S> {
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

impl<S: AsyncRead + Unpin> AsyncRead for Patient<S> {
    fn poll_read(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        buf: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        Pin::new(&mut self.inner).poll_read(cx, buf)
    }
}

impl<S: AsyncWrite + Unpin> AsyncWrite for Patient<S> {
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
    use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};

    #[tokio::test(start_paused = true)]
    async fn one_who_takes_nothing_is_let_go_and_a_slow_one_is_not() {
        let (mut near, far) = tokio::io::duplex(16);
        let mut patient = Patient::new(far, Duration::from_secs(20));
        let writer = tokio::spawn(async move {
            let slow = patient.write_all(&[1; 48]).await;
            (slow, patient.write_all(&[2; 48]).await)
        });
        for _ in 0..3 {
            tokio::time::sleep(Duration::from_secs(15)).await;
            let mut some = [0; 16];
            near.read_exact(&mut some).await.unwrap();
        }
        let (slow, stalled) = writer.await.unwrap();
        slow.unwrap();
        assert_eq!(stalled.unwrap_err().kind(), io::ErrorKind::TimedOut);
    }
}
