//! Where do sent files go?
//!
//! Bytes come in under `<data>/incoming`, where nothing looks at them. A whole
//! upload is moved to `<data>/uploads/<id>/<its name>` and queued from there, so
//! half an upload is never seen. What a dead process left is swept at start.

use std::collections::HashSet;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use super::engine::{Inner, now_ms};
use super::owner::is_dead;
use super::walk::facts;
use super::{Engine, JobsError, What};
use crate::media::ChannelChoice;
use crate::store::{EventId, IntakeId, NewIntake, Placement, Queued, StoreError};

/// The age after which an upload that nothing knows is removed.
const ABANDONED: Duration = Duration::from_secs(3600);

/// A file that was sent whole.
#[derive(Clone, Debug)]
pub struct Upload {
    /// The event.
    pub event: EventId,
    /// Label of the source that made it.
    pub source: String,
    /// How the source was placed.
    pub placement: Option<Placement>,
    /// Who wears it.
    pub person: Option<String>,
    /// What is done with several channels.
    pub channels: ChannelChoice,
    /// Its name as it was sent.
    pub file_name: String,
    /// Where its bytes are: a path from [`Engine::incoming`].
    pub received: PathBuf,
}

impl Engine {
    /// A path for bytes that are being sent, on the disk of the data folder.
    /// Whoever asks makes the file, and removes it if the sending stops.
    ///
    /// # Errors
    /// [`JobsError::Upload`] when the folder can't be made.
    pub fn incoming(&self) -> Result<PathBuf, JobsError> {
        let folder = self.inner().store.folder().join("incoming");
        fs::create_dir_all(&folder).map_err(|cause| JobsError::Upload {
            name: "incoming".into(),
            cause,
        })?;
        // A claim's name with '/' as '!': by it a dead process's file is known.
        let owner = self.inner().owner.next_claim().replace('/', "!");
        Ok(folder.join(owner))
    }

    /// Takes a file that was sent whole into the data folder and queues it.
    ///
    /// # Errors
    /// [`JobsError::UploadName`], [`JobsError::Upload`],
    /// [`crate::store::StoreError::Unknown`] event.
    pub async fn add_upload(&self, upload: Upload) -> Result<IntakeId, JobsError> {
        let file_name = upload.file_name.clone();
        match self.inner().take_upload(upload, Place::Fresh).await? {
            Queued::Waiting(id) => Ok(id),
            // The folder is new, so nothing can lie there already.
            Queued::Already(_) => Err(JobsError::UploadName {
                name: file_name,
                why: "is there already",
            }),
        }
    }
}

/// The folder that an upload gets.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Place {
    /// One of its own. What can't be queued is not kept.
    Fresh,
    /// Always the same: it may be there from a time before, and stays until it is queued.
    Named(String),
}

impl Inner {
    /// Moves a file that was sent whole to its place and queues it.
    pub(super) async fn take_upload(
        &self,
        upload: Upload,
        place: Place,
    ) -> Result<Queued, JobsError> {
        let name = safe_name(&upload.file_name)?.to_owned();
        let source = self
            .store
            .ensure_source(
                &upload.event,
                &upload.source,
                upload.placement,
                upload.person.as_deref(),
            )
            .await?;
        let is_fresh = place == Place::Fresh;
        let folder = match place {
            Place::Fresh => IntakeId::fresh().0,
            Place::Named(name) => name,
        };
        let folder = self.uploads().join(folder);
        let kept = folder.join(&name);
        let (received, target) = (upload.received, kept.clone());
        let moved = tokio::task::spawn_blocking(move || keep(&received, &folder, &target)).await;
        let (size, mtime_ns) = moved
            .unwrap_or_else(|panic| Err(io::Error::other(panic)))
            .map_err(|cause| JobsError::Upload { name, cause })?;
        let intake = NewIntake {
            source: source.id,
            path: kept,
            size,
            mtime_ns,
            choice: upload.channels.to_string(),
        };
        let queued = self
            .store
            .add_intakes(&upload.event, std::slice::from_ref(&intake), now_ms())
            .await
            .inspect_err(|_| {
                if is_fresh {
                    self.drop_upload(&intake.path);
                }
            })?;
        self.changed(Some(upload.event.clone()), What::Content);
        queued.into_iter().next().ok_or(JobsError::UploadName {
            name: upload.file_name,
            why: "was not queued",
        })
    }
}

impl Engine {
    /// Removes an event with everything known of it, and uploads that no other event
    /// uses. Files that were added where they lie stay.
    ///
    /// # Errors
    /// [`crate::store::StoreError::Unknown`] event.
    pub async fn remove_event(&self, event: &EventId) -> Result<(), JobsError> {
        let paths = self.store().remove_event(event).await?;
        self.inner().drop_sendings(event).await;
        self.changed(Some(event.clone()), What::Content);
        let inner = Arc::clone(self.inner());
        let dropped = tokio::task::spawn_blocking(move || inner.drop_uploads(&paths)).await;
        match dropped {
            Ok(done) => Ok(done?),
            Err(panicked) => {
                tracing::error!("removing uploads: {panicked}");
                Ok(())
            }
        }
    }
}

impl Inner {
    /// Removes those of some uploads that nothing uses any more.
    fn drop_uploads(&self, paths: &[PathBuf]) -> Result<(), StoreError> {
        let uploads = self.uploads();
        let is_upload = |path: &&PathBuf| path.ancestors().nth(2) == Some(uploads.as_path());
        let mut open = paths.iter().filter(is_upload).peekable();
        if open.peek().is_none() {
            return Ok(());
        }
        // While this is held no event takes to a file that is there already.
        let _taking = taking();
        let used = self.block(self.store.paths_in_use())?;
        let used: HashSet<PathBuf> = used.into_iter().collect();
        open.filter(|path| !used.contains(*path))
            .for_each(|path| self.drop_upload(path));
        Ok(())
    }

