//! What does one step do?
//!
//! One file a step. A step reads what it needs, works with no transaction open,
//! and writes everything it made in one transaction that also says 'done'.

mod align;
mod detect;
mod earlier;
mod group;
mod meaning;
mod original;
mod probe;
mod sound;
mod stamp_times;
mod transcribe;
mod voices;
mod words;

use std::time::Duration;

use sayback_core::Cancel;

use super::engine::{Inner, Trouble};
use crate::media::MediaError;
use crate::speech::SpeechError;
use crate::store::{Claim, JobKind, RecordingId, RecordingRow, Store, StoreError};

pub(super) use transcribe::Voice;
pub(super) use words::Fuser;

/// One job at work.
pub(super) struct Step<'a> {
    inner: &'a Inner,
    claim: &'a Claim,
    cancel: &'a Cancel,
    /// The number of the worker.
    worker: usize,
}

/// Why a step did not finish.
#[derive(Debug)]
pub(super) enum StepError {
    /// It was asked to stop, or makes room for others.
    Cancelled,
    /// The store could not be read or written.
    Store(StoreError),
    /// Trying again may help.
    MayPass(String),
    /// Trying again can't help.
    Final(String),
}

impl<'a> Step<'a> {
    pub(super) fn new(
        inner: &'a Inner,
        claim: &'a Claim,
        cancel: &'a Cancel,
        worker: usize,
    ) -> Self {
        Self {
            inner,
            claim,
            cancel,
            worker,
        }
    }

    /// Does the job.
    pub(super) fn run(&self, voice: &mut Voice) -> Result<(), StepError> {
        match self.claim.kind {
            JobKind::Probe => self.probe(),
            JobKind::Detect => self.detect(),
            JobKind::Align => self.align(),
            JobKind::Group => self.group(),
            JobKind::Transcribe => self.transcribe(voice),
            JobKind::Voices => self.voices(),
            JobKind::Meaning => self.meaning(),
        }
    }

    fn store(&self) -> &Store {
        &self.inner.store
    }

    /// Reads from the store.
    fn read<T>(&self, future: impl Future<Output = Result<T, StoreError>>) -> Result<T, StepError> {
        Ok(self.inner.block(future)?)
    }

    /// Writes to the store. While the disk is full or another process holds the
    /// database, it waits and tries again: the work is done, and dropping it
    /// would only make it be done once more.
    fn write<T, F>(&self, attempt: impl Fn() -> F) -> Result<T, StepError>
    where
        F: Future<Output = Result<T, StoreError>>,
    {
        let trouble = Trouble::Store(self.worker);
        let mut wait = Duration::from_millis(250);
        loop {
            match self.inner.block(attempt()) {
                Err(error) if error.may_pass() => {
                    self.inner.trouble(trouble, error.to_string());
                    if self.cancel.is_cancelled() {
                        return Err(error.into());
                    }
                    self.inner.rest(wait, self.inner.woken());
                    wait = (wait * 2).min(Duration::from_secs(15));
                }
                other => {
                    self.inner.trouble_over(trouble);
                    return Ok(other?);
                }
            }
        }
    }

    /// Notes how far the step is, 0 to 1.
    fn progress(&self, progress: f32) {
        self.inner.held.progress(self.claim.id, progress);
    }

    /// Stops here if that was asked for.
    fn check(&self) -> Result<(), StepError> {
        if self.cancel.is_cancelled() {
            Err(StepError::Cancelled)
        } else {
            Ok(())
        }
    }

    /// The recording a step after `probe` works on.
    fn recording(&self) -> Result<RecordingRow, StepError> {
        let id = RecordingId::from(self.claim.subject.as_str());
        self.read(self.store().recording(&id))
    }
}

impl From<StoreError> for StepError {
    fn from(error: StoreError) -> Self {
        Self::Store(error)
    }
}

impl From<MediaError> for StepError {
    fn from(error: MediaError) -> Self {
        use std::io::ErrorKind::{NotFound, PermissionDenied};
        let text = error.to_string();
        match error {
            MediaError::Cancelled { .. } => Self::Cancelled,
            MediaError::Open { cause, .. } | MediaError::Read { cause, .. }
                if !matches!(cause.kind(), NotFound | PermissionDenied) =>
            {
                Self::MayPass(text)
            }
            _ => Self::Final(text),
        }
    }
}

impl From<SpeechError> for StepError {
    fn from(error: SpeechError) -> Self {
        match error {
            SpeechError::Cancelled => Self::Cancelled,
            // Such as no memory left: another time there may be.
            error @ SpeechError::Recognise { .. } => Self::MayPass(error.to_string()),
            error => Self::Final(error.to_string()),
        }
    }
}
