//! What of a file that comes in pieces lies on the disk?
//!
//! `ID.part` holds the bytes that came so far: its length is how far the upload is.
//! `ID.json` says what they are for. Both are written so that a kill at any instant
//! leaves a state that is understood:
//!
//! ```text
//! ID.part  ID.json      what it is
//!   yes      no         just begun, or being removed: swept when old
//!   yes      open       arriving
//!   no       open       whole and moved; perhaps not queued: queued once more
//!   no       taken in   over; kept so that a sender who missed the answer learns it
//! ```

use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::{self, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime};

use serde::{Deserialize, Serialize};

use crate::store::{EventId, Placement};

/// What is not gone on with for so long is removed.
pub const KEPT_FOR: Duration = Duration::from_secs(7 * 24 * 3600);

/// What the bytes of an upload are for.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Record {
    pub(super) event: EventId,
    pub(super) source: String,
    pub(super) placement: Option<Placement>,
    pub(super) person: Option<String>,
    /// As it was asked for: `auto`, `mix`, …
    pub(super) channels: String,
    pub(super) file_name: String,
    /// Bytes of the whole file.
    pub(super) length: u64,
    /// What the sender said of it, word for word, to be told again.
    pub(super) said: String,
    /// Bytes behind this one were promised a checksum and have not met it: they do not
    /// count.
    pub(super) unchecked_from: Option<u64>,
    /// Whether it was taken in.
    pub(super) taken_in: bool,
}

/// Why an upload can't be gone on with.
#[derive(Debug, thiserror::Error)]
pub(super) enum Stop {
    #[error("there is none")]
    Gone,
    #[error("nothing came for seven days")]
    Expired,
    #[error("another request is writing to it")]
    Busy,
    #[error("it is at byte {0}")]
    Offset(u64),
    #[error(transparent)]
    Io(#[from] io::Error),
}

/// How far an upload is.
#[derive(Clone, Debug)]
pub(super) struct State {
    pub(super) record: Record,
    /// Bytes that are safely here.
    pub(super) offset: u64,
    pub(super) expires: SystemTime,
    /// All bytes are here and nobody has taken them in.
    pub(super) is_ripe: bool,
}

/// The folder of uploads that come in pieces.
#[derive(Clone, Debug)]
pub(super) struct Kept {
    folder: PathBuf,
}

impl Kept {
    pub(super) fn new(folder: PathBuf) -> Self {
        Self { folder }
    }

    pub(super) fn part(&self, id: &str) -> PathBuf {
        self.folder.join(format!("{id}.part"))
    }

    fn note(&self, id: &str) -> PathBuf {
        self.folder.join(format!("{id}.json"))
    }

    /// Makes an upload of which nothing is there yet.
    pub(super) fn begin(&self, id: &str, record: &Record) -> io::Result<SystemTime> {
        fs::create_dir_all(&self.folder)?;
        if let Some(data) = self.folder.parent() {
            sync_folder(data)?;
        }
        // First the bytes: a record without bytes is that of a file that was moved.
        let part = File::create_new(self.part(id))?;
        part.sync_all()?;
        let expires = part.metadata()?.modified()? + KEPT_FOR;
        self.write(id, record)?;
        Ok(expires)
    }

    pub(super) fn record(&self, id: &str) -> Result<Record, Stop> {
        let text = fs::read(self.note(id)).map_err(gone)?;
        serde_json::from_slice(&text).map_err(|e| Stop::Io(e.into()))
    }

    /// Writes a record whole or not at all, and down to the disk.
    pub(super) fn write(&self, id: &str, record: &Record) -> io::Result<()> {
        let fresh = self.folder.join(format!("{id}.new"));
        let mut file = File::create(&fresh)?;
        file.write_all(&serde_json::to_vec(record)?)?;
        file.sync_all()?;
        fs::rename(&fresh, self.note(id))?;
        sync_folder(&self.folder)
    }

    /// Writes a record anew; one that was removed meanwhile does not come back.
    pub(super) fn rewrite(&self, id: &str, record: &Record) -> Result<(), Stop> {
        self.record(id)?;
        Ok(self.write(id, record)?)
    }

    /// How far an upload is. What is told was synced before.
    pub(super) fn look(&self, id: &str) -> Result<State, Stop> {
        match self.lock(id) {
            Ok(writing) => writing.state(),
            Err(Stop::Busy) => self.look_beside(id),
            Err(Stop::Gone) => self.look_without_bytes(id),
            Err(other) => Err(other),
        }
    }

    /// While somebody writes: what was there before counts for sure.
    fn look_beside(&self, id: &str) -> Result<State, Stop> {
        let record = self.record(id)?;
        let part = File::open(self.part(id)).map_err(gone)?;
        // First how far, then down to the disk: what comes meanwhile is not promised.
        let about = part.metadata()?;
        part.sync_all()?;
        let here = record.unchecked_from.unwrap_or(u64::MAX).min(about.len());
        Ok(State {
            record,
            offset: here,
            expires: about.modified()? + KEPT_FOR,
            // Whoever writes takes it in.
            is_ripe: false,
        })
    }

    fn look_without_bytes(&self, id: &str) -> Result<State, Stop> {
        let record = self.record(id)?;
        let written = self.note(id).metadata().map_err(gone)?.modified()?;
        Ok(State {
            offset: record.length,
            expires: written + KEPT_FOR,
            is_ripe: !record.taken_in,
            record,
        })
    }

