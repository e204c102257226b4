//! How does a file that is sent in pieces, perhaps over days, become an upload?
//!
//! The pieces are kept in `<data>/sending` (see [`kept`]). What is on the disk is the
//! truth, so nothing is lost with the process: a file's length is how far it is. A
//! whole file goes the way of every upload; until then nothing looks at it.

mod kept;
#[cfg(test)]
mod tests;

use std::time::{Duration, SystemTime};

pub use kept::KEPT_FOR;
use kept::{Kept, Record, State, Stop, Writing};

use super::engine::Inner;
use super::upload::{Place, Upload, safe_name};
use super::{Engine, JobsError};
use crate::media::ChannelChoice;
use crate::store::{EventId, IntakeId, Placement, StoreError};

/// What belongs to nothing is removed after so long.
const STRAY_FOR: Duration = Duration::from_secs(3600);

/// A file that will come in pieces.
#[derive(Clone, Debug)]
pub struct NewSending {
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
    /// Bytes of the whole file.
    pub length: u64,
    /// What the sender said of it, to be told again word for word.
    pub said: String,
}

/// How far a file is that comes in pieces.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sending {
    /// Its id.
    pub id: String,
    /// Bytes of the whole file.
    pub length: u64,
    /// Bytes that are here, safely on the disk.
    pub offset: u64,
    /// When it is removed if nothing more comes.
    pub expires: SystemTime,
    /// What the sender said of it.
    pub said: String,
}

/// Why a file that comes in pieces can't be gone on with.
#[derive(Debug, thiserror::Error)]
pub enum SendingError {
    /// It never was, is over, or belongs to an event that is no more.
    #[error("there is no such upload; begin it again")]
    Gone,
    /// Nothing came for too long.
    #[error("nothing came for seven days, so the upload was given up; begin it again")]
    Expired,
    /// Another request writes to it.
    #[error("another request is writing to this upload; ask how far it is and go on from there")]
    Busy,
    /// It is at another byte.
    #[error("the upload is at byte {0}; go on from there")]
    Offset(u64),
    /// The disk or the database did not do it.
    #[error(transparent)]
    Jobs(#[from] JobsError),
}

/// Bytes on their way into a file; nobody else can write to it until this is dropped.
#[derive(Debug)]
pub struct Pouring {
    writing: Writing,
}

impl Pouring {
    /// Where to write.
    ///
    /// # Errors
    /// When the system has no handle left.
    pub fn handle(&self) -> std::io::Result<std::fs::File> {
        self.writing.handle()
    }

    /// Bytes that are still to come.
    #[must_use]
    pub fn room(&self) -> u64 {
        self.writing.room()
    }

    /// The file's name.
    #[must_use]
    pub fn file_name(&self) -> &str {
        &self.writing.record.file_name
    }
}

impl Engine {
    /// Makes room for a file that will come in pieces.
    ///
    /// # Errors
    /// [`SendingError::Jobs`]: a name that can't be a file's, an unknown event, a disk
    /// that does not take it.
    pub async fn begin_sending(&self, new: NewSending) -> Result<Sending, SendingError> {
        let file_name = safe_name(&new.file_name)?.to_owned();
        self.store()
            .event(&new.event)
            .await
            .map_err(JobsError::from)?;
        let record = Record {
            event: new.event,
            source: new.source,
            placement: new.placement,
            person: new.person,
            channels: new.channels.to_string(),
            file_name,
            length: new.length,
            said: new.said,
            unchecked_from: None,
            taken_in: false,
        };
        let kept = self.inner().sendings();
        aside(move || {
            let id = IntakeId::fresh().0;
            let expires = kept.begin(&id, &record)?;
            Ok(told(
                id,
                State {
                    record,
                    offset: 0,
                    expires,
                    is_ripe: false,
                },
            ))
        })
        .await
    }

    /// How far a file is. A whole one that something kept from being taken in is.
    ///
    /// # Errors
    /// [`SendingError`].
    pub async fn sending(&self, id: &str) -> Result<Sending, SendingError> {
        let (kept, name) = (self.inner().sendings(), plain(id)?);
        let state = aside(move || kept.look(&name)).await?;
        if state.is_ripe {
            match self.inner().take_in(id, None).await {
                // Somebody else does it just now.
                Ok(()) | Err(SendingError::Busy) => {}
                Err(other) => return Err(other),
            }
        }
        Ok(told(id.to_owned(), state))
    }

