//! The sound itself: `GET /recordings/{recording}/audio` and `…/slice`.

use std::io::{self, Read, SeekFrom};
use std::path::Path as FilePath;
use std::time::UNIX_EPOCH;

use axum::body::Body;
use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode, header};
use axum::response::{IntoResponse, Response};
use bytes::Bytes;
use sayback_core::units::FileMs;
use serde::Deserialize;
use tokio::io::{AsyncReadExt, AsyncSeekExt};
use tokio::sync::mpsc;
use tokio_stream::wrappers::ReceiverStream;
use tokio_util::io::ReaderStream;
use utoipa::IntoParams;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::AppState;
use super::extract::{Path, Query};
use super::problem::{Answer, Problem};
use super::range::{ByteRange, Wanted, wanted};
use crate::media::{ChannelPick, MediaError, Slice};
use crate::store::RecordingRow;

/// Read from disk, and sent, in pieces of so many bytes.
const CHUNK_BYTES: usize = 64 << 10;

/// The longest slice, ms.
const SLICE_LIMIT_MS: i64 = 10 * 60 * 1000;

/// The routes of sound.
pub fn routes() -> OpenApiRouter<AppState> {
    OpenApiRouter::new()
        .routes(routes!(audio))
        .routes(routes!(slice))
}

/// The original file, byte for byte.
#[utoipa::path(get, path = "/recordings/{recording}/audio", tag = "recordings",
    params(("recording" = String, Path, description = "the recording's id"),
        ("range" = Option<String>, Header, description = "RFC 9110; several ranges get the whole")),
    responses(
    (status = 200, description = "the whole file", content_type = "application/octet-stream"),
    (status = 206, description = "one range of it", content_type = "application/octet-stream"),
    (status = 416, body = Problem, content_type = "application/problem+json"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn audio(
    State(state): State<AppState>,
    Path(recording): Path<String>,
    request: Request,
) -> Answer<Response> {
    let row = state.store.recording(&recording.into()).await?;
    let mut file = tokio::fs::File::open(&*row.path)
        .await
        .map_err(|e| unreadable(&row, &e))?;
    let found = file.metadata().await.map_err(|e| unreadable(&row, &e))?;
    let etag = format!("{}\"", version(&row, &found)?);
    let length = u64::try_from(row.size).unwrap_or(0);
    let sent = Sent::decide(&request, length, &etag, &row.media_type)?;
    let Some(range) = sent.range else {
        return Ok(sent.bare());
    };
    file.seek(SeekFrom::Start(range.start))
        .await
        .map_err(|e| unreadable(&row, &e))?;
    let part = file.take(range.end - range.start);
    Ok(sent.with(Body::from_stream(ReaderStream::with_capacity(
        part,
        CHUNK_BYTES,
    ))))
}

/// Which part of a recording.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct SliceParams {
    /// Where it starts in the file, ms.
    #[param(minimum = 0)]
    start_ms: i64,
    /// Where it ends in the file, ms; at most ten minutes later.
    #[param(minimum = 1)]
    end_ms: i64,
}

/// A part of a recording as WAV: 16 bits, at the file's own rate.
#[utoipa::path(get, path = "/recordings/{recording}/slice", tag = "recordings",
    params(("recording" = String, Path, description = "the recording's id"), SliceParams),
    responses(
    (status = 200, description = "the part, as WAV", content_type = "audio/wav"),
    (status = 206, description = "one range of that WAV", content_type = "audio/wav"),
    (status = "default", body = Problem, content_type = "application/problem+json"),
))]
async fn slice(
    State(state): State<AppState>,
    Path(recording): Path<String>,
    Query(params): Query<SliceParams>,
    request: Request,
) -> Answer<Response> {
    let row = state.store.recording(&recording.into()).await?;
    let (start, end) = bounds(&params, row.duration_ms)?;
    let found = tokio::fs::metadata(&*row.path)
        .await
        .map_err(|e| unreadable(&row, &e))?;
    let version = version(&row, &found)?;
    let etag = format!("{version}.{}.{}.{}\"", row.pick, start.0, end.0);
    let source = open_slice(&row, start, end).await?;
    let sent = Sent::decide(&request, source.byte_len(), &etag, "audio/wav")?;
    Ok(match sent.range {
        Some(range) => {
            let body = stream_blocking(source, range);
            sent.with(body)
        }
        None => sent.bare(),
    })
}

