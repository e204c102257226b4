//! Who does the next job?
//!
//! One thread a worker, and one that says that they live. A worker claims,
//! works, writes; between jobs it sleeps until there is word of new ones.

use std::any::Any;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use super::What;
use super::engine::{Inner, Trouble, now_ms};
use super::steps::{Step, StepError, Voice};
use crate::store::{Claim, Failure, JobKind, JobState, Lane, StoreError};

/// Starts the threads of an engine.
pub(super) fn start(inner: &Arc<Inner>) -> std::io::Result<Vec<JoinHandle<()>>> {
    let mut threads = Vec::new();
    let lanes = std::iter::repeat_n(Lane::Light, inner.config.light_workers)
        .chain(std::iter::repeat_n(Lane::Model, inner.config.recognisers));
    for (n, lane) in lanes.enumerate() {
        let shared = Arc::clone(inner);
        let name = format!("sayback-work-{n}");
        threads.push(
            std::thread::Builder::new()
                .name(name)
                .spawn(move || work_on(&shared, lane, n))?,
        );
    }
    if !threads.is_empty() {
        let shared = Arc::clone(inner);
        threads.push(
            std::thread::Builder::new()
                .name("sayback-beat".into())
                .spawn(move || show_life(&shared))?,
        );
    }
    Ok(threads)
}

/// Does the jobs of one lane until the engine stops.
fn work_on(inner: &Inner, lane: Lane, worker: usize) {
    let mut voice = Voice::default();
    while !inner.stop.is_cancelled() {
        // Taken before looking, so that word of a job that comes meanwhile counts.
        let woken = inner.woken();
        let next = next_claim(inner, lane, &mut voice);
        if next.is_ok() {
            inner.trouble_over(Trouble::Store(worker));
        }
        match next {
            Ok(Next::Work(claim)) => work(inner, &claim, &mut voice, worker),
            Ok(Next::Rest(at_most)) => inner.rest(at_most, woken),
            Err(error) => {
                inner.trouble(Trouble::Store(worker), error.to_string());
                inner.rest(Duration::from_secs(1), woken);
            }
        }
    }
}

enum Next {
    Work(Claim),
    Rest(Duration),
}

/// Claims the next job of a lane if there is one and it can be done now.
fn next_claim(inner: &Inner, lane: Lane, voice: &mut Voice) -> Result<Next, StoreError> {
    let poll = inner.config.poll;
    let Some(at_ms) = inner.block(inner.store.next_at_ms(lane, now_ms()))? else {
        if lane == Lane::Light {
            inner.block(inner.refresh_takes())?;
        } else {
            // Nothing waits for it.
            inner.trouble_over(Trouble::Model);
        }
        return Ok(Next::Rest(poll));
    };
    let wait_ms = u64::try_from(at_ms - now_ms()).unwrap_or(0);
    if wait_ms > 0 {
        return Ok(Next::Rest(poll.min(Duration::from_millis(wait_ms))));
    }
    if lane == Lane::Model {
        // Jobs stay in the queue while there is no model: fetching one is all
        // it takes for them to go on.
        if let Some(wait) = voice.wait() {
            return Ok(Next::Rest(wait));
        }
        match voice.get_ready(&*inner.config.model) {
            Ok(()) => {
                inner.listens.store(true, Ordering::Relaxed);
                inner.trouble_over(Trouble::Model);
            }
            // Another worker has it: this one is one too many for the memory there is.
            Err(error) if inner.listens.load(Ordering::Relaxed) => {
                tracing::debug!("{error}");
                return Ok(Next::Rest(poll));
            }
            Err(error) => {
                inner.trouble(Trouble::Model, error.to_string());
                inner.changed(None, What::Progress);
                return Ok(Next::Rest(poll));
            }
        }
    }
    let owner = inner.owner.next_claim();
    let lease_ms = i64::try_from(inner.config.lease.as_millis()).unwrap_or(i64::MAX);
    let claim = inner.block(inner.store.claim(lane, &owner, now_ms(), lease_ms))?;
    Ok(claim.map_or(Next::Rest(poll), Next::Work))
}

