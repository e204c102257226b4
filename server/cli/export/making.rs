//! A folder with sound, made by the service while it is waited for.

use std::io::IsTerminal;
use std::time::Duration;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use serde::Deserialize;
use serde_json::Value;

use crate::core::Cancel;

use super::super::client::{Client, quoted};
use super::super::error::CliError;
use super::super::show::{remark, safe};
use super::Made;

/// How often it is looked how far it is.
const LOOK_EVERY: Duration = Duration::from_millis(100);

#[derive(Deserialize)]
struct HandOver {
    id: String,
    state: String,
    files: u64,
    looked_at: u64,
    made: Option<Made>,
    problem: Option<String>,
    left_over: Vec<String>,
}

/// Has a folder made and stays until it is there; `None` where somebody pressed Ctrl-C,
/// upon which nothing of it is left.
///
/// # Errors
/// What the service says when it refuses, and why the folder could not be made.
pub(super) fn see_through(
    client: &Client,
    list: &str,
    body: &Value,
    cancel: &Cancel,
) -> Result<Option<Made>, CliError> {
    let mut now: HandOver = client.post(&format!("{list}/folder"), body)?.read()?;
    for left in &now.left_over {
        let left = safe(left);
        remark(&format!(
            "an earlier attempt was stopped by force and left '{left}': remove it"
        ));
    }
    let path = format!("/hand-overs/{}", quoted(&now.id));
    let bar = bar(now.files);
    let mut told_to_stop = false;
    loop {
        match now.state.as_str() {
            "waiting" | "running" => {}
            "cancelled" => {
                bar.finish_and_clear();
                remark("stopped; nothing of the folder is left");
                return Ok(None);
            }
            _ => break,
        }
        bar.set_position(now.looked_at);
        if cancel.is_cancelled() && !told_to_stop {
            client.delete(&path)?;
            told_to_stop = true;
        }
        std::thread::sleep(LOOK_EVERY);
        now = client.get(&path)?.read()?;
    }
    bar.finish_and_clear();
    match now.made {
        Some(made) => Ok(Some(made)),
        None => {
            let why = now.problem.unwrap_or_else(|| "it was not made".into());
            Err(anyhow::anyhow!("{why}").into())
        }
    }
}

/// A bar on a terminal, nothing elsewhere.
fn bar(files: u64) -> ProgressBar {
    let target = match std::io::stderr().is_terminal() {
        true => ProgressDrawTarget::stderr(),
        false => ProgressDrawTarget::hidden(),
    };
    let bar = ProgressBar::with_draw_target(Some(files.max(1)), target);
    if let Ok(style) = ProgressStyle::with_template("{bar:30} {pos} of {len} files of sound") {
        bar.set_style(style);
    }
    bar
}
