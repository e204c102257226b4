//! `sayback fix`: what a person puts right in a moment.

use clap::{Args, Subcommand};
use serde::Deserialize;
use serde_json::{Value, json};

use super::args::Json;
use super::client::{Answer, Client, quoted};
use super::error::{CliError, Outcome};
use super::instant;
use super::show::{Paint, Table, out, position, remark, safe};

/// `sayback fix …`
#[derive(Debug, Subcommand)]
pub enum FixCommand {
    /// The moments of a recording, named as the other commands ask for them
    List(FixList),
    /// A moment with its words, their times, and what speech models heard
    Show(FixShow),
    /// Write the words of a moment anew
    Words(FixWords),
    /// Make two moments one
    Join(FixJoin),
    /// Make a moment two
    Split(FixSplit),
    /// Give a moment, or its words, other times
    Times(FixTimes),
    /// Who changed a moment, when, and how
    History(FixShow),
    /// Go back to an earlier version, which is a new version
    Undo(FixUndo),
}

/// `sayback fix list`
#[derive(Debug, Args)]
pub struct FixList {
    /// The recording's id, as `event show` and `find` tell it
    pub recording: String,
}

/// `sayback fix show`, `sayback fix history`
#[derive(Debug, Args)]
pub struct FixShow {
    /// The moment's id, as `fix list` and `find --json` tell it
    pub moment: String,
    /// For whom the answer is.
    #[command(flatten)]
    pub json: Json,
}

/// Who changes what.
#[derive(Debug, Args)]
pub struct Change {
    /// The moment, and the version that you have seen: ID@VERSION
    #[arg(value_parser = seen)]
    pub moment: Seen,
    /// Who you are [default: your name on this machine]
    #[arg(long, value_name = "NAME")]
    pub by: Option<String>,
    /// For whom the answer is.
    #[command(flatten)]
    pub json: Json,
}

/// `sayback fix words`
#[derive(Debug, Args)]
pub struct FixWords {
    /// Who changes what.
    #[command(flatten)]
    pub change: Change,
    /// All its words; '' when nothing was said
    #[arg(required = true)]
    pub text: Vec<String>,
}

/// `sayback fix join`
#[derive(Debug, Args)]
pub struct FixJoin {
    /// Who changes what.
    #[command(flatten)]
    pub change: Change,
    /// The moment beside it, which is no more afterwards: ID@VERSION
    #[arg(value_parser = seen)]
    pub with: Seen,
}

/// `sayback fix split`
#[derive(Debug, Args)]
#[command(group = clap::ArgGroup::new("place").required(true).args(["word", "at"]))]
pub struct FixSplit {
    /// Who changes what.
    #[command(flatten)]
    pub change: Change,
    /// Before this word, as `fix show` counts them
    #[arg(long, value_name = "NUMBER")]
    pub word: Option<usize>,
    /// At this instant of the file that its words are timed in
    #[arg(long, value_name = "TIME", value_parser = instant::of)]
    pub at: Option<f64>,
}

/// `sayback fix times`
#[derive(Debug, Args)]
#[command(group = clap::ArgGroup::new("what").required(true).multiple(true)
    .args(["start", "end", "words"]))]
pub struct FixTimes {
    /// Who changes what.
    #[command(flatten)]
    pub change: Change,
    /// Where it starts in the file that its words are timed in
    #[arg(long, value_name = "TIME", value_parser = instant::of)]
    pub start: Option<f64>,
    /// Where it ends there
    #[arg(long, value_name = "TIME", value_parser = instant::of)]
    pub end: Option<f64>,
    /// When a word is said, as `fix show` counts them: 3=00:01:02.500,00:01:02.900;
    /// repeatable
    #[arg(long = "word", value_name = "NUMBER=START,END", value_parser = word_times)]
    pub words: Vec<(usize, f64, f64)>,
}

/// `sayback fix undo`
#[derive(Debug, Args)]
pub struct FixUndo {
    /// Who changes what.
    #[command(flatten)]
    pub change: Change,
    /// The version to go back to [default: the one before]
    #[arg(long, value_name = "VERSION")]
    pub to: Option<i64>,
}

/// A moment at the version that somebody has seen.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Seen {
    id: String,
    version: i64,
}

fn seen(text: &str) -> Result<Seen, String> {
    let both = text.rsplit_once('@').filter(|(id, _)| !id.is_empty());
    let seen = both.and_then(|(id, version)| {
        Some(Seen {
            id: id.to_owned(),
            version: version.parse().ok()?,
        })
    });
    seen.ok_or_else(|| {
        format!(
            "'{text}' does not say which version you have seen; write ID@VERSION, as `sayback fix \
             show ID` tells it"
        )
    })
}

fn word_times(text: &str) -> Result<(usize, f64, f64), String> {
    let wrong = || format!("'{text}' says no time of a word; write NUMBER=START,END");
    let (word, times) = text.split_once('=').ok_or_else(wrong)?;
    let (start, end) = times.split_once(',').ok_or_else(wrong)?;
    let word = word.parse().map_err(|_| wrong())?;
    Ok((word, instant::of(start)?, instant::of(end)?))
}

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

#[derive(Deserialize)]
struct History {
    changes: Vec<Past>,
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

fn who() -> CliError {
    CliError::Usage("who are you? Say --by NAME".into())
}

/// The name of the user on this machine, as shells have it.
fn own_name() -> Option<String> {
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
        let text = hearing.text.as_deref();
        out(&format!(
            "{}@{}  {}  {}",
            safe(&hearing.moment),
            hearing.version,
            position(hearing.start_ms),
            text.map_or(UNHEARD.into(), safe)
        ))?;
    }
    Ok(Outcome::Done)
}

/// What is shown for the words of a moment that has none yet.
const UNHEARD: &str = "(not listened to yet)";

fn line(moment: &Moment) -> String {
    let text = moment
        .text
        .as_deref()
        .map_or(UNHEARD.into(), safe);
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

fn history(client: &Client, show: &FixShow) -> Result<Outcome, CliError> {
    let answer = client.get(&format!("/moments/{}/changes", quoted(&show.moment)))?;
    if show.json.json {
        out(answer.text())?;
        return Ok(Outcome::Done);
    }
    let history: History = answer.read()?;
    if history.changes.is_empty() {
        remark("nobody has changed it");
        return Ok(Outcome::Partly);
    }
    for past in &history.changes {
        let texts = past
            .after
            .iter()
            .map(|was| was.text.as_deref().unwrap_or_default());
        let texts: Vec<_> = texts.map(safe).collect();
        out(&format!(
            "@{}  {}  {}  {}: {}",
            past.version,
            safe(&past.at),
            safe(&past.by),
            safe(&past.kind),
            texts.join(" | ")
        ))?;
    }
    Ok(Outcome::Done)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_moment_is_named_with_its_version() {
        let ok = |id: &str, version| {
            Ok(Seen {
                id: id.into(),
                version,
            })
        };
        assert_eq!(seen("a-b@12"), ok("a-b", 12));
        for text in ["a-b", "@3", "a@", "a@b", "a@1.5"] {
            let told = seen(text).expect_err("no version");
            assert!(told.contains("sayback fix show"), "{told}");
        }
    }

    #[test]
    fn times_of_a_word_are_read_as_they_are_shown() {
        assert_eq!(word_times("3=1.5,00:00:02"), Ok((3, 1_500.0, 2_000.0)));
        for text in ["3", "3=1", "=1,2", "x=1,2", "3=1-2", "3=1,x"] {
            assert!(word_times(text).is_err(), "{text}");
        }
    }
}