/// Does one job and writes how it ended.
fn work(inner: &Inner, claim: &Claim, voice: &mut Voice, worker: usize) {
    let cancel = inner.held.hold(claim);
    // Asked to stop between the claim and now.
    if inner.stop.is_cancelled() {
        cancel.cancel();
    }
    inner.changed(Some(claim.event_id.clone()), What::Queue);
    let step = Step::new(inner, claim, &cancel, worker);
    let begun = Instant::now();
    let outcome = catch_unwind(AssertUnwindSafe(|| step.run(voice)))
        .unwrap_or_else(|panic| Err(StepError::Final(panic_text(claim.kind, &*panic))));
    inner.held.drop_job(claim.id);
    match outcome {
        Ok(()) => {
            let took_ms = begun.elapsed().as_millis();
            tracing::info!(step = %claim.kind, took_ms, job = %claim.id, "step done");
        }
        Err(error) => {
            // What can't be written now is written by whoever takes the job next.
            if let Err(error) = end_badly(inner, claim, error) {
                tracing::warn!("job {}: {error}", claim.id);
            }
        }
    }
    inner.changed(Some(claim.event_id.clone()), What::Content);
}

/// Writes that a step did not finish, and why.
fn end_badly(inner: &Inner, claim: &Claim, error: StepError) -> Result<(), StoreError> {
    let lease = claim.lease();
    let (error, may_pass) = match error {
        // Cancelled by a person, the lease is gone and nothing is written; at
        // shutdown, or to make room, the job is put back.
        StepError::Cancelled => return inner.block(inner.store.give_back(&lease)),
        StepError::Store(StoreError::LeaseLost(_)) => return Ok(()),
        StepError::Store(error) if error.may_pass() => {
            return inner.block(inner.store.give_back(&lease));
        }
        StepError::Store(error) => (error.to_string(), true),
        StepError::MayPass(text) => (text, true),
        StepError::Final(text) => (text, false),
    };
    tracing::warn!("{} of {}: {error}", claim.kind, claim.subject);
    let failure = Failure {
        error,
        retry_at_ms: may_pass.then(|| now_ms() + backoff_ms(inner, claim.attempts)),
        max_attempts: inner.config.max_attempts,
    };
    match inner.block(inner.store.fail(&lease, &failure, now_ms()))? {
        JobState::Failed => {
            tracing::warn!("job {} is given up", claim.id);
            if !may_pass && claim.kind == JobKind::Probe {
                inner.block(inner.drop_refused(&claim.subject))?;
            }
        }
        _ => tracing::info!("job {} will be tried again", claim.id),
    }
    Ok(())
}

/// Twice as long after each failure, at most a minute times the first wait.
fn backoff_ms(inner: &Inner, attempts: i64) -> i64 {
    let first = i64::try_from(inner.config.backoff.as_millis()).unwrap_or(i64::MAX);
    first.saturating_mul(1 << attempts.clamp(0, 6))
}

fn panic_text(kind: JobKind, panic: &(dyn Any + Send)) -> String {
    let text = panic
        .downcast_ref::<&str>()
        .map(|text| (*text).to_owned())
        .or_else(|| panic.downcast_ref::<String>().cloned())
        .unwrap_or_default();
    let what = match kind {
        JobKind::Align | JobKind::Group | JobKind::Voices | JobKind::Meaning => "event",
        JobKind::Probe | JobKind::Detect | JobKind::Transcribe => "file",
    };
    format!("sayback made a mistake with this {what}: {text}")
}

/// Writes signs of life and progress, and frees what dead processes held.
fn show_life(inner: &Inner) {
    while !inner.stop.is_cancelled() {
        std::thread::sleep(inner.config.beat);
        match beat(inner) {
            Ok(()) => inner.trouble_over(Trouble::Beat),
            Err(error) => inner.trouble(Trouble::Beat, error.to_string()),
        }
    }
}

fn beat(inner: &Inner) -> Result<(), StoreError> {
    let (beats, events) = inner.held.beats();
    if !beats.is_empty() {
        let lease_ms = i64::try_from(inner.config.lease.as_millis()).unwrap_or(i64::MAX);
        let until_ms = now_ms().saturating_add(lease_ms);
        for lost in inner.block(inner.store.beat(&beats, until_ms))? {
            inner.held.stop(lost);
        }
        for event in events {
            inner.changed(Some(event), What::Progress);
        }
    }
    inner.block(inner.free_dead())
}
