//! Many pulls and the lists that go with them, as one folder to hand over.

use std::path::Path;

use sayback_core::Cancel;
use serde::Serialize;
use sha2::{Digest as _, Sha256};

use super::error::PullError;
use super::original::Verified;
use super::place::hex;
use super::ready::Ready;
use super::shelf::{OnDisk, Shelf};
use super::text::Names;
use super::{Pull, Pulled};

/// Where the sound lies in the folder.
const AUDIO: &str = "audio";
/// How its files end.
const SOUND: &str = "wav";
/// Where it says what is in the folder.
const MANIFEST: &str = "manifest.json";
/// Longest ending of a name that is kept, in characters.
const ENDING_MAX: usize = 10;

/// What is in a folder, as its `manifest.json` has it. Paths are relative to
/// the folder, with `/` between their parts.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Manifest {
    /// Which program made it.
    pub made_by: String,
    /// Version of this form, 1.
    pub version: u32,
    /// The sound, in the order asked for.
    pub pulls: Vec<PullEntry>,
    /// The lists.
    pub texts: Vec<TextEntry>,
    /// What could not be pulled.
    pub missing: Vec<Missing>,
}

/// A pull in a folder.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct PullEntry {
    /// Path in the folder.
    pub path: String,
    /// The name asked for.
    pub name: String,
    /// The original's name, without its folder.
    pub original: String,
    /// BLAKE3 of the original, where it was given and so compared.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub original_blake3: Option<String>,
    /// The channel taken, from 1, where it is one of several.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub channel: Option<u16>,
    /// What it is.
    #[serde(flatten)]
    pub pulled: Pulled,
}

/// A list in a folder.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct TextEntry {
    /// Path in the folder.
    pub path: String,
    /// Length in bytes.
    pub bytes: u64,
    /// SHA-256 in lower-case hex.
    pub sha256: String,
}

/// A pull that is not in the folder.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Missing {
    /// The name asked for.
    pub name: String,
    /// The original's name, without its folder.
    pub original: String,
    /// Why, and what to do.
    pub reason: String,
}

/// What became of a pull.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Put {
    /// It is in the folder.
    Pulled(Box<PullEntry>),
    /// It is not, and the manifest says so.
    Missing(Missing),
}

/// A folder being filled. On a disk nothing is at its name before [`Folder::finish`];
/// dropped before, it leaves nothing behind.
pub struct Folder<'a> {
    shelf: Box<dyn Shelf + 'a>,
    verified: Verified,
    audio_names: Names,
    text_names: Names,
    manifest: Manifest,
}

impl<'a> Folder<'a> {
    /// Starts a folder that will be at `target`, whose parent has to exist.
    ///
    /// # Errors
    /// [`PullError::Exists`], [`PullError::Write`].
    pub fn start(target: &Path) -> Result<Self, PullError> {
        Ok(Self::on(OnDisk::create(target)?))
    }

    /// Starts a folder on any shelf.
    #[must_use]
    pub fn on(shelf: impl Shelf + 'a) -> Self {
        let mut text_names = Names::default();
        // Taken, whatever a list is called.
        text_names.reserve(MANIFEST);
        text_names.reserve(AUDIO);
        Self {
            shelf: Box::new(shelf),
            verified: Verified::default(),
            audio_names: Names::default(),
            text_names,
            manifest: Manifest {
                made_by: concat!("sayback ", env!("CARGO_PKG_VERSION")).into(),
                version: 1,
                pulls: Vec::new(),
                texts: Vec::new(),
                missing: Vec::new(),
            },
        }
    }

