//! How does this process work?

use std::path::PathBuf;
use std::sync::{Arc, Mutex, PoisonError, Weak};
use std::time::Duration;

use sayback_core::meaning::SentenceEncoder;
use sayback_core::voices::Encoder;

use crate::speech::{
    self, ModelShelf, Recogniser, SpeechError, Whisper, default_recognisers, default_threads,
};

/// Where the recogniser comes from. Asked only once there is speech to write
/// down, and again after it was not there.
pub trait Model: Send + Sync {
    /// By what name its words are remembered.
    fn name(&self) -> String;
    /// Whether it could be loaded; an error says what to do.
    ///
    /// # Errors
    /// When the model is not there or is refused.
    fn present(&self) -> Result<(), SpeechError>;
    /// Whether it knows these languages. What can't tell says yes; an unknown one is
    /// refused again when it is to be listened for.
    ///
    /// # Errors
    /// [`SpeechError::Language`], naming the model.
    fn knows(&self, languages: &[String]) -> Result<(), SpeechError> {
        let _ = languages;
        Ok(())
    }
    /// What tells voices apart; `None` where that model is not there, and who speaks is
    /// judged by worn microphones alone.
    fn encoder(&self) -> Option<Arc<Encoder>> {
        None
    }
    /// Whether there is a model that finds lines by what they mean. Quick.
    fn finds_meaning(&self) -> bool {
        false
    }
    /// What finds lines by what they mean; `None` where that model is not there, and
    /// they are found by their words alone. Shared by all who hold it.
    fn sentences(&self) -> Option<Arc<SentenceEncoder>> {
        None
    }
    /// Loads it, which takes seconds; once more for each worker.
    ///
    /// # Errors
    /// When the model is not there or can't be used.
    fn load(&self) -> Result<Box<dyn Recogniser>, SpeechError>;
}

/// A model of the shelf, by name or file.
pub struct ShelfModel {
    shelf: ModelShelf,
    name: String,
    threads: usize,
    /// Loaded once for all workers, and how many have it.
    loaded: Mutex<Option<(Whisper, usize)>>,
    /// As long as somebody holds it.
    sentences: Mutex<Weak<SentenceEncoder>>,
}

impl ShelfModel {
    /// The model called `name` (or the ggml file of that path) of the shelf in
    /// `models`, run on as many threads as fit this machine.
    #[must_use]
    pub fn new(models: PathBuf, name: String) -> Self {
        Self {
            shelf: ModelShelf::new(models),
            name,
            threads: default_threads(),
            loaded: Mutex::default(),
            sentences: Mutex::default(),
        }
    }
}

impl Model for ShelfModel {
    fn name(&self) -> String {
        self.name.clone()
    }

    fn present(&self) -> Result<(), SpeechError> {
        self.shelf.path(&self.name).map(drop)
    }

    fn knows(&self, languages: &[String]) -> Result<(), SpeechError> {
        let file = self.shelf.path(&self.name).ok();
        speech::knows(&self.name, file.as_deref(), languages)
    }

    fn encoder(&self) -> Option<Arc<Encoder>> {
        let found = self.shelf.encoder();
        found
            .map(Arc::new)
            .inspect_err(|error| tracing::warn!("voices can't be told apart: {error}"))
            .ok()
    }

    fn finds_meaning(&self) -> bool {
        self.shelf.meaning().is_ok()
    }

    fn sentences(&self) -> Option<Arc<SentenceEncoder>> {
        let mut shared = self
            .sentences
            .lock()
            .unwrap_or_else(PoisonError::into_inner);
        if let Some(there) = shared.upgrade() {
            return Some(there);
        }
        let found = self.shelf.sentences().map(Arc::new);
        let found = found
            .inspect_err(|error| tracing::debug!("nothing is found by meaning: {error}"))
            .ok()?;
        *shared = Arc::downgrade(&found);
        Some(found)
    }

    fn load(&self) -> Result<Box<dyn Recogniser>, SpeechError> {
        let mut loaded = self.loaded.lock().unwrap_or_else(PoisonError::into_inner);
        let (whisper, workers) = match loaded.take() {
            Some(there) => loaded.insert(there),
            None => {
                let path = self.shelf.path(&self.name)?;
                loaded.insert((Whisper::load(&path, self.threads)?, 0))
            }
        };
        let another = whisper.another(*workers)?;
        *workers += 1;
        Ok(Box::new(another))
    }
}

/// How an [`crate::jobs::Engine`] works.
#[derive(Clone)]
pub struct EngineConfig {
    /// The recogniser.
    pub model: Arc<dyn Model>,
    /// Threads for all jobs but transcribe; 0 leaves those jobs in the queue.
    pub light_workers: usize,
    /// Recognisers that transcribe at the same time, each a recording; 0 leaves those
    /// jobs in the queue. They share the model; what there is no memory for rests.
    pub recognisers: usize,
    /// How long a worker that shows no sign of life is believed to live.
    pub lease: Duration,
    /// How often signs of life and progress are written.
    pub beat: Duration,
    /// How often an idle worker looks for jobs that another process queued.
    pub poll: Duration,
    /// The wait after a first failure that may pass; it doubles each time.
    pub backoff: Duration,
    /// Failures after which a job is given up.
    pub max_attempts: i64,
    /// Times the program may be stopped or die while on the same piece of work
    /// before that is given up; a transcribed window counts as a new piece.
    pub max_interruptions: i64,
}

impl EngineConfig {
    /// Works on everything, with the model `name` (or ggml file) from the folder
    /// `models`.
    #[must_use]
    pub fn new(models: PathBuf, name: String) -> Self {
        Self::with_model(Arc::new(ShelfModel::new(models, name)))
    }

    /// Works on everything, with this model.
    #[must_use]
    pub fn with_model(model: Arc<dyn Model>) -> Self {
        Self {
            model,
            // Decoding one file keeps one core busy; the model wants the others.
            light_workers: 1,
            recognisers: default_recognisers(),
            // Leases of dead processes of this machine are freed at once, so
            // this only matters across containers: long enough for a laptop to
            // write a beat under load.
            lease: Duration::from_secs(30),
            beat: Duration::from_secs(1),
            poll: Duration::from_millis(500),
            backoff: Duration::from_secs(2),
            max_attempts: 4,
            max_interruptions: 50,
        }
    }

    /// Whether this process does any work.
    pub(super) fn works(&self) -> bool {
        self.light_workers > 0 || self.recognisers > 0
    }

    /// Leaves all work in the queue.
    #[must_use]
    pub fn without_workers(mut self) -> Self {
        self.light_workers = 0;
        self.recognisers = 0;
        self
    }
}