    /// Begins to write to a file at `offset`, where it is to end. With `checked`, what
    /// is written counts for nothing until it is kept, whatever happens.
    ///
    /// # Errors
    /// [`SendingError`].
    pub async fn pour(
        &self,
        id: &str,
        offset: u64,
        checked: bool,
    ) -> Result<Pouring, SendingError> {
        let (kept, name) = (self.inner().sendings(), plain(id)?);
        aside(move || {
            let mut writing = match kept.lock(&name) {
                // Over already, or it is taken in: a sender who missed that may ask again.
                Err(Stop::Gone) => return Err(Stop::Offset(kept.look(&name)?.offset)),
                other => other?,
            };
            writing.state()?;
            writing.begin(offset, checked)?;
            Ok(Pouring { writing })
        })
        .await
    }

    /// What was written counts, and is safely on the disk; a whole file is taken in.
    ///
    /// # Errors
    /// [`SendingError`].
    pub async fn poured(&self, pouring: Pouring) -> Result<Sending, SendingError> {
        let Pouring { mut writing } = pouring;
        let id = writing.id.clone();
        let (state, writing) = aside(move || Ok((writing.keep()?, writing))).await?;
        if state.is_ripe {
            self.inner().take_in(&id, Some(writing)).await?;
        }
        Ok(told(id, state))
    }

    /// What was written never was.
    ///
    /// # Errors
    /// When the disk fails; what was written with `checked` still counts for nothing.
    pub async fn unpour(&self, pouring: Pouring) -> Result<(), SendingError> {
        let Pouring { mut writing } = pouring;
        aside(move || writing.undo()).await
    }

    /// Gives a file up that was coming. One that was taken in stays taken in.
    ///
    /// # Errors
    /// [`SendingError`].
    pub async fn end_sending(&self, id: &str) -> Result<(), SendingError> {
        let (kept, name) = (self.inner().sendings(), plain(id)?);
        aside(move || {
            // Held until it is gone, so that nobody begins to write meanwhile.
            let _held = match kept.lock(&name) {
                Ok(writing) => Some(writing),
                Err(Stop::Gone) => {
                    kept.record(&name)?;
                    None
                }
                Err(other) => return Err(other),
            };
            Ok(kept.remove(&name)?)
        })
        .await
    }

    /// Takes in what is whole and removes what nothing came of for [`KEPT_FOR`].
    pub async fn sweep_sendings(&self) {
        self.inner().sweep_sendings().await;
    }
}

impl Inner {
    /// Where files are kept that come in pieces.
    fn sendings(&self) -> Kept {
        Kept::new(self.store.folder().join("sending"))
    }

    /// The names of the folders that whole ones are moved to.
    pub(super) fn sending_ids(&self) -> Vec<String> {
        self.sendings().ids()
    }

    /// Takes in a whole file. Killed at any instant, it is done again and comes to the
    /// same: the folder is named like the upload, and a path is queued only once.
    async fn take_in(&self, id: &str, held: Option<Writing>) -> Result<(), SendingError> {
        let (kept, name) = (self.sendings(), id.to_owned());
        // Held until the end, so that nobody writes to what is taken in.
        let (mut record, lock) = aside({
            let kept = kept.clone();
            move || match held.map_or_else(|| kept.lock(&name), Ok) {
                Ok(writing) => Ok((writing.record.clone(), Some(writing))),
                Err(Stop::Gone) => Ok((kept.record(&name)?, None)),
                Err(other) => Err(other),
            }
        })
        .await?;
        if record.taken_in {
            return Ok(());
        }
        let upload = Upload {
            event: record.event.clone(),
            source: record.source.clone(),
            placement: record.placement,
            person: record.person.clone(),
            channels: record.channels.parse().unwrap_or_default(),
            file_name: record.file_name.clone(),
            received: kept.part(id),
        };
        let taken = self.take_upload(upload, Place::Named(id.to_owned())).await;
        let name = id.to_owned();
        match taken {
            Ok(_) => {
                record.taken_in = true;
                aside(move || {
                    let _until_written = lock;
                    kept.rewrite(&name, &record)
                })
                .await
            }
            // Neither here nor moved: it was looked through already, and refused or known.
            Err(JobsError::Upload { cause, .. })
                if cause.kind() == std::io::ErrorKind::NotFound =>
            {
                forget(&kept, id).await?;
                Err(SendingError::Gone)
            }
            Err(JobsError::Store(StoreError::Unknown { .. })) => {
                self.drop_upload(&self.uploads().join(id).join(&record.file_name));
                forget(&kept, id).await?;
                Err(SendingError::Gone)
            }
            Err(other) => Err(other.into()),
        }
    }