    /// Pulls a stretch into `audio/` under a safe name made of `name` (without
    /// ending). Where the original is to blame, that is noted in the manifest
    /// and no error, so that the others are written; unless some of it is sent
    /// already and can't be taken back.
    ///
    /// # Errors
    /// [`PullError::Write`], [`PullError::Cancelled`].
    pub fn pull(
        &mut self,
        name: &str,
        wish: &Pull,
        cancel: &Cancel,
        progress: &mut dyn FnMut(f32),
    ) -> Result<Put, PullError> {
        let ready = match Ready::of(wish, &mut self.verified, cancel) {
            Ok(ready) => ready,
            Err(error) => return self.missing(name, wish, error),
        };
        let file = self.audio_names.give(name, SOUND);
        let path = format!("{AUDIO}/{file}");
        self.shelf.begin(&path, ready.bytes())?;
        let shelf = &mut self.shelf;
        match ready.write(&mut |bytes| shelf.write(bytes), cancel, progress) {
            Ok(pulled) => {
                self.shelf.end()?;
                let entry = PullEntry {
                    path,
                    name: name.to_owned(),
                    original: original_name(wish),
                    original_blake3: wish.original.hash.clone(),
                    channel: wish.channel,
                    pulled,
                };
                self.manifest.pulls.push(entry.clone());
                Ok(Put::Pulled(Box::new(entry)))
            }
            Err(error) if self.shelf.undo() => {
                self.audio_names.take_back(name, SOUND, &file);
                self.missing(name, wish, error)
            }
            Err(error) => Err(error),
        }
    }

    /// Notes what could not be pulled, if its original is to blame.
    fn missing(&mut self, name: &str, wish: &Pull, error: PullError) -> Result<Put, PullError> {
        if !error.is_of_the_original() {
            return Err(error);
        }
        let missing = Missing {
            name: name.to_owned(),
            original: original_name(wish),
            reason: error.to_string(),
        };
        self.manifest.missing.push(missing.clone());
        Ok(Put::Missing(missing))
    }

    /// Adds a list; its name is made safe and unique, its ending kept. Returns
    /// the path in the folder.
    ///
    /// # Errors
    /// [`PullError::Write`].
    pub fn text(&mut self, name: &str, bytes: &[u8]) -> Result<String, PullError> {
        let (stem, ending) = parted(name);
        let path = self.text_names.give(stem, ending);
        self.put(&path, bytes)?;
        self.manifest.texts.push(TextEntry {
            path: path.clone(),
            bytes: bytes.len() as u64,
            sha256: hex(&Sha256::digest(bytes)),
        });
        Ok(path)
    }

    fn put(&mut self, path: &str, bytes: &[u8]) -> Result<(), PullError> {
        self.shelf.begin(path, bytes.len() as u64)?;
        self.shelf.write(bytes)?;
        self.shelf.end()
    }

    /// What is in the folder so far.
    #[must_use]
    pub fn manifest(&self) -> &Manifest {
        &self.manifest
    }

    /// Writes the manifest and ends the folder: on a disk it gets its name, all at once.
    ///
    /// # Errors
    /// [`PullError::Exists`] where something was put there meanwhile;
    /// [`PullError::Write`].
    pub fn finish(mut self) -> Result<Manifest, PullError> {
        let mut json = serde_json::to_vec_pretty(&self.manifest)
            .map_err(|cause| PullError::write(Path::new(MANIFEST))(cause.into()))?;
        json.push(b'\n');
        self.put(MANIFEST, &json)?;
        self.shelf.finish()?;
        Ok(self.manifest)
    }
}

fn original_name(wish: &Pull) -> String {
    let name = wish.original.path.file_name().unwrap_or_default();
    name.to_string_lossy().into_owned()
}

/// A name and its ending, which is `txt` where there is none to speak of.
fn parted(name: &str) -> (&str, &str) {
    match name.rsplit_once('.') {
        Some((stem, ending))
            if stem.contains(char::is_alphanumeric)
                && (1..=ENDING_MAX).contains(&ending.len())
                && ending.bytes().all(|byte| byte.is_ascii_alphanumeric()) =>
        {
            (stem, ending)
        }
        _ => (name, "txt"),
    }
}