    /// Keeps others from writing to an upload, and puts right what a kill left.
    pub(super) fn lock(&self, id: &str) -> Result<Writing, Stop> {
        let part = OpenOptions::new()
            .read(true)
            .write(true)
            .open(self.part(id));
        let part = part.map_err(gone)?;
        try_lock(&part)?;
        // Read behind the lock: whoever had it may have taken the file in.
        let record = self.record(id)?;
        if record.taken_in || !self.part(id).exists() {
            return Err(Stop::Gone);
        }
        let mut writing = Writing {
            kept: self.clone(),
            id: id.to_owned(),
            part,
            record,
            from: 0,
        };
        writing.settle()?;
        Ok(writing)
    }

    /// Removes an upload, whoever writes to it.
    pub(super) fn remove(&self, id: &str) -> io::Result<()> {
        // Bytes without a record are nobody's; the other way round they were moved.
        for path in [self.note(id), self.part(id)] {
            match fs::remove_file(path) {
                Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
                _ => {}
            }
        }
        Ok(())
    }

    /// The uploads that have a record.
    pub(super) fn ids(&self) -> Vec<String> {
        self.named("json")
    }

    fn named(&self, ending: &str) -> Vec<String> {
        let entries = fs::read_dir(&self.folder).into_iter().flatten().flatten();
        entries
            .map(|entry| entry.path())
            .filter(|path| path.extension().is_some_and(|e| e == ending))
            .filter_map(|path| Some(path.file_stem()?.to_str()?.to_owned()))
            .collect()
    }

    /// Removes what nobody knows and nobody has touched for `age`.
    pub(super) fn remove_strays(&self, age: Duration) {
        for ending in ["part", "new"] {
            for id in self.named(ending) {
                // Bytes that a record speaks of are somebody's.
                if ending == "part" && self.note(&id).exists() {
                    continue;
                }
                let path = self.folder.join(format!("{id}.{ending}"));
                let written = path.metadata().and_then(|about| about.modified());
                let is_old = written.is_ok_and(|at| at.elapsed().is_ok_and(|since| since > age));
                if is_old && let Err(error) = fs::remove_file(&path) {
                    tracing::warn!("a stray: {}: {error}", path.display());
                }
            }
        }
    }
}

/// An upload that nobody else can write to until this is dropped.
#[derive(Debug)]
pub(super) struct Writing {
    kept: Kept,
    pub(super) id: String,
    part: File,
    pub(super) record: Record,
    /// Where writing began.
    from: u64,
}

impl Writing {
    /// Takes back bytes whose checksum never came.
    fn settle(&mut self) -> Result<(), Stop> {
        let Some(from) = self.record.unchecked_from.take() else {
            return Ok(());
        };
        if self.part.metadata()?.len() > from {
            self.part.set_len(from)?;
        }
        self.part.sync_all()?;
        self.kept.rewrite(&self.id, &self.record)
    }

    /// Goes to the end, which is to be `offset`. What is written from now on counts
    /// once it is there, or, if `checked`, only once [`Writing::keep`] was called.
    pub(super) fn begin(&mut self, offset: u64, checked: bool) -> Result<(), Stop> {
        let here = self.part.metadata()?.len();
        if here != offset {
            return Err(Stop::Offset(here));
        }
        if checked {
            self.record.unchecked_from = Some(here);
            self.kept.rewrite(&self.id, &self.record)?;
        }
        self.from = here;
        self.part.seek(SeekFrom::Start(here))?;
        Ok(())
    }

    /// A handle to write with.
    pub(super) fn handle(&self) -> io::Result<File> {
        self.part.try_clone()
    }

    /// Bytes that are still to come.
    pub(super) fn room(&self) -> u64 {
        self.record.length.saturating_sub(self.from)
    }

    /// What was written counts.
    pub(super) fn keep(&mut self) -> Result<State, Stop> {
        self.part.sync_all()?;
        if self.record.unchecked_from.take().is_some() {
            self.kept.rewrite(&self.id, &self.record)?;
        }
        self.state()
    }

    /// What was written never was.
    pub(super) fn undo(&mut self) -> Result<(), Stop> {
        self.part.set_len(self.from)?;
        self.record.unchecked_from = Some(self.from);
        self.settle()
    }

    pub(super) fn state(&self) -> Result<State, Stop> {
        self.part.sync_all()?;
        let about = self.part.metadata()?;
        let expires = about.modified()? + KEPT_FOR;
        let is_ripe = about.len() == self.record.length;
        if !is_ripe && expires < SystemTime::now() {
            return Err(Stop::Expired);
        }
        Ok(State {
            record: self.record.clone(),
            offset: about.len(),
            expires,
            is_ripe,
        })
    }
}

/// Tries for a moment: whoever asks how far an upload is holds the lock for an instant.
fn try_lock(part: &File) -> Result<(), Stop> {
    for _ in 0..10 {
        match part.try_lock() {
            Ok(()) => return Ok(()),
            Err(TryLockError::WouldBlock) => std::thread::sleep(Duration::from_millis(10)),
            Err(TryLockError::Error(error)) => return Err(error.into()),
        }
    }
    Err(Stop::Busy)
}

fn gone(error: io::Error) -> Stop {
    match error.kind() {
        io::ErrorKind::NotFound => Stop::Gone,
        _ => Stop::Io(error),
    }
}

fn sync_folder(folder: &Path) -> io::Result<()> {
    File::open(folder)?.sync_all()
}
