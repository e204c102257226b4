//! `sayback cut`: words that were picked, in an order.

mod args;
mod told;

use serde::Deserialize;
use serde_json::{Value, json};

pub use args::CutCommand;
use args::{
    CutAdd, CutDrop, CutHearing, CutLists, CutMove, CutNew, CutNote, CutNudge, CutRename,
    CutRestore, CutShow, CutVersions, Later, Which,
};
use told::{Changed, Cut, Listed, Lists, Quote, Versions};

use super::args::Json;
use super::client::{Answer, Client, quoted};
use super::error::{CliError, Outcome};
use super::instant;
use super::show::{Paint, Table, count, out, position, remark, safe};

/// Runs one of the commands about cut lists.
///
/// # Errors
/// What the service says when it refuses; a list or a quote that is not there.
pub fn run(client: &Client, command: &CutCommand) -> Result<Outcome, CliError> {
    match command {
        CutCommand::New(asked) => new(client, asked),
        CutCommand::Lists(asked) => lists(client, asked),
        CutCommand::Show(asked) => show(client, asked),
        CutCommand::Add(asked) => add(client, asked),
        CutCommand::Move(asked) => place(client, asked),
        CutCommand::Nudge(asked) => nudge(client, asked),
        CutCommand::Hearing(asked) => hearing(client, asked),
        CutCommand::Note(asked) => note(client, asked),
        CutCommand::Drop(asked) => drop_quote(client, asked),
        CutCommand::Rename(asked) => rename(client, asked),
        CutCommand::Versions(asked) => versions(client, asked),
        CutCommand::Restore(asked) => restore(client, asked),
        CutCommand::Remove(asked) => {
            client.delete(&path_of(&asked.list))?;
            Ok(Outcome::Done)
        }
    }
}

fn path_of(list: &str) -> String {
    format!("/cuts/{}", quoted(list))
}

/// A list as it stands.
fn read(client: &Client, list: &str) -> Result<Cut, CliError> {
    client.get(&path_of(list))?.read()
}

/// A list and the quote of that number.
fn which(client: &Client, which: &Which) -> Result<(Cut, Quote), CliError> {
    let mut cut = read(client, &which.list)?;
    let there = cut.quotes.iter().position(|quote| quote.place == which.n);
    let there = there.ok_or_else(|| {
        let all = count(cut.cut.quotes, "quote");
        CliError::Usage(format!("there is no quote {}; the list has {all}", which.n))
    })?;
    let quote = cut.quotes.swap_remove(there);
    Ok((cut, quote))
}

fn quote_path(cut: &Cut, quote: &Quote) -> String {
    format!("{}/quotes/{}", path_of(&cut.cut.id), quoted(&quote.id))
}

/// Shows the quotes that a change was about.
fn changed(answer: &Answer, json: Json) -> Result<Outcome, CliError> {
    if json.json {
        out(answer.text())?;
        return Ok(Outcome::Done);
    }
    let changed: Changed = answer.read()?;
    out(&told::lines(&changed.quotes, Paint::stdout()))?;
    remark(&format!("the list is {} long", position(changed.length_ms)));
    Ok(Outcome::Done)
}

/// Shows what a list is now.
fn listed(answer: &Answer, json: Json) -> Result<Outcome, CliError> {
    if json.json {
        out(answer.text())?;
        return Ok(Outcome::Done);
    }
    let one: Listed = answer.read()?;
    let quotes = count(one.quotes, "quote");
    out(&format!(
        "{}  {}  {quotes}, version {}",
        safe(&one.id),
        safe(&one.name),
        one.version
    ))?;
    Ok(Outcome::Done)
}

fn new(client: &Client, asked: &CutNew) -> Result<Outcome, CliError> {
    let path = format!("/events/{}/cuts", quoted(&asked.event));
    let body = json!({"name": asked.name, "note": asked.note});
    listed(&client.post(&path, &body)?, asked.json)
}

