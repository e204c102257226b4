//! `sayback people`: who speaks in an event.

use clap::{Args, Subcommand, ValueEnum};
use serde::Deserialize;
use serde_json::{Value, json};

use super::args::Json;
use super::client::{Client, quoted};
use super::error::{CliError, Outcome};
use super::fix::own_name;
use super::instant;
use super::progress;
use super::show::{Paint, Table, out, position, remark, safe};
use crate::core::Cancel;

/// `sayback people …`
#[derive(Debug, Subcommand)]
pub enum PeopleCommand {
    /// Who speaks, for how long, and who wears what
    List(PeopleList),
    /// Add somebody
    Add(PeopleAdd),
    /// Give somebody another name; it names everything an unnamed speaker said
    Name(PeopleName),
    /// Make two people one
    Merge(PeopleMerge),
    /// Take somebody away, with what is kept of their voice
    Remove(PeopleOne),
    /// Say who wears a source, or who has it from which time on
    Wears(PeopleWears),
    /// Say who speaks in a moment; the rest of the event learns from it
    Says(PeopleSays),
    /// Find who speaks once more
    Again(PeopleEvent),
    /// Forget what is kept of voices in an event; who speaks where stays
    ForgetVoices(PeopleForget),
    /// Look for people of one event among those of others, by voice: off until turned on
    Across(PeopleAcross),
}

/// `sayback people list`
#[derive(Debug, Args)]
pub struct PeopleList {
    /// The event's id, or its title where only one has it
    pub event: String,
    /// For whom the answer is.
    #[command(flatten)]
    pub json: Json,
}

/// `sayback people add`
#[derive(Debug, Args)]
pub struct PeopleAdd {
    /// The event's id, or its title where only one has it
    pub event: String,
    /// What they are called
    pub name: String,
    /// Their part in the day, such as 'officiant'
    #[arg(long)]
    pub role: Option<String>,
}

/// `sayback people name`
#[derive(Debug, Args)]
pub struct PeopleName {
    /// The event's id, or its title where only one has it
    pub event: String,
    /// Who: the name so far, or the id
    pub who: String,
    /// What they are called
    pub name: String,
    /// Their part in the day; '' for none
    #[arg(long)]
    pub role: Option<String>,
}

/// Whether to stay until it is done.
#[derive(Clone, Copy, Debug, Args)]
pub struct Wait {
    /// Leave the work in the queue, for `sayback serve`
    #[arg(long)]
    pub no_wait: bool,
}

/// `sayback people merge`
#[derive(Debug, Args)]
pub struct PeopleMerge {
    /// The event's id, or its title where only one has it
    pub event: String,
    /// Who is no more afterwards: name or id
    pub who: String,
    /// Who they are: name or id
    pub into: String,
    /// Who you are [default: your name on this machine]
    #[arg(long, value_name = "NAME")]
    pub by: Option<String>,
    /// Whether to stay until it is done.
    #[command(flatten)]
    pub wait: Wait,
}

/// `sayback people remove`
#[derive(Debug, Args)]
pub struct PeopleOne {
    /// The event's id, or its title where only one has it
    pub event: String,
    /// Who: name or id
    pub who: String,
    /// Whether to stay until it is done.
    #[command(flatten)]
    pub wait: Wait,
}

/// `sayback people wears`
#[derive(Debug, Args)]
pub struct PeopleWears {
    /// The event's id, or its title where only one has it
    pub event: String,
    /// The source: its label or id
    pub source: String,
    /// Who wears it: name or id
    pub who: String,
    /// From this instant of the event clock on (hh:mm:ss.mmm, mm:ss or seconds)
    /// [default: from the start]
    #[arg(long, value_name = "TIME", value_parser = instant::of, allow_hyphen_values = true)]
    pub from: Option<f64>,
    /// Whether to stay until it is done.
    #[command(flatten)]
    pub wait: Wait,
}

/// `sayback people says`
#[derive(Debug, Args)]
pub struct PeopleSays {
    /// The event's id, or its title where only one has it
    pub event: String,
    /// The moment's id, as `fix list` and `find --json` tell it
    pub moment: String,
    /// Who speaks: name or id; nobody to take back what was said
    pub who: Option<String>,
    /// Who you are [default: your name on this machine]
    #[arg(long, value_name = "NAME")]
    pub by: Option<String>,
    /// Whether to stay until it is done.
    #[command(flatten)]
    pub wait: Wait,
}

/// `sayback people again`
#[derive(Debug, Args)]
pub struct PeopleEvent {
    /// The event's id, or its title where only one has it
    pub event: String,
    /// Whether to stay until it is done.
    #[command(flatten)]
    pub wait: Wait,
}

/// `sayback people forget-voices`
#[derive(Debug, Args)]
pub struct PeopleForget {
    /// The event's id, or its title where only one has it
    pub event: String,
}

