//! A data folder with an engine and a recogniser that needs no model.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use sayback::core::Cancel;
use sayback::jobs::{Add, AddReport, Engine, EngineConfig, Idle, Model, Roots};
use sayback::media::ChannelChoice;
use sayback::speech::{Ask, HeardWord, Recogniser, SpeechError};
use sayback::store::{EventId, EventRow, NewEvent, Store};

/// As long as a window waits for another.
const LONG: Duration = Duration::from_secs(20);

/// What the recogniser does beside hearing.
#[derive(Clone, Default)]
pub struct Ears {
    /// How long a window takes.
    pub slow: Duration,
    /// So many calls fail before the others work.
    pub failing: Arc<AtomicUsize>,
    /// So many calls panic before the others work.
    pub panicking: Arc<AtomicUsize>,
    /// Windows listened to so far.
    pub heard: Arc<AtomicUsize>,
    /// Times the model was loaded.
    pub loaded: Arc<AtomicUsize>,
    /// Whether there is no model.
    pub missing: Arc<AtomicBool>,
    /// Another model, which writes everything in capitals.
    pub loud: bool,
    /// The first window waits until so many are listened to at once.
    pub together: usize,
    /// Windows that are listened to now, and the most there were.
    pub at_once: Arc<AtomicUsize>,
    pub most: Arc<AtomicUsize>,
}

fn take_one(count: &AtomicUsize) -> bool {
    count
        .fetch_update(Ordering::SeqCst, Ordering::SeqCst, |n| n.checked_sub(1))
        .is_ok()
}

impl Model for Ears {
    fn name(&self) -> String {
        if self.loud { "loud ears" } else { "ears" }.into()
    }

    fn present(&self) -> Result<(), SpeechError> {
        if self.missing.load(Ordering::SeqCst) {
            return Err(SpeechError::NotFetched {
                name: "ears".into(),
                dir: "/models".into(),
            });
        }
        Ok(())
    }

    fn load(&self) -> Result<Box<dyn Recogniser>, SpeechError> {
        self.loaded.fetch_add(1, Ordering::SeqCst);
        Ok(Box::new(self.clone()))
    }
}

impl Recogniser for Ears {
    /// A word for each half second, which depends on its samples alone.
    fn recognise(
        &mut self,
        samples: &[f32],
        ask: &Ask,
        cancel: &Cancel,
        progress: &mut dyn FnMut(f32),
    ) -> Result<Vec<HeardWord>, SpeechError> {
        const WORDS: [&str; 8] = [
            "Rope", "kettle", "tide,", "lamp", "Oar", "plank", "gull", "bell",
        ];
        if take_one(&self.panicking) {
            panic!("no ears today");
        }
        if take_one(&self.failing) {
            return Err(SpeechError::Recognise {
                seconds: 1.0,
                reason: "out of memory".into(),
            });
        }
        let now = 1 + self.at_once.fetch_add(1, Ordering::SeqCst);
        self.most.fetch_max(now, Ordering::SeqCst);
        let begun = Instant::now();
        while self.most.load(Ordering::SeqCst) < self.together && begun.elapsed() < LONG {
            std::thread::sleep(Duration::from_millis(5));
        }
        for step in 0..20 {
            if cancel.is_cancelled() {
                self.at_once.fetch_sub(1, Ordering::SeqCst);
                return Err(SpeechError::Cancelled);
            }
            std::thread::sleep(self.slow / 20);
            progress(step as f32 / 20.0);
        }
        self.heard.fetch_add(1, Ordering::SeqCst);
        self.at_once.fetch_sub(1, Ordering::SeqCst);
        let word = |(n, half): (usize, &[f32])| {
            let bits = half
                .iter()
                .fold(0_u32, |sum, x| sum.wrapping_mul(31) ^ x.to_bits());
            let start_ms = 500 * n as i64;
            let text = WORDS[(bits % 8) as usize];
            HeardWord {
                text: match self.loud {
                    true => text.to_uppercase(),
                    false => text.into(),
                },
                start_ms,
                end_ms: start_ms + 400,
                confidence: 0.9,
                language: ask.language.clone(),
                ..HeardWord::default()
            }
        };
        Ok(samples.chunks(8_000).enumerate().map(word).collect())
    }
}

/// A data folder, an engine on it, an event.
pub struct Desk {
    pub data: tempfile::TempDir,
    pub cards: tempfile::TempDir,
    pub engine: Engine,
    pub event: EventRow,
    pub ears: Ears,
}

/// A configuration that fails fast and looks often.
pub fn quick(ears: &Ears) -> EngineConfig {
    let mut config = EngineConfig::with_model(Arc::new(ears.clone()));
    config.backoff = Duration::from_millis(20);
    config.poll = Duration::from_millis(20);
    config.beat = Duration::from_millis(50);
    // On any machine.
    config.recognisers = 1;
    config
}

impl Desk {
    pub async fn new(ears: Ears) -> Self {
        let config = quick(&ears);
        Self::with(ears, config).await
    }

    /// With workers that don't work.
    pub async fn idle() -> Self {
        let ears = Ears::default();
        let config = quick(&ears).without_workers();
        Self::with(ears, config).await
    }

    pub async fn with(ears: Ears, config: EngineConfig) -> Self {
        let data = tempfile::tempdir().unwrap();
        let cards = tempfile::tempdir().unwrap();
        let store = Store::open(data.path()).await.unwrap();
        let event = store.create_event(titled("The landing"), 1).await.unwrap();
        let engine = Engine::start(store, config).await.unwrap();
        Self {
            data,
            cards,
            engine,
            event,
            ears,
        }
    }

    pub fn store(&self) -> &Store {
        self.engine.store()
    }

    /// A card's file with a line of speech.
    pub fn line(&self, id: &str, name: &str) -> PathBuf {
        let path = self.cards.path().join(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::copy(line(id), &path).unwrap();
        path
    }

    /// A card's file with anything in it.
    pub fn file(&self, name: impl AsRef<Path>, bytes: &[u8]) -> PathBuf {
        let path = self.cards.path().join(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(&path, bytes).unwrap();
        path
    }

    pub async fn add(&self, paths: &[&Path]) -> AddReport {
        self.engine.add(add(&self.event.id, paths)).await.unwrap()
    }

    pub async fn add_and_wait(&self, paths: &[&Path]) -> AddReport {
        let report = self.add(paths).await;
        assert_eq!(self.engine.run_until_idle().await.unwrap(), Idle::Done);
        report
    }
}

pub fn titled(title: &str) -> NewEvent {
    NewEvent {
        title: title.into(),
        ..NewEvent::default()
    }
}

/// The file of a dry line.
pub fn line(id: &str) -> PathBuf {
    xtask::scene::lines::folder()
        .join(id)
        .with_extension("flac")
}

/// Adds to the source 'lav', from anywhere.
pub fn add(event: &EventId, paths: &[&Path]) -> Add {
    Add {
        event: event.clone(),
        source: Some("lav".into()),
        placement: None,
        person: None,
        channels: ChannelChoice::Auto,
        paths: paths.iter().map(|path| path.to_path_buf()).collect(),
        roots: Roots::Anywhere,
    }
}
