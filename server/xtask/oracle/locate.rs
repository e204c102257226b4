//! Where each oracle lies, or what is missing. Nothing is fetched here.

use super::manifest;
use crate::process::on_path;
use anyhow::{Result, anyhow, bail};
use std::path::{Path, PathBuf};

/// Debian keeps NIST's tools out of the search path.
const SCTK: &str = "/usr/lib/sctk/bin";

/// The folder outside the repository that holds what was fetched:
/// `$SAYBACK_CACHE`, else `$XDG_CACHE_HOME/sayback`, else `~/.cache/sayback`.
///
/// # Errors
/// When none of the three is set.
pub fn cache() -> Result<PathBuf> {
    if let Some(folder) = folder_in("SAYBACK_CACHE") {
        return Ok(folder);
    }
    if let Some(folder) = folder_in("XDG_CACHE_HOME") {
        return Ok(folder.join("sayback"));
    }
    folder_in("HOME")
        .map(|home| home.join(".cache/sayback"))
        .ok_or_else(|| anyhow!("no place for a cache: set SAYBACK_CACHE to a folder"))
}

/// The folder of speech models that the program uses by default:
/// `$SAYBACK_MODELS`, else `$XDG_DATA_HOME/sayback/models`, else
/// `~/.local/share/sayback/models`.
///
/// # Errors
/// When none of the three is set.
pub fn models() -> Result<PathBuf> {
    if let Some(folder) = folder_in("SAYBACK_MODELS") {
        return Ok(folder);
    }
    if let Some(folder) = folder_in("XDG_DATA_HOME") {
        return Ok(folder.join("sayback/models"));
    }
    folder_in("HOME")
        .map(|home| home.join(".local/share/sayback/models"))
        .ok_or_else(|| anyhow!("no place for speech models: set SAYBACK_MODELS to a folder"))
}

fn folder_in(variable: &str) -> Option<PathBuf> {
    std::env::var_os(variable)
        .filter(|value| !value.is_empty())
        .map(PathBuf::from)
}

pub(crate) fn ffmpeg() -> Result<PathBuf> {
    program(&["ffmpeg"])
}

pub(crate) fn ffprobe() -> Result<PathBuf> {
    program(&["ffprobe"])
}

pub(crate) fn flite() -> Result<PathBuf> {
    program(&["flite"])
}

pub(crate) fn espeak() -> Result<PathBuf> {
    program(&["espeak-ng"])
}

pub(crate) fn sox() -> Result<PathBuf> {
    program(&["sox"])
}

pub(crate) fn sclite() -> Result<PathBuf> {
    of_sctk("sclite")
}

pub(crate) fn md_eval() -> Result<PathBuf> {
    of_sctk("md-eval.pl")
}

pub(crate) fn chromium() -> Result<PathBuf> {
    program(&["chromium", "chromium-browser"])
}

pub(crate) fn chromedriver() -> Result<PathBuf> {
    program(&["chromedriver"])
}

pub(crate) fn python() -> Result<PathBuf> {
    let folder = venv()?;
    if !folder.join(READY).is_file() {
        bail!("the Python packages of the tests are missing");
    }
    Ok(folder.join("bin/python"))
}

pub(crate) fn data(package: &str) -> Result<PathBuf> {
    let folder = data_folder(package)?;
    if !folder.join(READY).is_file() {
        bail!("the test recordings of {package} are missing");
    }
    let root = folder.join("files");
    // A source distribution holds one folder, which is what a reader expects.
    match manifest::find(package)?.inside {
        Some(inside) => Ok(root.join(inside)),
        None => Ok(root),
    }
}

pub(crate) fn model(name: &str) -> Result<PathBuf> {
    let file = match name {
        "voices" | "meaning" => format!("{name}.bin"),
        words => format!("ggml-{words}.bin"),
    };
    let file = models()?.join(file);
    if !file.is_file() {
        bail!("the model {name} is missing ({})", file.display());
    }
    Ok(file)
}

/// Written last into what was prepared: what lacks it is half-done.
pub(super) const READY: &str = ".ready";

/// The environment of the pinned Python packages. Its name changes with the
/// pins, so that old packages are never taken for new ones.
pub(super) fn venv() -> Result<PathBuf> {
    let pins = manifest::digest(manifest::REQUIREMENTS.as_bytes());
    Ok(cache()?.join(format!("python-{}", &pins[..12])))
}

/// Where a package's files are kept; the name changes with its hash.
pub(super) fn data_folder(package: &str) -> Result<PathBuf> {
    let package = manifest::find(package)?;
    let name = format!("{}-{}", package.name, &package.sha256[..12]);
    Ok(cache()?.join("data").join(name))
}

fn program(names: &[&str]) -> Result<PathBuf> {
    names
        .iter()
        .find_map(|name| on_path(name))
        .ok_or_else(|| anyhow!("{} is not on the search path", names[0]))
}

fn of_sctk(name: &str) -> Result<PathBuf> {
    let packaged = Path::new(SCTK).join(name);
    if packaged.is_file() {
        return Ok(packaged);
    }
    program(&[name])
}
