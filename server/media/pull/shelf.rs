//! Where does a folder's content go: to a disk, or down a wire?

use std::fs;
use std::path::Path;

use super::error::PullError;
use super::place::{Existing, NewFile, NewFolder};

/// What takes the files of a folder, one after another. Paths are relative to the
/// folder, with `/` between their parts.
pub trait Shelf {
    /// Begins a file of exactly so many bytes.
    ///
    /// # Errors
    /// [`PullError::Write`].
    fn begin(&mut self, path: &str, bytes: u64) -> Result<(), PullError>;

    /// The next bytes of it.
    ///
    /// # Errors
    /// [`PullError::Write`].
    fn write(&mut self, bytes: &[u8]) -> Result<(), PullError>;

    /// That it is whole.
    ///
    /// # Errors
    /// [`PullError::Write`].
    fn end(&mut self) -> Result<(), PullError>;

    /// Takes back the file that was begun and has not ended, where that is possible.
    fn undo(&mut self) -> bool;

    /// That there are no more files.
    ///
    /// # Errors
    /// [`PullError::Write`], [`PullError::Exists`].
    fn finish(self: Box<Self>) -> Result<(), PullError>;
}

/// A folder of a disk.
pub(super) struct OnDisk {
    place: NewFolder,
    file: Option<NewFile>,
}

impl OnDisk {
    /// # Errors
    /// [`PullError::Exists`], [`PullError::Write`].
    pub fn create(target: &Path) -> Result<Self, PullError> {
        Ok(Self {
            place: NewFolder::create(target)?,
            file: None,
        })
    }
}

impl Shelf for OnDisk {
    fn begin(&mut self, path: &str, _bytes: u64) -> Result<(), PullError> {
        let target = self.place.path().join(path);
        if let Some(folder) = target.parent() {
            fs::create_dir_all(folder).map_err(PullError::write(folder))?;
        }
        self.file = Some(NewFile::create(&target)?);
        Ok(())
    }

    fn write(&mut self, bytes: &[u8]) -> Result<(), PullError> {
        match &mut self.file {
            Some(file) => file.write(bytes),
            None => Ok(()),
        }
    }

    fn end(&mut self) -> Result<(), PullError> {
        match self.file.take() {
            Some(file) => file.place(Existing::Keep),
            None => Ok(()),
        }
    }

    fn undo(&mut self) -> bool {
        self.file = None;
        true
    }

    fn finish(self: Box<Self>) -> Result<(), PullError> {
        self.place.place()
    }
}
