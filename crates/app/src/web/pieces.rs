//! An answer that comes in pieces, so that its length takes no memory. One that can't go on is cut off, and never looks whole.

use std::io;
use std::pin::Pin;
use std::task::{Context, Poll};

use axum::body::Body;
use bytes::Bytes;
use hyper::body::Frame;
use tokio::sync::mpsc;

/// Pieces that wait for a reader.
const AHEAD: usize = 4;
/// Letters that are gathered before they leave.
const PIECE: usize = 64 << 10;

struct Pieces(mpsc::Receiver<io::Result<Bytes>>);

impl hyper::body::Body for Pieces {
    type Data = Bytes;
    type Error = io::Error;

    fn poll_frame(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<Option<io::Result<Frame<Bytes>>>> {
        self.0.poll_recv(context).map(|piece| piece.map(|piece| piece.map(Frame::data)))
    }
}

/// Where pieces are put, by a thread that may wait.
pub(super) struct Out {
    pieces: mpsc::Sender<io::Result<Bytes>>,
    text: String,
}

/// An answer, and where its pieces are put.
pub(super) fn begin() -> (Out, Body) {
    let (pieces, told) = mpsc::channel(AHEAD);
    (Out { pieces, text: String::new() }, Body::new(Pieces(told)))
}

impl Out {
    /// Adds a text; false once nobody reads any more.
    pub(super) fn put(&mut self, text: &str) -> bool {
        self.text.push_str(text);
        self.text.len() < PIECE || self.send()
    }

    fn send(&mut self) -> bool {
        self.pieces.blocking_send(Ok(std::mem::take(&mut self.text).into())).is_ok()
    }

    /// The last piece, or why it can't go on.
    pub(super) fn end(mut self, done: Result<(), &dyn std::error::Error>) {
        let last = match done {
            Ok(()) => {
                let _gone = self.send();
                return;
            }
            Err(error) => io::Error::other(error.to_string()),
        };
        // Whoever has gone need not be told.
        let _gone = self.pieces.blocking_send(Err(last));
    }
}
