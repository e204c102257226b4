//! `sayback words`: all words of one recording.

use super::answers::Transcript;
use super::args::{Format, Words};
use super::client::{Client, quoted};
use super::error::{CliError, Outcome};
use super::show::{out, position, remark, safe};

/// Prints the transcript of a recording.
///
/// # Errors
/// What the service says when it refuses.
pub fn run(client: &Client, words: &Words) -> Result<Outcome, CliError> {
    let answer = client.get(&format!("/recordings/{}/words", quoted(&words.recording)))?;
    if words.json || words.format == Format::Json {
        out(answer.text())?;
        return Ok(Outcome::Done);
    }
    let transcript: Transcript = answer.read()?;
    let mut unwritten = 0;
    for segment in &transcript.segments {
        match segment.text.as_deref() {
            Some("") => {}
            Some(text) => out(&format!("{}  {}", position(segment.start_ms), safe(text)))?,
            None => unwritten += 1,
        }
    }
    if unwritten > 0 {
        remark(&format!(
            "{unwritten} of {} segments of speech are not written down yet (the recording is {})",
            transcript.segments.len(),
            safe(&transcript.recording.state)
        ));
    }
    Ok(Outcome::Done)
}
