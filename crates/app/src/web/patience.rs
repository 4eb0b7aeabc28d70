//! A connection whose other end must go on reading: one that takes nothing for a while is given up.

use std::io;
use std::pin::Pin;
use std::task::{Context, Poll};
use std::time::Duration;

use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::time::{Instant, Sleep, sleep};

/// A connection with an end to waiting for its reader.
#[derive(Debug)]
pub(super) struct Patience<S> {
    inner: S,
    longest: Duration,
    /// Runs while nothing is taken.
    waiting: Option<Pin<Box<Sleep>>>,
}

impl<S> Patience<S> {
    /// Gives up after so long.
    pub(super) const fn new(inner: S, longest: Duration) -> Self {
        Self { inner, longest, waiting: None }
    }

    /// Passes on what was taken, or gives up once nothing was for too long.
    fn judge<T>(&mut self, context: &mut Context<'_>, taken: Poll<io::Result<T>>) -> Poll<io::Result<T>> {
        if taken.is_ready() {
            self.waiting = None;
            return taken;
        }
        let longest = self.longest;
        let waiting = self.waiting.get_or_insert_with(|| Box::pin(sleep(longest)));
        if waiting.deadline() <= Instant::now() || waiting.as_mut().poll(context).is_ready() {
            return Poll::Ready(Err(io::ErrorKind::TimedOut.into()));
        }
        Poll::Pending
    }
}

impl<S: AsyncRead + Unpin> AsyncRead for Patience<S> {
    fn poll_read(
        self: Pin<&mut Self>,
        context: &mut Context<'_>,
        buffer: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        Pin::new(&mut self.get_mut().inner).poll_read(context, buffer)
    }
}

impl<S: AsyncWrite + Unpin> AsyncWrite for Patience<S> {
    fn poll_write(self: Pin<&mut Self>, context: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        let this = self.get_mut();
        let taken = Pin::new(&mut this.inner).poll_write(context, bytes);
        this.judge(context, taken)
    }

    fn poll_flush(self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        let this = self.get_mut();
        let taken = Pin::new(&mut this.inner).poll_flush(context);
        this.judge(context, taken)
    }

    fn poll_shutdown(self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.get_mut().inner).poll_shutdown(context)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tokio::io::AsyncWriteExt as _;

    #[tokio::test]
    async fn a_reader_that_takes_nothing_is_given_up() {
        let (ours, theirs) = tokio::io::duplex(64);
        let mut patient = Patience::new(ours, Duration::from_millis(50));
        let failed = patient.write_all(&[0; 1000]).await.expect_err("nobody reads");
        assert_eq!(failed.kind(), io::ErrorKind::TimedOut);
        drop(theirs);
    }
}
