//! The bytes of a piece on their way to the disk.

use std::io;

use axum::body::Body;
use axum::http::StatusCode;
use bytes::Bytes;
use futures_util::{Stream, StreamExt};
use tokio::io::AsyncWriteExt;

use super::fields::Checksum;
use super::{Answer, AppState, Problem};
use crate::http::incoming::{LOOK_EVERY_BYTES, SILENCE_LIMIT, UploadLimits, check_disk, failed};
use crate::jobs::{Pouring, Sending};

/// Writes a piece. What stops it half-way costs the piece only where a checksum was
/// promised, or more came than the file is to hold.
///
/// # Errors
/// 400 when the sender stops, 408 when it falls silent, 413 behind the file's end, 460
/// when the checksum is not met, 507 when the disk would be left too full.
pub(super) async fn pour(
    state: &AppState,
    pouring: Pouring,
    announced: Option<u64>,
    mut checksum: Option<Checksum>,
    body: Body,
) -> Answer<Sending> {
    let coming = announced.unwrap_or(0);
    let sink = Sink {
        room: pouring.room(),
        limits: state.limits,
        data: &state.data_dir,
        coming,
    };
    let file = pouring.handle().map_err(Problem::internal)?;
    let poured = if coming > sink.room {
        Err(Stopped::TooLong)
    } else {
        let body = body.into_data_stream();
        sink.write(file, checksum.as_mut(), body).await
    };
    let name = pouring.file_name().to_owned();
    let is_checked = checksum.is_some();
    let met = checksum.is_none_or(Checksum::met);
    let stopped = match poured {
        Ok(()) if met => return Ok(state.engine.poured(pouring).await?),
        Ok(()) => {
            state.engine.unpour(pouring).await?;
            return Err(not_met(&name));
        }
        Err(stopped) => stopped,
    };
    if is_checked || matches!(stopped, Stopped::TooLong) {
        state.engine.unpour(pouring).await?;
    } else {
        state.engine.poured(pouring).await?;
    }
    Err(stopped.told(&name))
}

/// Where the bytes go, and how many may.
struct Sink<'a> {
    room: u64,
    limits: UploadLimits,
    data: &'a std::path::Path,
    coming: u64,
}

/// Why a piece did not come whole.
enum Stopped {
    TooLong,
    Sender(String),
    Silent,
    Disk(Problem),
}

impl Sink<'_> {
    async fn write<S, E>(
        &self,
        file: std::fs::File,
        mut checksum: Option<&mut Checksum>,
        mut body: S,
    ) -> Result<(), Stopped>
    where
        S: Stream<Item = Result<Bytes, E>> + Unpin,
        E: std::fmt::Display,
    {
        check_disk(self.data, self.coming, self.limits).map_err(Stopped::Disk)?;
        let disk = |error: io::Error| Stopped::Disk(failed(self.data, &error));
        let mut file = tokio::fs::File::from_std(file);
        let (mut written, mut next_look) = (0_u64, LOOK_EVERY_BYTES);
        let stopped = loop {
            let chunk = match tokio::time::timeout(SILENCE_LIMIT, body.next()).await {
                Ok(Some(Ok(chunk))) => chunk,
                Ok(None) => break None,
                Ok(Some(Err(cause))) => break Some(Stopped::Sender(cause.to_string())),
                Err(_) => break Some(Stopped::Silent),
            };
            written += chunk.len() as u64;
            if written > self.room {
                break Some(Stopped::TooLong);
            }
            if written >= next_look {
                next_look = written + LOOK_EVERY_BYTES;
                if let Err(full) = check_disk(self.data, 0, self.limits) {
                    break Some(Stopped::Disk(full));
                }
            }
            if let Some(checksum) = &mut checksum {
                checksum.take(&chunk);
            }
            file.write_all(&chunk).await.map_err(disk)?;
        };
        file.flush().await.map_err(disk)?;
        stopped.map_or(Ok(()), Err)
    }
}

impl Stopped {
    fn told(self, name: &str) -> Problem {
        match self {
            Self::TooLong => Problem::of(
                StatusCode::PAYLOAD_TOO_LARGE,
                "upload-too-long",
                "More than the whole file",
                format!("more came of '{name}' than Upload-Length said; this piece was not kept"),
            ),
            Self::Sender(cause) => Problem::of(
                StatusCode::BAD_REQUEST,
                "upload-stopped",
                "The piece stopped half-way",
                format!("a piece of '{name}' did not come whole; ask how far it is and go on"),
            )
            .because(cause),
            Self::Silent => Problem::new(
                StatusCode::REQUEST_TIMEOUT,
                format!("nothing of '{name}' came for a minute; ask how far it is and go on"),
            ),
            Self::Disk(problem) => problem,
        }
    }
}

/// The status the protocol has for it.
fn not_met(name: &str) -> Problem {
    let status = StatusCode::from_u16(460).unwrap_or(StatusCode::BAD_REQUEST);
    Problem::of(
        status,
        "checksum-mismatch",
        "The checksum is not met",
        format!(
            "a piece of '{name}' is not what its checksum says; it was not kept, send it again"
        ),
    )
}
