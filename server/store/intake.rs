//! Which paths were added, and what became of them?

use std::ffi::OsStr;
use std::path::{Path, PathBuf};

use sqlx::{Sqlite, Transaction};

use super::error::unknown;
use super::statement::statements;
use super::{
    EventId, IntakeId, IntakeRow, JobId, JobKind, RecordingId, SourceId, Store, StoreError, queue,
};

/// A file about to be opened.
#[derive(Clone, Debug)]
pub struct NewIntake {
    /// The source that made it.
    pub source: SourceId,
    /// Where it lies.
    pub path: PathBuf,
    /// Its bytes.
    pub size: i64,
    /// When it was last changed, ns since 1970.
    pub mtime_ns: i64,
    /// The channels asked for: auto, mix, split or a number.
    pub choice: String,
}

/// What adding one file came to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Queued {
    /// It waits to be opened (perhaps since an earlier call).
    Waiting(IntakeId),
    /// The same file is there, with this first recording; nothing changed.
    Already(RecordingId),
}

/// Columns of [`IntakeRow`]; its state and reason are those of its probe job.
macro_rules! select_intake {
    ($rest:literal) => {
        concat!(
            "SELECT i.id, i.event_id, i.source_id, s.label AS source_label,
                s.placement AS source_placement, i.path, i.name, i.choice, i.created_at_ms,
                CASE WHEN i.file_hash IS NOT NULL THEN 'opened'
                     WHEN j.state IN ('failed', 'cancelled') THEN 'refused'
                     ELSE 'waiting' END AS state,
                coalesce(CASE j.state WHEN 'cancelled' THEN 'cancelled before it was opened'
                                      ELSE j.error END, i.note) AS reason,
                j.id AS job
            FROM intake i JOIN source s ON s.id = i.source_id
                LEFT JOIN job j ON j.kind = 'probe' AND j.subject = i.id ",
            $rest
        )
    };
}

statements! {
    /// The same path with the same size and change time holds the same sound;
    /// what failed or was cancelled is opened again.
    KNOWN = "SELECT r.id FROM file f JOIN recording r ON r.file_hash = f.hash AND r.event_id = ?1
        WHERE f.path = ?2 AND f.size = ?3 AND f.mtime_ns = ?4 AND NOT EXISTS (
            SELECT 1 FROM job j WHERE j.subject = r.id AND j.state IN ('failed', 'cancelled'))
        ORDER BY r.pick LIMIT 1";
    /// So does a path that was opened before, be it for other channels or as a
    /// second copy of what lies elsewhere.
    ADDED = "SELECT r.id, f.path FROM intake i
            JOIN recording r ON r.file_hash = i.file_hash AND r.event_id = i.event_id
            JOIN file f ON f.hash = i.file_hash
        WHERE i.event_id = ?1 AND i.path = ?2 AND i.choice = ?5 AND i.size = ?3
            AND i.mtime_ns = ?4 AND NOT EXISTS (
                SELECT 1 FROM recording o JOIN job j ON j.subject = o.id
                WHERE o.file_hash = i.file_hash AND o.event_id = i.event_id
                    AND j.state IN ('failed', 'cancelled'))
        ORDER BY r.pick LIMIT 1";
    TO_OPEN = "SELECT i.id, j.id FROM intake i JOIN job j ON j.kind = 'probe' AND j.subject = i.id
        WHERE i.event_id = ?1 AND i.path = ?2 AND i.choice = ?3 AND i.file_hash IS NULL
            AND j.state <> 'done' LIMIT 1";
    AGAIN = "UPDATE intake SET source_id = ?2, size = ?3, mtime_ns = ?4, note = NULL WHERE id = ?1";
    INSERT = "INSERT INTO intake
            (id, event_id, source_id, path, name, choice, size, mtime_ns, created_at_ms)
        VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)";
    LIST = select_intake!("WHERE i.event_id = ?1 AND i.file_hash IS NULL ORDER BY i.id");
    ONE = select_intake!("WHERE i.id = ?1");
}

impl Store {
    /// Queues files of an event to be opened, in one transaction; the answer is
    /// in the order of `files`. A file that is known or waits already is not
    /// queued again; one that was refused or cancelled waits again.
    ///
    /// # Errors
    /// [`StoreError::Unknown`] event or source; [`StoreError::DiskFull`].
    pub async fn add_intakes(
        &self,
        event: &EventId,
        files: &[NewIntake],
        now_ms: i64,
    ) -> Result<Vec<Queued>, StoreError> {
        let mut transaction = self.begin().await?;
        let mut queued = Vec::with_capacity(files.len());
        for file in files {
            queued.push(
                self.add_intake(&mut transaction, event, file, now_ms)
                    .await?,
            );
        }
        transaction.commit().await?;
        Ok(queued)
    }

