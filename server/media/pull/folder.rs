//! Many pulls and the lists that go with them, as one folder to hand over.

use std::fs;
use std::path::Path;

use sayback_core::Cancel;
use serde::Serialize;

use super::error::PullError;
use super::original::Verified;
use super::place::{Existing, NewFile, NewFolder};
use super::text::Names;
use super::{Pull, Pulled, pull_verified};

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
    /// Length in bytes.
    pub bytes: u64,
    /// SHA-256 in lower-case hex.
    pub sha256: String,
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
    /// The original's sample that is the file's first.
    pub first: u64,
    /// Samples of each channel, handles included.
    pub frames: u64,
    /// Samples of the handle before.
    pub before: u64,
    /// Samples of the handle after.
    pub after: u64,
    /// Samples a second.
    pub rate_hz: u32,
    /// Channels.
    pub channels: u16,
    /// Bits of a sample that count.
    pub bits: u16,
    /// Whether they are float.
    pub float: bool,
    /// Samples since midnight at the first, where the original knows.
    pub time_reference: Option<u64>,
    /// How its samples came about, in words.
    pub made: String,
    /// What a reader should know.
    pub notes: Vec<String>,
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

/// A folder being filled. Nothing is at its name before [`Folder::finish`];
/// dropped before, it leaves nothing behind.
pub struct Folder {
    place: NewFolder,
    verified: Verified,
    audio_names: Names,
    text_names: Names,
    manifest: Manifest,
}

impl Folder {
    /// Starts a folder that will be at `target`, whose parent has to exist.
    ///
    /// # Errors
    /// [`PullError::Exists`], [`PullError::Write`].
    pub fn start(target: &Path) -> Result<Self, PullError> {
        let place = NewFolder::create(target)?;
        let mut text_names = Names::default();
        // Taken, whatever a list is called.
        text_names.reserve(MANIFEST);
        text_names.reserve(AUDIO);
        Ok(Self {
            place,
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
        })
    }

    /// Pulls a stretch into `audio/` under a safe name made of `name` (without
    /// ending). Where the original is to blame, that is noted in the manifest
    /// and no error, so that the others are written.
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
        let folder = self.place.path().join(AUDIO);
        fs::create_dir_all(&folder).map_err(PullError::write(&folder))?;
        let file = self.audio_names.give(name, SOUND);
        let target = folder.join(&file);
        let verified = &mut self.verified;
        match pull_verified(wish, &target, Existing::Keep, verified, cancel, progress) {
            Ok(pulled) => {
                let entry = entry(name, &file, wish, pulled);
                self.manifest.pulls.push(entry.clone());
                Ok(Put::Pulled(Box::new(entry)))
            }
            Err(error) if error.is_of_the_original() => {
                self.audio_names.take_back(name, SOUND, &file);
                let missing = Missing {
                    name: name.to_owned(),
                    original: original_name(wish),
                    reason: error.to_string(),
                };
                self.manifest.missing.push(missing.clone());
                Ok(Put::Missing(missing))
            }
            Err(error) => Err(error),
        }
    }

    /// Adds a list; its name is made safe and unique, its ending kept. Returns
    /// the path in the folder.
    ///
    /// # Errors
    /// [`PullError::Write`].
    pub fn text(&mut self, name: &str, bytes: &[u8]) -> Result<String, PullError> {
        let (stem, ending) = parted(name);
        let path = self.text_names.give(stem, ending);
        let (bytes, sha256) = write(&self.place.path().join(&path), bytes)?;
        self.manifest.texts.push(TextEntry {
            path: path.clone(),
            bytes,
            sha256,
        });
        Ok(path)
    }

    /// What is in the folder so far.
    #[must_use]
    pub fn manifest(&self) -> &Manifest {
        &self.manifest
    }

    /// Writes the manifest and gives the folder its name, all at once.
    ///
    /// # Errors
    /// [`PullError::Exists`] where something was put there meanwhile;
    /// [`PullError::Write`].
    pub fn finish(self) -> Result<Manifest, PullError> {
        let target = self.place.path().join(MANIFEST);
        let mut json = serde_json::to_vec_pretty(&self.manifest)
            .map_err(|cause| PullError::write(&target)(cause.into()))?;
        json.push(b'\n');
        write(&target, &json)?;
        self.place.place()?;
        Ok(self.manifest)
    }
}

/// A folder of pulls and lists, each with the name wanted; `progress` gets 0.0
/// to 1.0 over all pulls.
///
/// # Errors
/// As [`Folder::start`], [`Folder::pull`] and [`Folder::finish`]; nothing is
/// left behind then.
pub fn write_folder(
    target: &Path,
    pulls: &[(String, Pull)],
    texts: &[(String, Vec<u8>)],
    cancel: &Cancel,
    progress: &mut dyn FnMut(f32),
) -> Result<Manifest, PullError> {
    let mut folder = Folder::start(target)?;
    for (n, (name, wish)) in pulls.iter().enumerate() {
        let so_far = n as f32;
        let mut part = |done: f32| progress((so_far + done) / pulls.len() as f32);
        folder.pull(name, wish, cancel, &mut part)?;
    }
    for (name, bytes) in texts {
        folder.text(name, bytes)?;
    }
    folder.finish()
}

fn entry(name: &str, file: &str, wish: &Pull, pulled: Pulled) -> PullEntry {
    PullEntry {
        path: format!("{AUDIO}/{file}"),
        bytes: pulled.bytes,
        sha256: pulled.sha256,
        name: name.to_owned(),
        original: original_name(wish),
        original_blake3: wish.original.hash.clone(),
        channel: wish.channel,
        first: pulled.first,
        frames: pulled.frames,
        before: pulled.before,
        after: pulled.after,
        rate_hz: pulled.form.rate_hz,
        channels: pulled.form.channels,
        bits: pulled.form.valid_bits,
        float: pulled.form.float,
        time_reference: pulled.time_reference,
        made: pulled.made.to_string(),
        notes: pulled.notes,
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

fn write(target: &Path, bytes: &[u8]) -> Result<(u64, String), PullError> {
    let mut file = NewFile::create(target)?;
    file.write(bytes)?;
    file.place(Existing::Keep)
}