    /// Removes what was coming for an event that is no more.
    pub(super) async fn drop_sendings(&self, event: &EventId) {
        let (kept, event) = (self.sendings(), event.clone());
        let dropped = aside(move || {
            for id in kept.ids() {
                let is_its = kept.record(&id).is_ok_and(|record| record.event == event);
                // One that can't be removed keeps no other.
                if is_its && let Err(error) = kept.remove(&id) {
                    tracing::warn!("the upload {id}: {error}");
                }
            }
            Ok(())
        });
        if let Err(error) = dropped.await {
            tracing::warn!("uploads of a removed event: {error}");
        }
    }

    async fn is_orphan(&self, event: &EventId) -> bool {
        let found = self.store.event(event).await;
        matches!(found, Err(StoreError::Unknown { .. }))
    }

    pub(super) async fn sweep_sendings(&self) {
        let kept = self.sendings();
        for id in kept.ids() {
            let (look, name) = (kept.clone(), id.clone());
            let swept = match aside(move || look.look(&name)).await {
                // Its event was removed, and a kill or another request came between.
                Ok(state) if self.is_orphan(&state.record.event).await => forget(&kept, &id).await,
                Ok(state) if state.is_ripe => self.take_in(&id, None).await,
                Ok(state) if state.record.taken_in && state.expires < SystemTime::now() => {
                    forget(&kept, &id).await
                }
                Err(SendingError::Expired) => {
                    tracing::info!("an upload was given up: nothing came for seven days");
                    forget(&kept, &id).await
                }
                Ok(_) => Ok(()),
                Err(error) => Err(error),
            };
            if let Err(error) = swept {
                tracing::warn!("the upload {id}: {error}");
            }
        }
        kept.remove_strays(STRAY_FOR);
    }
}

async fn forget(kept: &Kept, id: &str) -> Result<(), SendingError> {
    let (kept, id) = (kept.clone(), id.to_owned());
    aside(move || Ok(kept.remove(&id)?)).await
}

/// An id that can't lead to another folder.
fn plain(id: &str) -> Result<String, SendingError> {
    let is_plain = |b: u8| b.is_ascii_alphanumeric() || b == b'-';
    if id.is_empty() || id.len() > 64 || !id.bytes().all(is_plain) {
        return Err(SendingError::Gone);
    }
    Ok(id.to_owned())
}

fn told(id: String, state: State) -> Sending {
    Sending {
        id,
        length: state.record.length,
        offset: state.offset,
        expires: state.expires,
        said: state.record.said,
    }
}

/// Does what waits for the disk on a thread for that.
async fn aside<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, Stop> + Send + 'static,
) -> Result<T, SendingError> {
    let done = tokio::task::spawn_blocking(work).await;
    let stopped = match done {
        Ok(Ok(done)) => return Ok(done),
        Ok(Err(stop)) => stop,
        Err(panicked) => Stop::Io(std::io::Error::other(panicked)),
    };
    Err(match stopped {
        Stop::Gone => SendingError::Gone,
        Stop::Expired => SendingError::Expired,
        Stop::Busy => SendingError::Busy,
        Stop::Offset(at) => SendingError::Offset(at),
        Stop::Io(cause) => SendingError::Jobs(JobsError::Upload {
            name: "a file in pieces".into(),
            cause,
        }),
    })
}