fn lists(client: &Client, asked: &CutLists) -> Result<Outcome, CliError> {
    let answer = client.get(&format!("/events/{}/cuts", quoted(&asked.event)))?;
    if asked.json.json {
        out(answer.text())?;
        return Ok(Outcome::Done);
    }
    let Lists { cuts } = answer.read()?;
    if cuts.is_empty() {
        remark("no cut lists yet; `sayback cut new EVENT NAME` makes one");
        return Ok(Outcome::Done);
    }
    let mut table = Table::new(&["ID", "QUOTES", "CHANGED", "NAME"]);
    for one in &cuts {
        table.row(&[&one.id, &one.quotes.to_string(), &one.changed_at, &one.name]);
    }
    out(&table.render(Paint::stdout()))?;
    Ok(Outcome::Done)
}

fn show(client: &Client, asked: &CutShow) -> Result<Outcome, CliError> {
    let id = match asked.list.as_slice() {
        [event, list] => of_event(client, event, list)?,
        one => one.concat(),
    };
    let answer = client.get(&path_of(&id))?;
    if asked.json.json {
        out(answer.text())?;
    } else {
        out(&told::text(&answer.read()?, Paint::stdout()))?;
    }
    Ok(Outcome::Done)
}

/// The id of a list of an event.
fn of_event(client: &Client, event: &str, list: &str) -> Result<String, CliError> {
    let path = format!("/events/{}/cuts", quoted(event));
    let Lists { cuts } = client.get(&path)?.read()?;
    let there = cuts
        .into_iter()
        .find(|one| one.id == list || one.name == list);
    let missing = || CliError::Usage(format!("the event has no cut list called '{list}'"));
    there.map(|one| one.id).ok_or_else(missing)
}

/// `GET /search`, as far as a quote is made of it.
#[derive(Debug, Deserialize)]
struct Found {
    hits: Vec<Value>,
}

fn add(client: &Client, asked: &CutAdd) -> Result<Outcome, CliError> {
    let cut = read(client, &asked.list)?;
    let Some(mut quote) = picked(client, &cut, asked)? else {
        remark("nothing was found that is no guess; `sayback find` shows guesses");
        return Ok(Outcome::Partly);
    };
    quote["note"] = json!(asked.note);
    let mut body = json!({"version": cut.cut.version, "quotes": [quote]});
    if let Some(place) = asked.place {
        body["place"] = json!(place);
    }
    let path = format!("{}/quotes", path_of(&cut.cut.id));
    changed(&client.post(&path, &body)?, asked.json)
}

/// What was picked, as the service takes it; `None` where nothing was found.
fn picked(client: &Client, cut: &Cut, asked: &CutAdd) -> Result<Option<Value>, CliError> {
    if let Some(words) = &asked.find {
        let (event, words) = (quoted(&cut.event.id), quoted(words));
        let path = format!("/search?q={words}&event={event}&limit=20");
        let found: Found = client.get(&path)?.read()?;
        let sure = found.hits.into_iter().find(|hit| hit["guess"] == false);
        return Ok(sure.map(|hit| {
            json!({
                "moment": hit["moment"],
                "runs_over": hit["runs_over"],
                "matched": hit["matched"],
            })
        }));
    }
    if let Some(id) = &asked.moment {
        // From 1 and the last included, as people count; from 0 and without it on the wire.
        let words = asked.words.map(|(from, to)| (from - 1, to));
        let (from, to) = words.unzip();
        return Ok(Some(json!({"moment": id, "from": from, "to": to})));
    }
    let whole = |ms: f64| ms.round() as i64;
    if let Some([from, to]) = asked.at.as_deref() {
        return Ok(Some(
            json!({"start_ms": whole(*from), "end_ms": whole(*to)}),
        ));
    }
    let Some([recording, from, to]) = asked.in_file.as_deref() else {
        return Ok(None);
    };
    let at = |typed: &str| instant::of(typed).map(whole).map_err(CliError::Usage);
    Ok(Some(json!({
        "recording": recording,
        "start_ms": at(from)?,
        "end_ms": at(to)?,
    })))
}

fn place(client: &Client, asked: &CutMove) -> Result<Outcome, CliError> {
    let (cut, quote) = which(client, &asked.which)?;
    let body = json!({"version": cut.cut.version, "place": asked.place});
    let path = format!("{}/place", quote_path(&cut, &quote));
    changed(&client.put(&path, &body)?, asked.json)
}

