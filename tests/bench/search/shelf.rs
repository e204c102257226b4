//! Is the shelf there? Else it is made: by the store's own way from files to words,
//! step by step as the queue goes, so that its rows are those of the product whatever
//! its index is.
//!
//! What search never reads is left out: segments, tracks of levels, voices.

use std::fs;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use sayback::store::Store;

use super::Options;
use super::event::{EVENT_WORDS, Event};
use super::language::Language;
use super::maker::Maker;
use super::processor::processor_time;
use super::sizes;

/// Raised when the generator makes other texts or rows.
const VERSION: u32 = 1;
/// Written last, so that half a shelf is never taken for a whole one.
const READY: &str = ".ready";

/// A made shelf.
pub struct Shelf {
    /// Its data folder.
    pub folder: PathBuf,
    /// How it was made; `None` when it was there.
    pub made: Option<Made>,
}

/// What making it took.
#[derive(Clone, Copy, Default)]
pub struct Made {
    /// All of it.
    pub took: Duration,
    /// Of that, writing words with their index.
    pub words_took: Duration,
    /// Processor time of all of it.
    pub processor: Duration,
    /// Words written.
    pub words: usize,
}

impl Shelf {
    /// The shelf of these options, made where it is not there: another seed, size,
    /// generator or shape of the database makes another.
    pub async fn of(options: &Options, language: &Language) -> Self {
        let lean = if options.lean { "-lean" } else { "" };
        let name = format!(
            "shelf-{}-{}-{VERSION}-{}{lean}",
            options.words,
            options.seed,
            shape()
        );
        let folder = options.folder.join(name);
        if folder.join(READY).is_file() {
            return Self { folder, made: None };
        }
        if folder.exists() {
            fs::remove_dir_all(&folder).expect("a half-made shelf goes");
        }
        let store = Store::open(&folder).await.expect("a store");
        let begun = Instant::now();
        let before = processor_time();
        let mut made = Made::default();
        let events = events(options.words);
        for number in 0..events {
            let words = options.words / events;
            let event = Event::new(language, options.seed, number, words);
            made.words += event.moments.iter().map(|m| m.words.len()).sum::<usize>();
            made.words_took += Maker::write(&store, &event).await;
            if options.lean {
                sizes::forget_attempts(&folder).await;
            }
            if number % 20 == 19 {
                eprintln!("{} words in {:?}", made.words, begun.elapsed());
            }
        }
        store.close().await;
        made.took = begun.elapsed();
        made.processor = processor_time() - before;
        fs::write(folder.join(READY), "").expect("room on the disk");
        Self {
            folder,
            made: Some(made),
        }
    }
}

/// How many events hold so many words.
pub fn events(words: usize) -> usize {
    (words / EVENT_WORDS).max(1)
}

/// What the shape of the database is known by: its migrations.
fn shape() -> String {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("migrations");
    let mut files: Vec<PathBuf> = fs::read_dir(&folder)
        .expect("migrations")
        .map(|entry| entry.expect("an entry").path())
        .collect();
    files.sort();
    let mut hasher = blake3::Hasher::new();
    for file in files {
        hasher.update(&fs::read(file).expect("a migration"));
    }
    hasher.finalize().to_hex()[..8].to_owned()
}
