//! `sayback model`: the models on this machine. They belong to no data
//! folder, so no server is asked.

use std::io::{IsTerminal, Write};

use anyhow::Context;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use serde_json::json;

use crate::core::Cancel;
use crate::speech::{GetProgress, MEANING, ModelInfo, ModelShelf, SpeechError, VOICES};

use super::args::ModelCommand;
use super::error::{CliError, Outcome};
use super::show::{Paint, Table, out, remark, safe, size};

/// Runs one of the model commands; `cancel` is set by Ctrl-C.
///
/// # Errors
/// An unknown name, a file that is no model, or no way to fetch it.
pub fn run(
    shelf: &ModelShelf,
    command: &ModelCommand,
    cancel: &Cancel,
) -> Result<Outcome, CliError> {
    match command {
        ModelCommand::List(json) => list(shelf, json.json),
        ModelCommand::Get { name } => get(shelf, name, cancel),
        ModelCommand::Path { name } => {
            let path = match name.as_str() {
                VOICES => shelf.voices(),
                MEANING => shelf.meaning(),
                _ => shelf.path(name),
            };
            print_path(&path.map_err(anyhow::Error::new)?)?;
            Ok(Outcome::Done)
        }
    }
}

fn list(shelf: &ModelShelf, json: bool) -> Result<Outcome, CliError> {
    let models = shelf.list();
    if json {
        let models: Vec<_> = models.iter().map(as_in_the_api).collect();
        out(&json!({ "models": models }).to_string())?;
        return Ok(Outcome::Done);
    }
    let mut table = Table::new(&["NAME", "LANGUAGES", "SIZE", "HERE"]);
    for model in &models {
        let here = if model.present { "yes" } else { "no" };
        table.row(&[&model.name, &model.languages, &size(model.bytes), here]);
    }
    out(&table.render(Paint::stdout()))?;
    Ok(Outcome::Done)
}

fn as_in_the_api(model: &ModelInfo) -> serde_json::Value {
    json!({
        "name": model.name,
        "languages": model.languages,
        "bytes": model.bytes,
        "present": model.present,
    })
}

fn get(shelf: &ModelShelf, name: &str, cancel: &Cancel) -> Result<Outcome, CliError> {
    let bar = ProgressBar::with_draw_target(None, ProgressDrawTarget::stderr());
    if let Ok(style) = ProgressStyle::with_template("{bar:30} {bytes} of {total_bytes} {msg}") {
        bar.set_style(style);
    }
    let plain = !std::io::stderr().is_terminal();
    let fetched = shelf.get(name, cancel, &mut |progress| match &progress {
        GetProgress::Bytes { done, total } => {
            bar.set_length(*total);
            bar.set_position(*done);
        }
        told if plain => remark(&safe(&told.to_string())),
        told => bar.println(safe(&told.to_string())),
    });
    bar.finish_and_clear();
    match fetched {
        Ok(path) => {
            print_path(&path)?;
            Ok(Outcome::Done)
        }
        Err(SpeechError::Cancelled) => {
            remark(&format!(
                "stopped; `sayback model get {}` goes on from here",
                safe(name)
            ));
            Ok(Outcome::Interrupted)
        }
        Err(error) => Err(anyhow::Error::new(error).into()),
    }
}

/// A path for the next program in a pipe: its very bytes.
fn print_path(path: &std::path::Path) -> Result<(), CliError> {
    use std::os::unix::ffi::OsStrExt;
    let mut out = std::io::stdout().lock();
    out.write_all(path.as_os_str().as_bytes())
        .and_then(|()| out.write_all(b"\n"))
        .context("cannot write to standard output")?;
    Ok(())
}
