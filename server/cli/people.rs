//! `sayback people`: who speaks in an event.

mod args;

use serde::Deserialize;
use serde_json::{Value, json};

pub use args::PeopleCommand;
use args::{PeopleAcross, PeopleList, PeopleWears, Switch};

use super::client::{Client, quoted};
use super::error::{CliError, Outcome};
use super::fix::own_name;
use super::progress;
use super::show::{Paint, Table, out, position, remark, safe};
use crate::core::Cancel;

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
