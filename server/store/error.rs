//! Why could the store not do it, and what helps?

use std::path::PathBuf;

use super::{JobId, Stale};

/// What can go wrong in the store. Messages name the thing and what to do.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// The data folder could not be made or entered.
    #[error("cannot use {path} as data folder: {cause}; choose another with --data")]
    Folder {
        /// The folder.
        path: PathBuf,
        /// What the system said.
        cause: std::io::Error,
    },
    /// The database file could not be opened.
    #[error("cannot open the database {path}: {cause}")]
    Open {
        /// The database file.
        path: PathBuf,
        /// What SQLite said.
        cause: sqlx::Error,
    },
    /// The database could not be brought to this program's shape, usually
    /// because a newer sayback wrote it.
    #[error("the database {path} does not fit this version of sayback: {cause}")]
    Migrate {
        /// The database file.
        path: PathBuf,
        /// What does not fit.
        cause: sqlx::migrate::MigrateError,
    },
    /// No thing of that kind has that id.
    #[error("there is no {what} '{id}'")]
    Unknown {
        /// 'event', 'recording', …
        what: &'static str,
        /// What was asked for.
        id: String,
    },
    /// A name that several things have was given where one is meant.
    #[error("'{title}' is the name of several {what}; use one of the ids {}", ids.join(", "))]
    Ambiguous {
        /// 'events', 'cut lists'.
        what: &'static str,
        /// The name as given.
        title: String,
        /// Ids of those that have it.
        ids: Vec<String>,
    },
    /// A unique thing is there already.
    #[error("that {what} is there already")]
    Exists {
        /// 'event', 'source', …
        what: String,
    },
    /// A value breaks a rule of the schema.
    #[error("{rule}")]
    Invalid {
        /// The rule in words, such as 'event title is blank'.
        rule: String,
    },
    /// What a person wants of a moment makes no sense.
    #[error("{reason}")]
    Unfit {
        /// Which part of it.
        field: &'static str,
        /// Why, and what to do.
        reason: String,
    },
    /// A change was made against a version of a moment that is not the one that
    /// stands; nothing was written.
    #[error("moment {} was changed meanwhile; look at it again", .0.moment)]
    Stale(Box<Stale>),
    /// A change was made against a version of a thing that is not the one that stands;
    /// nothing was written.
    #[error(
        "the {what} was changed meanwhile and is at version {version}; look at it and say again \
         what it is to be"
    )]
    Outdated {
        /// 'cut list'.
        what: &'static str,
        /// Its id.
        id: String,
        /// The version that stands.
        version: i64,
    },
    /// The disk is full; nothing of the change was written.
    #[error(
        "the disk of the data folder is full; nothing was lost, work goes on once there is room"
    )]
    DiskFull,
    /// Another process held the database for longer than the busy timeout.
    #[error("the database is in use by another process; try again")]
    Busy,
    /// The job was taken away (cancelled, or its lease ran out) before its
    /// result could be written; the result was dropped.
    #[error("job {0} is no longer held by this worker; its result was dropped")]
    LeaseLost(JobId),
    /// The job is not in a state in which that can be asked.
    #[error("job {id} is {state}; only a {wanted} job can be {verb}")]
    JobState {
        /// The job.
        id: JobId,
        /// Its state.
        state: &'static str,
        /// States that would have allowed it.
        wanted: &'static str,
        /// What was asked, as in 'retried'.
        verb: &'static str,
    },
    /// Anything else SQLite reports.
    #[error("the database failed: {0}")]
    Database(sqlx::Error),
}

/// SQLITE_BUSY, <https://www.sqlite.org/rescode.html>
const BUSY: i32 = 5;
/// SQLITE_FULL
const FULL: i32 = 13;
/// SQLITE_IOERR_WRITE, SQLITE_IOERR_FSYNC, SQLITE_IOERR_SHMSIZE: how a full
/// disk shows where the file system reports it late.
const WRITE_FAILED: [i32; 3] = [10 | (3 << 8), 10 | (4 << 8), 10 | (19 << 8)];

impl StoreError {
    /// Whether the same call may succeed later without anyone changing it.
    #[must_use]
    pub fn may_pass(&self) -> bool {
        matches!(self, Self::DiskFull | Self::Busy)
    }
}

impl From<sqlx::Error> for StoreError {
    fn from(error: sqlx::Error) -> Self {
        if matches!(error, sqlx::Error::PoolTimedOut) {
            return Self::Busy;
        }
        let Some(database) = error.as_database_error() else {
            return Self::Database(error);
        };
        let code = database
            .code()
            .and_then(|code| code.parse::<i32>().ok())
            .unwrap_or(0);
        if code & 0xff == BUSY {
            return Self::Busy;
        }
        if code == FULL || WRITE_FAILED.contains(&code) {
            return Self::DiskFull;
        }
        let message = database.message();
        // 'UNIQUE constraint failed: source.event_id, source.label'
        if let Some(columns) = message.strip_prefix("UNIQUE constraint failed: ") {
            let table = columns.split('.').next().unwrap_or(columns);
            return Self::Exists {
                what: table.replace('_', " "),
            };
        }
        // 'CHECK constraint failed: event_title_is_blank'
        if let Some(name) = message.strip_prefix("CHECK constraint failed: ") {
            return Self::Invalid {
                rule: name.replace('_', " "),
            };
        }
        Self::Database(error)
    }
}

/// Turns 'no such row' and a broken reference into "there is no {what} '{id}'".
pub(super) fn unknown(
    what: &'static str,
    id: impl std::fmt::Display,
) -> impl FnOnce(sqlx::Error) -> StoreError {
    let id = id.to_string();
    move |error| {
        let broken_reference = error
            .as_database_error()
            .is_some_and(sqlx::error::DatabaseError::is_foreign_key_violation);
        if broken_reference || matches!(error, sqlx::Error::RowNotFound) {
            StoreError::Unknown { what, id }
        } else {
            error.into()
        }
    }
}