    /// Where uploads are kept.
    pub(super) fn uploads(&self) -> PathBuf {
        self.store.folder().join("uploads")
    }

    /// Removes what dead processes left half-sent, and uploads that nothing
    /// knows: left between being moved to their place and being queued, or
    /// refused.
    ///
    /// # Errors
    /// When the database can't be read; no upload is removed then.
    pub(super) async fn sweep_uploads(&self) -> Result<(), StoreError> {
        for (path, name) in entries(&self.store.folder().join("incoming")) {
            if is_dead(&name.replace('!', "/"))
                && let Err(error) = fs::remove_file(&path)
            {
                tracing::warn!("{}: {error}", path.display());
            }
        }
        // Listed before asking who is known, or one that is being queued by
        // another process could be missed.
        let uploads = entries(&self.uploads());
        if uploads.is_empty() {
            return Ok(());
        }
        // By the name of its folder: the data folder may lie elsewhere by now.
        let mut known: HashSet<String> = self
            .store
            .paths_in_use()
            .await?
            .iter()
            .filter_map(|path| Some(path.parent()?.file_name()?.to_string_lossy().into_owned()))
            .collect();
        // Moved, and to be queued as soon as that can be done.
        known.extend(self.sending_ids());
        for (folder, _) in uploads.iter().filter(|(_, name)| !known.contains(name)) {
            for (path, _) in entries(folder).iter().filter(|(path, _)| is_old(path)) {
                self.drop_upload(path);
            }
        }
        Ok(())
    }

    /// Removes the upload of an intake that was refused for good.
    pub(super) async fn drop_refused(&self, intake: &str) -> Result<(), StoreError> {
        let intake = self.store.intake(&IntakeId::from(intake)).await?;
        self.drop_upload(&intake.path);
        Ok(())
    }

    /// Removes an upload that is not needed; anything outside the uploads is left
    /// alone.
    pub(super) fn drop_upload(&self, path: &Path) {
        let Some(folder) = path
            .parent()
            .filter(|f| f.parent() == Some(&self.uploads()))
        else {
            return;
        };
        if path.exists()
            && let Err(error) = fs::remove_file(path).and_then(|()| fs::remove_dir(folder))
        {
            tracing::warn!("{}: {error}", path.display());
        }
    }
}

/// Held from looking which file has some sound until that is written, by whichever engine
/// of this process.
pub(super) fn taking() -> MutexGuard<'static, ()> {
    static TAKING: Mutex<()> = Mutex::new(());
    TAKING.lock().unwrap_or_else(PoisonError::into_inner)
}

/// What lies in a folder, with its names; nothing if it can't be looked into.
fn entries(folder: &Path) -> Vec<(PathBuf, String)> {
    let entries = fs::read_dir(folder).into_iter().flatten().flatten();
    entries
        .map(|entry| {
            let name = entry.file_name().to_string_lossy().into_owned();
            (entry.path(), name)
        })
        .collect()
}

/// Whether a file was last written so long ago that nobody is about to queue it.
fn is_old(path: &Path) -> bool {
    let written = path.metadata().and_then(|about| about.modified());
    written.is_ok_and(|at| at.elapsed().is_ok_and(|age| age > ABANDONED))
}

/// Moves received bytes to their place unless they are there, safely on disk before
/// anybody relies on them; returns size and time of last change.
fn keep(received: &Path, folder: &Path, target: &Path) -> io::Result<(i64, i64)> {
    match fs::File::open(received) {
        Ok(file) => {
            file.sync_all()?;
            fs::create_dir_all(folder)?;
            fs::rename(received, target)?;
        }
        // Moved already, by a process that was killed then.
        Err(gone) if gone.kind() == io::ErrorKind::NotFound && target.exists() => {}
        Err(other) => return Err(other),
    }
    // Also the folders, or the name could be lost with the power.
    for folder in folder.ancestors().take(3) {
        fs::File::open(folder)?.sync_all()?;
    }
    Ok(facts(&target.metadata()?))
}

/// The longest file name common file systems take, in bytes.
const NAME_LIMIT_BYTES: usize = 255;

/// Takes `sent` as the name of a file here only if it is a plain name.
///
/// # Errors
/// [`JobsError::UploadName`] saying what is wrong with it.
pub fn safe_name(sent: &str) -> Result<&str, JobsError> {
    let why = if matches!(sent, "" | "." | "..") {
        "is no file name"
    } else if sent.contains(['/', '\\']) {
        "names a folder; send the file's name alone"
    } else if sent.contains('\0') {
        "holds a zero byte"
    } else if sent.len() > NAME_LIMIT_BYTES {
        "is longer than 255 bytes"
    } else {
        return Ok(sent);
    };
    Err(JobsError::UploadName {
        name: sent.chars().take(80).collect(),
        why,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sent_name_can_not_leave_its_folder() {
        for bad in [
            "", ".", "..", "a/b.wav", "../b.wav", "a\\b.wav", "/b.wav", "a.wav/", "x\0.wav",
        ] {
            assert!(safe_name(bad).is_err(), "{bad:?}");
        }
        assert!(safe_name(&"x".repeat(256)).is_err());
        for good in [
            "a.wav",
            "a b\"c\n.wav",
            "…ñ.wav",
            ".hidden.wav",
            "Mum's \"best\".wav",
        ] {
            assert_eq!(safe_name(good).unwrap(), good);
        }
    }
}
