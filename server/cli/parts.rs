//! `sayback event parts`: the named stretches of an event.

use clap::Args;
use serde::Deserialize;
use serde_json::{Value, json};

use super::args::Json;
use super::client::{Client, quoted};
use super::error::{CliError, Outcome};
use super::instant;
use super::show::{Paint, Table, out, position, remark};

/// `sayback event parts`
#[derive(Debug, Args)]
pub struct EventParts {
    /// The event's id, or its title where only one has it
    pub event: String,
    /// A part, from and to on the event clock (hh:mm:ss.mmm, mm:ss or seconds), in place
    /// of the one of that name; repeatable
    #[arg(long = "part", num_args = 3, value_names = ["NAME", "FROM", "TO"])]
    #[arg(allow_hyphen_values = true)]
    pub parts: Vec<String>,
    /// What is said in this part may be missed or said again; repeatable
    #[arg(long, value_name = "NAME")]
    pub repeatable: Vec<String>,
    /// What is said in this part can't be repeated, so that two sources must have it, as
    /// of every new part; repeatable
    #[arg(long, value_name = "NAME")]
    pub required: Vec<String>,
    /// Take a part away; repeatable
    #[arg(long, value_name = "NAME")]
    pub remove: Vec<String>,
    /// For whom the answer is.
    #[command(flatten)]
    pub json: Json,
}

impl EventParts {
    /// Whether it gives the event other parts.
    #[must_use]
    pub fn changes(&self) -> bool {
        let lists = [&self.parts, &self.repeatable, &self.required, &self.remove];
        lists.iter().any(|list| !list.is_empty())
    }
}

/// `GET /events/{event}/parts`
#[derive(Debug, Deserialize)]
struct Parts {
    parts: Vec<Part>,
}

#[derive(Clone, Debug, PartialEq, Deserialize)]
struct Part {
    name: String,
    start_ms: i64,
    end_ms: i64,
    required: bool,
}

/// Shows the parts of an event, or changes them.
///
/// # Errors
/// What the service says when it refuses; a time that is none; a part that is not there.
pub fn run(client: &Client, asked: &EventParts) -> Result<Outcome, CliError> {
    let path = format!("/events/{}/parts", quoted(&asked.event));
    let mut answer = client.get(&path)?;
    if asked.changes() {
        let Parts { parts } = answer.read()?;
        let parts: Vec<Value> = changed(parts, asked)?.iter().map(Part::json).collect();
        answer = client.put(&path, &json!({ "parts": parts }))?;
    }
    if asked.json.json {
        out(answer.text())?;
        return Ok(Outcome::Done);
    }
    let Parts { parts } = answer.read()?;
    if parts.is_empty() {
        remark("no parts yet; `sayback event parts EVENT --part letters 0:00 12:30` adds one");
        return Ok(Outcome::Done);
    }
    let mut table = Table::new(&["FROM", "TO", "REQUIRED", "PART"]);
    for part in &parts {
        let required = if part.required { "yes" } else { "no" };
        let (from, to) = (position(part.start_ms), position(part.end_ms));
        table.row(&[&from, &to, required, &part.name]);
    }
    out(&table.render(Paint::stdout()))?;
    Ok(Outcome::Done)
}

impl Part {
    fn json(&self) -> Value {
        json!({
            "name": self.name,
            "start_ms": self.start_ms,
            "end_ms": self.end_ms,
            "required": self.required,
        })
    }
}

/// The parts as they are to be.
fn changed(mut parts: Vec<Part>, asked: &EventParts) -> Result<Vec<Part>, CliError> {
    for part in asked.parts.chunks_exact(3) {
        let at = |typed: &str| instant::of(typed).map(|ms| ms.round() as i64);
        let (start_ms, end_ms) = at(&part[1])
            .and_then(|from| Ok((from, at(&part[2])?)))
            .map_err(CliError::Usage)?;
        match parts.iter_mut().find(|there| there.name == part[0]) {
            Some(there) => (there.start_ms, there.end_ms) = (start_ms, end_ms),
            None => parts.push(Part {
                name: part[0].clone(),
                start_ms,
                end_ms,
                required: true,
            }),
        }
    }
    for (names, required) in [(&asked.repeatable, false), (&asked.required, true)] {
        for name in names {
            let there = parts.iter_mut().find(|part| part.name == *name);
            there.ok_or_else(|| no_such(name))?.required = required;
        }
    }
    for name in &asked.remove {
        let there = parts.iter().position(|part| part.name == *name);
        parts.remove(there.ok_or_else(|| no_such(name))?);
    }
    // As a day goes; of those that begin together the longer first.
    parts.sort_by_key(|part| (part.start_ms, std::cmp::Reverse(part.end_ms)));
    Ok(parts)
}

fn no_such(name: &str) -> CliError {
    CliError::Usage(format!("there is no part called '{name}'"))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(parts: &[&str], repeatable: &[&str], remove: &[&str]) -> EventParts {
        let owned = |list: &[&str]| list.iter().map(|&one| one.to_owned()).collect();
        EventParts {
            event: "e".into(),
            parts: owned(parts),
            repeatable: owned(repeatable),
            required: Vec::new(),
            remove: owned(remove),
            json: Json { json: false },
        }
    }

    #[test]
    fn parts_are_added_moved_and_taken_away() {
        let first = asked(
            &["vows", "10:00", "20:00", "letters", "0", "1:30.5"],
            &["letters"],
            &[],
        );
        let parts = changed(Vec::new(), &first).expect("parts");
        let told: Vec<_> = parts
            .iter()
            .map(|part| {
                (
                    part.name.as_str(),
                    part.start_ms,
                    part.end_ms,
                    part.required,
                )
            })
            .collect();
        assert_eq!(
            told,
            [
                ("letters", 0, 90_500, false),
                ("vows", 600_000, 1_200_000, true)
            ]
        );
        let second = asked(&["letters", "0", "2:00"], &[], &["vows"]);
        let parts = changed(parts, &second).expect("parts");
        assert_eq!((parts.len(), parts[0].end_ms), (1, 120_000));
        assert!(!parts[0].required, "moving it changes nothing else");
    }

    #[test]
    fn what_is_not_there_is_named() {
        for asked in [
            asked(&["a", "0", "soon"], &[], &[]),
            asked(&[], &["toasts"], &[]),
            asked(&[], &[], &["toasts"]),
        ] {
            let error = changed(Vec::new(), &asked)
                .expect_err("refused")
                .to_string();
            assert!(
                error.contains("soon") || error.contains("'toasts'"),
                "{error}"
            );
        }
    }
}