/// `sayback people across`
#[derive(Debug, Args)]
pub struct PeopleAcross {
    /// What it is to be; tells what it is where left out
    pub to: Option<Switch>,
}

/// On or off.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Switch {
    /// From now on.
    On,
    /// Not any more.
    Off,
}

impl PeopleCommand {
    /// What it needs: to stay until work is done, to change something, or neither.
    #[must_use]
    pub fn waits(&self) -> Option<bool> {
        let wait = match self {
            Self::List(_) => return None,
            Self::Across(across) => return across.to.map(|_| false),
            Self::Add(_) | Self::Name(_) | Self::ForgetVoices(_) => return Some(false),
            Self::Merge(asked) => asked.wait,
            Self::Remove(asked) => asked.wait,
            Self::Wears(asked) => asked.wait,
            Self::Says(asked) => asked.wait,
            Self::Again(asked) => asked.wait,
        };
        Some(!wait.no_wait)
    }
}

#[derive(Debug, Deserialize)]
struct List {
    event: Event,
    people: Vec<Person>,
}

#[derive(Debug, Deserialize)]
struct Event {
    id: String,
}

#[derive(Debug, Deserialize)]
struct Person {
    id: String,
    name: String,
    role: Option<String>,
    moments: i64,
    spoken_ms: i64,
    wears: Vec<Worn>,
    perhaps: Option<Perhaps>,
}

#[derive(Debug, Deserialize)]
struct Worn {
    label: String,
    from_ms: Option<i64>,
}

#[derive(Debug, Deserialize)]
struct Perhaps {
    name: String,
    event: String,
}

#[derive(Debug, Deserialize)]
struct Detail {
    sources: Vec<Source>,
}

#[derive(Debug, Deserialize)]
struct Source {
    id: String,
    label: String,
}

#[derive(Debug, Deserialize)]
struct Wearers {
    wearers: Vec<Wearer>,
}

#[derive(Debug, Deserialize)]
struct Wearer {
    person: String,
    from_ms: Option<i64>,
}

#[derive(Debug, Deserialize)]
struct Rules {
    across_events: bool,
}

/// Runs one of the commands about people.
///
/// # Errors
/// What the service says when it refuses; a name that nobody has.
pub fn run(client: &Client, command: &PeopleCommand, cancel: &Cancel) -> Result<Outcome, CliError> {
    let (event, wait) = match command {
        PeopleCommand::List(asked) => return list(client, asked),
        PeopleCommand::Across(asked) => return across(client, asked),
        PeopleCommand::Add(asked) => {
            let body = json!({"name": asked.name, "role": asked.role});
            client.post(&of(&asked.event), &body)?;
            return Ok(Outcome::Done);
        }
        PeopleCommand::Name(asked) => {
            let person = whom(&all(client, &asked.event)?, &asked.who)?;
            let body = json!({"name": asked.name, "role": asked.role});
            client.patch(&format!("/people/{}", quoted(&person)), &body)?;
            return Ok(Outcome::Done);
        }
        PeopleCommand::ForgetVoices(asked) => {
            client.delete(&format!("/events/{}/voices", quoted(&asked.event)))?;
            return Ok(Outcome::Done);
        }
        PeopleCommand::Merge(asked) => {
            let people = all(client, &asked.event)?;
            let (person, into) = (whom(&people, &asked.who)?, whom(&people, &asked.into)?);
            let body = json!({"into": into, "by": by(asked.by.as_ref())?});
            client.post(&format!("/people/{}/merge", quoted(&person)), &body)?;
            (&asked.event, asked.wait)
        }
        PeopleCommand::Remove(asked) => {
            let person = whom(&all(client, &asked.event)?, &asked.who)?;
            client.delete(&format!("/people/{}", quoted(&person)))?;
            (&asked.event, asked.wait)
        }
        PeopleCommand::Wears(asked) => {
            wears(client, asked)?;
            (&asked.event, asked.wait)
        }
        PeopleCommand::Says(asked) => {
            let people = all(client, &asked.event)?;
            let person = asked.who.as_ref().map(|who| whom(&people, who));
            let body = json!({"person": person.transpose()?, "by": by(asked.by.as_ref())?});
            client.put(&format!("/moments/{}/person", quoted(&asked.moment)), &body)?;
            (&asked.event, asked.wait)
        }
        PeopleCommand::Again(asked) => {
            let path = format!("/events/{}/voices", quoted(&asked.event));
            client.post(&path, &json!({}))?;
            (&asked.event, asked.wait)
        }
    };
    if wait.no_wait {
        return Ok(Outcome::Done);
    }
    let id = all(client, event)?.event.id;
    Ok(progress::see_through(client, &id, cancel)?.0)
}

fn of(event: &str) -> String {
    format!("/events/{}/people", quoted(event))
}

