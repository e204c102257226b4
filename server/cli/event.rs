//! `sayback event`: make and look at events.

use clap::{Args, Subcommand};
use serde_json::json;

use super::answers::{Event, EventDetail, Events, IndexState};
use super::args::Json;
use super::client::{Client, quoted};
use super::error::{CliError, Outcome};
use super::glossary::{self, EventLanguages, EventNames};
use super::parts::{self, EventParts};
use super::show::{Paint, Table, about, count, length, out, remark, safe};

/// `sayback event …`
#[derive(Debug, Subcommand)]
pub enum EventCommand {
    /// Make an event
    New(EventNew),
    /// All events
    List(Json),
    /// One event with its recorders and recordings
    Show(EventShow),
    /// Give an event another title, day or frame rate
    Change(EventChange),
    /// What its people, places and pets are called: shown, or given anew
    Names(EventNames),
    /// Its parts, such as letters, vows and toasts: shown, or changed
    Parts(EventParts),
    /// What is spoken there: shown, or said
    Languages(EventLanguages),
    /// Whether the search index is as the words are
    Index(EventIndex),
    /// Remove an event with all that is known of it; recordings' files stay
    Remove(EventRemove),
}

/// `sayback event index`
#[derive(Debug, Args)]
pub struct EventIndex {
    /// The event's id, or its title where only one has it
    pub event: String,
    /// Make it again from the words
    #[arg(long)]
    pub rebuild: bool,
    /// For whom the answer is.
    #[command(flatten)]
    pub json: Json,
}

/// `sayback event remove`
#[derive(Debug, Args)]
pub struct EventRemove {
    /// The event's id, or its title where only one has it
    pub event: String,
    /// That it is meant: nothing of it can be had back
    #[arg(long, required = true)]
    pub yes: bool,
}

/// `sayback event new`
#[derive(Debug, Args)]
pub struct EventNew {
    /// What to call it
    pub title: String,
    /// Its day
    #[arg(long, value_name = "YYYY-MM-DD")]
    pub date: Option<String>,
    /// Frames a second of the edit: 25, 30000/1001, 29.97df (drop-frame), …
    #[arg(long, value_name = "RATE")]
    pub frame_rate: Option<String>,
    /// For whom the answer is.
    #[command(flatten)]
    pub json: Json,
}

/// `sayback event change`
#[derive(Debug, Args)]
#[command(group = clap::ArgGroup::new("what").required(true).multiple(true)
    .args(["title", "date", "frame_rate"]))]
pub struct EventChange {
    /// The event's id, or its title where only one has it
    pub event: String,
    /// What to call it
    #[arg(long)]
    pub title: Option<String>,
    /// Its day
    #[arg(long, value_name = "YYYY-MM-DD")]
    pub date: Option<String>,
    /// Frames a second of the edit: 25, 30000/1001, 29.97df (drop-frame), …
    #[arg(long, value_name = "RATE")]
    pub frame_rate: Option<String>,
    /// For whom the answer is.
    #[command(flatten)]
    pub json: Json,
}

/// `sayback event show`
#[derive(Debug, Args)]
pub struct EventShow {
    /// The event's id, or its title where only one has it
    pub event: String,
    /// For whom the answer is.
    #[command(flatten)]
    pub json: Json,
}

/// Runs one of the event commands.
///
/// # Errors
/// What the service says when it refuses.
pub fn run(client: &Client, command: &EventCommand) -> Result<Outcome, CliError> {
    match command {
        EventCommand::New(new) => make(client, new),
        EventCommand::List(json) => list(client, json.json),
        EventCommand::Show(show) => detail(client, &show.event, show.json.json),
        EventCommand::Change(asked) => change(client, asked),
        EventCommand::Parts(asked) => parts::run(client, asked),
        EventCommand::Names(asked) => glossary::names(client, asked),
        EventCommand::Languages(asked) => glossary::languages(client, asked),
        EventCommand::Index(asked) => index(client, asked),
        EventCommand::Remove(asked) => {
            client.delete(&format!("/events/{}", quoted(&asked.event)))?;
            Ok(Outcome::Done)
        }
    }
}

fn make(client: &Client, new: &EventNew) -> Result<Outcome, CliError> {
    let mut body = json!({ "title": new.title });
    for (field, value) in [("date", &new.date), ("frame_rate", &new.frame_rate)] {
        if let Some(value) = value {
            body[field] = json!(value);
        }
    }
    let answer = client.post("/events", &body)?;
    if new.json.json {
        out(answer.text())?;
        return Ok(Outcome::Done);
    }
    let event: Event = answer.read()?;
    let title = safe(&event.title);
    out(&format!("event {} '{title}'", event.id))?;
    remark(&format!(
        "next: sayback add {} --source LABEL PATH…",
        event.id
    ));
    Ok(Outcome::Done)
}

fn list(client: &Client, json: bool) -> Result<Outcome, CliError> {
    let answer = client.get("/events")?;
    if json {
        out(answer.text())?;
        return Ok(Outcome::Done);
    }
    let events: Events = answer.read()?;
    if events.events.is_empty() {
        remark("no events yet; `sayback event new TITLE` makes one");
        return Ok(Outcome::Done);
    }
    let mut table = Table::new(&["ID", "DATE", "RECORDERS", "RECORDINGS", "WORDS", "TITLE"]);
    for event in &events.events {
        table.row(&[
            event.id.as_str(),
            event.date.as_deref().unwrap_or("-"),
            &event.counts.sources.to_string(),
            &event.counts.recordings.to_string(),
            &event.counts.words.to_string(),
            &event.title,
        ]);
    }
    out(&table.render(Paint::stdout()))?;
    Ok(Outcome::Done)
}

