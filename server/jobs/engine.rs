//! How is the work started, watched and stopped?

use std::collections::BTreeMap;
use std::sync::atomic::AtomicBool;
use std::sync::{Arc, Condvar, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

use sayback_core::Cancel;
use tokio::runtime::{Builder, Runtime};
use tokio::sync::broadcast;

use super::held::HeldJobs;
use super::owner::Owner;
use super::{Change, EngineConfig, JobsError, Status, What, worker};
use crate::store::{EventId, Fixing, JobId, JobRow, MomentId, RecordingId, Store, StoreError};

/// Changes a slow listener may lag behind.
const CHANGES_KEPT: usize = 256;
/// How long work may be stopped by a full disk before a waiting caller is told.
const PATIENCE: Duration = Duration::from_secs(20);

/// The workers of this process on one data folder. Clones are the same engine;
/// when the last is dropped its workers stop at the next chance.
#[derive(Clone)]
pub struct Engine {
    running: Arc<Running>,
}

/// Why [`Engine::run_until_idle`] returned.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Idle {
    /// Nothing is left to do.
    Done,
    /// The queue is paused.
    Paused,
    /// Speech waits to be written down and the model is not there; the text says
    /// what to do.
    NoModel(String),
}

/// The threads, joined at shutdown.
struct Running {
    inner: Arc<Inner>,
    threads: Mutex<Vec<JoinHandle<()>>>,
}

/// What the workers share.
pub(super) struct Inner {
    pub(super) store: Store,
    pub(super) config: EngineConfig,
    pub(super) held: HeldJobs,
    pub(super) owner: Owner,
    pub(super) stop: Cancel,
    runtime: OwnRuntime,
    changes: broadcast::Sender<Change>,
    wake: Wake,
    troubles: Mutex<BTreeMap<Trouble, (String, Instant)>>,
    /// Whether some worker has the model.
    pub(super) listens: AtomicBool,
    pub(super) sentences: super::meaning::Kept,
}

/// What can keep all work waiting.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Trouble {
    /// The worker of this number can't use the database.
    Store(usize),
    /// No sign of life can be written.
    Beat,
    /// The model is not there.
    Model,
}

impl Engine {
    /// Frees what dead processes held and starts the workers; without workers it
    /// changes nothing.
    ///
    /// # Errors
    /// [`JobsError::Store`], [`JobsError::Thread`].
    pub async fn start(store: Store, config: EngineConfig) -> Result<Self, JobsError> {
        let inner = Arc::new(Inner {
            store,
            config,
            held: HeldJobs::default(),
            owner: Owner::this_process(),
            stop: Cancel::new(),
            runtime: OwnRuntime::new().map_err(JobsError::Thread)?,
            changes: broadcast::Sender::new(CHANGES_KEPT),
            wake: Wake::default(),
            troubles: Mutex::default(),
            listens: AtomicBool::new(false),
            sentences: Mutex::default(),
        });
        // Who only looks changes nothing.
        if inner.config.works() {
            inner.free_dead().await?;
            inner.sweep_sendings().await;
            inner.sweep_uploads().await?;
            inner.measure_again().await?;
            inner.look_for_meaning().await?;
        }
        let threads = worker::start(&inner).map_err(JobsError::Thread)?;
        Ok(Self {
            running: Arc::new(Running {
                inner,
                threads: Mutex::new(threads),
            }),
        })
    }

    pub(super) fn inner(&self) -> &Arc<Inner> {
        &self.running.inner
    }

    /// The store the engine works on.
    #[must_use]
    pub fn store(&self) -> &Store {
        &self.inner().store
    }

    /// Word of everything that changes from now on.
    #[must_use]
    pub fn subscribe(&self) -> broadcast::Receiver<Change> {
        self.inner().changes.subscribe()
    }

    /// Tells listeners and workers of a change that was made in the store
    /// directly, such as a new event.
    pub fn changed(&self, event: Option<EventId>, what: What) {
        self.inner().changed(event, what);
    }

