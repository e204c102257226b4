//! `sayback export`: a cut list for other programs and people.

use std::path::{Path, PathBuf};

use anyhow::Context;
use clap::Args;
use serde::Deserialize;
use serde_json::json;

use super::args::Json;
use super::client::{Client, quoted};
use super::error::{CliError, Outcome};
use super::show::{count, out, remark, safe};

/// `sayback export`
#[derive(Debug, Args)]
pub struct Export {
    /// The list's id, or its name where only one has it
    pub list: String,
    /// The folder to write into; with --audio one that is not there yet
    pub to: PathBuf,
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
    /// The timecode that the cut starts at [default: 01:00:00:00]
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
}

#[derive(Deserialize)]
struct File {
    name: String,
    text: String,
}

#[derive(Deserialize)]
struct Made {
    sound: usize,
    lists: Vec<String>,
    left_out: Vec<LeftOut>,
}

#[derive(Deserialize)]
struct LeftOut {
    place: usize,
    reason: String,
}

/// Writes the files.
///
/// # Errors
/// What the service says when it refuses; a file that is there already or can't be
/// written.
pub fn run(client: &Client, asked: &Export) -> Result<Outcome, CliError> {
    let list = format!("/cuts/{}", quoted(&asked.list));
    if asked.audio {
        return with_sound(client, &list, asked);
    }
    let mut all: Vec<File> = Vec::new();
    let mut left = Vec::new();
    for format in &asked.formats {
        let answer: Files = client
            .get(&format!("{list}/files?{}", query(format, asked)))?
            .read()?;
        all.extend(answer.files);
        left = answer.left_out;
    }
    std::fs::create_dir_all(&asked.to)
        .with_context(|| format!("cannot make '{}'", asked.to.display()))?;
    let mut written = Vec::with_capacity(all.len());
    for file in &all {
        written.push(write(&asked.to, file)?);
    }
    told(asked, &written, 0, &left)
}

fn query(format: &str, asked: &Export) -> String {
    let mut query = format!(
        "format={format}&per_source={}&word_markers={}",
        asked.per_source, asked.word_markers
    );
    for (name, value) in [("frame_rate", &asked.frame_rate), ("start", &asked.start)] {
        if let Some(value) = value {
            query.push_str(&format!("&{name}={}", quoted(value)));
        }
    }
    query
}

fn with_sound(client: &Client, list: &str, asked: &Export) -> Result<Outcome, CliError> {
    let folder = std::path::absolute(&asked.to)
        .with_context(|| format!("'{}' is no path", asked.to.display()))?;
    let Some(folder) = folder.to_str() else {
        let why = format!("'{}' is no text", asked.to.display());
        return Err(CliError::Usage(why));
    };
    let body = json!({
        "folder": folder,
        "formats": asked.formats,
        "handles_ms": asked.handles,
        "backups": asked.backups,
        "frame_rate": asked.frame_rate,
        "start": asked.start,
        "per_source": asked.per_source,
        "word_markers": asked.word_markers,
    });
    let made: Made = client.post(&format!("{list}/folder"), &body)?.read()?;
    told(asked, &made.lists, made.sound, &made.left_out)
}

/// Writes a file that is not there yet.
fn write(folder: &Path, file: &File) -> Result<String, CliError> {
    let path = folder.join(&file.name);
    let made = std::fs::File::create_new(&path);
    made.and_then(|mut to| std::io::Write::write_all(&mut to, file.text.as_bytes()))
        .with_context(|| format!("cannot write '{}'", path.display()))?;
    Ok(file.name.clone())
}

fn told(
    asked: &Export,
    lists: &[String],
    sound: usize,
    left: &[LeftOut],
) -> Result<Outcome, CliError> {
    if asked.json.json {
        let left: Vec<_> = left
            .iter()
            .map(|one| json!({"place": one.place, "reason": one.reason}))
            .collect();
        let told = json!({"lists": lists, "sound": sound, "left_out": left});
        out(&format!("{told}\n"))?;
    } else {
        for name in lists {
            out(&format!(
                "{}\n",
                safe(&asked.to.join(name).to_string_lossy())
            ))?;
        }
        if sound > 0 {
            remark(&format!("{} of sound", count(sound as i64, "file")));
        }
    }
    for one in left {
        remark(&format!(
            "quote {} is left out: {}",
            one.place,
            safe(&one.reason)
        ));
    }
    match left.is_empty() {
        true => Ok(Outcome::Done),
        false => Ok(Outcome::Partly),
    }
}
