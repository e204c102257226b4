//! Is this file the model the manifest pins, without hashing it every time?
//!
//! Beside a model lies a small `.checked` file that says for which size and
//! date of it which hash was found. Another date, and the file is hashed anew.

use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::time::UNIX_EPOCH;

use sayback_core::Cancel;
use serde::{Deserialize, Serialize};

use super::manifest::Model;
use super::{SpeechError, hash};

/// What a `.checked` file says: this hash was found for this size and date.
#[derive(Debug, PartialEq, Eq, Serialize, Deserialize)]
struct Checked {
    bytes: u64,
    modified_ns: u64,
    sha256: String,
}

/// Moves a finished part to its place if its hash is right, else removes it.
pub(super) fn place(
    model: &Model,
    part: &Path,
    file: &Path,
    digest: &str,
) -> Result<(), SpeechError> {
    if digest != model.sha256 {
        fs::remove_file(part).map_err(SpeechError::io("remove", part))?;
        return Err(SpeechError::Hash {
            what: format!("the speech model {}", model.name),
            found: digest.into(),
            pinned: model.sha256.into(),
        });
    }
    fs::rename(part, file).map_err(SpeechError::io("replace", file))?;
    // The new name itself has to reach the disk.
    if let Some(Ok(dir)) = file.parent().map(File::open) {
        let _ = dir.sync_all();
    }
    remember(file, digest);
    Ok(())
}

/// Whether a file is the manifest's, by size, then by hash, which is
/// remembered.
pub(super) fn check(model: &Model, file: &Path, cancel: &Cancel) -> Result<(), SpeechError> {
    let wrong = |reason: String| SpeechError::WrongFile {
        name: model.name.into(),
        file: file.to_owned(),
        reason,
    };
    let meta = fs::metadata(file).map_err(SpeechError::io("read", file))?;
    if meta.len() != model.bytes {
        return Err(wrong(format!(
            "it has {} bytes, not {}",
            meta.len(),
            model.bytes
        )));
    }
    let remembered = fs::read(beside(file))
        .ok()
        .and_then(|text| serde_json::from_slice::<Checked>(&text).ok());
    if let Some(now) = stamp(file, model.sha256)
        && remembered == Some(now)
    {
        return Ok(());
    }
    let digest = hash::of_file(file, cancel)?;
    if digest != model.sha256 {
        return Err(wrong(format!(
            "its SHA-256 is {digest}, not {}",
            model.sha256
        )));
    }
    remember(file, &digest);
    Ok(())
}

fn beside(file: &Path) -> PathBuf {
    file.with_extension("bin.checked")
}

fn stamp(file: &Path, sha256: &str) -> Option<Checked> {
    let meta = fs::metadata(file).ok()?;
    let modified = meta.modified().ok()?.duration_since(UNIX_EPOCH).ok()?;
    Some(Checked {
        bytes: meta.len(),
        modified_ns: u64::try_from(modified.as_nanos()).ok()?,
        sha256: sha256.into(),
    })
}

/// A shelf that cannot be written to is only slower.
fn remember(file: &Path, sha256: &str) {
    if let Some(checked) = stamp(file, sha256)
        && let Ok(text) = serde_json::to_vec(&checked)
        && let Err(error) = fs::write(beside(file), text)
    {
        tracing::debug!(%error, file = %file.display(), "could not remember the check of a model");
    }
}
