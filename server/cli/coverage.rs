//! `sayback coverage`: what has no backup, before cards are wiped.

use std::path::PathBuf;

use clap::Args;
use serde::Deserialize;

use super::answers::{EventName, RecordingName, SourceName};
use super::args::Json;
use super::client::{Client, quoted};
use super::error::{CliError, Outcome};
use super::file;
use super::show::{Paint, Table, length, out, position, remark, safe};

/// `sayback coverage`
#[derive(Debug, Args)]
pub struct Coverage {
    /// The event's id, or its title where only one has it
    pub event: String,
    /// Also write it as a page to print, an HTML file
    #[arg(long, value_name = "FILE")]
    pub html: Option<PathBuf>,
    /// For whom the answer is.
    #[command(flatten)]
    pub json: Json,
}

/// `GET /events/{event}/coverage`
#[derive(Debug, Deserialize)]
struct Told {
    event: EventName,
    finished: bool,
    failed: i64,
    backed_up: bool,
    parts: Vec<Part>,
    elsewhere: Part,
    off_clock: Vec<OffClock>,
}

#[derive(Debug, Deserialize)]
struct Part {
    name: Option<String>,
    required: bool,
    moments: usize,
    speech_ms: i64,
    none_ms: i64,
    one_ms: i64,
    more_ms: i64,
    backed_up: bool,
    gaps: Vec<Gap>,
}

#[derive(Debug, Deserialize)]
struct Gap {
    start_ms: i64,
    end_ms: i64,
    text: String,
    only: Option<SourceName>,
    others: Vec<NoBackup>,
}

#[derive(Debug, Deserialize)]
struct NoBackup {
    source: SourceName,
    verdict: String,
    why: Vec<String>,
}

#[derive(Debug, Deserialize)]
struct OffClock {
    recording: RecordingName,
    speech_ms: i64,
}

/// Tells what of an event has no backup.
///
/// # Errors
/// What the service says when it refuses, and when the page can't be written.
pub fn run(client: &Client, asked: &Coverage) -> Result<Outcome, CliError> {
    let path = format!("/events/{}/coverage", quoted(&asked.event));
    if let Some(page) = &asked.html {
        file::keep(client, &format!("{path}.html"), page, "html")?;
    }
    let answer = client.get(&path)?;
    let told: Told = answer.read()?;
    if asked.json.json {
        out(answer.text())?;
    } else {
        out(&shown(&told, Paint::stdout()))?;
        for caution in cautions(&told, &asked.event) {
            remark(&caution);
        }
    }
    Ok(match told.backed_up {
        true => Outcome::Done,
        false => Outcome::Partly,
    })
}

fn shown(told: &Told, paint: Paint) -> String {
    let mut table = Table::new(&[
        "PART",
        "SPEECH",
        "TWO OR MORE",
        "ONLY ONE",
        "NONE",
        "BACKUP",
    ]);
    let parts = || told.parts.iter().chain([&told.elsewhere]);
    for part in parts().filter(|part| part.name.is_some() || part.moments > 0) {
        let ms = |ms: i64| if ms == 0 { "-".to_owned() } else { length(ms) };
        table.row(&[
            name(part),
            &ms(part.speech_ms),
            &ms(part.more_ms),
            &ms(part.one_ms),
            &ms(part.none_ms),
            backup(part),
        ]);
    }
    let mut said = format!("{}\n{}", safe(&told.event.title), table.render(paint));
    for part in parts().filter(|part| !part.gaps.is_empty()) {
        let head = format!("without a backup: {}", safe(name(part)));
        let head = match part.required {
            true => paint.wrong(&head),
            false => head,
        };
        said.push_str(&format!("\n{head}\n"));
        for gap in &part.gaps {
            said.push_str(&one_gap(gap, paint));
        }
    }
    said
}

