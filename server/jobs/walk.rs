//! Which files does this path mean?
//!
//! A folder means the recordings in it and below. Hidden files and what lies
//! beside recordings on a card (pictures, texts, previews, indexes) are passed
//! over without a word; a file of no known kind is reported; a file named by
//! itself is always tried, whatever it is called.

use std::fs::{self, Metadata};
use std::io;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};

use super::{JobsError, Refused};
use crate::store::shown_name;

/// Folders below a given one that are looked into.
const DEPTH: usize = 16;

/// Endings of files that hold sound, in lower case.
const SOUND: &[&str] = &[
    "3gp", "aac", "aif", "aifc", "aiff", "bw64", "bwf", "flac", "m4a", "m4v", "mka", "mkv", "mov",
    "mp3", "mp4", "mxf", "oga", "ogg", "opus", "rf64", "wav", "wave", "webm",
];

/// Endings of what lies beside recordings and holds none, in lower case.
const BESIDE: &[&str] = &[
    "arw", "bdm", "bim", "bin", "bmp", "cfg", "cpi", "cr2", "cr3", "csv", "ctg", "db", "dll",
    "dng", "doc", "docx", "edl", "exe", "gif", "gz", "heic", "htm", "html", "idx", "ind", "inf",
    "ini", "jpeg", "jpg", "json", "log", "lrv", "md", "mpl", "nef", "pdf", "pek", "pkf", "png",
    "ppn", "raw", "rtf", "srt", "sys", "tbl", "thm", "tif", "tiff", "tmp", "txt", "vtt", "xls",
    "xlsx", "xml", "xmp", "zip",
];

/// Where recordings may lie.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Roots {
    /// Anywhere this process can read: the owner asks.
    Anywhere,
    /// In or below these folders, after following every link.
    Under(Vec<PathBuf>),
}

impl Roots {
    /// The same roots with every link followed.
    ///
    /// # Errors
    /// [`JobsError::Root`] when a root is not there.
    pub(super) fn followed(&self) -> Result<Self, JobsError> {
        match self {
            Self::Anywhere => Ok(Self::Anywhere),
            Self::Under(roots) => roots
                .iter()
                .map(|root| {
                    root.canonicalize().map_err(|cause| JobsError::Root {
                        path: root.clone(),
                        cause,
                    })
                })
                .collect::<Result<_, _>>()
                .map(Self::Under),
        }
    }

    /// Whether a path without links lies in or below a root.
    fn hold(&self, path: &Path) -> bool {
        match self {
            Self::Anywhere => true,
            Self::Under(roots) => roots.iter().any(|root| path.starts_with(root)),
        }
    }
}

/// What a walk came upon.
#[derive(Debug)]
pub(super) enum Found {
    /// A file to open.
    File {
        /// Where, with every link followed.
        path: PathBuf,
        /// The source it belongs to, if the caller names none: the given folder,
        /// or the folder in it that the file lies in or below.
        folder: String,
        /// Its bytes.
        size: i64,
        /// When it was last changed, ns since 1970.
        mtime_ns: i64,
    },
    /// Something that will not be opened.
    Refused(Refused),
}

/// Takes what a walk comes upon, and says whether to go on.
type Report<'a> = dyn FnMut(Found) -> ControlFlow<()> + 'a;

/// Reports every file `given` means, in order of name.
pub(super) fn walk(given: &Path, roots: &Roots, report: &mut Report<'_>) -> ControlFlow<()> {
    match enter(given, roots) {
        Err(reason) => report(refused(given, reason)),
        Ok((path, about)) if about.is_file() => {
            let folder = shown_name(path.parent().unwrap_or(Path::new("")));
            report(file(path, folder, &about))
        }
        Ok((path, about)) if about.is_dir() => {
            let own = shown_name(&path);
            walk_folder(&path, &own, true, DEPTH, roots, report)
        }
        Ok(_) => report(refused(given, "is neither a file nor a folder".to_owned())),
    }
}

