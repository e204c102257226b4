//! What can go wrong between an original and a pull of it.

use std::io;
use std::path::Path;

use super::super::error::{MediaError, ShownPath};

/// Why there is no pull. Every message starts with the file.
#[derive(Debug, thiserror::Error)]
pub enum PullError {
    /// The original is not where it was.
    #[error(
        "{file}: is offline: {cause}. Connect the disk it lies on, or add it again from where it is now"
    )]
    Offline {
        /// The original.
        file: ShownPath,
        /// What the system said.
        cause: io::Error,
    },
    /// Other bytes lie where the original was.
    #[error(
        "{file}: has changed since it was added ({how}). Put the original back, or add this file anew"
    )]
    Changed {
        /// The original.
        file: ShownPath,
        /// Its length or its hash, then and now.
        how: String,
    },
    /// Nothing between the two samples asked for.
    #[error(
        "{file}: from sample {from} to {to} there is nothing. The end has to lie behind the start"
    )]
    Empty {
        /// The original.
        file: ShownPath,
        /// First sample asked for.
        from: u64,
        /// First sample no longer asked for.
        to: u64,
    },
    /// The range does not lie in the file.
    #[error("{file}: samples {from} to {to} were asked for, it has {frames}")]
    Outside {
        /// The original.
        file: ShownPath,
        /// First sample asked for.
        from: u64,
        /// First sample no longer asked for.
        to: u64,
        /// Samples there are.
        frames: u64,
    },
    /// Something lies where the pull should go.
    #[error(
        "{file}: exists already, and was left as it is. Choose another name, or have it replaced"
    )]
    Exists {
        /// Where the pull should go.
        file: ShownPath,
    },
    /// The pull should go where the original lies.
    #[error("{file}: is the original itself, which is never written over. Choose another name")]
    Original {
        /// The original.
        file: ShownPath,
    },
    /// The disk refused what was to be written.
    #[error("{file}: cannot be written: {cause}. Check the folder and the space on its disk")]
    Write {
        /// What was to be written.
        file: ShownPath,
        /// What the system said.
        cause: io::Error,
    },
    /// Somebody asked to stop; nothing was left behind.
    #[error("{file}: stopped on request")]
    Cancelled {
        /// What was being read.
        file: ShownPath,
    },
    /// The original cannot be read.
    #[error(transparent)]
    Media(MediaError),
}

impl From<MediaError> for PullError {
    fn from(error: MediaError) -> Self {
        match error {
            MediaError::Open { file, cause } if gone(&cause) => Self::Offline { file, cause },
            MediaError::Cancelled { file } => Self::Cancelled { file },
            other => Self::Media(other),
        }
    }
}

impl PullError {
    /// A failure of the disk written to.
    pub(super) fn write(path: &Path) -> impl FnOnce(io::Error) -> Self + '_ {
        |cause| Self::Write {
            file: ShownPath::new(path),
            cause,
        }
    }

    /// Whether the original is to blame, so that other pulls may still work.
    #[must_use]
    pub fn is_of_the_original(&self) -> bool {
        !matches!(
            self,
            Self::Write { .. } | Self::Cancelled { .. } | Self::Exists { .. }
        )
    }
}

/// Missing, or on a disk that is not connected any more.
fn gone(cause: &io::Error) -> bool {
    matches!(
        cause.kind(),
        io::ErrorKind::NotFound
            | io::ErrorKind::NotADirectory
            | io::ErrorKind::HostUnreachable
            | io::ErrorKind::StaleNetworkFileHandle
            | io::ErrorKind::NotConnected
    )
}
