//! `sayback listen`: words by another model, or anew by this one.

use serde::Deserialize;
use serde_json::json;

use crate::core::Cancel;

use super::add::check_model;
use super::answers::EventDetail;
use super::args::Listen;
use super::client::{Client, quoted};
use super::error::{CliError, Outcome};
use super::progress;
use super::show::{count, out, remark};

#[derive(Deserialize)]
struct Again {
    recordings: i64,
}

/// Has an event listened to again by the speech model in use and, unless told
/// otherwise, stays until its words are written. `model` is the one asked for, if any
/// was. Ctrl-C sets `cancel`; what is queued stays queued.
///
/// # Errors
/// An unknown event, a missing speech model or one that a running server does not use.
pub fn run(
    client: &Client,
    listen: &Listen,
    model: Option<&str>,
    cancel: &Cancel,
) -> Result<Outcome, CliError> {
    let event = format!("/events/{}", quoted(&listen.event));
    // A missing event is the first thing to know.
    let id = client.get(&event)?.read::<EventDetail>()?.event.id;
    check_model(client, model, listen.no_wait)?;
    let anew = listen.anew;
    let answer = client.post(&format!("{event}/listen?anew={anew}"), &json!({}))?;
    let again: Again = answer.read()?;
    if listen.json.json {
        out(answer.text())?;
    } else if again.recordings == 0 {
        remark(match anew {
            true => "nothing of it was heard yet",
            false => "no other model heard anything of it; --anew also hears what this one did",
        });
    } else {
        let what = count(again.recordings, "recording");
        remark(&format!("{what} to be listened to again"));
    }
    if listen.no_wait {
        return Ok(Outcome::Done);
    }
    Ok(progress::see_through(client, &id, cancel)?.0)
}