/// Walks a folder without links; `top` says that it was given by name, so that
/// each folder in it is a source of its own.
fn walk_folder(
    folder: &Path,
    source: &str,
    top: bool,
    depth: usize,
    roots: &Roots,
    report: &mut Report<'_>,
) -> ControlFlow<()> {
    if depth == 0 {
        let reason = format!("lies more than {DEPTH} folders deep; add it by itself");
        return report(refused(folder, reason));
    }
    let mut entries: Vec<PathBuf> =
        match fs::read_dir(folder).and_then(Iterator::collect::<io::Result<Vec<_>>>) {
            Ok(entries) => entries.iter().map(fs::DirEntry::path).collect(),
            Err(cause) => return report(refused(folder, why(&cause))),
        };
    entries.sort();
    for path in entries {
        if is_hidden(&path) {
            continue;
        }
        // A linked folder is left alone: links may go round in circles.
        if path.is_symlink() && path.is_dir() {
            continue;
        }
        match enter(&path, roots) {
            Ok((path, about)) if about.is_dir() => {
                let own = shown_name(&path);
                let source = if top { own.as_str() } else { source };
                walk_folder(&path, source, false, depth - 1, roots, report)?;
            }
            entered => {
                if let Some(found) = look_at(&path, entered, source) {
                    report(found)?;
                }
            }
        }
    }
    ControlFlow::Continue(())
}

/// What to make of an entry of a folder that is no folder; `None` passes over it.
fn look_at(
    given: &Path,
    entered: Result<(PathBuf, Metadata), String>,
    source: &str,
) -> Option<Found> {
    if BESIDE.contains(&ending_of(given).as_str()) {
        return None;
    }
    if !holds_sound(given) {
        let reason = "has no ending that recordings have; add the file by itself to have it tried";
        return Some(refused(given, reason.to_owned()));
    }
    Some(match entered {
        Ok((path, about)) if about.is_file() => file(path, source.to_owned(), &about),
        Ok(_) => refused(given, "is neither a file nor a folder".to_owned()),
        Err(reason) => refused(given, reason),
    })
}

/// Whether a file is called as recordings are.
pub(super) fn holds_sound(path: &Path) -> bool {
    SOUND.contains(&ending_of(path).as_str())
}

fn ending_of(path: &Path) -> String {
    let ending = path.extension().map(|e| e.to_string_lossy().to_lowercase());
    ending.unwrap_or_default()
}

/// Follows every link of a path and sees that it may be entered.
pub(super) fn enter(path: &Path, roots: &Roots) -> Result<(PathBuf, Metadata), String> {
    let outside = "lies outside the folders this server may read (--root)";
    // Said before anything is looked up: what lies outside is nobody's business.
    if let Roots::Under(_) = roots {
        let plain = std::path::absolute(path).map_err(|cause| why(&cause))?;
        let parent_is_inside = plain
            .ancestors()
            .find_map(|above| above.canonicalize().ok())
            .is_some_and(|above| roots.hold(&above));
        if !parent_is_inside {
            return Err(outside.to_owned());
        }
    }
    let followed = path.canonicalize().map_err(|cause| why(&cause))?;
    if !roots.hold(&followed) {
        return Err(outside.to_owned());
    }
    let about = followed.metadata().map_err(|cause| why(&cause))?;
    Ok((followed, about))
}

fn why(cause: &io::Error) -> String {
    match cause.kind() {
        io::ErrorKind::NotFound => "is not there".to_owned(),
        io::ErrorKind::PermissionDenied => "may not be read by this user".to_owned(),
        _ => format!("cannot be looked at: {cause}"),
    }
}

pub(super) fn is_hidden(path: &Path) -> bool {
    path.file_name()
        .is_some_and(|name| name.as_encoded_bytes().starts_with(b"."))
}

fn refused(path: &Path, reason: String) -> Found {
    Found::Refused(Refused {
        file: path.to_owned(),
        reason,
    })
}

fn file(path: PathBuf, folder: String, about: &Metadata) -> Found {
    let (size, mtime_ns) = facts(about);
    Found::File {
        path,
        folder,
        size,
        mtime_ns,
    }
}

/// Bytes and time of last change (ns since 1970) of a file: by these two it is
/// told whether the same bytes still lie there.
pub(super) fn facts(about: &Metadata) -> (i64, i64) {
    let size = i64::try_from(about.len()).unwrap_or(i64::MAX);
    let mtime_ns = about
        .modified()
        .ok()
        .and_then(|time| time.duration_since(std::time::UNIX_EPOCH).ok())
        .and_then(|since| i64::try_from(since.as_nanos()).ok())
        .unwrap_or(0);
    (size, mtime_ns)
}
