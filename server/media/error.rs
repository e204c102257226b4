//! What can go wrong between a path and its samples, said so that the reader
//! of the message knows which file, why, and what to do.

use std::fmt;
use std::io;
use std::path::Path;

/// A path as it is shown to people: in quotes, with line breaks, quotes and
/// bytes that are no text escaped, so that a hostile name cannot forge a
/// message.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ShownPath(String);

impl ShownPath {
    /// Escapes `path` once.
    #[must_use]
    pub fn new(path: &Path) -> Self {
        Self(format!("{path:?}"))
    }
}

impl fmt::Display for ShownPath {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// Why a file gave no samples. Every message starts with the file.
#[derive(Debug, thiserror::Error)]
pub enum MediaError {
    /// The file system refused: missing, no permission, a broken disk.
    #[error("{file}: cannot be opened: {cause}. Check that it exists and may be read")]
    Open {
        /// The file.
        file: ShownPath,
        /// What the system said.
        cause: io::Error,
    },
    /// Reading stopped half-way.
    #[error("{file}: reading failed: {cause}. Check the disk and try again")]
    Read {
        /// The file.
        file: ShownPath,
        /// What the system said.
        cause: io::Error,
    },
    /// A folder where a file was expected.
    #[error("{file}: is a folder, not a recording. Name the files in it")]
    Folder {
        /// The folder.
        file: ShownPath,
    },
    /// A pipe, socket or device.
    #[error("{file}: is not an ordinary file. Copy the recording to a disk first")]
    NotOrdinary {
        /// The path.
        file: ShownPath,
    },
    /// No byte in it.
    #[error("{file}: is empty (0 bytes). Copy it from the card again")]
    Empty {
        /// The file.
        file: ShownPath,
    },
    /// Nothing known starts like this.
    #[error(
        "{file}: is not a recording sayback can open ({reason}). \
         It reads WAV, RF64, FLAC, MP3, MP4, MOV, M4A, AAC, Ogg, Matroska and AIFF"
    )]
    Unknown {
        /// The file.
        file: ShownPath,
        /// What its first bytes say.
        reason: String,
    },
    /// A video without sound, or a container with only pictures.
    #[error("{file}: holds no sound track. If the camera recorded sound, it is in another file")]
    NoSound {
        /// The file.
        file: ShownPath,
    },
    /// A known container with something in it nobody here decodes.
    #[error("{file}: cannot be decoded: {reason}. Convert it to WAV or FLAC")]
    Unsupported {
        /// The file.
        file: ShownPath,
        /// The codec, rate or channel count that is the trouble.
        reason: String,
    },
    /// The headers contradict themselves or the file ends before its sound.
    #[error("{file}: is damaged: {reason}. Copy it from the card again")]
    Damaged {
        /// The file.
        file: ShownPath,
        /// What does not fit.
        reason: String,
    },
    /// A channel was asked for that the file does not have.
    #[error("{file}: has no channel {channel}; it has {channels}")]
    NoSuchChannel {
        /// The file.
        file: ShownPath,
        /// The channel asked for, from 1.
        channel: u16,
        /// How many there are.
        channels: u16,
    },
    /// More was asked for at once than one answer may hold.
    #[error("{file}: {asked_ms} ms asked for at once; at most {limit_ms} ms. Ask in pieces")]
    TooLong {
        /// The file.
        file: ShownPath,
        /// What was asked for.
        asked_ms: i64,
        /// The limit.
        limit_ms: i64,
    },
    /// Somebody asked to stop.
    #[error("{file}: stopped on request")]
    Cancelled {
        /// The file.
        file: ShownPath,
    },
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hostile_name_stays_on_one_line_and_in_its_quotes() {
        use std::os::unix::ffi::OsStrExt;
        let name = std::ffi::OsStr::from_bytes(b"a\n\"b\xff.wav");
        let shown = ShownPath::new(Path::new(name)).to_string();
        assert_eq!(shown, r#""a\n\"b\xFF.wav""#);
    }
}
