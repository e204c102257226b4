//! A file on its way in: written where nothing looks at it, handed over when
//! whole, removed when anything stops it.

use std::io;
use std::path::{Path, PathBuf};
use std::time::Duration;

use axum::http::StatusCode;
use bytes::Bytes;
use futures_util::{Stream, StreamExt};
use tokio::fs::File;
use tokio::io::AsyncWriteExt;

use super::problem::{Answer, Problem};

/// Free disk is looked at again after so many bytes.
pub(super) const LOOK_EVERY_BYTES: u64 = 16 << 20;

/// A sender that is silent for so long has gone away.
pub(super) const SILENCE_LIMIT: Duration = Duration::from_secs(60);

/// What an upload may use.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct UploadLimits {
    /// The largest upload, bytes.
    pub max_bytes: u64,
    /// How much of the disk stays free, bytes.
    pub keep_free_bytes: u64,
}

impl Default for UploadLimits {
    /// 64 GiB, a full day of many channels; and 1 GiB left for the store.
    fn default() -> Self {
        Self {
            max_bytes: 64 << 30,
            keep_free_bytes: 1 << 30,
        }
    }
}

/// Writes a body to `partial`, down to the disk. Whatever stops it half-way
/// leaves nothing behind.
///
/// # Errors
/// 413 over the limit, 507 when the disk would be left too full, 400 when the
/// sender stops, 408 when it falls silent.
pub async fn receive<S, E>(
    partial: PathBuf,
    name: &str,
    announced: Option<u64>,
    limits: UploadLimits,
    body: S,
) -> Answer<Received>
where
    S: Stream<Item = Result<Bytes, E>> + Unpin,
    E: std::fmt::Display,
{
    let coming = announced.unwrap_or(0);
    check_size(name, coming, limits)?;
    check_disk(partial.parent().unwrap_or(&partial), coming, limits)?;
    let received = Received(partial);
    write_all(&received.0, name, limits, body).await?;
    Ok(received)
}

/// Bytes that were received; they go when this is dropped, unless they were
/// moved to their place.
#[derive(Debug)]
pub struct Received(PathBuf);

impl Received {
    /// Where they are.
    pub fn path(&self) -> &Path {
        &self.0
    }
}

impl Drop for Received {
    fn drop(&mut self) {
        if let Err(error) = std::fs::remove_file(&self.0)
            && error.kind() != io::ErrorKind::NotFound
        {
            tracing::warn!(path = %self.0.display(), %error, "cannot remove a half-way upload");
        }
    }
}

async fn write_all<S, E>(path: &Path, name: &str, limits: UploadLimits, mut body: S) -> Answer<()>
where
    S: Stream<Item = Result<Bytes, E>> + Unpin,
    E: std::fmt::Display,
{
    let io = |e: io::Error| failed(path, &e);
    let mut file = File::create_new(path).await.map_err(io)?;
    let (mut written, mut next_look) = (0_u64, LOOK_EVERY_BYTES);
    while let Some(chunk) = next_chunk(&mut body, name).await? {
        written += chunk.len() as u64;
        check_size(name, written, limits)?;
        if written >= next_look {
            next_look = written + LOOK_EVERY_BYTES;
            check_disk(path, 0, limits)?;
        }
        file.write_all(&chunk).await.map_err(io)?;
    }
    file.flush().await.map_err(io)?;
    if written == 0 {
        return Err(Problem::field("body", format!("'{name}' holds 0 bytes")));
    }
    file.sync_all().await.map_err(io)
}

async fn next_chunk<S, E>(body: &mut S, name: &str) -> Answer<Option<Bytes>>
where
    S: Stream<Item = Result<Bytes, E>> + Unpin,
    E: std::fmt::Display,
{
    match tokio::time::timeout(SILENCE_LIMIT, body.next()).await {
        Ok(None) => Ok(None),
        Ok(Some(Ok(chunk))) => Ok(Some(chunk)),
        Ok(Some(Err(cause))) => Err(Problem::of(
            StatusCode::BAD_REQUEST,
            "upload-stopped",
            "The upload stopped half-way",
            format!("'{name}' did not arrive whole and was not kept; send it again"),
        )
        .because(cause)),
        Err(_) => Err(Problem::new(
            StatusCode::REQUEST_TIMEOUT,
            format!("nothing of '{name}' came for a minute; it was not kept, send it again"),
        )),
    }
}

