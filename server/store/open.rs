//! Where is the data, and who may write?

use std::fs::File;
use std::path::{Path, PathBuf};
use std::sync::{Arc, RwLock};
use std::time::Duration;

use sqlx::sqlite::{
    SqliteConnectOptions, SqliteConnection, SqliteJournalMode, SqlitePool, SqlitePoolOptions,
    SqliteSynchronous,
};
use sqlx::{Connection, Sqlite, Transaction};

use super::StoreError;
use super::lexicon::Words;

/// How long a writer waits for another process to finish its commit. Commits
/// take milliseconds; half a minute covers a slow disk under load.
const BUSY_TIMEOUT: Duration = Duration::from_secs(30);

/// The database's name in the data folder.
const DATABASE: &str = "sayback.db";

/// Connections for reading. Readers never wait in write-ahead mode; more than
/// this would only hold memory.
const READERS: u32 = 4;
/// What each keeps of the file, KiB as SQLite wants it: pages that are asked for again and
/// again need not be read again and again.
const READ_CACHE: &str = "-16384";

/// So many rows may wait to be taken in, so that two threads do not wait for each other at
/// every row.
const ROWS_AHEAD: usize = 1_024;

/// An open data folder. Clones share the connections.
#[derive(Clone, Debug)]
pub struct Store {
    folder: PathBuf,
    pub(super) read: SqlitePool,
    pub(super) write: SqlitePool,
    pub(super) lexicon: Arc<RwLock<Words>>,
    #[cfg(test)]
    pub(super) used: std::sync::Arc<std::sync::Mutex<std::collections::BTreeSet<&'static str>>>,
    #[cfg(test)]
    pub(super) page_limit: std::sync::Arc<std::sync::atomic::AtomicU32>,
}

impl Store {
    /// Opens the data folder `folder`, making it and its database where they are
    /// missing, and brings an older database to this program's shape.
    ///
    /// # Errors
    /// [`StoreError::Folder`], [`StoreError::Open`], [`StoreError::Migrate`]; whatever
    /// keeps the words of an older database from being put into the index.
    pub async fn open(folder: &Path) -> Result<Self, StoreError> {
        make_private(folder).map_err(|cause| StoreError::Folder {
            path: folder.to_owned(),
            cause,
        })?;
        let _alone = alone(folder).await?;
        let path = folder.join(DATABASE);
        let options = SqliteConnectOptions::new()
            .filename(&path)
            .create_if_missing(true)
            .journal_mode(SqliteJournalMode::Wal)
            .synchronous(SqliteSynchronous::Full)
            .foreign_keys(true)
            // What is forgotten leaves no trace in the file: it may be somebody's voice.
            .pragma("secure_delete", "ON")
            .busy_timeout(BUSY_TIMEOUT);
        let opened = |cause| StoreError::Open {
            path: path.clone(),
            cause,
        };
        #[cfg(test)]
        let page_limit = std::sync::Arc::<std::sync::atomic::AtomicU32>::default();
        let writer = SqlitePoolOptions::new()
            .max_connections(1)
            .acquire_timeout(BUSY_TIMEOUT * 2)
            .after_release(|connection, _| Box::pin(is_clean(connection)));
        #[cfg(test)]
        let writer = super::tests::limited(writer, &page_limit);
        let write = writer.connect_with(options.clone()).await.map_err(opened)?;
        sqlx::migrate!("./migrations")
            .run(&write)
            .await
            .map_err(|cause| StoreError::Migrate {
                path: path.clone(),
                cause,
            })?;
        let read = SqlitePoolOptions::new()
            .max_connections(READERS)
            .acquire_timeout(BUSY_TIMEOUT)
            .connect_with(
                options
                    .read_only(true)
                    .pragma("cache_size", READ_CACHE)
                    .row_buffer_size(ROWS_AHEAD),
            )
            .await
            .map_err(opened)?;
        let store = Self {
            folder: folder.to_owned(),
            read,
            write,
            lexicon: Arc::default(),
            #[cfg(test)]
            used: std::sync::Arc::default(),
            #[cfg(test)]
            page_limit,
        };
        store.index_older().await?;
        Ok(store)
    }

    /// Puts words into the index that an earlier version wrote.
    async fn index_older(&self) -> Result<(), StoreError> {
        let events = self.unindexed().await?;
        if !events.is_empty() {
            tracing::info!("making the index of {} events anew, once", events.len());
        }
        for event in events {
            self.rebuild_index(&event).await?;
        }
        Ok(())
    }

    /// Whether `folder` is a data folder already.
    #[must_use]
    pub fn is_in(folder: &Path) -> bool {
        folder.join(DATABASE).exists()
    }

    /// The data folder.
    #[must_use]
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// Closes all connections; the write-ahead log is folded into the database.
    pub async fn close(&self) {
        self.read.close().await;
        self.write.close().await;
    }

    /// A transaction that holds the right to write from its start, so that it
    /// never has to be begun again half-way.
    pub(super) async fn begin(&self) -> Result<Transaction<'static, Sqlite>, StoreError> {
        Ok(self.write.begin_with("BEGIN IMMEDIATE").await?)
    }
}

/// Whether a connection that comes back may be used again. When the disk is full
/// SQLite ends a transaction by itself; sqlx 0.9.0 then fails to end it a second
/// time, still counts it as open, and could never begin another. Such a
/// connection is closed, and the pool opens a new one.
async fn is_clean(connection: &mut SqliteConnection) -> sqlx::Result<bool> {
    // The ending of a dropped transaction is only queued; this waits for it.
    connection.ping().await?;
    Ok(!connection.is_in_transaction())
}

/// Waits until no other process opens this folder, and keeps others out until
/// the file is dropped: a new database is switched to write-ahead mode and
/// migrated, and neither waits for another process that is at it.
async fn alone(folder: &Path) -> Result<File, StoreError> {
    let path = folder.join("open.lock");
    let lock = tokio::task::spawn_blocking(move || {
        let file = File::options()
            .create(true)
            .truncate(false)
            .write(true)
            .open(path)?;
        file.lock()?;
        Ok(file)
    });
    lock.await
        .unwrap_or_else(|panic| Err(std::io::Error::other(panic)))
        .map_err(|cause| StoreError::Folder {
            path: folder.to_owned(),
            cause,
        })
}

/// Makes a folder only its owner can enter: these are private recordings.
fn make_private(folder: &Path) -> std::io::Result<()> {
    if folder.is_dir() {
        return Ok(());
    }
    let mut builder = std::fs::DirBuilder::new();
    builder.recursive(true);
    #[cfg(unix)]
    std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
    builder.create(folder)
}