fn bounds(params: &SliceParams, duration_ms: i64) -> Answer<(FileMs, FileMs)> {
    let (start, end) = (params.start_ms, params.end_ms);
    if start < 0 || start >= duration_ms {
        let why = format!(
            "start_ms must lie in the recording, 0 to {}",
            duration_ms - 1
        );
        return Err(Problem::field("start_ms", why));
    }
    if end <= start || end - start > SLICE_LIMIT_MS {
        let why = "end_ms must be after start_ms, by ten minutes at most";
        return Err(Problem::field("end_ms", why));
    }
    Ok((FileMs(start), FileMs(end.min(duration_ms))))
}

/// A stereo pair is played as it is; more channels are mixed for two ears.
fn heard_channels(row: &RecordingRow) -> Answer<Option<ChannelPick>> {
    if row.pick == "mix" && row.file_channels <= 2 {
        return Ok(None);
    }
    let pick = row.pick.parse().map_err(|_| {
        Problem::internal(format!("recording {} holds channel '{}'", row.id, row.pick))
    })?;
    Ok(Some(pick))
}

async fn open_slice(row: &RecordingRow, start: FileMs, end: FileMs) -> Answer<Slice> {
    let pick = heard_channels(row)?;
    let path = row.path.to_path_buf();
    // A compressed file is decoded up to the slice: not on an async thread.
    let opened = tokio::task::spawn_blocking(move || Slice::open(&path, pick, start, end)).await;
    opened.map_err(Problem::internal)?.map_err(Problem::from)
}

impl From<MediaError> for Problem {
    fn from(error: MediaError) -> Self {
        Self::of(
            StatusCode::CONFLICT,
            "unreadable-file",
            "The file cannot be read",
            error.to_string(),
        )
    }
}

/// What was decided about an answer that has bytes.
pub(super) struct Sent {
    status: StatusCode,
    headers: HeaderMap,
    /// The bytes to send; none for HEAD and 304.
    pub range: Option<ByteRange>,
}

impl Sent {
    /// By the request's method and conditions.
    pub fn decide(request: &Request, length: u64, etag: &str, media_type: &str) -> Answer<Self> {
        let whole = ByteRange {
            start: 0,
            end: length,
        };
        let mut headers = HeaderMap::new();
        set(&mut headers, header::ACCEPT_RANGES, "bytes");
        set(&mut headers, header::ETAG, etag);
        set(&mut headers, header::CACHE_CONTROL, "private, no-cache");
        let (status, range) = match wanted(request.method(), request.headers(), length, etag) {
            Wanted::Whole => (StatusCode::OK, whole),
            Wanted::Part(range) => (StatusCode::PARTIAL_CONTENT, range),
            Wanted::NotModified => {
                let status = StatusCode::NOT_MODIFIED;
                return Ok(Self {
                    status,
                    headers,
                    range: None,
                });
            }
            Wanted::PreconditionFailed => {
                let why = "the file is another version than the one asked for";
                return Err(Problem::new(StatusCode::PRECONDITION_FAILED, why));
            }
            Wanted::Unsatisfiable => return Err(unsatisfiable(length)),
        };
        set(&mut headers, header::CONTENT_TYPE, media_type);
        set(
            &mut headers,
            header::CONTENT_LENGTH,
            &(range.end - range.start).to_string(),
        );
        if status == StatusCode::PARTIAL_CONTENT {
            let value = format!("bytes {}-{}/{length}", range.start, range.end - 1);
            set(&mut headers, header::CONTENT_RANGE, &value);
        }
        let range = (request.method() != Method::HEAD).then_some(range);
        Ok(Self {
            status,
            headers,
            range,
        })
    }

    /// The answer without bytes.
    pub fn bare(self) -> Response {
        (self.status, self.headers).into_response()
    }

    /// The answer with the bytes of [`Self::range`].
    pub fn with(self, body: Body) -> Response {
        (self.status, self.headers, body).into_response()
    }
}

fn set(headers: &mut HeaderMap, name: header::HeaderName, value: &str) {
    if let Ok(value) = HeaderValue::from_str(value) {
        headers.insert(name, value);
    }
}

