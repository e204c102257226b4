//! What can go wrong on the way from a model's name to words.

use std::io;
use std::path::{Path, PathBuf};

/// Why there are no words, or no model to find them with. Every message names
/// the file or the model, and what to do where something can be done.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum SpeechError {
    /// Neither a known model's name nor a file.
    #[error(
        "no speech model is called {name:?}: choose one of {known}, or give the path of a ggml file"
    )]
    UnknownModel {
        /// What was asked for.
        name: String,
        /// The names of the manifest, joined by commas.
        known: String,
    },
    /// A known model that was never fetched.
    #[error("the speech model {name} is not in {}: run `sayback model get {name}`", dir.display())]
    NotFetched {
        /// The model's name.
        name: String,
        /// The folder that was looked in.
        dir: PathBuf,
    },
    /// The shelf's file is not the one of the manifest.
    #[error(
        "{} is not the speech model {name}: {reason}; run `sayback model get {name}` to replace it",
        file.display()
    )]
    WrongFile {
        /// The model's name.
        name: String,
        /// The refused file.
        file: PathBuf,
        /// What differs.
        reason: String,
    },
    /// A file that is no whole model of a kind the library can run.
    #[error("{} is not a usable ggml speech model: {reason}", file.display())]
    NotAModel {
        /// The refused file.
        file: PathBuf,
        /// What was found instead.
        reason: String,
    },
    /// A model for which there is not enough memory.
    #[error(
        "the speech model {} needs some {needs_mb} MB of memory, and {free_mb} MB are free here: \
         choose a smaller model (`sayback model list`), free memory or raise its limit",
        file.display()
    )]
    NoRoom {
        /// The model file.
        file: PathBuf,
        /// What it needs at most, in MB.
        needs_mb: u64,
        /// What is free for this process, in MB.
        free_mb: u64,
    },
    /// Every way to fetch a model failed.
    #[error(
        "could not fetch the speech model {name}: {tried}. Fetch it where there is a network and \
         copy the file to {}", target.display()
    )]
    Unreachable {
        /// The model's name.
        name: String,
        /// Each way and why it failed.
        tried: String,
        /// Where the file is looked for.
        target: PathBuf,
    },
    /// Something fetched is not what the manifest pins.
    #[error("{what} has SHA-256 {found}, not the pinned {pinned}: it was not used")]
    Hash {
        /// The archive, tensor file or model.
        what: String,
        /// Hex digest of what came.
        found: String,
        /// Hex digest of the manifest.
        pinned: String,
    },
    /// The file system refused.
    #[error("could not {doing} {}: {source}", file.display())]
    Io {
        /// A verb: read, write, …
        doing: &'static str,
        /// The file or folder.
        file: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// The library would not load a file that looked right.
    #[error("the speech library could not load {}: {reason}", file.display())]
    Load {
        /// The model file.
        file: PathBuf,
        /// What the library said.
        reason: String,
    },
    /// A language the model does not know.
    #[error(
        "{language:?} is no language of the speech model {model}; leave it out to have it detected"
    )]
    Language {
        /// What was asked for.
        language: String,
        /// The model file's name.
        model: String,
    },
    /// The library failed on a window.
    #[error("the speech library failed on a window of {seconds:.1} s: {reason}")]
    Recognise {
        /// Length of the window.
        seconds: f64,
        /// What the library said.
        reason: String,
    },
    /// Somebody asked to stop.
    #[error("stopped on request")]
    Cancelled,
}

impl SpeechError {
    /// An I/O error with its file and the verb of what was tried.
    pub(super) fn io(doing: &'static str, file: &Path) -> impl FnOnce(io::Error) -> Self {
        let file = file.to_owned();
        move |source| Self::Io {
            doing,
            file,
            source,
        }
    }

    /// A refusal of a file as a model.
    pub(super) fn not_a_model(file: &Path, reason: impl Into<String>) -> Self {
        Self::NotAModel {
            file: file.to_owned(),
            reason: reason.into(),
        }
    }
}