pub(super) fn check_size(name: &str, bytes: u64, limits: UploadLimits) -> Answer<()> {
    if bytes <= limits.max_bytes {
        return Ok(());
    }
    Err(Problem::of(
        StatusCode::PAYLOAD_TOO_LARGE,
        "upload-too-large",
        "The upload is too large",
        format!(
            "'{name}' is larger than the {} bytes this server takes (--max-upload-bytes)",
            limits.max_bytes
        ),
    )
    .with("max_bytes", limits.max_bytes))
}

pub(super) fn check_disk(path: &Path, coming: u64, limits: UploadLimits) -> Answer<()> {
    let stat = rustix::fs::statvfs(path).map_err(|e| failed(path, &io::Error::from(e)))?;
    let free = stat.f_bavail.saturating_mul(stat.f_frsize);
    if free.saturating_sub(coming) >= limits.keep_free_bytes {
        return Ok(());
    }
    Err(Problem::disk_full(format!(
        "{free} bytes are free and {} must stay free; make room and send it again",
        limits.keep_free_bytes
    ))
    .with("free_bytes", free))
}

/// A failed write: a full disk is the sender's to know, the rest is ours.
pub(super) fn failed(path: &Path, error: &io::Error) -> Problem {
    let cause = format!("{}: {error}", path.display());
    match error.kind() {
        io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => {
            Problem::disk_full("the disk filled up while the file arrived; it was not kept")
                .because(cause)
        }
        _ => Problem::internal(cause),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use futures_util::stream;

    const ROOMY: UploadLimits = UploadLimits {
        max_bytes: 100,
        keep_free_bytes: 0,
    };

    type Chunks = Vec<Result<Bytes, String>>;

    async fn send(dir: &Path, limits: UploadLimits, chunks: Chunks) -> Answer<Received> {
        let partial = dir.join("partial");
        receive(partial, "a b.wav", None, limits, stream::iter(chunks)).await
    }

    fn files_in(dir: &Path) -> usize {
        std::fs::read_dir(dir).expect("a folder").count()
    }

    #[tokio::test]
    async fn a_whole_upload_stays_until_it_is_let_go() {
        let dir = tempfile::tempdir().expect("a folder");
        let chunks = vec![Ok("one ".into()), Ok("two".into())];
        let received = send(dir.path(), ROOMY, chunks).await.expect("it is kept");
        assert_eq!(
            std::fs::read(received.path()).expect("the file"),
            b"one two"
        );
        drop(received);
        assert_eq!(files_in(dir.path()), 0);
    }

    #[tokio::test]
    async fn an_upload_that_stops_half_way_leaves_nothing() {
        let dir = tempfile::tempdir().expect("a folder");
        let chunks = vec![Ok("one ".into()), Err("connection reset".into())];
        let problem = send(dir.path(), ROOMY, chunks).await.expect_err("refused");
        assert_eq!(problem.status, 400);
        assert_eq!(files_in(dir.path()), 0);
    }

    #[tokio::test]
    async fn an_upload_over_the_limit_leaves_nothing() {
        let dir = tempfile::tempdir().expect("a folder");
        let chunks = vec![Ok(vec![0; 60].into()), Ok(vec![0; 60].into())];
        let problem = send(dir.path(), ROOMY, chunks).await.expect_err("refused");
        assert_eq!(problem.status, 413);
        assert_eq!(files_in(dir.path()), 0);
    }

    #[tokio::test]
    async fn a_disk_that_would_be_left_too_full_is_refused() {
        let dir = tempfile::tempdir().expect("a folder");
        let limits = UploadLimits {
            keep_free_bytes: u64::MAX,
            ..ROOMY
        };
        let problem = send(dir.path(), limits, vec![Ok("one".into())])
            .await
            .expect_err("refused");
        assert_eq!(problem.status, 507);
        assert_eq!(files_in(dir.path()), 0);
    }

    #[test]
    fn a_write_on_a_full_disk_is_507() {
        let full = io::Error::from(rustix::io::Errno::NOSPC);
        assert_eq!(failed(Path::new("/x"), &full).status, 507);
        let quota = io::Error::from(rustix::io::Errno::DQUOT);
        assert_eq!(failed(Path::new("/x"), &quota).status, 507);
    }
}