fn index(client: &Client, asked: &EventIndex) -> Result<Outcome, CliError> {
    let path = format!("/events/{}/index", quoted(&asked.event));
    let answer = match asked.rebuild {
        true => client.post(&path, &json!({}))?,
        false => client.get(&path)?,
    };
    let state: IndexState = answer.read()?;
    if asked.json.json {
        out(answer.text())?;
    } else if state.wrong.is_empty() {
        let moments = count(state.moments, "moment");
        out(&format!("{moments} in the index, all as their words are\n"))?;
    } else {
        let wrong = count(
            i64::try_from(state.wrong.len()).unwrap_or(i64::MAX),
            "moment",
        );
        out(&format!(
            "{wrong} of {} not as their words are; --rebuild makes the index again\n",
            state.moments
        ))?;
    }
    Ok(match state.wrong.is_empty() {
        true => Outcome::Done,
        false => Outcome::Partly,
    })
}

fn change(client: &Client, asked: &EventChange) -> Result<Outcome, CliError> {
    let mut body = json!({});
    for (field, value) in [
        ("title", &asked.title),
        ("date", &asked.date),
        ("frame_rate", &asked.frame_rate),
    ] {
        if let Some(value) = value {
            body[field] = json!(value);
        }
    }
    let answer = client.patch(&format!("/events/{}", quoted(&asked.event)), &body)?;
    if asked.json.json {
        out(answer.text())?;
    } else {
        let event: Event = answer.read()?;
        detail(client, &event.id, false)?;
    }
    Ok(Outcome::Done)
}

fn detail(client: &Client, event: &str, json: bool) -> Result<Outcome, CliError> {
    let answer = client.get(&format!("/events/{}", quoted(event)))?;
    if json {
        out(answer.text())?;
        return Ok(Outcome::Done);
    }
    out(&described(&answer.read()?, Paint::stdout()))?;
    Ok(Outcome::Done)
}

/// A rate as it is spoken of.
fn frames(rate: &str) -> String {
    let read = rate.parse::<crate::core::timecode::FrameRate>();
    match read.map_or(rate.to_owned(), |rate| rate.to_string()) {
        shown if shown.ends_with("df") => {
            format!(
                "{} frames a second, drop-frame",
                shown.trim_end_matches("df")
            )
        }
        shown => format!("{shown} frames a second"),
    }
}

fn described(detail: &EventDetail, paint: Paint) -> String {
    let event = &detail.event;
    let mut text = format!("{}  {}\n", paint.strong(&safe(&event.title)), event.id);
    let mut facts = Vec::new();
    if let Some(date) = &event.date {
        facts.push(date.clone());
    }
    if let Some(rate) = &event.frame_rate {
        facts.push(frames(rate));
    }
    facts.push(count(event.counts.recordings, "recording"));
    facts.push(format!(
        "{} of speech",
        count(event.counts.segments, "segment")
    ));
    facts.push(count(event.counts.words, "word"));
    text.push_str(&format!("{}\n", safe(&facts.join(", "))));
    if !detail.sources.is_empty() {
        let mut table = Table::new(&["RECORDER", "PLACED", "WORN BY"]);
        for source in &detail.sources {
            let wearer = source.wearer.as_ref().map_or("-", |person| &person.name);
            table.row(&[source.label.as_str(), &source.placement, wearer]);
        }
        text.push_str(&format!("\n{}", table.render(paint)));
    }
    if !detail.recordings.is_empty() {
        let mut table = Table::new(&[
            "RECORDING",
            "RECORDER",
            "CHANNEL",
            "LENGTH",
            "SPEECH",
            "STATE",
            "FILE",
        ]);
        for recording in &detail.recordings {
            table.row(&[
                recording.id.as_str(),
                &recording.source.label,
                &recording.channels,
                &length(recording.duration_ms),
                &recording.speech_ms.map_or_else(|| "-".into(), length),
                &recording.state,
                &recording.path,
            ]);
        }
        text.push_str(&format!("\n{}", table.render(paint)));
    }
    text.push_str(&remarks(detail, paint));
    text
}

fn remarks(detail: &EventDetail, paint: Paint) -> String {
    let mut text = String::new();
    for intake in &detail.intakes {
        let reason = intake
            .reason
            .as_deref()
            .unwrap_or(match intake.state.as_str() {
                "refused" => "could not be opened",
                _ => "waits to be opened",
            });
        text.push_str(&format!("{}\n", about(&intake.file, reason)));
    }
    for recording in &detail.recordings {
        if let Some(error) = &recording.error {
            let error = paint.wrong(&about(&recording.file, error));
            text.push_str(&format!("{error}\n"));
        }
        for warning in &recording.warnings {
            text.push_str(&format!("{}\n", about(&recording.file, warning)));
        }
    }
    if text.is_empty() {
        text
    } else {
        format!("\n{text}")
    }
}