fn unsatisfiable(length: u64) -> Problem {
    let mut headers = HeaderMap::new();
    set(
        &mut headers,
        header::CONTENT_RANGE,
        &format!("bytes */{length}"),
    );
    let why = format!("no byte of that range is among the {length} of this file");
    let mut problem = Problem::new(StatusCode::RANGE_NOT_SATISFIABLE, why);
    for (name, value) in headers {
        if let Some(name) = name {
            problem = problem.header(name, value);
        }
    }
    problem
}

/// An entity tag but for its closing quote: the content's hash, as long as the
/// file is what it was when it was added; weak where it was touched since, for
/// then nobody has hashed it.
fn version(row: &RecordingRow, found: &std::fs::Metadata) -> Answer<String> {
    if i64::try_from(found.len()).unwrap_or(i64::MAX) != row.size {
        return Err(Problem::of(
            StatusCode::CONFLICT,
            "file-changed",
            "The file has changed",
            format!(
                "'{}' is not what it was when it was added; add it again",
                row.name
            ),
        ));
    }
    let changed = found
        .modified()
        .ok()
        .and_then(|at| at.duration_since(UNIX_EPOCH).ok());
    let changed_ns = changed.and_then(|since| i64::try_from(since.as_nanos()).ok());
    Ok(match changed_ns {
        Some(ns) if ns != row.mtime_ns => format!("W/\"{}.{ns}", row.file_hash),
        _ => format!("\"{}", row.file_hash),
    })
}

fn unreadable(row: &RecordingRow, error: &io::Error) -> Problem {
    let path: &FilePath = &row.path;
    let (status, what) = match error.kind() {
        io::ErrorKind::NotFound => (
            StatusCode::NOT_FOUND,
            "is not where it was; put it back, or add it from its new place",
        ),
        io::ErrorKind::PermissionDenied => (
            StatusCode::CONFLICT,
            "may not be read; give the server the right to read it",
        ),
        _ => (StatusCode::CONFLICT, "cannot be read"),
    };
    let why = format!("'{}' {what}", row.name);
    Problem::of(status, "unreadable-file", "The file cannot be read", why)
        .because(format!("{}: {error}", path.display()))
}

/// Sends bytes of something that blocks, from a thread that may.
fn stream_blocking(source: impl Read + Send + 'static, range: ByteRange) -> Body {
    let (send, receive) = mpsc::channel::<io::Result<Bytes>>(4);
    tokio::task::spawn_blocking(move || {
        for chunk in chunks(source, range) {
            if let Err(error) = &chunk {
                tracing::warn!(%error, "a slice broke off");
            }
            // Whoever asked may have gone away; then so may we.
            let broken = chunk.is_err();
            if send.blocking_send(chunk).is_err() || broken {
                return;
            }
        }
    });
    Body::from_stream(ReceiverStream::new(receive))
}

/// The bytes of `range`, piece by piece.
fn chunks(mut source: impl Read, range: ByteRange) -> impl Iterator<Item = io::Result<Bytes>> {
    let mut skip = range.start;
    let mut left = range.end - range.start;
    std::iter::from_fn(move || {
        let mut next = || -> io::Result<Bytes> {
            io::copy(&mut source.by_ref().take(skip), &mut io::sink())?;
            skip = 0;
            let wanted = left.min(CHUNK_BYTES as u64);
            let mut chunk = Vec::with_capacity(CHUNK_BYTES);
            source.by_ref().take(wanted).read_to_end(&mut chunk)?;
            left -= chunk.len() as u64;
            Ok(chunk.into())
        };
        match next() {
            Ok(chunk) if chunk.is_empty() => None,
            other => Some(other),
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn chunks_are_the_range_and_nothing_else() {
        let bytes: Vec<u8> = (0..200_000_u32).map(|n| (n % 251) as u8).collect();
        for (start, end) in [(0, 200_000), (0, 1), (70_000, 199_999), (199_999, 200_000)] {
            let range = ByteRange { start, end };
            let joined: Vec<u8> = chunks(bytes.as_slice(), range)
                .flat_map(|chunk| chunk.expect("memory does not fail"))
                .collect();
            assert_eq!(
                joined,
                bytes[start as usize..end as usize],
                "{start}..{end}"
            );
        }
    }
}