fn all(client: &Client, event: &str) -> Result<List, CliError> {
    client.get(&of(event))?.read()
}

fn by(typed: Option<&String>) -> Result<String, CliError> {
    typed.cloned().or_else(own_name).ok_or_else(super::fix::who)
}

/// The id of somebody told by name or id.
fn whom(list: &List, who: &str) -> Result<String, CliError> {
    let by_id = list.people.iter().find(|person| person.id == who);
    let found = by_id.or_else(|| list.people.iter().find(|person| person.name == who));
    found.map(|person| person.id.clone()).ok_or_else(|| {
        let names: Vec<&str> = list.people.iter().map(|one| one.name.as_str()).collect();
        let there = match names.as_slice() {
            [] => "nobody is known there".to_owned(),
            names => format!("there are {}", names.join(", ")),
        };
        CliError::Usage(format!("nobody is called '{who}': {there}"))
    })
}

fn wears(client: &Client, asked: &PeopleWears) -> Result<(), CliError> {
    let person = whom(&all(client, &asked.event)?, &asked.who)?;
    let detail: Detail = client
        .get(&format!("/events/{}", quoted(&asked.event)))?
        .read()?;
    let mut sources = detail.sources.iter();
    let source = sources.find(|source| source.id == asked.source || source.label == asked.source);
    let source = source.ok_or_else(|| {
        let labels: Vec<&str> = detail.sources.iter().map(|s| s.label.as_str()).collect();
        let labels = labels.join(", ");
        CliError::Usage(format!(
            "there is no source '{}': there are {labels}",
            asked.source
        ))
    })?;
    let path = format!("/sources/{}/wearers", quoted(&source.id));
    let Wearers { wearers } = client.get(&path)?.read()?;
    let from_ms = asked.from.map(|ms| ms.round() as i64);
    let mut wearers: Vec<Value> = wearers
        .into_iter()
        .filter(|one| one.from_ms != from_ms)
        .map(|one| json!({"person": one.person, "from_ms": one.from_ms}))
        .collect();
    wearers.push(json!({"person": person, "from_ms": from_ms}));
    client.put(&path, &json!({ "wearers": wearers }))?;
    Ok(())
}

fn list(client: &Client, asked: &PeopleList) -> Result<Outcome, CliError> {
    let answer = client.get(&of(&asked.event))?;
    if asked.json.json {
        out(answer.text())?;
        return Ok(Outcome::Done);
    }
    let List { people, .. } = answer.read()?;
    if people.is_empty() {
        remark("nobody yet; `sayback people add EVENT NAME` adds somebody");
        return Ok(Outcome::Done);
    }
    let mut table = Table::new(&["NAME", "ROLE", "MOMENTS", "SPEAKS", "WEARS"]);
    for person in &people {
        let worn: Vec<String> = person.wears.iter().map(worn).collect();
        let worn = if worn.is_empty() {
            "-".to_owned()
        } else {
            worn.join(", ")
        };
        let role = person.role.as_deref().unwrap_or("-");
        let (moments, speaks) = (person.moments.to_string(), position(person.spoken_ms));
        table.row(&[&person.name, role, &moments, &speaks, &worn]);
    }
    out(&table.render(Paint::stdout()))?;
    for person in &people {
        if let Some(perhaps) = &person.perhaps {
            let (name, other) = (safe(&perhaps.name), safe(&perhaps.event));
            let who = safe(&person.name);
            remark(&format!(
                "{who} may be {name} of {other}, by voice: a guess"
            ));
        }
    }
    Ok(Outcome::Done)
}

fn worn(worn: &Worn) -> String {
    match worn.from_ms {
        None => worn.label.clone(),
        Some(from_ms) => format!("{} from {}", worn.label, position(from_ms)),
    }
}

fn across(client: &Client, asked: &PeopleAcross) -> Result<Outcome, CliError> {
    let answer = match asked.to {
        Some(to) => client.put("/voices", &json!({"across_events": to == Switch::On}))?,
        None => client.get("/voices")?,
    };
    let rules: Rules = answer.read()?;
    out(if rules.across_events { "on" } else { "off" })?;
    Ok(Outcome::Done)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn people_are_told_by_name_or_id_and_nobody_is_guessed() {
        let person = |id: &str, name: &str| Person {
            id: id.into(),
            name: name.into(),
            role: None,
            moments: 0,
            spoken_ms: 0,
            wears: Vec::new(),
            perhaps: None,
        };
        let list = List {
            event: Event { id: "e".into() },
            people: vec![person("1", "Jory"), person("2", "1")],
        };
        assert_eq!(whom(&list, "Jory").expect("one"), "1");
        // An id goes before a name.
        assert_eq!(whom(&list, "1").expect("one"), "1");
        let error = whom(&list, "jo").expect_err("nobody").to_string();
        assert!(error.contains("Jory"), "{error}");
    }
}
