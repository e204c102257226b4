//! Give me this stretch of a recording as a file of its own, exactly as it is.
//!
//! In: an original, a range of its own samples, handles. Out: a Broadcast Wave
//! file ([`pull`]), or a folder of many with lists and a manifest
//! ([`Folder`]). PCM in WAV, RF64 and BW64 is copied byte by byte; other
//! lossless sound (FLAC, ALAC, PCM in AIFF, MOV, Matroska) is decoded to the
//! integers or floats it was made of; lossy sound becomes the 32-bit float its
//! decoder gives, and the report says so. As recorded: no gain, no dither, no
//! correction of drift, no mixing of channels. Positions are samples of each
//! channel ('frames'), from the first one that plays, as in
//! [`Reader`](super::Reader).
//!
//! Beside the samples stand a `bext` chunk (EBU Tech 3285, version 2), whose
//! TimeReference is the original's plus the first sample pulled, and cue points
//! with labels. The original's iXML is not carried on: the fields everybody
//! knows could be put right, those that makers add could not, and a wrong sync
//! point is worse than none. The report says when something was left out.
//!
//! Memory: a block of samples and the header, however long the pull. Cost: the
//! stretch is read once and written once; where a hash is to be compared, the
//! original is read as a whole.

use std::path::Path;

use sayback_core::Cancel;
use serde::{Serialize, Serializer};

use super::error::ShownPath;

mod archive;
mod cues;
mod error;
mod folder;
mod form;
mod header;
mod original;
mod place;
mod ready;
mod shelf;
mod source;
mod stamp;
#[cfg(test)]
mod tests;
mod text;

pub use archive::Archive;
pub use cues::Cue;
pub use error::PullError;
pub use folder::{Folder, Manifest, Missing, PullEntry, Put, TextEntry};
pub use form::Form;
pub use original::Original;
pub use place::{Existing, left_over};
pub use shelf::Shelf;

use original::Verified;
use place::NewFile;
use ready::Ready;

/// A stretch of a recording that somebody wants as a file.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Pull {
    /// The recording's file.
    pub original: Original,
    /// The channel that is the recording, from 1; all of the file's without. A
    /// recording that is the mean of several is pulled with all of them, since
    /// a mean is in no file.
    pub channel: Option<u16>,
    /// First sample wanted.
    pub from: u64,
    /// First sample no longer wanted.
    pub to: u64,
    /// Samples wanted before, as far as the file has them.
    pub before: u64,
    /// Samples wanted after, as far as the file has them.
    pub after: u64,
    /// What was said.
    pub said: String,
    /// Words or quotes to be marked.
    pub cues: Vec<Cue>,
}

/// How the samples of a pull came about; a manifest has it in words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Made {
    /// The bytes of the original.
    Copied,
    /// Decoded without loss; the codec.
    Decoded(String),
    /// Decoded from a codec that keeps less than was recorded; its name.
    FromLossy(String),
}

impl std::fmt::Display for Made {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Copied => f.write_str("copied bit by bit"),
            Self::Decoded(codec) => write!(f, "decoded without loss from {codec}"),
            Self::FromLossy(codec) => write!(f, "decoded from {codec}"),
        }
    }
}

impl Serialize for Made {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(self)
    }
}

/// A pull that was written, as a manifest tells of it too.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Pulled {
    /// Its length in bytes.
    pub bytes: u64,
    /// SHA-256 of the file, in lower-case hex.
    pub sha256: String,
    /// How its samples are stored.
    #[serde(flatten)]
    pub form: Form,
    /// The original's sample that is its first.
    pub first: u64,
    /// Samples of each channel, handles included.
    pub frames: u64,
    /// Samples before the one asked for.
    pub before: u64,
    /// Samples after the last one asked for.
    pub after: u64,
    /// Samples since midnight at its first, at its own rate, where the original
    /// knows; otherwise 0 stands in the file.
    pub time_reference: Option<u64>,
    /// How its samples came about.
    pub made: Made,
    /// Cue points in it.
    pub cues: usize,
    /// What a reader should know: what was left out, what was wrong.
    pub notes: Vec<String>,
}

/// Writes one pull to `target`; `progress` gets 0.0 to 1.0. The file is there
/// as a whole or not at all.
///
/// # Errors
/// Every [`PullError`].
///
/// ```no_run
/// use sayback::media::pull::{Existing, Original, Pull, pull};
/// let wish = Pull {
///     original: Original { path: "REC01.WAV".into(), ..Original::default() },
///     from: 48_000,
///     to: 96_000,
///     before: 24_000, // half a second of handle at 48 kHz
///     after: 24_000,
///     said: "The ferry waits for nobody".into(),
///     ..Pull::default()
/// };
/// let cancel = sayback::core::Cancel::new();
/// let done = pull(&wish, "quote.wav".as_ref(), Existing::Keep, &cancel, &mut |_| {})?;
/// println!("{} samples, {}", done.frames, done.made);
/// # Ok::<(), sayback::media::pull::PullError>(())
/// ```
pub fn pull(
    wish: &Pull,
    target: &Path,
    existing: Existing,
    cancel: &Cancel,
    progress: &mut dyn FnMut(f32),
) -> Result<Pulled, PullError> {
    let path = &wish.original.path;
    if original::is_original(path, target) {
        let file = ShownPath::new(path);
        return Err(PullError::Original { file });
    }
    if existing == Existing::Keep {
        place::is_free(target)?;
    }
    let ready = Ready::of(wish, &mut Verified::default(), cancel)?;
    let mut file = NewFile::create(target)?;
    let pulled = ready.write(&mut |bytes| file.write(bytes), cancel, progress)?;
    file.place(existing)?;
    Ok(pulled)
}
