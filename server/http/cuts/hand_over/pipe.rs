//! From a thread that may block to an answer, block by block, so that what is sent is
//! never in memory as a whole.

use std::io::{self, Write};
use std::time::Duration;

use axum::body::Body;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use bytes::Bytes;
use sayback_core::Cancel;
use serde::Serialize;
use tokio::sync::mpsc;
use tokio_stream::wrappers::ReceiverStream;

/// Bytes that are sent at once.
const BLOCK_BYTES: usize = 64 << 10;
/// Blocks that wait to be sent.
const WAITING: usize = 4;

/// How often it is looked whether somebody still waits: an original may be read for
/// minutes before a byte of it is sent.
const LOOK_EVERY: Duration = Duration::from_millis(500);

/// The end that is written to. Nobody reads any more where writing fails.
pub(super) struct Pipe {
    send: mpsc::Sender<io::Result<Bytes>>,
    block: Vec<u8>,
}

/// How an answer is broken off, so that it is not taken for whole.
#[derive(Clone)]
pub(super) struct Break(mpsc::Sender<io::Result<Bytes>>);

/// A way into a body; whoever waits for it in vain sets the flag by going away.
pub(super) fn pipe() -> (Pipe, Break, Cancel, Body) {
    let (send, receive) = mpsc::channel(WAITING);
    let cancel = Cancel::new();
    let (watched, sender) = (cancel.clone(), send.downgrade());
    tokio::spawn(async move {
        // Holding a sender here would keep the body open for ever.
        while let Some(send) = sender.upgrade() {
            if send.is_closed() {
                return watched.cancel();
            }
            drop(send);
            tokio::time::sleep(LOOK_EVERY).await;
        }
    });
    let pipe = Pipe {
        send: send.clone(),
        block: Vec::with_capacity(BLOCK_BYTES),
    };
    let body = Body::from_stream(ReceiverStream::new(receive));
    (pipe, Break(send), cancel, body)
}

impl Break {
    /// Ends the answer where it is.
    pub fn off(self, why: &str) {
        let _ = self.0.blocking_send(Err(io::Error::other(why.to_owned())));
    }
}

impl Write for Pipe {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.block.extend_from_slice(bytes);
        if self.block.len() >= BLOCK_BYTES {
            self.flush()?;
        }
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        if self.block.is_empty() {
            return Ok(());
        }
        let block = std::mem::replace(&mut self.block, Vec::with_capacity(BLOCK_BYTES));
        let sent = self.send.blocking_send(Ok(block.into()));
        sent.map_err(|_| io::ErrorKind::BrokenPipe.into())
    }
}

/// Something large as JSON.
pub(super) fn json(value: impl Serialize + Send + 'static) -> Response {
    let (mut pipe, off, _, body) = pipe();
    tokio::task::spawn_blocking(move || {
        let written = serde_json::to_writer(&mut pipe, &value).map_err(io::Error::from);
        if let Err(error) = written.and_then(|()| pipe.flush()) {
            off.off(&error.to_string());
        }
    });
    ([(header::CONTENT_TYPE, "application/json")], body).into_response()
}
