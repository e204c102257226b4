//! What was typed after `sayback script`.

use std::path::PathBuf;

use clap::{Args, Subcommand, ValueEnum};

use super::super::args::Json;

/// `sayback script …`
#[derive(Debug, Subcommand)]
pub enum ScriptCommand {
    /// Add a written text to an event: a letter, vows, a reading
    Add(ScriptAdd),
    /// The written texts of an event
    List(ScriptList),
    /// Where a text was said, in every pass, and what was changed, left out or added
    Show(ScriptShow),
    /// Captions of what was written, at the times it was said
    Captions(ScriptCaptions),
    /// Make the time of a pass a part of the event
    Part(ScriptPart),
    /// Take a text away
    Remove(ScriptRemove),
}

/// `sayback script add`
#[derive(Debug, Args)]
pub struct ScriptAdd {
    /// The text, a file of UTF-8; - for standard input
    pub file: PathBuf,
    /// The event's id, or its title where only one has it
    #[arg(long, value_name = "EVENT")]
    pub event: String,
    /// What to call it [default: the file's name]
    #[arg(long)]
    pub title: Option<String>,
    /// For whom the answer is.
    #[command(flatten)]
    pub json: Json,
}

/// `sayback script list`
#[derive(Debug, Args)]
pub struct ScriptList {
    /// The event's id, or its title where only one has it
    pub event: String,
    /// For whom the answer is.
    #[command(flatten)]
    pub json: Json,
}

/// `sayback script show`
#[derive(Debug, Args)]
pub struct ScriptShow {
    /// The text's id, as `script list` tells it
    pub script: String,
    /// For whom the answer is.
    #[command(flatten)]
    pub json: Json,
}

/// In what form captions are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Captions {
    /// WebVTT
    Vtt,
    /// SubRip
    Srt,
}

/// `sayback script captions`
#[derive(Debug, Args)]
pub struct ScriptCaptions {
    /// The text's id, as `script list` tells it
    pub script: String,
    /// Which pass, as `script show` counts them [default: the most complete]
    #[arg(long, value_name = "N")]
    pub pass: Option<u32>,
    /// In what form
    #[arg(long, value_enum, default_value_t = Captions::Vtt)]
    pub format: Captions,
    /// At the times of this recording's file, by its id [default: the event clock]
    #[arg(long, value_name = "ID")]
    pub recording: Option<String>,
}

/// `sayback script part`
#[derive(Debug, Args)]
pub struct ScriptPart {
    /// The text's id, as `script list` tells it
    pub script: String,
    /// Which pass, as `script show` counts them
    #[arg(long, value_name = "N")]
    pub pass: u32,
    /// What the part is called; one of that name is moved
    #[arg(long)]
    pub name: String,
    /// What is said in it may be missed or said again
    #[arg(long)]
    pub repeatable: bool,
}

/// `sayback script remove`
#[derive(Debug, Args)]
pub struct ScriptRemove {
    /// The text's id, as `script list` tells it
    pub script: String,
}

impl ScriptCommand {
    /// Whether it changes something.
    #[must_use]
    pub fn changes(&self) -> bool {
        matches!(self, Self::Add(_) | Self::Part(_) | Self::Remove(_))
    }
}