fn one_gap(gap: &Gap, paint: Paint) -> String {
    let only = gap.only.as_ref().map_or_else(
        || "nobody has it well enough".to_owned(),
        |only| format!("only {}", safe(&only.label)),
    );
    let mut said = format!(
        "  {} – {}  {only}  {}\n",
        position(gap.start_ms),
        position(gap.end_ms),
        paint.faint(&safe(&gap.text))
    );
    for other in &gap.others {
        said.push_str(&format!(
            "      {}: {}, {}\n",
            safe(&other.source.label),
            safe(&other.verdict),
            safe(&other.why.join(", "))
        ));
    }
    said
}

fn name(part: &Part) -> &str {
    part.name.as_deref().unwrap_or("outside of all parts")
}

fn backup(part: &Part) -> &'static str {
    match (part.backed_up, part.required, part.moments) {
        (true, ..) => "yes",
        (false, _, 0) => "NO: nothing was heard",
        (false, true, _) => "NO",
        (false, false, _) => "no, not required",
    }
}

fn cautions(told: &Told, event: &str) -> Vec<String> {
    let mut cautions = Vec::new();
    if !told.finished {
        cautions.push("not finished: more may have a backup than is told here".to_owned());
    }
    if told.failed > 0 {
        cautions.push(format!(
            "{} files could not be opened or listened through and count for nothing here; \
             `sayback status` tells why",
            told.failed
        ));
    }
    for off in &told.off_clock {
        cautions.push(format!(
            "{} does not lie on the event clock; its {} of speech count for nothing here",
            safe(&off.recording.file),
            length(off.speech_ms)
        ));
    }
    if !told.parts.iter().any(|part| part.required) {
        cautions.push(format!(
            "no part is marked as required, so nothing was held against the rule; \
             `sayback event parts {} --part letters 0:00 12:30` marks one",
            quoted_for_shell(event)
        ));
    }
    cautions
}

/// An argument as a shell takes it.
fn quoted_for_shell(argument: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || "-_.".contains(c);
    match !argument.is_empty() && argument.chars().all(plain) {
        true => argument.to_owned(),
        false => format!("'{}'", safe(argument).replace('\'', "'\\''")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told() -> Told {
        serde_json::from_value(serde_json::json!({
            "event": {"id": "e", "title": "The landing\u{1b}"},
            "finished": false, "failed": 2, "backed_up": false,
            "parts": [
                {"name": "vows", "required": true, "moments": 2, "speech_ms": 9_000,
                 "none_ms": 0, "one_ms": 4_000, "more_ms": 5_000, "backed_up": false,
                 "gaps": [{"start_ms": 61_000, "end_ms": 65_000, "text": "I promise",
                    "only": {"label": "Worn", "placement": "worn"},
                    "others": [{"source": {"label": "Camera", "placement": "camera"}, "verdict": "poor",
                        "why": ["far away", "wind"]}]}]},
                {"name": "letters", "required": true, "moments": 0, "speech_ms": 0,
                 "none_ms": 0, "one_ms": 0, "more_ms": 0, "backed_up": false, "gaps": []}
            ],
            "elsewhere": {"name": null, "required": false, "moments": 0, "speech_ms": 0,
                 "none_ms": 0, "one_ms": 0, "more_ms": 0, "backed_up": false, "gaps": []},
            "off_clock": [{"recording": {"id": "r", "file": "CLIP.mov"}, "speech_ms": 1_000}]
        }))
        .expect("an answer")
    }

    #[test]
    fn what_lacks_a_backup_is_told_with_its_reason() {
        let said = shown(&told(), Paint::stdout());
        for line in [
            "The landing\\u{1b}",
            "letters",
            "NO: nothing was heard",
            "without a backup: vows",
            "  00:01:01.000 – 00:01:05.000  only Worn  I promise",
            "      Camera: poor, far away, wind",
        ] {
            assert!(said.contains(line), "{line} is not in\n{said}");
        }
        assert!(!said.contains("outside of all parts"), "{said}");
        assert_eq!(cautions(&told(), "The landing").len(), 3);
    }

    #[test]
    fn without_required_parts_the_command_for_it_is_told() {
        let mut told = told();
        told.parts.clear();
        let said = cautions(&told, "Cora's day").join("\n");
        assert!(
            said.contains(r"event parts 'Cora'\''s day' --part"),
            "{said}"
        );
    }
}
