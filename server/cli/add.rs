//! `sayback add`: take in recordings, and see them through.

use serde::Deserialize;
use serde_json::{Value, json};

use crate::core::Cancel;
use crate::speech::VOICES;

use super::answers::{Added, EventDetail, Failed, Health, Refused};
use super::args::{Add, Placement};
use super::client::{Client, quoted, wire_path};
use super::error::{CliError, Outcome};
use super::progress;
use super::show::{Paint, about, count, length, out, remark, safe};

/// Adds files and folders and, unless told otherwise, stays until they are
/// worked through. `model` is the one asked for, if any was. Ctrl-C sets
/// `cancel`; what is queued stays queued.
///
/// # Errors
/// An unknown event, a missing speech model or one that a running server does
/// not use, and what else the service refuses as a whole. Single files that are
/// refused are told and do not stop the rest.
pub fn run(
    client: &Client,
    add: &Add,
    model: Option<&str>,
    cancel: &Cancel,
) -> Result<Outcome, CliError> {
    let request = request(add)?;
    let event = format!("/events/{}", quoted(&add.event));
    // A missing event is the first thing to know.
    let id = client.get(&event)?.read::<EventDetail>()?.event.id;
    check_model(client, model, add.no_wait)?;
    let mut added: Added = client.post(&format!("{event}/add"), &request)?.read()?;
    if !add.json.json {
        remark(&taken_in(&added));
        tell_of_voices(client)?;
    }
    let mut outcome = Outcome::Done;
    if !add.no_wait {
        outcome = see_through(client, &id, add, &mut added, cancel)?;
    } else if !add.json.json && !added.accepted.is_empty() {
        let with = model.map_or(String::new(), |model| format!(" --model {}", safe(model)));
        remark(&format!(
            "the work waits in the queue; `sayback serve{with}` does it"
        ));
    }
    tell(add, &added)?;
    if outcome == Outcome::Done && !(added.refused.is_empty() && added.failed.is_empty()) {
        outcome = Outcome::Partly;
    }
    Ok(outcome)
}

#[derive(Deserialize)]
struct Models {
    models: Vec<Model>,
}

#[derive(Deserialize)]
struct Model {
    name: String,
    present: bool,
}

/// Without its model nobody is known by voice; all else is as ever.
fn tell_of_voices(client: &Client) -> Result<(), CliError> {
    let Models { models } = client.get("/models")?.read()?;
    let is_missing = |model: &Model| model.name == VOICES && !model.present;
    if models.iter().any(is_missing) {
        remark(&format!(
            "who speaks will be told by worn microphones alone: the model of voices is not here; \
             `sayback model get {VOICES}`, then `sayback people again EVENT`"
        ));
    }
    Ok(())
}

/// Words need a model, and the one asked for; better to know before an hour of
/// work.
///
/// # Errors
/// What to do about it.
pub fn check_model(client: &Client, asked: Option<&str>, no_wait: bool) -> Result<(), CliError> {
    let model = client.get("/health")?.read::<Health>()?.model;
    let name = safe(&model.name);
    if let Some(asked) = asked.filter(|asked| *asked != model.name) {
        let asked = safe(asked);
        return Err(CliError::Usage(format!(
            "the server writes words with {name}; start it with --model {asked}, \
             or leave --model (SAYBACK_MODEL) out here"
        )));
    }
    if model.present || no_wait {
        return Ok(());
    }
    Err(anyhow::anyhow!(
        "the speech model {name} is not here; fetch it with `sayback model get {name}`, \
         choose another with --model, or leave the work in the queue with --no-wait"
    )
    .into())
}

