//! `sayback fix`: what a person puts right in a moment.

mod args;

use serde::Deserialize;
use serde_json::{Value, json};

pub use args::FixCommand;
use args::{Change, FixList, FixShow};

use super::client::{Answer, Client, quoted};
use super::error::{CliError, Outcome};
use super::show::{Paint, Table, out, position, remark, safe};

#[derive(Deserialize)]
struct Transcript {
    hearings: Vec<Hearing>,
}

#[derive(Deserialize)]
struct Hearing {
    moment: String,
    version: i64,
    start_ms: i64,
    heard: bool,
    text: Option<String>,
    whole: bool,
}

#[derive(Deserialize)]
struct Fixed {
    moments: Vec<Moment>,
}

#[derive(Deserialize)]
struct Moment {
    id: String,
    version: i64,
    text: Option<String>,
    doubt: Option<String>,
    words_from: Option<File>,
    #[serde(default)]
    words: Vec<Word>,
    #[serde(default)]
    heard: Vec<Heard>,
}

#[derive(Deserialize)]
struct File {
    file: String,
}

#[derive(Deserialize)]
struct Word {
    text: String,
    start_ms: i64,
    end_ms: i64,
    confidence: f32,
    by_hand: bool,
}

#[derive(Deserialize)]
struct Heard {
    recording: File,
    model: String,
    text: String,
}

/// A page of changes; whoever asked for JSON gets each as it came.
#[derive(Deserialize)]
struct History {
    total: usize,
    changes: Vec<Value>,
}

#[derive(Deserialize)]
struct Past {
    version: i64,
    kind: String,
    by: String,
    at: String,
    after: Vec<Was>,
}

#[derive(Deserialize)]
struct Was {
    text: Option<String>,
}

/// Runs one of the fix commands.
///
/// # Errors
/// What the service says when it refuses; where somebody was quicker, both texts are
/// told first.
pub fn run(client: &Client, command: &FixCommand) -> Result<Outcome, CliError> {
    let (change, answer) = match command {
        FixCommand::List(list) => return self::list(client, list),
        FixCommand::Show(show) => return self::show(client, show),
        FixCommand::History(show) => return history(client, show),
        FixCommand::Words(words) => {
            let body = words.change.with(json!({"text": words.text.join(" ")}))?;
            let path = words.change.path("words");
            (&words.change, client.put(&path, &body))
        }
        FixCommand::Join(join) => {
            let with = json!({"with": join.with.id, "with_version": join.with.version});
            let body = join.change.with(with)?;
            (&join.change, client.post(&join.change.path("join"), &body))
        }
        FixCommand::Split(split) => {
            let place = match split.at {
                Some(at) => json!({"at_ms": whole(at)}),
                None => json!({"at_word": split.word}),
            };
            let body = split.change.with(place)?;
            (
                &split.change,
                client.post(&split.change.path("split"), &body),
            )
        }
        FixCommand::Times(times) => {
            let words = times.words.iter().map(|(word, start, end)| {
                json!({"word": word, "start_ms": whole(*start), "end_ms": whole(*end)})
            });
            let body = times.change.with(json!({
                "start_ms": times.start.map(whole),
                "end_ms": times.end.map(whole),
                "words": words.collect::<Vec<_>>(),
            }))?;
            (
                &times.change,
                client.put(&times.change.path("times"), &body),
            )
        }
        FixCommand::Undo(undo) => {
            let to = undo.to.unwrap_or(undo.change.moment.version - 1);
            let body = undo.change.with(json!({"to": to}))?;
            (&undo.change, client.post(&undo.change.path("undo"), &body))
        }
    };
    told(change, answer)
}

impl Change {
    fn path(&self, what: &str) -> String {
        format!("/moments/{}/{what}", quoted(&self.moment.id))
    }

    /// What is asked, with the version it is asked of and by whom.
    fn with(&self, mut body: Value) -> Result<Value, CliError> {
        body["version"] = self.moment.version.into();
        body["by"] = self.by.clone().or_else(own_name).ok_or_else(who)?.into();
        Ok(body)
    }
}

pub(super) fn who() -> CliError {
    CliError::Usage("who are you? Say --by NAME".into())
}

/// The name of the user on this machine, as shells have it.
pub(super) fn own_name() -> Option<String> {
    let name = |variable| std::env::var(variable).ok();
    let names = ["USER", "LOGNAME", "USERNAME"].into_iter().filter_map(name);
    names
        .map(|name| name.trim().to_owned())
        .find(|name| !name.is_empty())
}

fn whole(ms: f64) -> i64 {
    ms.round() as i64
}