fn nudge(client: &Client, asked: &CutNudge) -> Result<Outcome, CliError> {
    let (cut, quote) = which(client, &asked.which)?;
    let by = |later: Option<Later>| match later {
        None => json!({}),
        Some(Later::Ms(ms)) => json!({ "ms": ms }),
        Some(Later::Frames(frames)) => json!({ "frames": frames }),
    };
    let body = json!({
        "version": cut.cut.version,
        "in": by(asked.begin),
        "out": by(asked.end),
    });
    let path = format!("{}/nudge", quote_path(&cut, &quote));
    changed(&client.post(&path, &body)?, asked.json)
}

fn hearing(client: &Client, asked: &CutHearing) -> Result<Outcome, CliError> {
    let (cut, quote) = which(client, &asked.which)?;
    let hearings = quote.chosen.iter().chain(&quote.backups);
    let recording = match asked.source.as_str() {
        "best" => None,
        // Of several recordings of one recorder the one that has it best comes first.
        source => {
            let there = hearings
                .clone()
                .find(|one| one.source.label == source || one.recording.id == source);
            let id = there.map(|one| one.recording.id.clone());
            Some(id.ok_or_else(|| {
                let all: Vec<&str> = hearings.map(|one| one.source.label.as_str()).collect();
                let all = all.join(", ");
                CliError::Usage(format!("'{source}' has nothing of it; these do: {all}"))
            })?)
        }
    };
    let mut body = json!({"version": cut.cut.version, "hearing": recording});
    match asked.backups.as_deref() {
        None => {}
        Some("all") => body["backups_wanted"] = Value::Null,
        Some(typed) => {
            let wrong =
                |_| CliError::Usage(format!("'{typed}' is no number of backups, nor 'all'"));
            body["backups_wanted"] = json!(typed.parse::<u32>().map_err(wrong)?);
        }
    }
    changed(&client.patch(&quote_path(&cut, &quote), &body)?, asked.json)
}

fn note(client: &Client, asked: &CutNote) -> Result<Outcome, CliError> {
    let (cut, quote) = which(client, &asked.which)?;
    let body = json!({"version": cut.cut.version, "note": asked.note});
    changed(&client.patch(&quote_path(&cut, &quote), &body)?, asked.json)
}

fn drop_quote(client: &Client, asked: &CutDrop) -> Result<Outcome, CliError> {
    let (cut, quote) = which(client, &asked.which)?;
    let path = format!("{}?version={}", quote_path(&cut, &quote), cut.cut.version);
    listed(&client.delete(&path)?, asked.json)
}

fn rename(client: &Client, asked: &CutRename) -> Result<Outcome, CliError> {
    let cut = read(client, &asked.list)?;
    let mut body = json!({"version": cut.cut.version, "name": asked.name});
    if let Some(note) = &asked.note {
        body["note"] = json!(note);
    }
    listed(&client.patch(&path_of(&cut.cut.id), &body)?, asked.json)
}

fn versions(client: &Client, asked: &CutVersions) -> Result<Outcome, CliError> {
    let path = format!("{}/versions", path_of(&asked.list));
    if let Some(version) = asked.forget {
        client.delete(&format!("{path}/{version}"))?;
    }
    if let Some(name) = &asked.keep {
        let version = read(client, &asked.list)?.cut.version;
        client.post(&path, &json!({"version": version, "name": name}))?;
    }
    let answer = client.get(&path)?;
    if asked.json.json {
        out(answer.text())?;
        return Ok(Outcome::Done);
    }
    let Versions { versions } = answer.read()?;
    if versions.is_empty() {
        remark("nothing was done to this list yet");
        return Ok(Outcome::Done);
    }
    out(&told::versions(&versions, Paint::stdout()))?;
    Ok(Outcome::Done)
}

fn restore(client: &Client, asked: &CutRestore) -> Result<Outcome, CliError> {
    let cut = read(client, &asked.list)?;
    let body = json!({"version": cut.cut.version, "to": asked.to});
    let path = format!("{}/restore", path_of(&cut.cut.id));
    listed(&client.post(&path, &body)?, asked.json)
}
