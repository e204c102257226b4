//! `sayback event names` and `sayback event languages`.

use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

use clap::Args;
use serde::Deserialize;
use serde_json::json;

use crate::core::text::{MAX_NAME_CHARS, MAX_NAMES};

use super::args::Json;
use super::client::{Client, quoted};
use super::error::{CliError, Outcome};
use super::show::{count, out, remark, safe};

/// `sayback event names`
#[derive(Debug, Args)]
pub struct EventNames {
    /// The event's id, or its title where only one has it
    pub event: String,
    /// Its names in place of those it had, the ones that matter most first
    #[arg(value_name = "NAME")]
    pub names: Vec<String>,
    /// A file of names, one a line; - for standard input
    #[arg(long, value_name = "FILE")]
    pub file: Option<PathBuf>,
    /// Take all names away
    #[arg(long, conflicts_with_all = ["names", "file"])]
    pub clear: bool,
    /// For whom the answer is.
    #[command(flatten)]
    pub json: Json,
}

impl EventNames {
    /// Whether it gives the event other names.
    #[must_use]
    pub fn changes(&self) -> bool {
        self.clear || self.file.is_some() || !self.names.is_empty()
    }
}

/// `sayback event languages`
#[derive(Debug, Args)]
pub struct EventLanguages {
    /// The event's id, or its title where only one has it
    pub event: String,
    /// The languages that may be spoken there: en, de, …
    #[arg(value_name = "CODE")]
    pub languages: Vec<String>,
    /// All that the model knows, found out stretch by stretch
    #[arg(long, conflicts_with = "languages")]
    pub automatic: bool,
    /// For whom the answer is.
    #[command(flatten)]
    pub json: Json,
}

impl EventLanguages {
    /// Whether it says what is spoken.
    #[must_use]
    pub fn changes(&self) -> bool {
        self.automatic || !self.languages.is_empty()
    }
}

/// `GET /events/{event}/glossary`
#[derive(Debug, Deserialize)]
struct Glossary {
    names: Vec<String>,
}

/// `GET /events/{event}/languages`
#[derive(Debug, Deserialize)]
struct Languages {
    languages: Vec<String>,
}

/// Shows the names of an event, or gives it others.
///
/// # Errors
/// What the service says when it refuses; a file that can't be read or is too long; no
/// name, where names are not to be taken away.
pub fn names(client: &Client, asked: &EventNames) -> Result<Outcome, CliError> {
    let path = format!("/events/{}/glossary", quoted(&asked.event));
    let mut names = asked.names.clone();
    if let Some(file) = &asked.file {
        names.extend(lines(file)?);
    }
    let changes = asked.changes();
    if changes && !asked.clear && names.iter().all(|name| name.trim().is_empty()) {
        return Err(anyhow::anyhow!("no name is given; --clear takes all names away").into());
    }
    let answer = match changes {
        true => client.put(&path, &json!({ "names": names }))?,
        false => client.get(&path)?,
    };
    if asked.json.json {
        out(answer.text())?;
        return Ok(Outcome::Done);
    }
    let glossary: Glossary = answer.read()?;
    if changes {
        let many = i64::try_from(glossary.names.len()).unwrap_or(i64::MAX);
        out(&count(many, "name"))?;
    } else if glossary.names.is_empty() {
        remark("no names yet; `sayback event names EVENT NAME…` gives it some");
    } else {
        let shown: Vec<_> = glossary.names.iter().map(|name| safe(name)).collect();
        out(&shown.join("\n"))?;
    }
    Ok(Outcome::Done)
}

/// Most bytes of a file of names: all that an event can have, in letters of four bytes.
const MOST_BYTES: u64 = (MAX_NAMES * (4 * MAX_NAME_CHARS + 2)) as u64;

/// The lines of a file, or of standard input for `-`.
fn lines(file: &Path) -> Result<Vec<String>, CliError> {
    let mut bytes = Vec::new();
    let read = if file == Path::new("-") {
        read(std::io::stdin(), &mut bytes)
    } else {
        File::open(file).and_then(|file| read(file, &mut bytes))
    };
    read.map_err(|cause| anyhow::anyhow!("cannot read {}: {cause}", file.display()))?;
    if bytes.len() as u64 > MOST_BYTES {
        let name = file.display();
        return Err(anyhow::anyhow!(
            "{name} has more than {MOST_BYTES} bytes; no list of names needs them"
        )
        .into());
    }
    let text = String::from_utf8(bytes)
        .map_err(|_| anyhow::anyhow!("{} is not UTF-8 text", file.display()))?;
    Ok(text.lines().map(str::to_owned).collect())
}

/// Reads a byte more than [`MOST_BYTES`] at most.
fn read(from: impl Read, into: &mut Vec<u8>) -> std::io::Result<()> {
    from.take(MOST_BYTES + 1).read_to_end(into).map(drop)
}

/// Shows what may be spoken in an event, or says it.
///
/// # Errors
/// What the service says when it refuses.
pub fn languages(client: &Client, asked: &EventLanguages) -> Result<Outcome, CliError> {
    let path = format!("/events/{}/languages", quoted(&asked.event));
    let answer = if asked.changes() {
        client.put(&path, &json!({ "languages": asked.languages }))?
    } else {
        client.get(&path)?
    };
    if asked.json.json {
        out(answer.text())?;
        return Ok(Outcome::Done);
    }
    let languages: Languages = answer.read()?;
    match languages.languages.is_empty() {
        true => out("all that the model knows")?,
        false => out(&safe(&languages.languages.join(" ")))?,
    }
    Ok(Outcome::Done)
}
