//! Is this still the file that was added?

use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use sayback_core::Cancel;

use super::super::error::{MediaError, ShownPath};
use super::super::hash::content_hash;
use super::error::PullError;

/// A recording's file, and what is known of it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Original {
    /// Where it lies.
    pub path: PathBuf,
    /// Its length in bytes when it was added; looked at where given.
    pub bytes: Option<u64>,
    /// BLAKE3 of its bytes, as [`content_hash`](super::super::content_hash)
    /// gives it; where given, all of the file is read and compared.
    pub hash: Option<String>,
}

/// Length and time of last change: other now, and the file was written to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Look {
    bytes: u64,
    changed: Option<SystemTime>,
}

impl Look {
    fn at(path: &Path) -> Result<Self, PullError> {
        let facts = std::fs::metadata(path).map_err(|cause| MediaError::Open {
            file: ShownPath::new(path),
            cause,
        })?;
        Ok(Self {
            bytes: facts.len(),
            changed: facts.modified().ok(),
        })
    }
}

/// Files whose bytes were read and found right, so that ten quotes of one
/// recording read it once.
#[derive(Debug, Default)]
pub(super) struct Verified(HashMap<(PathBuf, String), Look>);

impl Verified {
    /// Compares a file with what is known of it.
    ///
    /// # Errors
    /// [`PullError::Offline`], [`PullError::Changed`], [`PullError::Cancelled`].
    pub fn check(&mut self, original: &Original, cancel: &Cancel) -> Result<Look, PullError> {
        let look = Look::at(&original.path)?;
        let file = ShownPath::new(&original.path);
        if let Some(bytes) = original.bytes.filter(|bytes| *bytes != look.bytes) {
            return Err(PullError::Changed {
                file,
                how: format!("it had {bytes} bytes and has {}", look.bytes),
            });
        }
        let Some(hash) = &original.hash else {
            return Ok(look);
        };
        let key = (original.path.clone(), hash.clone());
        if self.0.get(&key) == Some(&look) {
            return Ok(look);
        }
        let now = content_hash(&original.path, cancel, &mut |_| {})?;
        if !now.eq_ignore_ascii_case(hash) {
            return Err(PullError::Changed {
                file,
                how: "its length is the same, what is in it is not".into(),
            });
        }
        self.0.insert(key, look);
        Ok(look)
    }
}

/// Refuses a file that was written to since `before`.
pub(super) fn unchanged(path: &Path, before: Look) -> Result<(), PullError> {
    if Look::at(path)? == before {
        return Ok(());
    }
    Err(PullError::Changed {
        file: ShownPath::new(path),
        how: "it was written to while it was read".into(),
    })
}

/// Whether a new file at `target` would take an original's place.
pub(super) fn is_original(path: &Path, target: &Path) -> bool {
    let entry = |path: &Path| -> Option<PathBuf> {
        let folder = path
            .parent()
            .filter(|folder| !folder.as_os_str().is_empty());
        let folder = folder.unwrap_or(Path::new(".")).canonicalize().ok()?;
        Some(folder.join(path.file_name()?))
    };
    let (file, there) = (path.canonicalize().ok(), target.canonicalize().ok());
    let target = entry(target);
    // By name, by what a link leads to, and under another spelling of the name.
    (target.is_some() && (target == entry(path) || target == file))
        || (there.is_some() && there == file)
}
