//! What can be added from a folder of this machine?

use std::fs;
use std::path::{Component, Path, PathBuf};

use super::Roots;
use super::walk::{enter, facts, holds_sound, is_hidden};
use crate::store::shown_name;

/// More entries of one folder are not told.
const MOST: usize = 5000;

/// What lies in a folder.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Listing {
    /// Folders, by name.
    pub folders: Vec<PathBuf>,
    /// Files that hold sound, by name.
    pub files: Vec<Listed>,
    /// Whether there is more than is told.
    pub cut_short: bool,
}

/// A file of a folder.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Listed {
    /// Where it lies.
    pub path: PathBuf,
    /// Its bytes.
    pub size: i64,
    /// When it was last changed, ms since 1970.
    pub mtime_ms: i64,
}

/// What lies in a folder below a root: what adding it would take in, its folders told
/// and not walked. No link is followed out of the root, and none to a folder.
///
/// # Errors
/// Why it can't be looked into, as the rest of a sentence that begins with the folder.
pub fn look_into(root: &Path, below: &Path) -> Result<Listing, String> {
    let is_plain = |part: Component<'_>| matches!(part, Component::Normal(_));
    if !below.components().all(is_plain) {
        return Err("is not a path below the root".to_owned());
    }
    let root = root
        .canonicalize()
        .map_err(|cause| format!("is not there: {cause}"))?;
    let roots = Roots::Under(vec![root.clone()]);
    let wanted = root.join(below);
    let (folder, about) = enter(&wanted, &roots)?;
    // A link in between would make it another.
    if folder.as_os_str() != trimmed(&wanted).as_os_str() {
        return Err("lies behind a link, which is not followed".to_owned());
    }
    if !about.is_dir() {
        return Err("is no folder".to_owned());
    }
    let entries = fs::read_dir(&folder).map_err(|cause| format!("cannot be read: {cause}"))?;
    let mut found: Vec<PathBuf> = entries
        .flatten()
        .map(|entry| entry.path())
        .filter(|path| !is_hidden(path) && (holds_sound(path) || path.is_dir()))
        .take(MOST + 1)
        .collect();
    let cut_short = found.len() > MOST;
    found.truncate(MOST);
    found.sort_by_cached_key(|path| shown_name(path).to_lowercase());
    let mut listing = Listing {
        cut_short,
        ..Listing::default()
    };
    for path in found {
        if path.is_dir() {
            if !path.is_symlink() {
                listing.folders.push(path);
            }
        } else if holds_sound(&path)
            && let Ok((_, about)) = enter(&path, &roots)
            && about.is_file()
        {
            let (size, mtime_ns) = facts(&about);
            listing.files.push(Listed {
                path,
                size,
                mtime_ms: mtime_ns / 1_000_000,
            });
        }
    }
    Ok(listing)
}

/// Without the separator that joining nothing leaves.
fn trimmed(path: &Path) -> PathBuf {
    path.components().collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_folder_tells_what_adding_it_would_take_in() {
        let dir = tempfile::tempdir().expect("a folder");
        let outside = tempfile::tempdir().expect("a folder");
        fs::write(outside.path().join("secret.wav"), b"x").expect("a file");
        let root = dir.path();
        fs::create_dir_all(root.join("Card B/SUB")).expect("a folder");
        for file in ["b.WAV", "A.mov", "notes.txt", ".hidden.wav", "Card B/c.wav"] {
            fs::write(root.join(file), b"123").expect("a file");
        }
        let link = |to: &Path, at: &str| {
            std::os::unix::fs::symlink(to, root.join(at)).expect("a link");
        };
        link(outside.path(), "out");
        link(&outside.path().join("secret.wav"), "out.wav");
        link(&root.join("A.mov"), "within.mov");
        link(&root.join("Card B"), "again");
        let names = |paths: &[PathBuf]| paths.iter().map(|p| shown_name(p)).collect::<Vec<_>>();
        let listing = look_into(root, Path::new("")).expect("it is looked into");
        let files: Vec<PathBuf> = listing.files.iter().map(|f| f.path.clone()).collect();
        assert_eq!(names(&listing.folders), ["Card B"]);
        assert_eq!(names(&files), ["A.mov", "b.WAV", "within.mov"]);
        assert_eq!(listing.files[0].size, 3);
        let below = look_into(root, Path::new("Card B")).expect("it is looked into");
        assert_eq!(names(&below.folders), ["SUB"]);
        for bad in [
            "..",
            "/etc",
            "Card B/../..",
            "out",
            "again",
            "A.mov",
            "none",
        ] {
            assert!(look_into(root, Path::new(bad)).is_err(), "{bad}");
        }
    }
}
