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
    let heard = transcript.hearings.iter().filter(|hearing| hearing.heard);
    let (mut unwritten, mut all) = (0, 0);
    for hearing in heard {
        all += 1;
        let doubt = hearing.doubt.as_deref();
        let doubt = doubt.map_or(String::new(), |doubt| {
            format!("  [doubtful: {}]", safe(doubt))
        });
        match hearing.text.as_deref() {
            Some("") => {}
            Some(text) => out(&format!(
                "{}  {}{doubt}",
                position(hearing.start_ms),
                safe(text)
            ))?,
            None => unwritten += 1,
        }
    }
    let state = safe(&transcript.recording.state);
    if unwritten > 0 {
        remark(&format!(
            "{unwritten} of {all} moments are not written down yet (the recording is {state})"
        ));
    } else if all == 0 && matches!(&*state, "waiting" | "working") {
        remark(
            "nothing is written down yet: the files of the event are looked through and put on \
             one clock first; `sayback status` tells how far that is",
        );
    }
    Ok(Outcome::Done)
}