fn request(add: &Add) -> Result<Value, CliError> {
    let mut paths = Vec::with_capacity(add.paths.len());
    for path in &add.paths {
        // A folder says by its name whose it is; a file says nothing.
        if add.source.is_none() && path.is_file() {
            return Err(CliError::Usage(format!(
                "which recorder is '{}' from? Say --source LABEL, or add its folder",
                path.display()
            )));
        }
        paths.push(wire_path(path)?);
    }
    let mut body = json!({ "channels": add.channels, "paths": paths });
    let placement = add.placement.map(Placement::word);
    for (field, value) in [
        ("source", add.source.as_deref()),
        ("placement", placement),
        ("person", add.person.as_deref()),
    ] {
        if let Some(value) = value {
            body[field] = value.into();
        }
    }
    Ok(body)
}

fn taken_in(added: &Added) -> String {
    let number = |n: usize| i64::try_from(n).unwrap_or(i64::MAX);
    let mut text = format!("{} taken in", count(number(added.accepted.len()), "file"));
    for (files, what) in [
        (added.already.len(), "here already"),
        (added.refused.len(), "refused"),
    ] {
        if files > 0 {
            text.push_str(&format!(", {files} {what}"));
        }
    }
    text
}

/// Waits for the work and moves what went wrong where it belongs.
fn see_through(
    client: &Client,
    event: &str,
    add: &Add,
    added: &mut Added,
    cancel: &Cancel,
) -> Result<Outcome, CliError> {
    let (outcome, _) = progress::see_through(client, event, cancel)?;
    let detail: EventDetail = client.get(&format!("/events/{}", quoted(event)))?.read()?;
    sort_out(&detail, added);
    if outcome == Outcome::Done && !add.json.json {
        remark(&summary(&detail));
    }
    Ok(outcome)
}

fn sort_out(detail: &EventDetail, added: &mut Added) {
    let reason_of = |intake: &str| {
        let found = detail
            .intakes
            .iter()
            .find(|i| i.id == intake && i.state == "refused");
        found.map(|i| {
            i.reason
                .clone()
                .unwrap_or_else(|| "cannot be opened".into())
        })
    };
    let mut kept = Vec::new();
    for accepted in std::mem::take(&mut added.accepted) {
        match reason_of(&accepted.intake) {
            Some(reason) => added.refused.push(Refused {
                file: accepted.file,
                reason,
            }),
            None => kept.push(accepted),
        }
    }
    added.accepted = kept;
    for recording in &detail.recordings {
        let ours = |file: &str| file == recording.path || file == recording.file;
        let is_ours = added.accepted.iter().any(|a| ours(&a.file))
            || added
                .already
                .iter()
                .any(|a| a.recording.as_ref() == Some(&recording.id));
        if is_ours && recording.state == "failed" {
            added.failed.push(Failed {
                file: recording.path.clone(),
                recording: recording.id.clone(),
                reason: recording.error.clone().unwrap_or_else(|| "failed".into()),
            });
        }
    }
}

fn summary(detail: &EventDetail) -> String {
    let ready = detail.recordings.iter().filter(|r| r.state == "ready");
    let (mut recordings, mut sound, mut speech) = (0, 0, 0);
    for recording in ready {
        recordings += 1;
        sound += recording.duration_ms;
        speech += recording.speech_ms.unwrap_or(0);
    }
    format!(
        "'{}' now has {} ready: {} of sound, {} of speech, {}",
        safe(&detail.event.title),
        count(recordings, "recording"),
        length(sound),
        length(speech),
        count(detail.event.counts.words, "word"),
    )
}

/// In JSON everything; for people what went wrong, file by file.
fn tell(add: &Add, added: &Added) -> Result<(), CliError> {
    if add.json.json {
        let text = serde_json::to_string(added).map_err(anyhow::Error::new)?;
        return out(&text);
    }
    let paint = Paint::stderr();
    for refused in &added.refused {
        let said = about(&refused.file, &refused.reason);
        remark(&format!("{} {said}", paint.wrong("refused:")));
    }
    for failed in &added.failed {
        let said = about(&failed.file, &failed.reason);
        remark(&format!("{} {said}", paint.wrong("failed:")));
    }
    Ok(())
}