/// What there is now, or both texts where somebody was quicker.
fn told(change: &Change, answer: Result<Answer, CliError>) -> Result<Outcome, CliError> {
    let answer = match answer {
        Err(CliError::Refused(problem)) if !problem.theirs.is_null() => {
            let text = |of: &Value| of["text"].as_str().map(|text| safe(text).into_owned());
            if let Some(yours) = text(&problem.yours) {
                remark(&format!("yours:  {yours}"));
            }
            if let Some(theirs) = text(&problem.theirs) {
                remark(&format!("theirs: {theirs}"));
            }
            return Err(CliError::Refused(problem));
        }
        other => other?,
    };
    if change.json.json {
        out(answer.text())?;
        return Ok(Outcome::Done);
    }
    let fixed: Fixed = answer.read()?;
    for moment in &fixed.moments {
        out(&line(moment))?;
    }
    Ok(Outcome::Done)
}

fn list(client: &Client, list: &FixList) -> Result<Outcome, CliError> {
    let path = format!("/recordings/{}/words?format=json", quoted(&list.recording));
    let transcript: Transcript = client.get(&path)?.read()?;
    for hearing in transcript.hearings.iter().filter(|hearing| hearing.heard) {
        // Who copies a line to put it right must have all of it, or the rest is lost.
        let (version, text) = match hearing.whole {
            true => (hearing.version, hearing.text.clone()),
            false => {
                let path = format!("/moments/{}", quoted(&hearing.moment));
                let moment: Moment = client.get(&path)?.read()?;
                (moment.version, moment.text)
            }
        };
        out(&format!(
            "{}@{version}  {}  {}",
            safe(&hearing.moment),
            position(hearing.start_ms),
            text.as_deref().map_or(UNHEARD.into(), safe)
        ))?;
    }
    Ok(Outcome::Done)
}

/// What is shown for the words of a moment that has none yet.
const UNHEARD: &str = "(not listened to yet)";

fn line(moment: &Moment) -> String {
    let text = moment.text.as_deref().map_or(UNHEARD.into(), safe);
    format!("{}@{}  {text}", safe(&moment.id), moment.version)
}

fn show(client: &Client, show: &FixShow) -> Result<Outcome, CliError> {
    let answer = client.get(&format!("/moments/{}", quoted(&show.moment)))?;
    if show.json.json {
        out(answer.text())?;
        return Ok(Outcome::Done);
    }
    let moment: Moment = answer.read()?;
    out(&described(&moment))?;
    Ok(Outcome::Done)
}

fn described(moment: &Moment) -> String {
    let mut text = line(moment);
    if let Some(doubt) = &moment.doubt {
        text.push_str(&format!("  [doubtful: {}]", safe(doubt)));
    }
    if let Some(file) = &moment.words_from {
        text.push_str(&format!("\n\ntimes in {}\n", safe(&file.file)));
    }
    let mut table = Table::new(&["WORD", "START", "END", "SURE", "TEXT"]);
    for (n, word) in moment.words.iter().enumerate() {
        let sure = match word.by_hand {
            true => "by hand".to_owned(),
            false => format!("{:.2}", word.confidence),
        };
        table.row(&[
            n.to_string(),
            position(word.start_ms),
            position(word.end_ms),
            sure,
            word.text.clone(),
        ]);
    }
    if !moment.words.is_empty() {
        text.push_str(&table.render(Paint::stdout()));
    }
    for heard in &moment.heard {
        text.push_str(&format!(
            "\n{} heard in {}: {}",
            safe(&heard.model),
            safe(&heard.recording.file),
            safe(&heard.text)
        ));
    }
    text
}

/// Page by page: all of it may be more than there is memory for.
fn history(client: &Client, show: &FixShow) -> Result<Outcome, CliError> {
    let as_json = show.json.json;
    let (mut offset, mut oldest) = (0, i64::MAX);
    loop {
        let path = format!("/moments/{}/changes?offset={offset}", quoted(&show.moment));
        let page: History = client.get(&path)?.read()?;
        if as_json && offset == 0 {
            out(&format!(r#"{{"total":{},"changes":["#, page.total))?;
        }
        for change in &page.changes {
            let past = Past::deserialize(change).map_err(|error| CliError::Answer {
                path: path.clone(),
                cause: error.to_string(),
            })?;
            // What is changed meanwhile moves older changes on to the next page.
            if past.version >= oldest {
                continue;
            }
            match as_json {
                true if oldest == i64::MAX => out(&change.to_string())?,
                true => out(&format!(",{change}"))?,
                false => out(&past.line())?,
            }
            oldest = past.version;
        }
        offset += page.changes.len();
        if page.changes.is_empty() || offset >= page.total {
            break;
        }
    }
    if as_json {
        out("]}")?;
    } else if offset == 0 {
        remark("nobody has changed it");
        return Ok(Outcome::Partly);
    }
    Ok(Outcome::Done)
}

impl Past {
    fn line(&self) -> String {
        let texts = self
            .after
            .iter()
            .map(|was| was.text.as_deref().unwrap_or_default());
        let texts: Vec<_> = texts.map(safe).collect();
        format!(
            "@{}  {}  {}  {}: {}",
            self.version,
            safe(&self.at),
            safe(&self.by),
            safe(&self.kind),
            texts.join(" | ")
        )
    }
}
