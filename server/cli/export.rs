//! `sayback export`: a cut list, or all that was said in an event, for other programs and
//! people.

use std::path::Path;

use anyhow::Context;
use clap::Args;
use serde::Deserialize;
use serde_json::{Value, json};

use crate::core::Cancel;

use super::args::Json;
use super::client::{Client, quoted};
use super::error::{CliError, Outcome};
use super::show::{count, out, remark, safe};

mod making;

/// Left-out quotes that are told one by one.
const MOST_TOLD: usize = 50;

/// `sayback export`
#[derive(Debug, Args)]
pub struct Export {
    /// The list's id, or its name where only one has it (not with --event), and the
    /// folder to write into; with --audio one that is not there yet
    #[arg(value_names = ["LIST", "FOLDER"], num_args = 1..=2, required = true)]
    pub what: Vec<String>,
    /// All that was said in this event instead of a list
    #[arg(long, conflicts_with_all = ["audio", "quotes"])]
    pub event: Option<String>,
    /// Only a part of the event, by its name
    #[arg(long, requires = "event")]
    pub part: Option<String>,
    /// Only what this person says, by their id or name
    #[arg(long, requires = "event")]
    pub person: Option<String>,
    /// Only this quote of the list, as `cut show` counts them; repeatable
    #[arg(long = "quote", value_name = "N")]
    pub quotes: Vec<usize>,
    /// What to write; repeatable, or with commas
    #[arg(
        long = "format",
        value_name = "NAME",
        value_delimiter = ',',
        default_values = ["otio", "edl", "vtt", "srt", "csv", "markers", "rttm", "page"],
        value_parser = ["otio", "edl", "vtt", "srt", "csv", "markers", "rttm", "page"]
    )]
    pub formats: Vec<String>,
    /// Also the sound of each quote as it was recorded, with a manifest; lists name it by
    /// paths inside the folder
    #[arg(long)]
    pub audio: bool,
    /// Sound before and after each quote, ms
    #[arg(long, value_name = "MS", default_value_t = 0, requires = "audio")]
    pub handles: u64,
    /// Also the sound of the other recorders
    #[arg(long, requires = "audio")]
    pub backups: bool,
    /// Frames a second, such as 25, 30000/1001 or 29.97df [default: the event's]
    #[arg(long, value_name = "RATE")]
    pub frame_rate: Option<String>,
    /// The timecode that it starts at [default: 01:00:00:00, of an event 00:00:00:00]
    #[arg(long, value_name = "TIMECODE")]
    pub start: Option<String>,
    /// An edit decision list for each recorder
    #[arg(long)]
    pub per_source: bool,
    /// A marker for each word, and not only each quote
    #[arg(long)]
    pub word_markers: bool,
    /// For whom the answer is.
    #[command(flatten)]
    pub json: Json,
}

#[derive(Deserialize)]
struct Files {
    files: Vec<File>,
    left_out: Vec<LeftOut>,
    /// Of an event alone.
    #[serde(default)]
    not_on_clock: i64,
}

#[derive(Deserialize)]
struct File {
    name: String,
    text: String,
}

#[derive(Deserialize)]
pub(super) struct Made {
    pub sound: usize,
    pub lists: Vec<String>,
    pub left_out: Vec<LeftOut>,
}

#[derive(Deserialize)]
pub(super) struct LeftOut {
    place: usize,
    reason: String,
}

impl Export {
    /// The folder to write into.
    fn to(&self) -> &Path {
        Path::new(self.what.last().map_or("", String::as_str))
    }

    /// The list, if it is one.
    fn list(&self) -> Result<Option<&str>, CliError> {
        match (self.what.as_slice(), &self.event) {
            ([_], Some(_)) => Ok(None),
            ([list, _], None) => Ok(Some(list)),
            (_, Some(_)) => Err(CliError::Usage("with --event say the folder alone".into())),
            (_, None) => Err(CliError::Usage("say the list and the folder".into())),
        }
    }
}

