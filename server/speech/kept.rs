//! Which models write no words, and how is a model's file made from its weights?

use std::fs::{self, File};
use std::io::Write;
use std::path::PathBuf;

use sayback_core::meaning::{self, SentenceEncoder};
use sayback_core::voices::{self, Encoder};

use super::manifest::{self, Kind, Model};
use super::shelf::unknown;
use super::{ModelShelf, SpeechError, convert, packages};

impl ModelShelf {
    /// The model that tells voices apart.
    ///
    /// # Errors
    /// [`SpeechError::NotFetched`], [`SpeechError::WrongFile`].
    pub fn encoder(&self) -> Result<Encoder, SpeechError> {
        let file = self.voices()?;
        let kept = fs::read(&file).map_err(SpeechError::io("read", &file))?;
        Encoder::from_bytes(&kept).map_err(wrong(manifest::VOICES, file))
    }

    /// The file of the model that tells voices apart, once it is sure to be whole.
    ///
    /// # Errors
    /// As [`Self::encoder`].
    pub fn voices(&self) -> Result<PathBuf, SpeechError> {
        self.named(manifest::VOICES)
    }

    /// The model that finds lines by what they mean: 70 MB of memory.
    ///
    /// # Errors
    /// [`SpeechError::NotFetched`], [`SpeechError::WrongFile`].
    pub fn sentences(&self) -> Result<SentenceEncoder, SpeechError> {
        let file = self.meaning()?;
        let kept = fs::read(&file).map_err(SpeechError::io("read", &file))?;
        SentenceEncoder::from_bytes(&kept).map_err(wrong(manifest::MEANING, file))
    }

    /// The file of the model that finds lines by what they mean, once it is sure to be
    /// whole.
    ///
    /// # Errors
    /// As [`Self::sentences`].
    pub fn meaning(&self) -> Result<PathBuf, SpeechError> {
        self.named(manifest::MEANING)
    }

    fn named(&self, name: &str) -> Result<PathBuf, SpeechError> {
        self.whole(Model::named(name).ok_or_else(|| unknown(name))?)
    }
}

fn wrong<E: ToString>(name: &'static str, file: PathBuf) -> impl FnOnce(E) -> SpeechError {
    move |no| SpeechError::WrongFile {
        name: name.into(),
        file,
        reason: no.to_string(),
    }
}

/// Writes a model's file from its weights; the reason, if they are none.
pub(super) fn convert_into(
    out: &mut impl Write,
    model: &Model,
    inside: &packages::Unpacked,
) -> Result<Result<(), String>, SpeechError> {
    let weights = &inside.weights;
    match model.kind {
        Kind::Words(index, member) => {
            let vocabulary = inside.vocabulary(index, member)?;
            let file = File::open(weights).map_err(SpeechError::io("open", weights))?;
            Ok(convert::convert(file, &vocabulary, out))
        }
        Kind::Voices => {
            let published = fs::read(weights).map_err(SpeechError::io("read", weights))?;
            let kept = voices::kept_form(&published).map_err(|no| no.to_string());
            Ok(kept.and_then(|kept| write(out, &kept)))
        }
        Kind::Meaning(index, member) => {
            let vocabulary = inside.vocabulary(index, member)?;
            let published = fs::read(weights).map_err(SpeechError::io("read", weights))?;
            let kept = meaning::kept_form(&published, &vocabulary).map_err(|no| no.to_string());
            Ok(kept.and_then(|kept| write(out, &kept)))
        }
    }
}

fn write(out: &mut impl Write, kept: &[u8]) -> Result<(), String> {
    out.write_all(kept)
        .map_err(|error| format!("writing failed: {error}"))
}
