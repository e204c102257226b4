//! `sayback words`: all words of one recording.

use super::answers::Recording;
use super::args::{Format, Words};
use super::client::{Client, quoted};
use super::error::{CliError, Outcome};
use super::show::{out, remark};

/// Prints the words of a recording.
///
/// # Errors
/// What the service says when it refuses.
pub fn run(client: &Client, words: &Words) -> Result<Outcome, CliError> {
    let format = if words.json {
        Format::Json
    } else {
        words.format
    };
    let recording = format!("/recordings/{}", quoted(&words.recording));
    let answer = client.get(&format!("{recording}/words?format={}", format.word()))?;
    if !answer.text().is_empty() {
        out(answer.text())?;
    } else {
        let recording: Recording = client.get(&recording)?.read()?;
        if matches!(recording.state.as_str(), "waiting" | "working") {
            remark(
                "nothing is written down yet: the files of the event are looked through and put \
                 on one clock first; `sayback status` tells how far that is",
            );
        }
    }
    Ok(Outcome::Done)
}