/// Writes the files. Ctrl-C sets `cancel`; a folder that is being made is taken away then.
///
/// # Errors
/// What the service says when it refuses; a file that is there already or can't be
/// written.
pub fn run(client: &Client, asked: &Export, cancel: &Cancel) -> Result<Outcome, CliError> {
    let path = match (asked.list()?, &asked.event) {
        (Some(list), _) => format!("/cuts/{}", quoted(list)),
        (None, event) => format!("/events/{}", quoted(event.as_deref().unwrap_or_default())),
    };
    let quotes = match asked.quotes.is_empty() {
        true => Vec::new(),
        false => ids(client, &path, &asked.quotes)?,
    };
    if asked.audio {
        return with_sound(client, &path, asked, &quotes, cancel);
    }
    let mut all: Vec<File> = Vec::new();
    let (mut left, mut not_on_clock) = (Vec::new(), 0);
    for format in &asked.formats {
        if cancel.is_cancelled() {
            return Ok(Outcome::Interrupted);
        }
        let query = query(format, asked, &quotes);
        let answer: Files = client.get(&format!("{path}/files?{query}"))?.read()?;
        all.extend(answer.files);
        (left, not_on_clock) = (answer.left_out, answer.not_on_clock);
    }
    std::fs::create_dir_all(asked.to())
        .with_context(|| format!("cannot make '{}'", asked.to().display()))?;
    let mut written = Vec::with_capacity(all.len());
    for file in &all {
        written.push(write(asked.to(), file)?);
    }
    if not_on_clock > 0 {
        let moments = count(not_on_clock, "moment");
        remark(&format!("{moments} of no common clock left out"));
    }
    let made = Made {
        sound: 0,
        lists: written,
        left_out: left,
    };
    told(asked, &made)
}

/// The ids of quotes by their numbers.
fn ids(client: &Client, list: &str, numbers: &[usize]) -> Result<Vec<String>, CliError> {
    let cut: Value = client.get(&format!("{list}?words=false"))?.read()?;
    let quotes = cut["quotes"].as_array().map_or(&[][..], Vec::as_slice);
    let id = |n: &usize| {
        let quote = n.checked_sub(1).and_then(|n| quotes.get(n));
        let id = quote.and_then(|quote| quote["id"].as_str());
        id.map(str::to_owned).ok_or_else(|| {
            let there = count(quotes.len() as i64, "quote");
            CliError::Usage(format!("there is no quote {n}: the list has {there}"))
        })
    };
    numbers.iter().map(id).collect()
}

fn query(format: &str, asked: &Export, quotes: &[String]) -> String {
    let mut query = format!(
        "format={format}&per_source={}&word_markers={}",
        asked.per_source, asked.word_markers
    );
    let quotes = (!quotes.is_empty()).then(|| quotes.join(","));
    for (name, value) in [
        ("frame_rate", &asked.frame_rate),
        ("start", &asked.start),
        ("part", &asked.part),
        ("person", &asked.person),
        ("quotes", &quotes),
    ] {
        if let Some(value) = value {
            query.push_str(&format!("&{name}={}", quoted(value)));
        }
    }
    query
}

fn with_sound(
    client: &Client,
    list: &str,
    asked: &Export,
    quotes: &[String],
    cancel: &Cancel,
) -> Result<Outcome, CliError> {
    let folder = std::path::absolute(asked.to())
        .with_context(|| format!("'{}' is no path", asked.to().display()))?;
    let Some(folder) = folder.to_str() else {
        let why = format!("'{}' is no text", asked.to().display());
        return Err(CliError::Usage(why));
    };
    let body = json!({
        "folder": folder,
        "formats": asked.formats,
        "quotes": quotes,
        "handles_ms": asked.handles,
        "backups": asked.backups,
        "frame_rate": asked.frame_rate,
        "start": asked.start,
        "per_source": asked.per_source,
        "word_markers": asked.word_markers,
    });
    match making::see_through(client, list, &body, cancel)? {
        Some(made) => told(asked, &made),
        None => Ok(Outcome::Interrupted),
    }
}

/// Writes a file that is not there yet.
fn write(folder: &Path, file: &File) -> Result<String, CliError> {
    let path = folder.join(&file.name);
    let made = std::fs::File::create_new(&path);
    made.and_then(|mut to| std::io::Write::write_all(&mut to, file.text.as_bytes()))
        .with_context(|| format!("cannot write '{}'", path.display()))?;
    Ok(file.name.clone())
}

fn told(asked: &Export, made: &Made) -> Result<Outcome, CliError> {
    let left = &made.left_out;
    if asked.json.json {
        let left: Vec<_> = left
            .iter()
            .map(|one| json!({"place": one.place, "reason": one.reason}))
            .collect();
        let told = json!({"lists": made.lists, "sound": made.sound, "left_out": left});
        out(&format!("{told}\n"))?;
    } else {
        for name in &made.lists {
            let path = asked.to().join(name);
            out(&format!("{}\n", safe(&path.to_string_lossy())))?;
        }
        if made.sound > 0 {
            remark(&format!("{} of sound", count(made.sound as i64, "file")));
        }
    }
    let what = if asked.event.is_some() {
        "moment"
    } else {
        "quote"
    };
    for one in left.iter().take(MOST_TOLD) {
        let why = safe(&one.reason);
        remark(&format!("{what} {} is left out: {why}", one.place));
    }
    if left.len() > MOST_TOLD {
        let more = left.len() - MOST_TOLD;
        remark(&format!("{more} more are left out; --json tells all"));
    }
    match left.is_empty() {
        true => Ok(Outcome::Done),
        false => Ok(Outcome::Partly),
    }
}
