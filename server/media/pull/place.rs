//! A file or folder that is whole or not there at all.

use std::fs::{self, File, TryLockError};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use super::super::error::ShownPath;
use super::error::PullError;

/// What to do where something lies already.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Existing {
    /// Leave it, and say so.
    #[default]
    Keep,
    /// Put the new file in its place, as a whole.
    Replace,
}

/// A name beside `target` that nobody else uses.
fn aside(target: &Path) -> PathBuf {
    target.with_file_name(format!(".sayback-{}.part", uuid::Uuid::now_v7().simple()))
}

fn exists(target: &Path) -> PullError {
    PullError::Exists {
        file: ShownPath::new(target),
    }
}

/// Refuses a target that is taken.
pub(super) fn is_free(target: &Path) -> Result<(), PullError> {
    match fs::symlink_metadata(target) {
        Ok(_) => Err(exists(target)),
        Err(_) => Ok(()),
    }
}

/// A file being written under another name; gone when dropped before its time.
pub(super) struct NewFile {
    file: File,
    aside: PathBuf,
    target: PathBuf,
}

impl NewFile {
    pub fn create(target: &Path) -> Result<Self, PullError> {
        let aside = aside(target);
        let file = File::create_new(&aside).map_err(PullError::write(target))?;
        Ok(Self {
            file,
            aside,
            target: target.to_owned(),
        })
    }

    pub fn write(&mut self, bytes: &[u8]) -> Result<(), PullError> {
        self.file
            .write_all(bytes)
            .map_err(PullError::write(&self.target))
    }

    /// Gives the file its name.
    pub fn place(mut self, existing: Existing) -> Result<(), PullError> {
        self.file
            .sync_all()
            .map_err(PullError::write(&self.target))?;
        let moved = match existing {
            Existing::Keep => move_new(&self.aside, &self.target, || {
                File::create_new(&self.target).map(|_| ())
            }),
            Existing::Replace => fs::rename(&self.aside, &self.target),
        };
        moved.map_err(|cause| taken(&self.target, cause))?;
        self.aside = PathBuf::new();
        Ok(())
    }
}

impl Drop for NewFile {
    fn drop(&mut self) {
        if !self.aside.as_os_str().is_empty() {
            let _ = fs::remove_file(&self.aside);
        }
    }
}

/// A folder being filled under another name, which says that it is not whole; gone
/// when dropped before its time. Locked as long as somebody fills it.
pub(super) struct NewFolder {
    aside: PathBuf,
    target: PathBuf,
    lock: Option<File>,
}

/// Between the name of a folder and something that nobody else has, while it is filled.
const UNFINISHED: &str = ".unfinished-";
/// Bytes of a folder's name that are kept in that.
const KEPT_OF_NAME: usize = 180;

/// How the name of a folder starts while it is filled.
fn unfinished_name(target: &Path) -> String {
    let name = target.file_name().unwrap_or_default().to_string_lossy();
    format!("{}{UNFINISHED}", super::text::cut(&name, KEPT_OF_NAME))
}

/// What earlier attempts at a folder left behind when the program or the machine was
/// stopped: nobody fills these any more.
#[must_use]
pub fn left_over(target: &Path) -> Vec<PathBuf> {
    let start = unfinished_name(target);
    let around = target.parent().map(fs::read_dir).and_then(Result::ok);
    let entries = around.into_iter().flatten().filter_map(Result::ok);
    let named = entries.filter(|entry| entry.file_name().to_string_lossy().starts_with(&start));
    let mut left: Vec<PathBuf> = named
        .map(|entry| entry.path())
        .filter(|path| path.is_dir() && !is_being_filled(path))
        .collect();
    left.sort();
    left
}

fn is_being_filled(folder: &Path) -> bool {
    let lock = File::open(folder).map(|folder| folder.try_lock());
    matches!(lock, Ok(Err(TryLockError::WouldBlock)))
}

impl NewFolder {
    /// # Errors
    /// [`PullError::Exists`] where something lies at `target`.
    pub fn create(target: &Path) -> Result<Self, PullError> {
        is_free(target)?;
        let own = uuid::Uuid::now_v7().simple();
        let aside = target.with_file_name(format!("{}{own}", unfinished_name(target)));
        fs::create_dir(&aside).map_err(PullError::write(target))?;
        // Some network disks know no locks; then it is taken for left over meanwhile.
        let lock = File::open(&aside)
            .ok()
            .filter(|lock| lock.try_lock().is_ok());
        Ok(Self {
            aside,
            target: target.to_owned(),
            lock,
        })
    }

    /// Where the folder is while it is filled.
    pub fn path(&self) -> &Path {
        &self.aside
    }

    /// Gives the folder its name.
    pub fn place(mut self) -> Result<(), PullError> {
        let moved = move_new(&self.aside, &self.target, || fs::create_dir(&self.target));
        moved.map_err(|cause| taken(&self.target, cause))?;
        self.aside = PathBuf::new();
        Ok(())
    }
}

impl Drop for NewFolder {
    fn drop(&mut self) {
        if !self.aside.as_os_str().is_empty() {
            let _ = fs::remove_dir_all(&self.aside);
        }
        drop(self.lock.take());
    }
}

/// Moves what was written to a name that nothing has. Where the system cannot
/// do both at once, `hold` takes the name first with something empty, which the
/// move replaces: then a power cut between the two leaves that.
fn move_new(from: &Path, to: &Path, hold: impl FnOnce() -> io::Result<()>) -> io::Result<()> {
    #[cfg(target_os = "linux")]
    {
        use rustix::fs::{CWD, RenameFlags, renameat_with};
        use rustix::io::Errno;
        match renameat_with(CWD, from, CWD, to, RenameFlags::NOREPLACE) {
            // Not every file system can.
            Err(Errno::INVAL | Errno::NOSYS | Errno::OPNOTSUPP) => {}
            done => return Ok(done?),
        }
    }
    hold()?;
    fs::rename(from, to).inspect_err(|_| {
        let _ = fs::remove_file(to).or_else(|_| fs::remove_dir(to));
    })
}

fn taken(target: &Path, cause: io::Error) -> PullError {
    match cause.kind() {
        io::ErrorKind::AlreadyExists => exists(target),
        _ => PullError::write(target)(cause),
    }
}

/// In lower-case hex.
pub(super) fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}