    /// How far the work is, of one event or of all.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn status(&self, event: Option<&EventId>) -> Result<Status, JobsError> {
        let row = self.store().status(event, now_ms()).await?;
        Ok(Status::of(row, self.inner().troubles()))
    }

    /// Takes no new jobs until [`Engine::resume`], also after a restart. Running
    /// steps finish; `transcribe` stops after the window it is at.
    ///
    /// # Errors
    /// When the database can't be written.
    pub async fn pause(&self) -> Result<(), JobsError> {
        self.store().set_paused(true).await?;
        self.changed(None, What::Queue);
        Ok(())
    }

    /// Goes on after [`Engine::pause`].
    ///
    /// # Errors
    /// When the database can't be written.
    pub async fn resume(&self) -> Result<(), JobsError> {
        self.store().set_paused(false).await?;
        self.changed(None, What::Queue);
        Ok(())
    }

    /// Stops a waiting or running job for good; nothing of a running step is
    /// written but windows that are finished.
    ///
    /// # Errors
    /// [`StoreError::Unknown`]; [`StoreError::JobState`] if it is over.
    pub async fn cancel(&self, job: JobId) -> Result<JobRow, JobsError> {
        let row = self.store().cancel_job(job, now_ms()).await?;
        self.inner().held.stop(job);
        self.changed(Some(row.event_id.clone()), What::Queue);
        Ok(row)
    }

    /// Lets a failed or cancelled job be tried again.
    ///
    /// # Errors
    /// [`StoreError::Unknown`]; [`StoreError::JobState`] otherwise.
    pub async fn retry(&self, job: JobId) -> Result<JobRow, JobsError> {
        let row = self.store().retry_job(job).await?;
        self.changed(Some(row.event_id.clone()), What::Queue);
        Ok(row)
    }

    /// Puts a moment right, now.
    ///
    /// # Errors
    /// Those of [`Store::fix`].
    pub async fn fix(&self, fixing: &Fixing<'_>) -> Result<Vec<MomentId>, StoreError> {
        let ids = self.store().fix(fixing, now_ms()).await?;
        self.changed(None, What::Content);
        Ok(ids)
    }

    /// Has an event listened to again wherever another model than the one in use did or,
    /// if `anew`, any: after other names or languages. Says of how many recordings.
    ///
    /// # Errors
    /// When the database can't be written.
    pub async fn listen_again(&self, event: &EventId, anew: bool) -> Result<u64, JobsError> {
        let model = self.inner().config.model.name();
        let recordings = self.store().listen_again(event, &model, anew).await?;
        self.changed(Some(event.clone()), What::Queue);
        Ok(recordings)
    }

    /// Lets what is left to do for a recording go before all else.
    ///
    /// # Errors
    /// [`StoreError::Unknown`].
    pub async fn look_at(&self, recording: &RecordingId) -> Result<(), JobsError> {
        self.store().put_first(recording).await?;
        self.changed(None, What::Queue);
        Ok(())
    }

    /// Waits until nothing is left that could be done.
    ///
    /// # Errors
    /// [`JobsError::Stuck`] when the disk stays full; [`JobsError::Store`].
    pub async fn run_until_idle(&self) -> Result<Idle, JobsError> {
        let mut changes = self.subscribe();
        loop {
            if let Some(idle) = self.inner().idle().await? {
                return Ok(idle);
            }
            // Also without word: another process may do the work.
            let wait = self.inner().config.poll;
            let _ = tokio::time::timeout(wait, changes.recv()).await;
        }
    }

    /// Asks all workers to stop, puts back what they hold, and waits for them.
    pub async fn shutdown(&self) {
        self.inner().halt();
        let threads = std::mem::take(
            &mut *self
                .running
                .threads
                .lock()
                .unwrap_or_else(PoisonError::into_inner),
        );
        let join = move || {
            for thread in threads {
                // A worker that panicked has nothing left to put back.
                let _ = thread.join();
            }
        };
        let _ = tokio::task::spawn_blocking(join).await;
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        self.inner.halt();
    }
}

impl Inner {
    /// Waits, on a worker's thread, for the store.
    pub(super) fn block<T>(&self, future: impl Future<Output = T>) -> T {
        self.runtime.block_on(future)
    }

    pub(super) fn changed(&self, event: Option<EventId>, what: What) {
        if what != What::Progress {
            self.wake.all();
        }
        // Perhaps nobody listens.
        let _ = self.changes.send(Change { event, what });
    }

    /// How often workers were woken so far, for [`Inner::rest`].
    pub(super) fn woken(&self) -> u64 {
        self.wake.count()
    }

    /// Sleeps until woken more often than `seen` times or `at_most` is over.
    pub(super) fn rest(&self, at_most: Duration, seen: u64) {
        if !self.stop.is_cancelled() {
            self.wake.wait(at_most, seen);
        }
    }

    fn halt(&self) {
        self.stop.cancel();
        self.held.stop_all();
        self.wake.all();
    }

    /// Notes what keeps work waiting; the log is told when it is another thing
    /// than at the last look, not when it is another number.
    pub(super) fn trouble(&self, kind: Trouble, text: String) {
        let wording = |text: &str| text.replace(|c: char| c.is_ascii_digit(), "");
        let mut troubles = self.lock_troubles();
        let before = troubles.get(&kind);
        let since = before.map_or_else(Instant::now, |(_, since)| *since);
        if before.is_none_or(|(told, _)| wording(told) != wording(&text)) {
            tracing::warn!("{text}");
        }
        troubles.insert(kind, (text, since));
    }

