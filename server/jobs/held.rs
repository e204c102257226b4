//! What does this process hold right now, and how does it say that it lives?

use std::collections::HashMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use sayback_core::Cancel;

use crate::store::{Beat, Claim, EventId, JobId, Lease};

/// A job this process works on.
#[derive(Debug)]
struct Held {
    lease: Lease,
    event: EventId,
    cancel: Cancel,
    progress: f32,
}

/// All jobs this process works on.
#[derive(Clone, Debug, Default)]
pub(super) struct HeldJobs(Arc<Mutex<HashMap<JobId, Held>>>);

impl HeldJobs {
    /// Notes a claimed job; the flag is set when it must stop.
    pub(super) fn hold(&self, claim: &Claim) -> Cancel {
        let cancel = Cancel::new();
        let held = Held {
            lease: claim.lease(),
            event: claim.event_id.clone(),
            cancel: cancel.clone(),
            progress: 0.0,
        };
        self.map().insert(claim.id, held);
        cancel
    }

    /// Forgets a job that is over.
    pub(super) fn drop_job(&self, job: JobId) {
        self.map().remove(&job);
    }

    /// Notes how far a job is, 0 to 1; written with the next beat.
    pub(super) fn progress(&self, job: JobId, progress: f32) {
        if let Some(held) = self.map().get_mut(&job) {
            held.progress = progress;
        }
    }

    /// Asks a job to stop, if it is held here.
    pub(super) fn stop(&self, job: JobId) {
        if let Some(held) = self.map().get(&job) {
            held.cancel.cancel();
        }
    }

    /// Asks all jobs to stop.
    pub(super) fn stop_all(&self) {
        for held in self.map().values() {
            held.cancel.cancel();
        }
    }

    /// The signs of life to be written now, and the events they are about.
    pub(super) fn beats(&self) -> (Vec<Beat>, Vec<EventId>) {
        let map = self.map();
        let beats = map
            .values()
            .map(|held| Beat {
                lease: held.lease.clone(),
                progress: f64::from(held.progress),
            })
            .collect();
        let mut events: Vec<EventId> = map.values().map(|held| held.event.clone()).collect();
        events.sort();
        events.dedup();
        (beats, events)
    }

    fn map(&self) -> MutexGuard<'_, HashMap<JobId, Held>> {
        // A panic elsewhere leaves the map whole: every change is one call.
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
