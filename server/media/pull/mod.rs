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

use std::path::{Path, PathBuf};

use sayback_core::Cancel;

use super::error::ShownPath;

mod cues;
mod error;
mod folder;
mod form;
mod header;
mod original;
mod place;
mod source;
mod stamp;
#[cfg(test)]
mod tests;
mod text;

pub use cues::Cue;
pub use error::PullError;
pub use folder::{Folder, Manifest, Missing, PullEntry, Put, TextEntry, write_folder};
pub use form::Form;
pub use original::Original;
pub use place::Existing;

use original::Verified;
use place::NewFile;
use source::{BLOCK_FRAMES, Source};

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

/// How the samples of a pull came about.
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

/// A pull that was written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pulled {
    /// Where it is.
    pub path: PathBuf,
    /// Its length in bytes.
    pub bytes: u64,
    /// SHA-256 of the file, in lower-case hex.
    pub sha256: String,
    /// How its samples are stored.
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
    let verified = &mut Verified::default();
    pull_verified(wish, target, existing, verified, cancel, progress)
}

fn pull_verified(
    wish: &Pull,
    target: &Path,
    existing: Existing,
    verified: &mut Verified,
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
    let look = verified.check(&wish.original, cancel)?;
    let mut source = Source::open(path, wish.channel)?;
    let range = Range::of(wish, source.info.frames)?;
    let cues = cues::placed(&wish.cues, range.first, range.end);
    let stamping = stamp::Stamping {
        origin: &source.origin,
        form: &source.form,
        made: &source.made,
        said: &wish.said,
        name: &path.file_name().unwrap_or_default().to_string_lossy(),
        channel: wish.channel,
        first: range.first,
        frames: range.frames(),
    };
    let marks = cues::chunks(&cues);
    let (head, odd) = header::header(&source.form, range.frames(), &stamping.body(), &marks);
    let mut file = NewFile::create(target)?;
    file.write(&head)?;
    copy(&mut source, &range, &mut file, cancel, progress)?;
    if odd {
        file.write(&[0])?;
    }
    original::unchanged(path, look)?;
    let (bytes, sha256) = file.place(existing)?;
    let mut notes = source.origin.notes.clone();
    notes.extend(source.warnings());
    let left_out = wish.cues.len() - cues.len();
    if left_out > 0 {
        notes.push(format!("{left_out} cues lie outside and were left out"));
    }
    Ok(Pulled {
        path: target.to_owned(),
        bytes,
        sha256,
        first: range.first,
        frames: range.frames(),
        before: wish.from - range.first,
        after: range.end - wish.to,
        time_reference: source.origin.reference_at(range.first),
        form: source.form,
        made: source.made,
        cues: cues.len(),
        notes,
    })
}

/// What is taken of an original, handles included.
struct Range {
    first: u64,
    end: u64,
}

impl Range {
    fn of(wish: &Pull, frames: u64) -> Result<Self, PullError> {
        let file = || ShownPath::new(&wish.original.path);
        let (from, to) = (wish.from, wish.to);
        if from >= to {
            return Err(PullError::Empty {
                file: file(),
                from,
                to,
            });
        }
        if to > frames {
            return Err(PullError::Outside {
                file: file(),
                from,
                to,
                frames,
            });
        }
        Ok(Self {
            first: from.saturating_sub(wish.before),
            end: to.saturating_add(wish.after).min(frames),
        })
    }

    fn frames(&self) -> u64 {
        self.end - self.first
    }
}

fn copy(
    source: &mut Source,
    range: &Range,
    file: &mut NewFile,
    cancel: &Cancel,
    progress: &mut dyn FnMut(f32),
) -> Result<(), PullError> {
    source.seek(range.first)?;
    let mut block = Vec::new();
    let mut left = range.frames();
    while left > 0 {
        if cancel.is_cancelled() {
            return Err(PullError::Cancelled {
                file: source.shown(),
            });
        }
        let count = left.min(BLOCK_FRAMES as u64);
        block.clear();
        source.read(&mut block, count as usize)?;
        file.write(&block)?;
        left -= count;
        progress((1.0 - left as f64 / range.frames() as f64) as f32);
    }
    Ok(())
}