    pub(super) fn trouble_over(&self, kind: Trouble) {
        self.lock_troubles().remove(&kind);
    }

    fn troubles(&self) -> Vec<String> {
        let troubles = self.lock_troubles();
        let mut texts: Vec<String> = troubles.values().map(|(text, _)| text.clone()).collect();
        // A full disk troubles everyone, and is said once.
        texts.dedup();
        texts
    }

    /// What has kept work from going on for too long, if anything.
    fn stuck(&self) -> Option<String> {
        self.lock_troubles()
            .iter()
            .filter(|(kind, (_, since))| **kind != Trouble::Model && since.elapsed() > PATIENCE)
            .map(|(_, (text, _))| text.clone())
            .next()
    }

    fn lock_troubles(&self) -> std::sync::MutexGuard<'_, BTreeMap<Trouble, (String, Instant)>> {
        self.troubles.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Why nothing can be done now, if nothing can.
    async fn idle(&self) -> Result<Option<Idle>, JobsError> {
        let left = self.store.to_do().await?;
        if !left.running && left.paused {
            return Ok(Some(Idle::Paused));
        }
        if !(left.running || left.light || left.takes || left.model) {
            return Ok(Some(Idle::Done));
        }
        if let Some(text) = self.stuck() {
            return Err(JobsError::Stuck(text));
        }
        if left.running || left.light || left.takes {
            return Ok(None);
        }
        let troubles = self.lock_troubles();
        Ok(troubles
            .get(&Trouble::Model)
            .map(|(text, _)| Idle::NoModel(text.clone())))
    }

    /// Has what an earlier version listened through listened through once more, where
    /// the files are at hand. Those that are not stay as they are: an archive that is
    /// offline is no failure.
    async fn measure_again(&self) -> Result<(), StoreError> {
        let mut old = self.store.unmeasured().await?;
        old.retain(|recording| recording.path.is_file());
        if !old.is_empty() {
            self.store.measure_again(&old).await?;
            tracing::info!("{} recordings are measured anew", old.len());
        }
        Ok(())
    }

    /// Frees jobs whose holders are dead or whose leases ran out.
    pub(super) async fn free_dead(&self) -> Result<(), StoreError> {
        let now = now_ms();
        let owners = self.store.lease_owners().await?;
        let ran_out = owners.iter().any(|(_, until_ms)| *until_ms < now);
        // By name only who is surely dead: whether a lease ran out is looked at
        // again when freeing, for its owner may have shown life since.
        let dead: Vec<String> = owners
            .into_iter()
            .map(|(owner, _)| owner)
            .filter(|owner| super::owner::is_dead(owner))
            .collect();
        if dead.is_empty() && !ran_out {
            return Ok(());
        }
        let freed = self
            .store
            .free(&dead, now, self.config.max_interruptions)
            .await?;
        if !freed.is_empty() {
            tracing::info!("freed {} jobs of stopped processes", freed.len());
            self.changed(None, What::Queue);
        }
        Ok(())
    }
}

/// Drives what workers wait for. The caller's runtime may end before they do.
struct OwnRuntime(Option<Runtime>);

impl OwnRuntime {
    fn new() -> std::io::Result<Self> {
        let mut builder = Builder::new_multi_thread();
        builder.worker_threads(1).thread_name("sayback-wait");
        builder.enable_all().build().map(Some).map(Self)
    }

    fn block_on<T>(&self, future: impl Future<Output = T>) -> T {
        match &self.0 {
            Some(runtime) => runtime.block_on(future),
            None => unreachable!("it is taken only when dropped"),
        }
    }
}

impl Drop for OwnRuntime {
    fn drop(&mut self) {
        // The last holder may be on an async thread, where waiting is forbidden.
        if let Some(runtime) = self.0.take() {
            runtime.shutdown_background();
        }
    }
}

/// Lets sleeping workers be woken; a wake that comes before the sleep counts.
#[derive(Default)]
struct Wake {
    count: Mutex<u64>,
    changed: Condvar,
}

impl Wake {
    fn all(&self) {
        *self.count.lock().unwrap_or_else(PoisonError::into_inner) += 1;
        self.changed.notify_all();
    }

    fn count(&self) -> u64 {
        *self.count.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn wait(&self, at_most: Duration, seen: u64) {
        let count = self.count.lock().unwrap_or_else(PoisonError::into_inner);
        drop(
            self.changed
                .wait_timeout_while(count, at_most, |count| *count == seen),
        );
    }
}

/// Now, ms since 1970.
pub(super) fn now_ms() -> i64 {
    let since = SystemTime::now()
        .duration_since(UNIX_EPOCH)
        .unwrap_or_default();
    i64::try_from(since.as_millis()).unwrap_or(i64::MAX)
}