    async fn add_intake(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        event: &EventId,
        file: &NewIntake,
        now_ms: i64,
    ) -> Result<Queued, StoreError> {
        let path = path_to_bytes(&file.path);
        if let Some(recording) = self.known(transaction, event, file).await? {
            return Ok(Queued::Already(recording));
        }
        let unopened: Option<(IntakeId, JobId)> = sqlx::query_as(self.sql(TO_OPEN))
            .bind(event)
            .bind(path)
            .bind(&file.choice)
            .fetch_optional(&mut **transaction)
            .await?;
        if let Some((intake, job)) = unopened {
            if self.revive_job(transaction, job).await? {
                sqlx::query(self.sql(AGAIN))
                    .bind(&intake)
                    .bind(&file.source)
                    .bind(file.size)
                    .bind(file.mtime_ns)
                    .execute(&mut **transaction)
                    .await
                    .map_err(unknown("source", event))?;
            }
            return Ok(Queued::Waiting(intake));
        }
        let id = IntakeId::fresh();
        sqlx::query(self.sql(INSERT))
            .bind(&id)
            .bind(event)
            .bind(&file.source)
            .bind(path)
            .bind(shown_name(&file.path))
            .bind(&file.choice)
            .bind(file.size)
            .bind(file.mtime_ns)
            .bind(now_ms)
            .execute(&mut **transaction)
            .await
            .map_err(unknown("event or source", event))?;
        let next = queue::NewJob {
            kind: JobKind::Probe,
            subject: id.as_str(),
            event,
            audio_ms: None,
            after: None,
        };
        self.queue_job(transaction, next).await?;
        Ok(Queued::Waiting(id))
    }

    /// The first recording of a file that opening once more would not change.
    async fn known(
        &self,
        transaction: &mut Transaction<'static, Sqlite>,
        event: &EventId,
        file: &NewIntake,
    ) -> Result<Option<RecordingId>, StoreError> {
        let path = path_to_bytes(&file.path);
        // Other channels of a known file may be asked for; `auto` asks for none.
        if file.choice == "auto" {
            let known: Option<RecordingId> = sqlx::query_scalar(self.sql(KNOWN))
                .bind(event)
                .bind(path)
                .bind(file.size)
                .bind(file.mtime_ns)
                .fetch_optional(&mut **transaction)
                .await?;
            if known.is_some() {
                return Ok(known);
            }
        }
        let opened: Option<(RecordingId, Vec<u8>)> = sqlx::query_as(self.sql(ADDED))
            .bind(event)
            .bind(path)
            .bind(file.size)
            .bind(file.mtime_ns)
            .bind(&file.choice)
            .fetch_optional(&mut **transaction)
            .await?;
        // A copy takes the place of a file that is gone, so it is opened again.
        let lies_there = |at: Vec<u8>| at == path || path_from_bytes(at).exists();
        Ok(opened
            .filter(|(_, at)| lies_there(at.clone()))
            .map(|(recording, _)| recording))
    }

    /// The intakes of an event that are not opened, oldest first.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn intakes(&self, event: &EventId) -> Result<Vec<IntakeRow>, StoreError> {
        Ok(sqlx::query_as(self.sql(LIST))
            .bind(event)
            .fetch_all(&self.read)
            .await?)
    }

    /// One intake.
    ///
    /// # Errors
    /// [`StoreError::Unknown`].
    pub async fn intake(&self, id: &IntakeId) -> Result<IntakeRow, StoreError> {
        sqlx::query_as(self.sql(ONE))
            .bind(id)
            .fetch_one(&self.read)
            .await
            .map_err(unknown("intake", id))
    }
}

/// A path as the bytes the system knows it by.
#[must_use]
pub fn path_to_bytes(path: &Path) -> &[u8] {
    path.as_os_str().as_encoded_bytes()
}

/// The path that [`path_to_bytes`] was made from.
#[must_use]
pub fn path_from_bytes(bytes: Vec<u8>) -> PathBuf {
    #[cfg(unix)]
    {
        use std::os::unix::ffi::OsStringExt;
        PathBuf::from(std::ffi::OsString::from_vec(bytes))
    }
    #[cfg(not(unix))]
    PathBuf::from(String::from_utf8_lossy(&bytes).into_owned())
}

/// The last part of a path for people: bytes that are no text become U+FFFD,
/// control characters are written out, so that a name never breaks a line.
///
/// ```
/// use sayback::store::shown_name;
/// assert_eq!(shown_name("/a/two\nlines.wav".as_ref()), "two\\nlines.wav");
/// ```
#[must_use]
pub fn shown_name(path: &Path) -> String {
    let name = path.file_name().unwrap_or(OsStr::new("")).to_string_lossy();
    let mut shown = String::with_capacity(name.len());
    for c in name.chars() {
        if c.is_control() {
            shown.extend(c.escape_default());
        } else {
            shown.push(c);
        }
    }
    shown
}
